package main

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"shadowread/internal/fault"
	"shadowread/internal/logbook"
)

// correction is a verb of shadowread log correct: what kind of entry it corrects, with the
// flags that say something of it.
type correction struct {
	name        string
	kind        logbook.Kind // of the entry; withdrawal for any
	short, long string
	example     string
	add         func(*correctOptions, *cobra.Command, *streams)
}

var corrections = []correction{
	{"leg", logbook.KindLeg, "correct a leg: its heading, distance run, time or note",
		`A leg may get another heading: by hand, which is what a refused photo asks for
and keeps the photo with the leg, by a number, or by a photo, the same one read
with other options too. The time of a leg that was read with the dial can only
be corrected together with its heading, which rests on it; a number read by eye
at the log's estimate, with no record, is read again for it.`,
		`  shadowread log import --log correct.db --entries fixtures/journey/first-truck.csv
  shadowread log correct leg 11 --log correct.db --heading 264 --heading-sigma 3
  shadowread log correct leg 6 --log correct.db --odometer 45235.7 --note "misread by a tenth"`,
		func(o *correctOptions, cmd *cobra.Command, s *streams) {
			o.leg.entry.addAccept(cmd)
			o.leg.add(cmd, s, correctedTime)
		}},
	{"departure", logbook.KindDeparture, "correct a departure: position, odometer, the model",
		`How wrong steering, instrument and odometer may be is part of the departure.`,
		`  shadowread log import --log departed.db --entries fixtures/journey/first-truck.csv
  shadowread log correct departure 1 --log departed.db --position -22.90010,22.30010 --error 10
  shadowread log correct departure 16 --log departed.db --steering-sigma 3`,
		func(o *correctOptions, cmd *cobra.Command, s *streams) {
			o.addSpot(cmd)
			cmd.Flags().Var(&o.leg.way.odometer, "odometer", odometerUsage)
			o.departure.add(cmd)
			o.addTimed(cmd, s)
		}},
	{"fix", logbook.KindFix, "correct a fix: its position, error, distance run, time or note",
		`A fix that was confirmed is to be confirmed again where its position or error is
corrected.`,
		`  shadowread log import --log fixed.db --entries fixtures/journey/first-truck.csv
  shadowread log correct fix 15 --log fixed.db --position -23.08295,22.36010 --error 10`,
		func(o *correctOptions, cmd *cobra.Command, s *streams) {
			o.addSpot(cmd)
			o.addWay(cmd)
			o.addTimed(cmd, s)
		}},
	{"halt", logbook.KindHalt, "correct a halt: distance run, time or note", "", `  shadowread log import --log halted.db --entries fixtures/journey/first-truck.csv
  shadowread log halt --log halted.db --time 2026-08-30T13:00:00+02:00 --odometer 45302.2
  shadowread log correct halt 16 --log halted.db --odometer 45302.0`,
		(*correctOptions).addWayAndTimed},
	{"tyres", logbook.KindTyres, "correct a change of tyres: distance run, time or note", "", `  shadowread log import --log wheels.db --entries fixtures/journey/first-truck.csv
  shadowread log tyres --log wheels.db --time 2026-08-30T13:00:00+02:00 --odometer 45302.2
  shadowread log correct tyres 16 --log wheels.db --odometer 45302.0`,
		(*correctOptions).addWayAndTimed},
	{"new-odometer", logbook.KindOdometerSet, "correct a new odometer: what it read, distance run, time or note", "", `  shadowread log import --log counter.db --entries fixtures/journey/first-truck.csv
  shadowread log new-odometer --log counter.db --time 2026-08-30T13:00:00+02:00 --odometer 45302.2 --reads 0.0
  shadowread log correct new-odometer 16 --log counter.db --reads 0.3`,
		func(o *correctOptions, cmd *cobra.Command, s *streams) {
			cmd.Flags().Var(&o.reads, "reads", "what it read from then on")
			o.addWayAndTimed(cmd, s)
		}},
	{"note", logbook.KindNote, "correct a note: its text or time", "", `  shadowread log import --log noted.db --entries fixtures/journey/first-truck.csv
  shadowread log note --log noted.db --time 2026-08-30T13:00:00+02:00 "tracks cross from the north"
  shadowread log correct note 16 --log noted.db --note "tracks cross from the south"`,
		(*correctOptions).addTimed},
	{"remount", logbook.KindRemount, "correct the time or note of a remounting", "", `  shadowread log import --log mounted.db --entries fixtures/journey/first-truck.csv
  shadowread log remount --log mounted.db --time 2026-08-30T13:00:00+02:00
  shadowread log correct remount 16 --log mounted.db --time 2026-08-30T12:50:00+02:00`,
		(*correctOptions).addTimed},
	{"withdraw", logbook.KindWithdrawal, "take an entry out of the reckoning",
		`Whatever the entry is. A departure, of a journey that was begun by mistake, only
where nothing else stands in its journey; the one before is then the last again.`,
		`  shadowread log import --log withdrawn.db --entries fixtures/journey/first-truck.csv
  shadowread log correct withdraw 13 --log withdrawn.db --note "was of the other truck"`,
		func(o *correctOptions, cmd *cobra.Command, s *streams) {
			o.withdraw = true
			o.leg.entry.addRest(cmd, s)
		}},
}

const correctedTime = "the `TIME`, as 2026-03-14T09:26:53+02:00"

func (o *correctOptions) addSpot(cmd *cobra.Command) {
	o.leg.photo.place.add(cmd.Flags(), "where, as -20.6142,25.4310 or \"20 36.852 S, 25 25.860 E\"")
	cmd.Flags().Var(&o.sigma, "error", "of the position, one sigma on each axis")
	cmd.Flags().StringVar(&o.source, "source", "", "where the position is from, as `TEXT`")
}

