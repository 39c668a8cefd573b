package main

import (
	"context"
	"slices"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"shadowread/internal/fault"
	"shadowread/internal/geo"
	"shadowread/internal/logbook"
	"shadowread/internal/wording"
)

// correctOptions is what may be wrong in an entry.
type correctOptions struct {
	leg       legFlags
	sigma     quantity
	source    string
	reads     parsed[logbook.Odometer]
	departure departureFlags
	withdraw  bool
}

func newLogCorrect(s *streams) *cobra.Command {
	o := correctOptions{leg: newLegFlags(), sigma: newSpotFlags().sigma, reads: newOdometerFlag(), departure: newDepartureFlags()}
	cmd := &cobra.Command{
		Use:   "correct ENTRY [PHOTO]",
		Short: "correct an entry by a new one; the old one stays readable",
		Long: `Correct an entry: what is given takes the place of what it said, and the rest
stays. The correction is an entry of its own; the old one stays readable
(shadowread log list --superseded). It must fit between its neighbours, in time
and by the odometer.

A leg may get another heading: by hand, which is what a refused photo asks for
and keeps the photo with the leg, by a number, or by a photo, the same one read
with other options too. The time of a leg that was read with the dial can only
be corrected together with its heading, which rests on it. A detour is corrected
by withdrawing it and what follows.

--withdraw takes the entry out of the reckoning. To put in a leg that was
forgotten, withdraw the entries after it and log all again in their order.` +
			exits(exitOK, exitError, exitUsage, exitRefused, exitInterrupted),
		Example: `  shadowread log import --log correct.db --entries fixtures/journey/first-truck.csv
  shadowread log correct 11 --log correct.db --heading 264 --heading-sigma 3
  shadowread log correct 6 --log correct.db --odometer 45235.7 --note "misread by a tenth"
  shadowread log correct 1 --log correct.db --position -22.90010,22.30010 --error 10
  shadowread log correct 13 --log correct.db --withdraw --note "was of the other truck"`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) == 0 {
				return fault.Usage("no_entry_given", "give its number, as shadowread log list shows it", "the entry to correct is not given")
			}
			return onePhoto(nil, args[1:])
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			number, err := entryNumber(args[0])
			if err != nil {
				return err
			}
			if err := o.leg.consistent(cmd, args[1:]); err != nil {
				return err
			}
			return o.leg.entry.writeUntimed(cmd, s, false, func(ctx context.Context, book *logbook.Log) (logbook.Added, error) {
				old, err := book.Entry(ctx, number)
				if err != nil {
					return logbook.Added{}, err
				}
				return o.correct(cmd, s, book, old, args[1:])
			})
		},
	}
	f := cmd.Flags()
	f.SortFlags = false
	f.BoolVar(&o.withdraw, "withdraw", false, "take the entry out of the reckoning")
	o.leg.add(cmd, s, "the `TIME`, as 2026-03-14T09:26:53+02:00")
	f.Lookup("position").Usage = "of a departure, a fix, or a photo: where, as -20.6142,25.4310"
	f.Var(&o.sigma, "error", "of a departure's or a fix's position, one sigma on each axis")
	f.StringVar(&o.source, "source", "", "where that position is from, as `TEXT`")
	f.Var(&o.reads, "reads", "of a new odometer: what it read from then on")
	o.departure.add(cmd)
	return cmd
}

// correct writes the correction of an entry.
func (o *correctOptions) correct(cmd *cobra.Command, s *streams, book *logbook.Log, old *logbook.Entry, args []string) (logbook.Added, error) {
	ctx := cmd.Context()
	at := logbook.At{Note: old.Note, Supersedes: old.Number}
	if cmd.Flags().Changed("note") {
		at.Note = o.leg.entry.note
	}
	if o.withdraw {
		if err := o.only(cmd, "a withdrawal", args, "withdraw", "note"); err != nil {
			return logbook.Added{}, err
		}
		return book.Withdraw(ctx, old.Number, o.leg.entry.note)
	}
	t, err := o.leg.photo.when.at()
	if err != nil {
		return logbook.Added{}, err
	}
	if t != nil {
		at.Time = *t
	}
	run, err := o.leg.way.run(cmd)
	if err != nil {
		return logbook.Added{}, err
	}
	if leg, ok := old.Content.(*logbook.Leg); ok {
		return o.correctLeg(cmd, s, book, old, leg, at, run, args)
	}
	what, takes := "a "+string(old.Kind()), flagsOf[old.Kind()]
	switch {
	case takes == nil:
		return logbook.Added{}, fault.New("bad_correction", "withdraw it with --withdraw, and log what was meant",
			"a %s cannot be corrected in part", old.Kind())
	case old.Kind() == logbook.KindOdometerSet:
		what = "a new odometer"
	}
	if err := o.only(cmd, what, args, takes...); err != nil {
		return logbook.Added{}, err
	}
	switch c := old.Content.(type) {
	case *logbook.Departure:
		return o.correctDeparture(cmd, s, book, c, at, run)
	case *logbook.Fix:
		return o.correctFix(cmd, s, book, c, at, run)
	case *logbook.Halt:
		return book.Halt(ctx, at, logbook.Halt{Run: run})
	case *logbook.Tyres:
		return book.Tyres(ctx, at, logbook.Tyres{Run: run})
	case *logbook.OdometerSet:
		if o.reads.set {
			c.After = o.reads.value
		}
		return book.SetOdometer(ctx, at, logbook.OdometerSet{Run: run, After: c.After})
	case *logbook.Remount:
		return book.Remount(ctx, at)
	}
	return book.Note(ctx, at)
}

