package main

import (
	"os"
	"time"

	"github.com/spf13/cobra"

	"shadowread/internal/fault"
	"shadowread/internal/geo"
	"shadowread/internal/logbook"
	"shadowread/internal/logimport"
	"shadowread/internal/workup"
)

// inUnit is a flag whose bare number means the journey's unit, which is known once the log
// is open.
type inUnit[T any] struct {
	set   bool
	text  string
	name  string // in the help
	parse func(string, logbook.Unit) (T, error)
}

func (q *inUnit[T]) Set(s string) error {
	if _, err := q.parse(s, logbook.Kilometres); err != nil { // what is wrong is so in any unit
		return err
	}
	q.text, q.set = s, true
	return nil
}

func (q *inUnit[T]) String() string { return q.text }

func (q *inUnit[T]) Type() string { return q.name }

// in is the value where bare numbers are in a unit; zero where the flag was not given.
func (q *inUnit[T]) in(unit logbook.Unit) (value T) {
	if q.set {
		value, _ = q.parse(q.text, unit) // Set has seen that it can be read
	}
	return value
}

func newLengthFlag() inUnit[geo.Metres] {
	return inUnit[geo.Metres]{name: "LENGTH", parse: logimport.ParseLength}
}

func newSpeedFlag() inUnit[workup.MetresPerSecond] {
	return inUnit[workup.MetresPerSecond]{name: "SPEED", parse: logimport.ParseSpeed}
}

func newOdometerFlag() inUnit[logbook.Odometer] {
	return inUnit[logbook.Odometer]{name: "READING", parse: logimport.ParseReading}
}

const odometerUsage = "what the odometer reads, as it stands there: 45218.4, in the journey's unit unless km, mi or nmi stands behind it"

// wayFlags is the way since the entry before.
type wayFlags struct {
	odometer      inUnit[logbook.Odometer]
	rolled        quantity
	speed         inUnit[workup.MetresPerSecond]
	speedSigma    inUnit[workup.MetresPerSecond]
	underWay      time.Duration
	distance      inUnit[geo.Metres]
	distanceSigma inUnit[geo.Metres]
	stood         bool
}

func newWayFlags() wayFlags {
	return wayFlags{
		odometer: newOdometerFlag(), rolled: quantity{least: 1, most: 9}, speed: newSpeedFlag(), speedSigma: newSpeedFlag(),
		distance: newLengthFlag(), distanceSigma: newLengthFlag(),
	}
}

func (w *wayFlags) add(cmd *cobra.Command) {
	f := cmd.Flags()
	f.Var(&w.odometer, "odometer", odometerUsage)
	f.Var(&w.rolled, "rolled-over", "confirm that the odometer has passed its last number: how many digits it shows before the point")
	f.Var(&w.speed, "speed", "in place of the odometer: the mean speed, as 20km/h, 12mph or 8kn")
	f.Var(&w.speedSigma, "speed-sigma", "one sigma of --speed (default a tenth of it)")
	f.DurationVar(&w.underWay, "under-way", 0, "how long at --speed, a `DURATION` as 1h20m (default all the time since the entry before)")
	f.Var(&w.distance, "distance", "in place of the odometer: how far since the entry before, as 12.5km, 8mi or 900m")
	f.Var(&w.distanceSigma, "distance-sigma", "one sigma of --distance (default a tenth of it)")
	f.BoolVar(&w.stood, "stood", false, "nothing was run since the entry before")
}

// wayNames are the flags' names.
var wayNames = []string{"odometer", "rolled-over", "speed", "speed-sigma", "under-way", "distance", "distance-sigma", "stood"}

// group has the help put them apart, the odometer first.
func (w *wayFlags) group(cmd *cobra.Command) {
	inGroup(cmd, notOdometer, "distance", "distance-sigma", "speed", "speed-sigma", "under-way", "stood", "rolled-over")
}

// bare takes the odometer's reading out of the arguments, where it may stand without its
// flag: what parses as a reading and is no file's name. Anything else is left as it stands.
func (w *wayFlags) bare(args []string) (rest []string, err error) {
	bare := ""
	for _, arg := range args {
		_, notOne := logimport.ParseReading(arg, logbook.Kilometres)
		if _, noFile := os.Stat(arg); notOne != nil || noFile == nil {
			rest = append(rest, arg)
			continue
		}
		switch {
		case bare != "":
			return nil, fault.Usage("contradicting_flags", "give the odometer's reading once", "the readings %s and %s contradict each other", bare, arg)
		case w.odometer.set:
			return nil, fault.Usage("contradicting_flags", "give the odometer's reading once", "the reading %s and --odometer %s contradict each other", arg, w.odometer.text)
		}
		bare = arg
		if err := w.odometer.Set(arg); err != nil {
			return nil, err
		}
	}
	return rest, nil
}

// bareAlone is bare for verbs that take no argument but a reading.
func (w *wayFlags) bareAlone(args []string) error {
	rest, err := w.bare(args)
	if err != nil || len(rest) == 0 {
		return err
	}
	return fault.Usage("unexpected_argument", "the odometer's reading may stand without its flag, as 8430.2 or 8430.2mi", "unexpected argument %q", rest[0])
}

// check refuses what does not go together.
func (w *wayFlags) check(cmd *cobra.Command) error {
	for _, pair := range [][2]string{{"speed", "distance"}, {"speed", "stood"}, {"distance", "stood"}} {
		if err := exclusive(cmd, pair[0], pair[1]); err != nil {
			return err
		}
	}
	for _, pair := range [][2]string{{"rolled-over", "odometer"}, {"speed-sigma", "speed"}, {"under-way", "speed"}, {"distance-sigma", "distance"}} {
		bare := pair[1] == "odometer" && w.odometer.set // as an argument
		if cmd.Flags().Changed(pair[0]) && !cmd.Flags().Changed(pair[1]) && !bare {
			return fault.Usage("flag_without_other", "give --"+pair[1]+" too", "--%s has no meaning without --%s", pair[0], pair[1])
		}
	}
	return nil
}

// run is the way as the log wants it, with bare numbers in a unit; it is for the log to say
// that there is none.
func (w *wayFlags) run(unit logbook.Unit) (run logbook.Run) {
	if w.odometer.set {
		o := w.odometer.in(unit)
		o.RolledOver = int(w.rolled.value)
		run.Odometer = &o
	}
	if w.speed.set {
		run.Speed = &logbook.Speed{Mean: w.speed.in(unit), Sigma: w.speedSigma.in(unit), For: w.underWay}
	}
	if w.distance.set {
		run.Distance = &logbook.Distance{Length: w.distance.in(unit), Sigma: w.distanceSigma.in(unit)}
	}
	run.Stood = w.stood
	return run
}
