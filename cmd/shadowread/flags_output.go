package main

import (
	"bytes"
	"context"
	"io"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"shadowread/internal/fault"
	"shadowread/internal/logbook"
)

// outputFlags is what verbs take that hand a journey over as a file.
type outputFlags struct {
	log     logFlag
	journey quantity
	output  string
	title   string
	force   bool
}

func newOutputFlags() outputFlags { return outputFlags{journey: newJourneyFlag()} }

func (o *outputFlags) add(cmd *cobra.Command, s *streams, fileUsage, titleUsage string) {
	f := cmd.Flags()
	f.SortFlags = false
	f.StringVarP(&o.output, "output", "o", "", fileUsage+"; required")
	f.StringVar(&o.title, "title", "", titleUsage)
	f.Var(&o.journey, "journey", journeyUsage)
	f.BoolVarP(&o.force, "force", "f", false, "replace a file that is there")
	o.log.add(cmd)
	addJSON(cmd, s)
}

// ending is that of the output, which says what is written.
func (o *outputFlags) ending(known ...string) (string, error) {
	ending := strings.ToLower(filepath.Ext(o.output))
	for _, k := range known {
		if ending == k {
			return ending, mayWrite(o.output, o.force)
		}
	}
	hint := "the ending says what is written: " + strings.Join(known, ", ")
	if o.output == "" {
		return "", fault.Usage("no_output", "give -o FILE; "+hint, "no file given")
	}
	return "", fault.Usage("bad_format", hint, "%s ends in no format", o.output)
}

// titleOf is the title that is given, else the journey's name; "" where it has none.
func (o *outputFlags) titleOf(ctx context.Context, book *logbook.Log, journey int) (string, error) {
	if o.title != "" {
		return o.title, nil
	}
	set, err := book.SettingsOf(ctx, journey)
	if err != nil || set.Name == nil {
		return "", err
	}
	return *set.Name, nil
}

// write composes the file before it makes it.
func (o *outputFlags) write(cmd *cobra.Command, s *streams, compose func(book *logbook.Log, w io.Writer) error) error {
	return o.log.with(cmd.Context(), s, false, func(book *logbook.Log) error {
		var b bytes.Buffer
		if err := compose(book, &b); err != nil {
			return err
		}
		if err := cmd.Context().Err(); err != nil {
			return err
		}
		return writeComposed(s, o.force, composed{o.output, &b})
	})
}
