package main

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"time"

	"github.com/spf13/cobra"

	"shadowread/internal/fault"
	"shadowread/internal/geo"
	"shadowread/internal/logbook"
	"shadowread/internal/logimport"
	"shadowread/internal/wording"
	"shadowread/internal/workup"
)

// logVariable names a log where --log does not.
const logVariable = "SHADOWREAD_LOG"

func newLog(s *streams) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "log VERB",
		Short: "keep the log of a journey: legs, fixes, and where that puts you",
		Long: `Keep the log of a journey and work it up: begin at a known position, log each
change of leg with the odometer, and where you are follows with a 95 % ellipse.
A fix shows how good the day was, and adjusts what came before it.

The heading of a leg holds from its odometer reading to the next leg. An entry
is on the disk when its verb ends, and is never changed: a correction is a new
entry, and the old one stays readable. A photo that gives no heading still makes
an entry, which asks for one.

The log is one SQLite file: --log FILE, else what ` + logVariable + ` names, else
shadowread/log.db under XDG_DATA_HOME (or .local/share at home). Several
programs may write to it at once. What is kept is in docs/log.md, how it is
worked up in docs/workup.md.` +
			exits(exitOK, exitError, exitUsage, exitRefused, exitInterrupted),
		Example: `  shadowread log begin --position -20.6142,25.4310 --error 15 --odometer 45210.0
  shadowread log leg --odometer 45218.4 photo.jpg
  shadowread log where --to -20.7,25.9`,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) == 0 {
				return nil
			}
			return unknownCommand(cmd, args[0])
		},
		RunE: func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	cmd.AddCommand(newLogBegin(s), newLogLeg(s), newLogDetour(s), newLogHalt(s), newLogFix(s), newLogNote(s),
		newLogCorrect(s), newLogRemount(s), newLogTyres(s), newLogNewOdometer(s), newLogList(s), newLogWhere(s),
		newLogImport(s), newLogCheck(s), newLogCopy(s), newLogChart(s), newLogReport(s), newLogExport(s), newLogCompare(s))
	return cmd
}

// logFlag is --log.
type logFlag struct{ file string }

func (l *logFlag) add(cmd *cobra.Command) {
	cmd.Flags().StringVar(&l.file, "log", "", "the log's `FILE` (default what "+logVariable+" names, else shadowread/log.db in the user's data folder)")
}

// with opens the log and calls f with it. Only to begin a journey may it be made.
func (l *logFlag) with(ctx context.Context, s *streams, create bool, f func(*logbook.Log) error) error {
	path := cmp.Or(l.file, s.log)
	if path == "" {
		var err error
		if path, err = logbook.DefaultPath(); err != nil {
			return err
		}
	}
	book, err := logbook.Open(ctx, path, logbook.Options{Create: create})
	if err != nil {
		return err
	}
	s.note("log", "the log is %s", path)
	err = f(book)
	if e := book.Close(); err == nil {
		err = e
	}
	return err
}

// entryFlags is what every verb that writes an entry takes.
type entryFlags struct {
	log  logFlag
	when when
	note string
}

func (e *entryFlags) add(cmd *cobra.Command, s *streams) {
	e.when.add(cmd.Flags(), "the `TIME` of the entry, as 2026-03-14T09:26:53+02:00 (default now)", "of --time, as +02:00 or 2; east is positive")
	e.addRest(cmd, s)
}

// addRest leaves out the time, for verbs that have it by other flags.
func (e *entryFlags) addRest(cmd *cobra.Command, s *streams) {
	cmd.Flags().StringVar(&e.note, "note", "", "a `TEXT` to keep with the entry")
	e.log.add(cmd)
	addJSON(cmd, s)
}

// orNow is the machine's clock where no time was given, whole seconds of it.
func orNow(given *time.Time) time.Time {
	if given == nil {
		return time.Now().UTC().Truncate(time.Second)
	}
	return *given
}

func newLengthFlag() parsed[geo.Metres] {
	return parsed[geo.Metres]{name: "LENGTH", parse: logimport.ParseLength}
}

func newSpeedFlag() parsed[workup.MetresPerSecond] {
	return parsed[workup.MetresPerSecond]{name: "SPEED", parse: logimport.ParseSpeed}
}

func newOdometerFlag() parsed[logbook.Odometer] {
	return parsed[logbook.Odometer]{name: "READING", parse: logimport.ParseReading}
}

const odometerUsage = "what the odometer reads, as it stands there: 45218.4, or with mi or nmi behind it where it does not count km"

// wayFlags is the way since the entry before.
type wayFlags struct {
	odometer      parsed[logbook.Odometer]
	rolled        quantity
	speed         parsed[workup.MetresPerSecond]
	speedSigma    parsed[workup.MetresPerSecond]
	underWay      time.Duration
	distance      parsed[geo.Metres]
	distanceSigma parsed[geo.Metres]
	stood         bool
}

func newWayFlags() wayFlags {
	return wayFlags{
		odometer: newOdometerFlag(), rolled: quantity{min: 1, max: 9}, speed: newSpeedFlag(), speedSigma: newSpeedFlag(),
		distance: newLengthFlag(), distanceSigma: newLengthFlag(),
	}
}

