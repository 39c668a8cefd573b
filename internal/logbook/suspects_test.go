package logbook

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"testing"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/bearing"
	"shadowread/internal/geo"
	"shadowread/internal/workup"
)

// A day is simulated on a salt pan that does not exist: the vehicle runs true rhumb lines,
// all errors are drawn from the journey's model, and the sky is that of package bearing.
type simulated struct {
	random  *rand.Rand
	truth   geo.Position
	at      time.Time
	counter float64 // the odometer, km
	scale   float64 // true = odometer x (1 + scale)
	lubber  angle.Angle
	entries []Entry
	shown   map[int]DialReading
	base    *reckoning
	begun   *Entry
}

const observed = 0.3 // degrees, of a number read by eye

func newDay(t *testing.T, random *rand.Rand) *simulated {
	t.Helper()
	model := workup.Land()
	d := &simulated{
		random: random, truth: pan, at: morning, counter: 3456.2 + math.Round(random.Float64()*4000),
		scale: random.NormFloat64() * model.Scale, lubber: model.Mount * angle.Angle(random.NormFloat64()), shown: map[int]DialReading{},
	}
	d.counter = math.Round(d.counter*10) / 10
	d.begun = &Entry{Number: 1, Slot: 1, Time: d.at, Content: &Departure{
		Position: pan, Sigma: 15, Odometer: d.reading(), Model: model, SpeedLimit: DefaultSpeedLimit,
	}}
	var err error
	if _, d.base, err = (*reckoning)(nil).after(d.begun); err != nil {
		t.Fatal(err)
	}
	return d
}

func (d *simulated) reading() *Odometer {
	return &Odometer{AsGiven: fmt.Sprintf("%.1f", d.counter), Unit: Kilometres}
}

func (d *simulated) enter(c Content) *Entry {
	d.entries = append(d.entries, Entry{Number: len(d.entries) + 2, Slot: len(d.entries) + 2, Time: d.at, Content: c})
	return &d.entries[len(d.entries)-1]
}

// leg reads a number and sets out on what it says; hour is by how much the clock is out.
func (d *simulated) leg(t *testing.T, misread float64, hour time.Duration) (course angle.Angle) {
	t.Helper()
	heading := angle.FromDegrees(d.random.Float64() * 360)
	sky, err := bearing.Observe(bearing.Sun, d.at, d.truth, 0)
	if err != nil {
		t.Fatal(err)
	}
	number := math.Round((heading-d.lubber-sky.Azimuth).Bearing().Degrees()*2+d.random.NormFloat64()*observed*2) / 2
	typed := angle.FromDegrees(number + misread).Bearing().Degrees()
	taken, err := bearing.Observe(bearing.Sun, d.at.Add(hour), d.truth, 0)
	if err != nil {
		t.Fatal(err)
	}
	read := DialHeading{
		Heading: (taken.Azimuth + angle.FromDegrees(typed)).Bearing(), Sigma: 0.6 * deg, Level: 0.3 * deg,
		Body: &workup.Body{Azimuth: taken.Azimuth, Altitude: taken.Altitude},
	}
	e := d.enter(&Leg{Run: ByOdometer(*d.reading()), How: ByNumber, Reading: &read})
	d.shown[e.Number] = DialReading{Body: "sun", Number: &typed}
	return heading + workup.Land().Steering*angle.Angle(d.random.NormFloat64())
}

// run runs on a heading by the odometer.
func (d *simulated) run(t *testing.T, course angle.Angle, km float64) {
	t.Helper()
	before := d.counter
	d.counter = math.Round((d.counter+km)*10) / 10
	var err error
	if d.truth, err = geo.RhumbDirect(d.truth, course.Bearing(), geo.Metres((d.counter-before)*1000*(1+d.scale))); err != nil {
		t.Fatal(err)
	}
	d.at = d.at.Add(time.Duration((d.counter - before) / 40 * float64(time.Hour))).Truncate(time.Minute)
}

// plant is a slip in one entry of a day.
type plant struct {
	name     string
	odometer float64
	number   float64
	hour     time.Duration
	unit     bool // a length in miles taken for kilometres
	slip     Slip
}

