package main

import (
	"fmt"
	"math"

	"github.com/spf13/cobra"

	"shadowread/internal/fault"
)

func newLog(s *streams) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "log VERB",
		Short: "keep the log of a journey: legs, fixes, and where that puts you",
		Long: `Keep the log of a journey and work it up: begin at a known position, log each
change of leg with the odometer, and where you are follows with a 95 % ellipse.
What holds for all of it is stated once (shadowread log settings). A fix shows
how good the day was, and adjusts what came before it.

The heading of a leg holds from its odometer reading to the next leg. An entry
is on the disk when its verb ends, and is never changed: a correction is a new
entry, and the old one stays readable. A photo that gives no heading still makes
an entry, which asks for one.

The log is one SQLite file: --log FILE, else what ` + logVariable + ` names, else
shadowread/log.db in the user's data folder (shadowread help environment).
Several programs may write to it at once. What is kept is in docs/log.md, how it
is worked up in docs/workup.md. The examples are of an invented journey; those
of the verbs go on with a log of it that their first line makes.`,
		Example: `  shadowread log begin --log day.db --position -22.90000,22.30000 --error 15 --odometer 45210.0km --time 2026-08-29T08:05:00+02:00
  shadowread log leg --log day.db --odometer 45210.0 fixtures/journey/29-august/01.jpg
  shadowread log leg --log day.db --odometer 45216.1 fixtures/journey/29-august/02.jpg
  shadowread log halt --log day.db --odometer 45222.6 --time 2026-08-29T09:40:00+02:00
  shadowread log where --log day.db --to -22.81,22.45`,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) == 0 {
				return nil
			}
			return unknownCommand(cmd, args[0])
		},
		RunE: func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	cmd.AddCommand(newLogBegin(s), newLogLeg(s), newLogDetour(s), newLogHalt(s), newLogFix(s), newLogNote(s),
		newLogSettings(s), newLogCorrect(s), newLogRemount(s), newLogTyres(s), newLogNewOdometer(s), newLogList(s), newLogWhere(s),
		newLogImport(s), newLogCheck(s), newLogCopy(s), newLogChart(s), newLogReport(s), newLogExport(s), newLogCompare(s))
	return cmd
}

// entryNumber reads the number of an entry.
func entryNumber(text string) (int, error) {
	q := quantity{least: 1, most: 1e9}
	if err := q.Set(text); err != nil || q.value != math.Trunc(q.value) {
		return 0, fault.Usage("bad_entry", "entries have whole numbers, as shadowread log list shows them", "%.40q is no entry's number", text)
	}
	return int(q.value), nil
}

func oneArg(what, hint string) cobra.PositionalArgs {
	return func(_ *cobra.Command, args []string) error {
		switch {
		case len(args) == 0:
			return fault.Usage("missing_argument", hint, "no %s given", what)
		case len(args) > 1:
			return fault.Usage("unexpected_argument", "", "unexpected argument %q", args[1])
		}
		return nil
	}
}

func waitsFor(entry int) string {
	return fmt.Sprintf("shadowread log correct leg %d --heading DEG --heading-sigma DEG", entry)
}
