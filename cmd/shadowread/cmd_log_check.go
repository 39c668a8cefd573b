package main

import (
	"fmt"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"shadowread/internal/fault"
	"shadowread/internal/logbook"
	"shadowread/internal/wording"
)

type checkJSON struct {
	OK       bool              `json:"ok"`
	Entries  int               `json:"entries"`
	Journeys int               `json:"journeys"`
	Schema   int               `json:"schema_version"`
	Head     string            `json:"head_sha256"`
	Problems []logbook.Problem `json:"problems"`
}

func newLogCheck(s *streams) *cobra.Command {
	var (
		log     logFlag
		rebuild bool
	)
	cmd := &cobra.Command{
		Use:   "check",
		Short: "check the whole log: file, hashes, chain, and what follows of it",
		Long: `Check the whole log: the file, its schema, the hash of every entry and its tie
to the one before, what is kept beside entries, and that every entry follows
from those before it.

The chain does not show the loss of the last entries, nor one that was
recomputed whole. For that, note the last hash elsewhere: on paper, in a
message.`,
		Example: `  shadowread log import --log pan.db --entries fixtures/journey/first-truck.csv
  shadowread log check --log pan.db`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if rebuild {
				s.note("nothing_to_rebuild", "--rebuild does nothing any more: positions are worked up from the entries each time")
			}
			return log.opened(cmd.Context(), s, false, func(book *logbook.Log) error {
				r, err := book.Check(cmd.Context())
				if err != nil {
					return err
				}
				if err := printCheckOfLog(s, r); err != nil || r.OK() {
					return err
				}
				return fault.New("log_damaged", "keep a copy of the file as it is; what stands before the first problem may be trusted", "the log has %s", wording.Count(len(r.Problems), "problem"))
			})
		},
	}
	cmd.Flags().SortFlags = false
	// Older versions kept what the work-up came to; who has this in a script may keep it.
	cmd.Flags().BoolVar(&rebuild, "rebuild", false, "does nothing any more")
	cmd.Flags().MarkHidden("rebuild")
	log.add(cmd)
	addJSON(cmd, s)
	return cmd
}

func printCheckOfLog(s *streams, r *logbook.Report) error {
	if s.json {
		return s.printJSON(checkJSON{r.OK(), r.Entries, r.Journeys, r.Schema, r.Head, append([]logbook.Problem{}, r.Problems...)})
	}
	if !s.outTTY {
		t := &table{s: s, pipe: "log"}
		if err := t.row("", "log", strconv.Itoa(r.Entries), strconv.Itoa(r.Journeys), strconv.Itoa(r.Schema), r.Head); err != nil {
			return err
		}
		for _, p := range r.Problems {
			entry := ""
			if p.Entry != 0 {
				entry = strconv.Itoa(p.Entry)
			}
			if err := t.row("", "problem", entry, p.Code, plain(p.Message)); err != nil {
				return err
			}
		}
		return nil
	}
	verdict := s.paint(bold, "nothing is wrong")
	if !r.OK() {
		verdict = s.paint(red, wording.Count(len(r.Problems), "problem"))
	}
	fmt.Fprintf(s.out, "%s: %s in %s\n", verdict, entriesText(r.Entries), wording.Count(r.Journeys, "journey"))
	labelled(s, "last hash", "%s", r.Head)
	for _, p := range r.Problems {
		where := "the log"
		if p.Entry != 0 {
			where = fmt.Sprintf("entry %d", p.Entry)
		}
		fmt.Fprintf(s.out, "%s: %s (%s)\n", where, plain(p.Message), p.Code)
	}
	return nil
}

func entriesText(n int) string {
	return strings.Replace(wording.Count(n, "entry"), "entrys", "entries", 1)
}