// whole simulates a day of six legs and some halts, closed by a fix; the
// slip is in a leg's entry but the first or last.
func whole(t *testing.T, random *rand.Rand, p plant) (d *simulated, wrong int) {
	t.Helper()
	d = newDay(t, random)
	at := 1 + random.IntN(4)
	for i := range 6 {
		misread, hour := 0.0, time.Duration(0)
		if i == at {
			misread, hour = p.number, p.hour
		}
		heading := d.leg(t, misread, hour)
		if i == at {
			e := &d.entries[len(d.entries)-1]
			wrong = e.Number
			if p.odometer != 0 {
				o := e.Content.(*Leg).Run.Odometer
				o.AsGiven = fmt.Sprintf("%.1f", o.number()+p.odometer)
			}
		}
		d.run(t, heading, 10+25*random.Float64())
		if i == at && p.unit {
			run := d.counter - d.entries[len(d.entries)-1].Content.run().Odometer.number()
			e := d.enter(&Halt{Run: Run{Odometer: d.reading(), Distance: &Distance{Length: geo.Metres(run*1000) / geo.Metres(1.609344), Sigma: 100}}})
			wrong = e.Number
			continue
		}
		if random.IntN(3) == 0 {
			d.enter(&Halt{Run: ByOdometer(*d.reading())})
		}
	}
	offN, offE := random.NormFloat64()*15, random.NormFloat64()*15
	seen, err := geo.RhumbDirect(d.truth, angle.Atan2(offE, offN).Bearing(), geo.Metres(math.Hypot(offN, offE)))
	if err != nil {
		t.Fatal(err)
	}
	d.enter(&Fix{Run: ByOdometer(*d.reading()), Position: seen, Sigma: 15})
	return d, wrong
}

func (d *simulated) span() *closingRun {
	return &closingRun{base: d.base, begun: d.begun, entries: d.entries}
}

func TestSuspectsNameThePlantedSlip(t *testing.T) {
	days := 40
	if os.Getenv("SHADOWREAD_SOAK") != "" {
		days = 500
	}
	var all, firstTwo, refused int
	for _, p := range []plant{
		{name: "odometer 10 too much", odometer: 10, slip: SlipOdometer10},
		{name: "odometer 10 too little", odometer: -10, slip: SlipOdometer10},
		{name: "odometer 100 too much", odometer: 100, slip: SlipOdometer100},
		{name: "odometer 1 too much", odometer: 1, slip: SlipOdometer1},
		{name: "number 10 too much", number: 10, slip: SlipHeading10},
		{name: "number 10 too little", number: -10, slip: SlipHeading10},
		{name: "an hour late", hour: time.Hour, slip: SlipHour},
		{name: "miles for kilometres", unit: true, slip: SlipUnit},
	} {
		random := rand.New(rand.NewPCG(16, 5))
		far, named, at, right := 0, 0, 0, 0
		for range days {
			d, wrong := whole(t, random, p)
			c, ok := closeRun(d.base, d.entries)
			if !ok { // the entry itself was refused: it leads backwards, or is too far
				refused++
				at++
				continue
			}
			if c.Sigmas < 4 {
				continue
			}
			far++
			found, err := d.span().suspects(func(e *Entry) (DialReading, error) { return d.shown[e.Number], nil })
			if err != nil {
				t.Fatal(err)
			}
			// The same slip may stand with two entries; it is the entry that is looked up.
			for i, s := range found {
				if s.Entry == wrong {
					named++
					if i < 2 {
						right++
					}
					break
				}
			}
		}
		t.Logf("%-24s %3d refused at the entry, %3d of 4 sigma or more at the fix, %3d named, %3d among the first two", p.name, at, far, named, right)
		all, firstTwo = all+far, firstTwo+right
	}
	if all == 0 || float64(firstTwo) < 0.8*float64(all) {
		t.Errorf("the wrong entry is among the first two suspects in %d of %d days", firstTwo, all)
	}
}

// A clean day is seldom called a wrong one.
func TestCleanDaysAreLeftAlone(t *testing.T) {
	random := rand.New(rand.NewPCG(16, 6))
	alarms, days := 0, 300
	for range days {
		d, _ := whole(t, random, plant{})
		c, ok := closeRun(d.base, d.entries)
		if !ok {
			t.Fatal("a clean day cannot be worked up")
		}
		if c.Sigmas >= FarFix {
			alarms++
		}
	}
	t.Logf("%d of %d clean days with a fix of %d sigma or more", alarms, days, FarFix)
	if alarms > days*2/100 {
		t.Errorf("%d of %d clean days alarm", alarms, days)
	}
}
