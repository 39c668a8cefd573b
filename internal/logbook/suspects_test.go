package logbook

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"slices"
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
	// proved is what the instrument's record adds to headings, 0 where there is none.
	proved angle.Angle
	// misread is how much too much is read off the odometer.
	misread float64
	// meant is what the entry with the slip should have said, by its index.
	meant map[int]Content
}

const observed = 0.3 // degrees, of a number read by eye

func newDay(t *testing.T, random *rand.Rand) *simulated {
	t.Helper()
	model := workup.Land()
	d := &simulated{
		random: random, truth: pan, at: morning, counter: 3456.2 + math.Round(random.Float64()*4000),
		scale: random.NormFloat64() * model.Scale, lubber: model.Mount * angle.Angle(random.NormFloat64()), shown: map[int]DialReading{}, meant: map[int]Content{},
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
	return &Odometer{AsGiven: fmt.Sprintf("%.1f", d.counter+d.misread), Unit: Kilometres}
}

func (d *simulated) enter(c Content) *Entry {
	d.entries = append(d.entries, Entry{Number: len(d.entries) + 2, Slot: len(d.entries) + 2, Time: d.at, Content: c})
	return &d.entries[len(d.entries)-1]
}

// leg reads a number and sets out on what it says; p is what goes wrong.
func (d *simulated) leg(t *testing.T, p plant) (course angle.Angle) {
	t.Helper()
	heading := angle.FromDegrees(d.random.Float64() * 360)
	sky, err := bearing.Observe(bearing.Sun, d.at, d.truth, 0)
	if err != nil {
		t.Fatal(err)
	}
	number := math.Round((heading-d.lubber-d.proved-sky.Azimuth).Bearing().Degrees()*2+d.random.NormFloat64()*observed*2) / 2
	typed := angle.FromDegrees(number + p.number).Bearing().Degrees()
	taken, err := bearing.Observe(bearing.Sun, d.at.Add(p.hour), d.truth, 0)
	if err != nil {
		t.Fatal(err)
	}
	read := func(number float64, sky bearing.Apparent, by angle.Angle) *DialHeading {
		return &DialHeading{
			Heading: (sky.Azimuth + angle.FromDegrees(number) + by).Bearing(), Sigma: 0.6 * deg, Level: 0.3 * deg,
			Body: &workup.Body{Azimuth: sky.Azimuth, Altitude: sky.Altitude},
		}
	}
	dial, by := DialReading{Body: "sun", Number: &typed}, d.proved
	if d.proved != 0 && p.instrument == 0 {
		dial.Instrument = &DialInstrument{Name: "board", Correction: new(d.proved.Degrees())}
	}
	if p.instrument != 0 {
		by = 0
	}
	e := d.enter(&Leg{Run: ByOdometer(*d.reading()), How: ByNumber, Reading: read(typed, taken, by)})
	d.shown[e.Number] = dial
	if p != (plant{}) {
		d.meant[len(d.entries)-1] = &Leg{Run: ByOdometer(*d.reading()), How: ByNumber, Reading: read(number, sky, d.proved)}
	}
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
	// instrument is one sigma of what the record adds that all legs but this were corrected by.
	instrument angle.Angle
	carried    float64 // all readings from there on are so much too great
}

// whole simulates a day of six legs and some halts, closed by a fix; the
// slip is in a leg's entry but the first or last.
func whole(t *testing.T, random *rand.Rand, p plant) (d *simulated, wrong int) {
	t.Helper()
	d = newDay(t, random)
	if p.instrument != 0 {
		d.proved = p.instrument * angle.Angle(random.NormFloat64())
	}
	at := 1 + random.IntN(4)
	for i := range 6 {
		slip := plant{}
		if i == at {
			slip = p
		}
		if i == at {
			d.misread = p.carried
		}
		heading := d.leg(t, slip)
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
			run := d.counter + d.misread - d.entries[len(d.entries)-1].Content.run().Odometer.number()
			e := d.enter(&Halt{Run: Run{Odometer: d.reading(), Distance: &Distance{Length: geo.Metres(run*1000) / geo.Metres(1.609344), Sigma: 100}}})
			wrong = e.Number
			d.meant = map[int]Content{len(d.entries) - 1: &Halt{Run: Run{Odometer: d.reading(), Distance: &Distance{Length: geo.Metres(run * 1000), Sigma: 100}}}}
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
	if p.carried != 0 {
		for i := wrong - 2; i < len(d.entries); i++ {
			c, run := copied(d.entries[i].Content)
			run.Odometer = new(run.Odometer.by(-p.carried))
			d.meant[i] = c
		}
	}
	return d, wrong
}

func (d *simulated) span() *closingRun {
	return &closingRun{base: d.base, begun: d.begun, entries: d.entries}
}

// displaced is by how many sigmas of estimate and fix together a slip has moved the
// estimate at the fix.
func (d *simulated) displaced(t *testing.T, as *workup.Closing) float64 {
	t.Helper()
	entries := slices.Clone(d.entries)
	for i, c := range d.meant {
		entries[i].Content = c
	}
	meant, ok := closeRun(d.base, entries)
	if !ok {
		t.Fatal("a clean day cannot be worked up")
	}
	course, length, err := geo.RhumbInverse(meant.Estimate, as.Estimate)
	if err != nil {
		t.Fatal(err)
	}
	n, e, s := float64(length)*course.Cos(), float64(length)*course.Sin(), as.Spread
	return math.Sqrt((n*n*s.EE - 2*n*e*s.NE + e*e*s.NN) / (s.NN*s.EE - s.NE*s.NE))
}

// With SHADOWREAD_SOAK, 500 days of each slip. A slip that the entry itself is refused for
// displaces the fix, too, and is told.
func TestSuspectsNameThePlantedSlip(t *testing.T) {
	days := 40
	if os.Getenv("SHADOWREAD_SOAK") != "" {
		days = 500
	}
	var all, told, atFix, firstTwo int
	for _, p := range []plant{
		{name: "odometer 1 too much", odometer: 1},
		{name: "odometer 1 too little", odometer: -1},
		{name: "odometer 10 too much", odometer: 10},
		{name: "odometer 10 too little", odometer: -10},
		{name: "odometer 100 too much", odometer: 100},
		{name: "10 too much from there on", carried: 10},
		{name: "number 10 too much", number: 10},
		{name: "number 10 too little", number: -10},
		{name: "an hour late", hour: time.Hour},
		{name: "an hour early", hour: -time.Hour},
		{name: "miles for kilometres", unit: true},
		{name: "leg without record, 4°", instrument: 4 * deg},
		{name: "leg without record, 15°", instrument: 15 * deg},
	} {
		random := rand.New(rand.NewPCG(16, 5))
		var refused, far, said, named, right int
		for range days {
			d, wrong := whole(t, random, p)
			c, ok := closeRun(d.base, d.entries)
			if !ok { // the entry itself was refused: it leads backwards, or is too far
				refused++
				continue
			}
			if d.displaced(t, c) < 4 {
				continue
			}
			far++
			if c.Sigmas < FarFix {
				continue
			}
			said++
			found, err := d.span().suspects(func(e *Entry) (DialReading, error) { return d.shown[e.Number], nil })
			if err != nil {
				t.Fatal(err)
			}
			// The same slip may stand with two entries; it is the entry that is looked up.
			i := slices.IndexFunc(found, func(s Suspect) bool { return s.Entry == wrong })
			if i >= 0 {
				named++
			}
			if i == 0 || i == 1 {
				right++
			}
		}
		t.Logf("%-25s %3d refused at the entry; %3d displaced by 4 sigma or more: %3d told at the fix, the entry named in %3d, among the first two in %3d",
			p.name, refused, far, said, named, right)
		all, told, atFix, firstTwo = all+refused+far, told+refused+said, atFix+said, firstTwo+right
	}
	t.Logf("of %d displaced %d are told; of %d told at the fix the entry is among the first two suspects in %d", all, told, atFix, firstTwo)
	if all == 0 || float64(told) < 0.95*float64(all) || float64(firstTwo) < 0.8*float64(atFix) {
		t.Error("fewer than 95 % are told, or fewer than 80 % have the entry among the first two suspects")
	}
}

// A clean day is seldom called a wrong one.
func TestCleanDaysAreLeftAlone(t *testing.T) {
	random := rand.New(rand.NewPCG(16, 6))
	alarms, days := 0, 300
	if os.Getenv("SHADOWREAD_SOAK") != "" {
		days = 3000
	}
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