// flagsOf are the flags that say something of each kind of entry but a leg; a detour, and
// what withdraws, is not corrected in part.
var (
	timedNames = []string{"time", "utc-offset", "note"}
	flagsOf    = map[logbook.Kind][]string{
		logbook.KindDeparture:   slices.Concat(timedNames, spotNames, modelNames, []string{"odometer"}),
		logbook.KindFix:         slices.Concat(timedNames, wayNames, spotNames),
		logbook.KindHalt:        slices.Concat(timedNames, wayNames),
		logbook.KindTyres:       slices.Concat(timedNames, wayNames),
		logbook.KindOdometerSet: slices.Concat(timedNames, wayNames, []string{"reads"}),
		logbook.KindNote:        timedNames,
		logbook.KindRemount:     timedNames,
	}
)

func (o *correctOptions) correctDeparture(cmd *cobra.Command, s *streams, book *logbook.Log, c *logbook.Departure, at logbook.At, run logbook.Run) (_ logbook.Added, err error) {
	if c.Position, c.Sigma, err = o.spot(cmd, s, c.Position, c.Sigma); err != nil {
		return logbook.Added{}, err
	}
	if cmd.Flags().Changed("source") {
		c.Source = o.source
	}
	if run.Odometer != nil {
		c.Odometer = run.Odometer
	}
	o.departure.apply(c)
	return book.Begin(cmd.Context(), at, *c)
}

func (o *correctOptions) correctFix(cmd *cobra.Command, s *streams, book *logbook.Log, c *logbook.Fix, at logbook.At, run logbook.Run) (_ logbook.Added, err error) {
	given := cmd.Flags().Changed
	if c.Position, c.Sigma, err = o.spot(cmd, s, c.Position, c.Sigma); err != nil {
		return logbook.Added{}, err
	}
	if given("source") {
		c.Source = o.source
	}
	if run != (logbook.Run{}) {
		c.Run = run
	}
	c.Confirmed = c.Confirmed && !given("position") && !given("error") // that was said of another
	return book.Fix(cmd.Context(), at, *c)
}

// only refuses flags that say nothing of an entry, and a correction without any.
func (o *correctOptions) only(cmd *cobra.Command, what string, args []string, names ...string) (err error) {
	if len(args) > 0 {
		return fault.Usage("not_of_this_entry", "only a leg has a photo", "%s takes no photo", what)
	}
	says := false
	cmd.Flags().Visit(func(f *pflag.Flag) {
		switch {
		case slices.Contains([]string{"log", "json", "quiet"}, f.Name) || err != nil:
		case slices.Contains(names, f.Name):
			says = true
		default:
			err = fault.Usage("not_of_this_entry", "it takes "+flagList(names), "--%s says nothing of %s", f.Name, what)
		}
	})
	if err == nil && !says {
		return fault.Usage("nothing_to_correct", "give what is to be different, or --withdraw", "nothing was given to correct")
	}
	return err
}

func flagList(names []string) string {
	text := ""
	for i, n := range names {
		switch {
		case i == 0:
		case i == len(names)-1:
			text += " and "
		default:
			text += ", "
		}
		text += "--" + n
	}
	return text
}

// spot is a position with its error, where given anew.
func (o *correctOptions) spot(cmd *cobra.Command, s *streams, p geo.Position, sigma geo.Metres) (geo.Position, geo.Metres, error) {
	given := cmd.Flags().Changed
	switch {
	case given("position"):
		spot := spotFlags{place: o.leg.photo.place, sigma: o.sigma}
		if !given("error") { // that of the entry stays, like all that is not given
			s.note("error_stays", "the position's error stays %s; if it is another, give --error", wording.Length(sigma))
			return spot.place.value, spot.within(s, sigma), nil
		}
		return spot.given(s)
	case given("error"):
		return p, geo.Metres(o.sigma.value), nil
	}
	return p, sigma, nil
}

// correctLeg gives a leg another heading, or keeps its own and what is kept beside it.
func (o *correctOptions) correctLeg(cmd *cobra.Command, s *streams, book *logbook.Log, old *logbook.Entry, c *logbook.Leg, at logbook.At, run logbook.Run, args []string) (logbook.Added, error) {
	for _, name := range append([]string{"error", "source", "reads"}, modelNames...) {
		if cmd.Flags().Changed(name) {
			return logbook.Added{}, fault.Usage("not_of_this_entry", "see the help for what a leg takes", "--%s says nothing of a leg", name)
		}
	}
	if len(args) > 0 || o.leg.number.number.set || o.leg.heading.set {
		return o.leg.log(cmd, s, book, args, at, run, nil)
	}
	if err := o.only(cmd, "a leg whose heading stays", nil, slices.Concat(timedNames, wayNames)...); err != nil {
		return logbook.Added{}, err
	}
	if c.Reading != nil && !at.Time.IsZero() {
		return logbook.Added{}, fault.Usage("time_of_a_reading", "give the photo or --number again, with --time, or --heading with its sigma",
			"the heading of entry %d was computed for its time", old.Number)
	}
	if c.NeedsHeading() && c.Photo == nil {
		return logbook.Added{}, fault.New("bad_correction", "give it --heading and --heading-sigma, or a photo, or --number", "entry %d has no heading yet", old.Number)
	}
	return book.KeepHeading(cmd.Context(), at, run)
}