func (o *correctOptions) addWay(cmd *cobra.Command) {
	o.leg.way.add(cmd)
	o.leg.way.group(cmd)
}

func (o *correctOptions) addTimed(cmd *cobra.Command, s *streams) {
	o.leg.photo.when.add(cmd.Flags(), correctedTime, "of --time, as +02:00 or 2; east is positive")
	o.leg.entry.addRest(cmd, s)
}

func (o *correctOptions) addWayAndTimed(cmd *cobra.Command, s *streams) {
	o.addWay(cmd)
	o.addTimed(cmd, s)
}

func newCorrectOptions() *correctOptions {
	return &correctOptions{leg: newLegFlags(), sigma: newSpotFlags().sigma, reads: newOdometerFlag(), departure: newDepartureFlags()}
}

func newLogCorrect(s *streams) *cobra.Command {
	o := newCorrectOptions()
	cmd := &cobra.Command{
		Use:   "correct KIND ENTRY",
		Short: "correct an entry by a new one; the old one stays readable",
		Long: `Correct an entry, by its kind and number: what is given takes the place of what
it said, and the rest stays. The correction is an entry of its own; the old one
stays readable (shadowread log list --superseded). It must fit between its
neighbours, in time and by the odometer. A detour is corrected by withdrawing it
and what follows.`,
		Example: `  shadowread log import --log slips.db --entries fixtures/journey/first-truck.csv
  shadowread log correct leg 11 --log slips.db --heading 264 --heading-sigma 3
  shadowread log correct withdraw 13 --log slips.db --note "was of the other truck"`,
		Args: entryArgs(true),
		RunE: func(cmd *cobra.Command, args []string) error { return o.run(cmd, s, "", args) },
	}
	// Until the next version everything may still be said without the kind.
	f := cmd.Flags()
	f.SortFlags = false
	f.BoolVar(&o.withdraw, "withdraw", false, "take the entry out of the reckoning")
	o.leg.entry.addAccept(cmd)
	o.leg.add(cmd, s, correctedTime)
	f.Var(&o.sigma, "error", "of a departure's or a fix's position, one sigma on each axis")
	f.StringVar(&o.source, "source", "", "where that position is from, as `TEXT`")
	f.Var(&o.reads, "reads", "of a new odometer: what it read from then on")
	o.departure.add(cmd)
	f.VisitAll(func(f *pflag.Flag) { f.Hidden = true })
	for _, c := range corrections {
		cmd.AddCommand(newCorrection(s, c))
	}
	return cmd
}

func newCorrection(s *streams, c correction) *cobra.Command {
	o := newCorrectOptions()
	use := c.name + " ENTRY"
	var kinds []logbook.Kind
	if c.kind != logbook.KindWithdrawal {
		kinds = append(kinds, c.kind)
	}
	if c.kind == logbook.KindLeg {
		use += " [PHOTO]"
	}
	cmd := &cobra.Command{
		Use: use, Short: c.short, Long: "Correct an entry: what is given takes the place of what it said, and the rest\nstays.",
		Example: c.example, Args: entryArgs(c.kind == logbook.KindLeg), ValidArgsFunction: completeEntries(s, &o.leg.entry.log, kinds...),
		RunE: func(cmd *cobra.Command, args []string) error { return o.run(cmd, s, c.kind, args) },
	}
	if c.kind == logbook.KindWithdrawal {
		cmd.Long = "Take an entry out of the reckoning; it stays readable."
	}
	if c.long != "" {
		cmd.Long += "\n\n" + c.long
	}
	cmd.Flags().SortFlags = false
	c.add(o, cmd, s)
	return cmd
}

// entryArgs takes an entry's number, and perhaps a photo.
func entryArgs(photo bool) cobra.PositionalArgs {
	return func(_ *cobra.Command, args []string) error {
		switch {
		case len(args) == 0:
			return fault.Usage("no_entry_given", "give its number, as shadowread log list shows it", "the entry to correct is not given")
		case !photo && len(args) > 1:
			return fault.Usage("unexpected_argument", "", "unexpected argument %q", args[1])
		}
		return onePhoto(nil, args[1:])
	}
}

// run corrects an entry of a kind, "" for whatever it is.
func (o *correctOptions) run(cmd *cobra.Command, s *streams, kind logbook.Kind, args []string) error {
	number, err := entryNumber(args[0])
	if err != nil {
		return err
	}
	if err := o.leg.consistent(cmd, args[1:]); err != nil {
		return err
	}
	return o.leg.entry.writeUntimed(cmd, s, false, func(ctx context.Context, w writing) (logbook.Added, error) {
		book := w.book
		old, err := book.Entry(ctx, number)
		if err != nil {
			return logbook.Added{}, err
		}
		book.GoOnWith(old.Journey)
		switch {
		case kind == "":
			s.note("old_spelling", "from the next version on this is said %s", o.newSpelling(old))
		case kind != logbook.KindWithdrawal && kind != old.Kind():
			return logbook.Added{}, fault.Usage("not_of_this_entry", "say "+o.newSpelling(old), "entry %d is a %s", number, strings.ReplaceAll(string(old.Kind()), "_", " "))
		}
		return o.correct(cmd, s, book, old, args[1:])
	})
}

// newSpelling is how the correction of an entry begins.
func (o *correctOptions) newSpelling(old *logbook.Entry) string {
	verb := "withdraw"
	for _, c := range corrections {
		if c.kind == old.Kind() && !o.withdraw {
			verb = c.name
		}
	}
	return fmt.Sprintf("shadowread log correct %s %d", verb, old.Number)
}