func (w *wayFlags) add(cmd *cobra.Command) {
	f := cmd.Flags()
	f.Var(&w.odometer, "odometer", odometerUsage)
	f.Var(&w.rolled, "rolled-over", "confirm that the odometer has passed its last number: how many digits it shows before the point")
	f.Var(&w.speed, "speed", "in place of the odometer: the mean speed, as 20km/h, 12mph or 8kn")
	f.Var(&w.speedSigma, "speed-sigma", "one sigma of --speed (default a tenth of it)")
	f.DurationVar(&w.underWay, "under-way", 0, "how long at --speed, as 1h20m (default all the time since the entry before)")
	f.Var(&w.distance, "distance", "in place of the odometer: how far since the entry before, as 12.5km, 8mi or 900m")
	f.Var(&w.distanceSigma, "distance-sigma", "one sigma of --distance (default a tenth of it)")
	f.BoolVar(&w.stood, "stood", false, "nothing was run since the entry before")
}

// wayNames are the flags' names.
var wayNames = []string{"odometer", "rolled-over", "speed", "speed-sigma", "under-way", "distance", "distance-sigma", "stood"}

// run is the way as the log wants it; it is for the log to say that there is none.
func (w *wayFlags) run(cmd *cobra.Command) (run logbook.Run, err error) {
	for _, pair := range [][2]string{{"speed", "distance"}, {"speed", "stood"}, {"distance", "stood"}} {
		if err := exclusive(cmd, pair[0], pair[1]); err != nil {
			return run, err
		}
	}
	for _, pair := range [][2]string{{"rolled-over", "odometer"}, {"speed-sigma", "speed"}, {"under-way", "speed"}, {"distance-sigma", "distance"}} {
		if cmd.Flags().Changed(pair[0]) && !cmd.Flags().Changed(pair[1]) {
			return run, fault.Usage("flag_without_other", "give --"+pair[1]+" too", "--%s has no meaning without --%s", pair[0], pair[1])
		}
	}
	if w.odometer.set {
		o := w.odometer.value
		o.RolledOver = int(w.rolled.value)
		run.Odometer = &o
	}
	if w.speed.set {
		run.Speed = &logbook.Speed{Mean: w.speed.value, Sigma: w.speedSigma.value, For: w.underWay}
	}
	if w.distance.set {
		run.Distance = &logbook.Distance{Length: w.distance.value, Sigma: w.distanceSigma.value}
	}
	run.Stood = w.stood
	return run, nil
}

// spotFlags is a position with its error, of a departure or a fix.
type spotFlags struct {
	place  place
	error  quantity
	source string
}

func newSpotFlags() spotFlags { return spotFlags{error: quantity{min: 0.1, max: 1e6, unit: "m"}} }

func (p *spotFlags) add(cmd *cobra.Command) {
	p.place.add(cmd.Flags(), "where, as -20.6142,25.4310 or \"20 36.852 S, 25 25.860 E\"")
	cmd.Flags().Var(&p.error, "error", "of the position, one sigma on each axis")
	cmd.Flags().StringVar(&p.source, "source", "", "where the position is from, as `TEXT`: receiver, map")
}

var spotNames = []string{"position", "error", "source"}

// given returns the position and its sigma.
func (p *spotFlags) given(s *streams) (geo.Position, geo.Metres, error) {
	switch {
	case !p.place.set:
		return geo.Position{}, 0, fault.Usage("no_position", "give --position LAT,LON, as -20.6142,25.4310", "no position given")
	case !p.error.set:
		return geo.Position{}, 0, fault.Usage("no_error", "give --error METRES, one sigma on each axis: some 5 for a receiver, a millimetre of a map on its ground", "how far the position may be out is not given")
	}
	return p.place.value, p.within(s, geo.Metres(p.error.value)), nil
}

// within returns the sigma of the position with that of how it was written.
func (p *spotFlags) within(s *streams, sigma geo.Metres) geo.Metres {
	sigma, coarse := geo.WithRounding(p.place.text, sigma)
	if coarse {
		s.note("position_rounded", "with its last digit the position is good to %s only; give more digits if you know them", wording.Length(sigma))
	}
	return sigma
}

// write opens the log, writes one entry of the given time, by default now, and prints
// what became of it.
func (e *entryFlags) write(cmd *cobra.Command, s *streams, create bool, add func(context.Context, *logbook.Log, logbook.At) (logbook.Added, error)) error {
	given, err := e.when.at()
	if err != nil {
		return err
	}
	return e.writeUntimed(cmd, s, create, func(ctx context.Context, l *logbook.Log) (logbook.Added, error) {
		return add(ctx, l, logbook.At{Time: orNow(given), Note: e.note})
	})
}

// writeUntimed is the same for verbs that have the time another way.
func (e *entryFlags) writeUntimed(cmd *cobra.Command, s *streams, create bool, add func(context.Context, *logbook.Log) (logbook.Added, error)) error {
	return e.log.with(cmd.Context(), s, create, func(l *logbook.Log) error {
		added, err := add(cmd.Context(), l)
		if err != nil {
			return err
		}
		return printAdded(s, added)
	})
}

// entryNumber reads the number of an entry.
func entryNumber(text string) (int, error) {
	q := quantity{min: 1, max: 1e9}
	if err := q.Set(text); err != nil || q.value != math.Trunc(q.value) {
		return 0, fault.Usage("bad_entry", "entries have whole numbers, as shadowread log list shows them", "%q is no entry's number", text)
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

// newJourneyFlag is --journey.
func newJourneyFlag() quantity { return quantity{min: 1, max: 1e9} }

const journeyUsage = "the number of the journey (default the last)"

func waitsFor(entry int) string {
	return fmt.Sprintf("shadowread log correct %d --heading DEG --heading-sigma DEG", entry)
}
