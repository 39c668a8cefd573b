package main

import (
	"context"
	"fmt"
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
	reads     inUnit[logbook.Odometer]
	departure departureFlags
	withdraw  bool
}

// correct writes the correction of an entry.
func (o *correctOptions) correct(cmd *cobra.Command, s *streams, book *logbook.Log, old *logbook.Entry, args []string) (logbook.Added, error) {
	ctx := cmd.Context()
	set, err := o.settingsAt(ctx, book, old)
	if err != nil {
		return logbook.Added{}, err
	}
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
	at.Offset = o.leg.photo.when.stated()
	if err := o.leg.way.check(cmd); err != nil {
		return logbook.Added{}, err
	}
	run := o.leg.way.run(set.UnitOr())
	if leg, ok := old.Content.(*logbook.Leg); ok {
		return o.correctLeg(cmd, s, writing{book, at, set}, old, leg, run, args)
	}
	what, takes := "a "+string(old.Kind()), flagsOf[old.Kind()]
	switch {
	case takes == nil:
		return logbook.Added{}, fault.New("bad_correction", fmt.Sprintf("withdraw it, shadowread log correct withdraw %d, and log what was meant", old.Number),
			"a %s cannot be corrected in part", old.Kind())
	case old.Kind() == logbook.KindOdometerSet:
		what = "a new odometer"
	}
	if err := o.only(cmd, what, args, takes...); err != nil {
		return logbook.Added{}, err
	}
	switch c := old.Content.(type) {
	case *logbook.Departure:
		return o.correctDeparture(cmd, s, writing{book, at, set}, c, run)
	case *logbook.Fix:
		return o.correctFix(cmd, s, book, c, at, run)
	case *logbook.Halt:
		return book.Halt(ctx, at, logbook.Halt{Run: run})
	case *logbook.Tyres:
		return book.Tyres(ctx, at, logbook.Tyres{Run: run})
	case *logbook.OdometerSet:
		if o.reads.set {
			c.After = o.reads.in(set.UnitOr())
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

// settingsAt is what held where an entry was made.
func (o *correctOptions) settingsAt(ctx context.Context, book *logbook.Log, old *logbook.Entry) (logbook.Settings, error) {
	set, err := book.SettingsAt(ctx, old.Number)
	o.leg.photo.when.journeys = set.UTCOffset
	return set, err
}

func (o *correctOptions) correctDeparture(cmd *cobra.Command, s *streams, w writing, c *logbook.Departure, run logbook.Run) (_ logbook.Added, err error) {
	if c.Position, c.Sigma, err = o.spot(cmd, s, c.Position, c.Sigma); err != nil {
		return logbook.Added{}, err
	}
	if cmd.Flags().Changed("source") {
		c.Source = o.source
	}
	if run.Odometer != nil {
		c.Odometer = run.Odometer
	}
	o.departure.apply(c, w.set.UnitOr())
	return w.book.Begin(cmd.Context(), w.at, *c)
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
	if err == nil && !says && !o.withdraw {
		return fault.Usage("nothing_to_correct", "give what is to be different, or withdraw it: shadowread log correct withdraw ENTRY", "nothing was given to correct")
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
func (o *correctOptions) correctLeg(cmd *cobra.Command, s *streams, w writing, old *logbook.Entry, c *logbook.Leg, run logbook.Run, args []string) (logbook.Added, error) {
	for _, name := range append([]string{"error", "source", "reads"}, modelNames...) {
		if cmd.Flags().Changed(name) {
			return logbook.Added{}, fault.Usage("not_of_this_entry", "see the help for what a leg takes", "--%s says nothing of a leg", name)
		}
	}
	if len(args) > 0 || o.leg.number.number.set || o.leg.heading.set {
		if err := o.keepRest(cmd, s, w, old, c); err != nil {
			return logbook.Added{}, err
		}
		return o.leg.log(cmd, s, w, args, run, nil)
	}
	if err := o.only(cmd, "a leg whose heading stays", nil, slices.Concat(timedNames, wayNames)...); err != nil {
		return logbook.Added{}, err
	}
	if c.Reading != nil && !w.at.Time.IsZero() {
		again, err := o.numberAgain(cmd, s, w.book, old, c)
		if err != nil {
			return logbook.Added{}, err
		}
		if again {
			return o.leg.log(cmd, s, w, nil, run, nil)
		}
		return logbook.Added{}, fault.Usage("time_of_a_reading", "give the photo or --number again, with --time, or --heading with its sigma",
			"the heading of entry %d was computed for its time", old.Number)
	}
	if c.NeedsHeading() && c.Photo == nil {
		return logbook.Added{}, fault.New("bad_correction", "give it --heading and --heading-sigma, or a photo, or --number", "entry %d has no heading yet", old.Number)
	}
	return w.book.KeepHeading(cmd.Context(), w.at, run)
}
