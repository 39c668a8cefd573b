package main

import (
	"context"
	"strconv"
	"time"

	"github.com/spf13/cobra"

	"shadowread/internal/fault"
	"shadowread/internal/logbook"
	"shadowread/internal/wording"
	"shadowread/internal/workup"
)

func newLogList(s *streams) *cobra.Command {
	var (
		log                  logFlag
		journey              = newJourneyFlag()
		superseded, journeys bool
	)
	cmd := &cobra.Command{
		Use:   "list",
		Short: "list the entries of a journey, with where the work-up puts each",
		Long: `List the entries of a journey in their order, each with its position as adjusted
by all fixes and the 95 % ellipse. Entries that wait for a heading, and fixes
that are not used, stand out. With --superseded what was corrected or withdrawn
stands there too.`,
		Example: `  shadowread log import --log pan.db --entries fixtures/journey/first-truck.csv
  shadowread log list --log pan.db
  shadowread log list --log pan.db --superseded --json
  shadowread log list --log pan.db --journeys`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			for _, name := range []string{"journey", "superseded"} {
				if err := exclusive(cmd, "journeys", name); err != nil {
					return err
				}
			}
			return log.with(cmd.Context(), s, false, func(book *logbook.Log) error {
				if journeys {
					return listJourneys(cmd, s, book)
				}
				return listEntries(cmd, s, book, int(journey.value), superseded)
			})
		},
	}
	f := cmd.Flags()
	f.SortFlags = false
	f.Var(&journey, "journey", journeyUsage)
	f.BoolVar(&superseded, "superseded", false, "entries that were corrected or withdrawn too")
	f.BoolVar(&journeys, "journeys", false, "the journeys in the log instead")
	log.add(cmd)
	addJSON(cmd, s)
	return cmd
}

func listEntries(cmd *cobra.Command, s *streams, book *logbook.Log, journey int, superseded bool) error {
	ctx := cmd.Context()
	now, err := book.Snapshot(ctx, journey)
	if superseded && fault.Code(err) == "no_journey" { // one that was withdrawn stays readable
		var entries []logbook.Entry
		if entries, err = book.List(ctx, journey, true); err == nil {
			now = &logbook.Snapshot{Track: &logbook.Track{}, Entries: entries}
		}
	}
	if err != nil {
		return err
	}
	set, err := book.SettingsOf(ctx, journey)
	if err != nil && fault.Code(err) != "no_journey" {
		return err
	}
	at := map[int]*workup.Point{}
	for _, p := range now.Track.Points {
		at[p.Entry.Number] = p.At
	}
	var list []listed
	offsets := logbook.Offsets(now.Entries)
	for i := range now.Entries {
		if e := &now.Entries[i]; superseded || e.Stands() {
			shown, err := shownOf(ctx, book, e)
			if err != nil {
				return err
			}
			list = append(list, listed{e, at[e.Number], shown, offsets[i], &set})
		}
	}
	if err := printList(s, list); err != nil {
		return err
	}
	for _, l := range now.Track.Lost {
		s.note("position_lost", "there was no estimated position from there on: %s", l.Error())
	}
	return nil
}

// shownOf is what the dial showed at an entry; nothing for one that is not by the dial.
func shownOf(ctx context.Context, book *logbook.Log, e *logbook.Entry) (shown logbook.DialReading, err error) {
	l, ok := e.Content.(*logbook.Leg)
	if !ok || l.Reading == nil {
		return shown, nil
	}
	reading, err := book.Reading(ctx, e.Number)
	return logbook.Shown(reading), err
}

type journeyJSON struct {
	Journey int      `json:"journey"`
	Began   string   `json:"began_utc"`
	From    spotJSON `json:"from"`
	Entries int      `json:"entries"`
	Note    string   `json:"note"`
}

func listJourneys(cmd *cobra.Command, s *streams, book *logbook.Log) error {
	journeys, err := book.Journeys(cmd.Context())
	if err != nil {
		return err
	}
	t := table{s: s, pipe: "journeys", columns: []column{{head: "journey", right: true}, {head: "began", width: 19}, {head: "from", width: 21}, {head: "entries", right: true}, {head: "notes"}}}
	for _, j := range journeys {
		d := j.Departure.Content.(*logbook.Departure)
		if s.json {
			if err := s.printJSON(journeyJSON{j.Number, j.Departure.Time.UTC().Format(time.RFC3339Nano), *spotOf(d.Position, d.Sigma), j.Entries, j.Departure.Note}); err != nil {
				return err
			}
			continue
		}
		cells := []string{strconv.Itoa(j.Number), j.Departure.Time.UTC().Format(time.RFC3339Nano), d.Position.String(), strconv.Itoa(j.Entries), plain(j.Departure.Note)}
		if s.outTTY {
			cells[1] = wording.LocalTime(j.Departure.Time, j.Departure.Offset)
		}
		if err := t.row("", cells...); err != nil {
			return err
		}
	}
	return nil
}
