package align

import (
	"encoding/json"
	"encoding/xml"
	"errors"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/optimize"

	"shadowread/internal/angle"
	"shadowread/internal/bearing"
	"shadowread/internal/fault"
	"shadowread/internal/geo"
	"shadowread/internal/instrument"
	"shadowread/internal/testtable"
)

const deg = angle.Degree

// standing is the instrument of testdata/series.csv. The vertical's slope follows from
// pitch and roll: forward edge up leans the vertical forward, starboard edge down to port.
var standing = struct {
	heading, leanStarboard, leanForward angle.Angle
	foot                                [2]float64 // mm
	height                              float64    // mm
}{141.3 * deg, -1.62 * deg, -1.35 * deg, [2]float64{0.53, -0.58}, 50}

func observe(t testing.TB, at time.Time, p geo.Position) bearing.Apparent {
	t.Helper()
	a, err := bearing.Observe(bearing.Sun, at, p, 0)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

// series reads testdata/series.csv as observations free of noise.
func series(t testing.TB) []Observation {
	t.Helper()
	rows := testtable.Read(t, "testdata/series.csv")
	if len(rows) != 8 {
		t.Fatalf("%d rows in series.csv, want 8", len(rows))
	}
	var obs []Observation
	for _, row := range rows {
		number := func(column string) float64 { return row.Number(t, column) }
		at, err := time.Parse(time.RFC3339Nano, row["time_utc"])
		if err != nil {
			t.Fatal(err)
		}
		p := geo.Position{Lat: angle.FromDegrees(number("latitude_deg")), Lon: angle.FromDegrees(number("longitude_deg"))}
		sky, err := bearing.Observe(bearing.Sun, at, p, number("elevation_m"))
		if err != nil {
			t.Fatal(err)
		}
		d := angle.FromDegrees(number("shadow_direction_deg"))
		s, c := d.Sin(), d.Cos()
		obs = append(obs, Observation{
			Label: row["time_utc"], Sky: sky, Direction: d,
			OffsetMM: standing.foot[0]*c - standing.foot[1]*s,
			LengthMM: number("shadow_length_mm") + standing.foot[0]*s + standing.foot[1]*c,
		})
	}
	return obs
}

// photoSigma is what a photo's direction errs by, see docs/alignment.md.
const photoSigma = 0.03 * deg

// noisy adds normal noise, and says so in the sigmas.
func noisy(obs []Observation, r *rand.Rand, direction angle.Angle, offsetMM, lengthMM float64) []Observation {
	out := append([]Observation(nil), obs...)
	for i := range out {
		o := &out[i]
		o.Direction += direction * angle.Angle(r.NormFloat64())
		o.DirectionSigma = direction
		o.OffsetMM += offsetMM * r.NormFloat64()
		o.OffsetSigmaMM = offsetMM
		o.LengthMM += lengthMM * r.NormFloat64()
		o.LengthSigmaMM = lengthMM
	}
	return out
}

func solve(t testing.TB, obs []Observation, p Priors, o Options) *Result {
	t.Helper()
	r, err := Solve(obs, p, o)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// The instrument of an independent renderer, its directions blurred as photos blur them.
// The bars on heading and lean are the program's promise; on forty series two sigmas must
// hold in 34 to 40, which a true 95.4 % misses once in 600 times.
func TestStandingSeries(t *testing.T) {
	clean := series(t)
	for _, withLength := range []bool{false, true} {
		within := map[string]int{}
		const n = 40
		for seed := range uint64(n) {
			obs := noisy(clean, rand.New(rand.NewPCG(seed, 1)), photoSigma, 0.05, 0.2)
			p := DefaultPriors()
			if withLength {
				p.HeightMM = standing.height
			} else {
				for i := range obs {
					obs[i].LengthMM, obs[i].LengthSigmaMM = 0, 0
				}
			}
			r := solve(t, obs, p, Options{})
			for _, q := range []struct {
				name                  string
				got, want, sigma, bar float64
			}{
				{"heading", float64(r.Stands[0].Heading.Value), float64(standing.heading), float64(r.Stands[0].Heading.Sigma), float64(0.1 * deg)},
				{"lean to starboard", float64(r.LeanStarboard.Value), float64(standing.leanStarboard), float64(r.LeanStarboard.Sigma), float64(0.15 * deg)},
				{"lean forward", float64(r.LeanForward.Value), float64(standing.leanForward), float64(r.LeanForward.Sigma), float64(0.15 * deg)},
				{"foot to starboard", r.FootStarboardMM.Value, standing.foot[0], r.FootStarboardMM.Sigma, 0.1},
				{"foot forward", r.FootForwardMM.Value, standing.foot[1], r.FootForwardMM.Sigma, 0.1},
			} {
				e := math.Abs(q.got - q.want)
				if e > q.bar {
					t.Errorf("seed %d: %s is off by %.4g, more than %.4g", seed, q.name, e, q.bar)
				}
				if e < 2*q.sigma {
					within[q.name]++
				}
			}
		}
		for name, k := range within {
			if k < 34 {
				t.Errorf("with length %v: %s lies within two sigmas in %d of %d", withLength, name, k, n)
			}
		}
		if len(within) != 5 {
			t.Errorf("quantities that are ever within two sigmas: %v", within)
		}
	}
}

// The reference is gonum's QR solution of the first-order equations, azimuth + 180 -
// direction = heading + tan(altitude) x lean across, over the renderer's directions: it
// misses the true heading by what the exact projection is for.
func TestFirstOrderAloneIsBiased(t *testing.T) {
	obs := series(t)
	a, b := mat.NewDense(len(obs), 3, nil), mat.NewVecDense(len(obs), nil)
	for i, o := range obs {
		tan := o.Sky.Altitude.Tan()
		// The lean across the shadow turns it to the lean's side: d(direction) =
		// tan(altitude) x (lean . right of the shadow).
		a.SetRow(i, []float64{1, -tan * o.Direction.Cos(), tan * o.Direction.Sin()})
		b.SetVec(i, float64((o.plainHeading() - standing.heading).Signed()))
	}
	var x mat.VecDense
	if err := x.SolveVec(a, b); err != nil {
		t.Fatal(err)
	}
	bias := angle.Angle(x.AtVec(0)).Abs()
	t.Logf("first order alone is off by %v", bias)
	if bias < 0.01*deg || bias > 0.03*deg {
		t.Errorf("first order alone is off by %v, expected 0.01° to 0.03°", bias)
	}
	for i := range obs {
		obs[i].DirectionSigma = photoSigma
	}
	p := DefaultPriors()
	p.RodSigma, p.ClockSigma, p.StretchSigma = 0, 0, 0 // square, and all else exact
	r := solve(t, obs, p, Options{})
	// What remains is the difference of two computed suns.
	if e := (r.Stands[0].Heading.Value - standing.heading).Signed().Abs(); e > 0.001*deg {
		t.Errorf("the exact projection is off by %v", e)
	}
	tilt, _, _ := r.Lean()
	if e := (tilt - angle.Atan2(math.Hypot((1.62*deg).Tan(), (1.35*deg).Tan()), 1)).Abs(); e > 0.001*deg {
		t.Errorf("the lean is off by %v", e)
	}
}

// faults is an instrument with everything wrong at once.
type faults struct {
	heading    angle.Angle
	plumb, rod instrument.Slope
	ground     instrument.Slope // east, north
	foot       [2]float64       // mm
	height     float64          // mm
	clock      time.Duration    // fast
	stretch    float64
}

// see returns what the instrument shows under a light, worked by vectors in the horizon's
// frame rather than by the program's projection: the rod's tip and foot are points in
// space, the shadow ends where the ray through the tip meets the sheet.
func (f faults) see(t testing.TB, heading angle.Angle, at time.Time, p geo.Position) Observation {
	t.Helper()
	sky := observe(t, at, p)
	toPlate := func(az angle.Angle) (x, y float64) { // a horizontal direction, first order
		return (az - heading).Sin(), (az - heading).Cos()
	}
	ex, ey := toPlate(math.Pi / 2)
	nx, ny := toPlate(0)
	plumb := f.plumb.Plus(instrument.Slope{Starboard: f.ground.Starboard*ex + f.ground.Forward*nx, Forward: f.ground.Starboard*ey + f.ground.Forward*ny})

	// The plate's axes in east, north, up: pitch and roll that give the vertical this slope.
	roll := math.Atan(-plumb.Starboard)
	pitch := math.Atan(plumb.Forward * math.Cos(roll))
	h := float64(heading)
	fore := [3]float64{math.Sin(h) * math.Cos(pitch), math.Cos(h) * math.Cos(pitch), math.Sin(pitch)}
	level := [3]float64{math.Cos(h), -math.Sin(h), 0}
	upright := cross(level, fore)
	starboard, normal := [3]float64{}, [3]float64{}
	for i := range 3 {
		starboard[i] = math.Cos(roll)*level[i] - math.Sin(roll)*upright[i]
		normal[i] = math.Cos(roll)*upright[i] + math.Sin(roll)*level[i]
	}
	var tip, foot, sun [3]float64
	for i := range 3 {
		foot[i] = f.foot[0]*starboard[i] + f.foot[1]*fore[i]
		tip[i] = foot[i] + f.height*(normal[i]+f.rod.Starboard*starboard[i]+f.rod.Forward*fore[i])
	}
	a, alt := sky.Azimuth, sky.Altitude
	sun = [3]float64{alt.Cos() * a.Sin(), alt.Cos() * a.Cos(), alt.Sin()}
	k := dot(tip, normal) / dot(sun, normal)
	var end [3]float64
	for i := range 3 {
		end[i] = tip[i] - k*sun[i]
	}
	x, y := dot(end, starboard), dot(end, fore)
	d := angle.Clockwise(x-f.foot[0], y-f.foot[1])
	stamped, err := bearing.Observe(bearing.Sun, at.Add(f.clock), p, 0)
	if err != nil {
		t.Fatal(err)
	}
	return Observation{
		Label: at.Format(time.RFC3339), Sky: stamped, Direction: d + angle.Angle(f.stretch/2*(2*d).Sin()),
		OffsetMM: f.foot[0]*d.Cos() - f.foot[1]*d.Sin(), LengthMM: x*d.Sin() + y*d.Cos(),
	}
}

func cross(a, b [3]float64) [3]float64 {
	return [3]float64{a[1]*b[2] - a[2]*b[1], a[2]*b[0] - a[0]*b[2], a[0]*b[1] - a[1]*b[0]}
}

func dot(a, b [3]float64) float64 { return a[0]*b[0] + a[1]*b[1] + a[2]*b[2] }

// randomFaults draws an instrument as the priors say instruments are.
func randomFaults(r *rand.Rand, p Priors) faults {
	slope := func(sigma angle.Angle) instrument.Slope {
		return instrument.Slope{Starboard: sigma.Tan() * r.NormFloat64(), Forward: sigma.Tan() * r.NormFloat64()}
	}
	return faults{
		heading: angle.Angle(2 * math.Pi * r.Float64()), plumb: slope(p.PlateSigma), rod: slope(p.RodSigma), ground: slope(p.GroundSigma),
		foot:   [2]float64{p.FootSigmaMM * r.NormFloat64(), p.FootSigmaMM * r.NormFloat64()},
		height: p.HeightMM * math.Exp(p.HeightSigma*r.NormFloat64()), clock: time.Duration(float64(p.ClockSigma) * r.NormFloat64()),
		stretch: p.StretchSigma * r.NormFloat64(),
	}
}

// randomDay draws a place and hours about its noon during which the sun serves.
func randomDay(t testing.TB, r *rand.Rand, n int) (geo.Position, []time.Time) {
	for {
		p := geo.Position{Lat: angle.FromDegrees(110*r.Float64() - 55), Lon: angle.FromDegrees(360*r.Float64() - 180)}
		noon := time.Date(2025, 1, 1, 12, 0, 0, 0, time.UTC).AddDate(0, 0, r.IntN(1500)).Add(-time.Duration(p.Lon.Degrees() / 15 * float64(time.Hour)))
		span := 2 + 5*r.Float64() // hours
		start := -span/2 + 2*r.Float64() - 1
		var times []time.Time
		for i := range n {
			at := noon.Add(time.Duration((start + span*float64(i)/float64(n-1)) * float64(time.Hour)))
			if a := observe(t, at, p).Altitude; a > 8*deg && a < 70*deg {
				times = append(times, at)
			}
		}
		if len(times) == n {
			return p, times
		}
	}
}

// Everything is wrong at once, drawn as the priors say; the values must lie within two
// sigmas as often as a normal law has it, 95.4 %. On 2,000 instruments the bar is 93 to
// 97 %, by SHADOWREAD_SOAK=1. On 200 one standard deviation of the count is 1.5 %, so the
// bar goes two of them further out, to 90 and 100 %; the seeds are fixed.
func TestSimulatedInstruments(t *testing.T) {
	n, low, high := 200, 0.90, 1.0
	if os.Getenv("SHADOWREAD_SOAK") != "" {
		n, low, high = 2000, 0.93, 0.97
	}
	within := map[string]int{}
	for seed := range uint64(n) {
		r := rand.New(rand.NewPCG(seed, 2))
		p := DefaultPriors()
		p.HeightMM = 50
		if seed%4 == 0 {
			p.ClockSigma = 5 * time.Minute // solved for
		}
		f := randomFaults(r, p)
		f.ground = instrument.Slope{} // one stand: it is in the plate's slope
		place, times := randomDay(t, r, 8)
		var obs []Observation
		for _, at := range times {
			obs = append(obs, f.see(t, f.heading, at, place))
		}
		obs = noisy(obs, r, photoSigma, 0.05, 0.2)
		if seed%2 == 0 {
			for i := range obs {
				obs[i].LengthMM, obs[i].LengthSigmaMM = 0, 0
			}
		}
		got, err := Solve(obs, p, Options{})
		if err != nil {
			t.Errorf("seed %d: %v", seed, err)
			continue
		}
		lean := f.rod.Minus(f.plumb)
		ls, lf := lean.Angles()
		count := func(name string, e, sigma float64) {
			if math.Abs(e) < 2*sigma {
				within[name]++
			}
		}
		count("heading", float64((got.Stands[0].Heading.Value - f.heading).Signed()), float64(got.Stands[0].Heading.Sigma))
		count("lean to starboard", float64(got.LeanStarboard.Value-ls), float64(got.LeanStarboard.Sigma))
		count("lean forward", float64(got.LeanForward.Value-lf), float64(got.LeanForward.Sigma))
		count("foot to starboard", got.FootStarboardMM.Value-f.foot[0], got.FootStarboardMM.Sigma)
		count("foot forward", got.FootForwardMM.Value-f.foot[1], got.FootForwardMM.Sigma)
		count("clock", float64(got.Clock.Value-f.clock), float64(got.Clock.Sigma))
	}
	for name, k := range within {
		share := float64(k) / float64(n)
		t.Logf("%s: %.2f %% within two sigmas", name, 100*share)
		if share < low || share > high {
			t.Errorf("%s lies within two sigmas in %.1f %%, want %.0f to %.0f", name, 100*share, 100*low, 100*high)
		}
	}
	if len(within) != 6 {
		t.Errorf("quantities that are ever within two sigmas: %v", within)
	}
}

// hoursOf returns eight observations free of noise over a span about noon.
func hoursOf(t *testing.T, lat angle.Angle, span time.Duration, n int) []Observation {
	p := geo.Position{Lat: lat, Lon: 25.431 * deg}
	noon := time.Date(2026, 9, 11, 10, 15, 0, 0, time.UTC)
	f := faults{heading: standing.heading, plumb: instrument.SlopeOf(1.62*deg, 1.35*deg), height: 50}
	var obs []Observation
	for i := range n {
		at := noon.Add(time.Duration((float64(i)/float64(n-1) - 0.5) * float64(span)))
		o := f.see(t, f.heading, at, p)
		obs = append(obs, Observation{Label: o.Label, Sky: o.Sky, Direction: o.Direction, DirectionSigma: 0.025 * deg})
	}
	return obs
}

// Eight readings good to 0.025 degree at 35 degrees of latitude leave the heading at 0.4
// degree in one hour, 0.06 in three, 0.02 in six: the figures that the design was planned
// on. They are round, so a fifth either way is allowed.
func TestHowLongToGoOn(t *testing.T) {
	p := DefaultPriors()
	p.RodSigma, p.ClockSigma, p.StretchSigma = 0, 0, 0
	for _, tt := range []struct {
		span  time.Duration
		sigma angle.Angle
	}{{time.Hour, 0.4 * deg}, {3 * time.Hour, 0.06 * deg}, {6 * time.Hour, 0.02 * deg}} {
		r := solve(t, hoursOf(t, 35*deg, tt.span, 8), p, Options{})
		if got := r.Stands[0].Heading.Sigma; got < tt.sigma*8/10 || got > tt.sigma*12/10 {
			t.Errorf("%v leave the heading at %v, want about %v", tt.span, got, tt.sigma)
		}
	}
	// What one hour foretells for two more is what three hours then give. Noon is in the
	// middle of neither, so both are compared on the same hours.
	obs := hoursOf(t, 35*deg, 3*time.Hour, 22)
	short := solve(t, obs[:8], p, Options{})
	whole := solve(t, obs, p, Options{})
	if len(short.Forecast) < 2 {
		t.Fatalf("nothing is foretold: %+v", short.Forecast)
	}
	foretold := short.Forecast[1]
	if got, want := foretold.Heading, whole.Stands[0].Heading.Sigma; math.Abs(float64(got/want-1)) > 0.05 || foretold.Readings != 14 {
		t.Errorf("foretold %v with %d readings, came to %v", got, foretold.Readings, want)
	}
	if short.Enough == nil || *short.Enough <= 0 || *short.Enough > 2*time.Hour {
		t.Errorf("go on for %v, want some time up to two hours", short.Enough)
	}
	if whole.Enough == nil || *whole.Enough != 0 {
		t.Errorf("after three hours still %v to go", whole.Enough)
	}
}

// The clock turns all headings almost alike: an ordinary day cannot tell it from the
// heading, and the result says so. Its sigma, a degree for four minutes, is then the
// heading's.
func TestClockIsNotInvented(t *testing.T) {
	p := DefaultPriors()
	p.ClockSigma = 10 * time.Minute
	obs := hoursOf(t, 35*deg, 6*time.Hour, 8)
	// An error of the clock that is not there is not found either.
	r := solve(t, obs, p, Options{})
	if float64(r.Stands[0].Heading.Sigma/photoSigma) < 3 {
		t.Errorf("with the clock free the heading is said to be known to %v", r.Stands[0].Heading.Sigma)
	}
	one := solve(t, hoursOf(t, 35*deg, time.Hour, 8), p, Options{})
	if one.Clock.Determined {
		t.Errorf("an hour is said to determine the clock: %+v", one.Clock)
	}
	if !strings.Contains(strings.Join(one.Verdict(), "\n"), "clock's error is not determined") {
		t.Errorf("the verdict does not say that the clock is open: %q", one.Verdict())
	}
}

func TestOneBadPhoto(t *testing.T) {
	for _, off := range []angle.Angle{0.5 * deg, 2 * deg, -10 * deg, 90 * deg, 179 * deg} {
		for bad := range 8 {
			obs := noisy(series(t), rand.New(rand.NewPCG(4, 7)), photoSigma, 0.05, 0)
			for i := range obs {
				obs[i].LengthMM, obs[i].LengthSigmaMM = 0, 0
			}
			obs[bad].Direction += off
			r, err := Solve(obs, DefaultPriors(), Options{})
			if err != nil {
				t.Errorf("photo %d off by %v: %v", bad, off, err)
				continue
			}
			for i, term := range r.Terms {
				if term.SetAside != (i == bad) && len(r.Suspects) == 0 {
					t.Errorf("photo %d off by %v: photo %d is set aside: %v", bad, off, i, term.SetAside)
				}
			}
			if e := (r.Stands[0].Heading.Value - standing.heading).Signed().Abs(); e > 3*r.Stands[0].Heading.Sigma {
				t.Errorf("photo %d off by %v: heading off by %v with sigma %v", bad, off, e, r.Stands[0].Heading.Sigma)
			}
			if said := strings.Contains(strings.Join(r.Verdict(), "\n"), obs[bad].Label); !said {
				t.Errorf("photo %d off by %v is not named", bad, off)
			}
		}
	}
	// Four readings have one check between them, and here any of them might lean enough to
	// explain the others: something is wrong, nobody knows what.
	obs := noisy(series(t), rand.New(rand.NewPCG(4, 7)), photoSigma, 0.05, 0.2)[:4]
	for i := range obs {
		obs[i].LengthMM, obs[i].LengthSigmaMM, obs[i].OffsetSigmaMM = 0, 0, 0
	}
	obs[1].Direction += 0.4 * deg
	r := solve(t, obs, DefaultPriors(), Options{})
	if len(r.Suspects) < 2 || r.Used != 4 {
		t.Errorf("of four readings %d are used and %d suspected", r.Used, len(r.Suspects))
	}
	if _, err := r.Record(instrument.Record{Gnomon: instrument.Rod}); err == nil {
		t.Error("readings that do not agree make a record")
	}
}

// The minimum is compared with gonum's general minimiser (BFGS with numerical gradients,
// then a simplex) on the same sum of squares, formed from the test's own ray tracing.
func TestMinimumAgreesWithAGeneralMinimiser(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 3))
	p := DefaultPriors()
	p.ClockSigma, p.StretchSigma, p.RodSigma = 0, 0, 0
	f := randomFaults(r, p)
	f.ground, f.height = instrument.Slope{}, 50
	place, times := randomDay(t, r, 8)
	var obs []Observation
	for _, at := range times {
		obs = append(obs, f.see(t, f.heading, at, place))
	}
	obs = noisy(obs, r, photoSigma, 0, 0)
	got := solve(t, obs, p, Options{})
	sum := func(x []float64) float64 {
		g := faults{plumb: instrument.Slope{Starboard: -x[1] / 50, Forward: -x[2] / 50}, height: 50}
		s := 0.0
		for i, at := range times {
			d := g.see(t, f.heading+angle.Angle(x[0]/50), at, place).Direction
			s += math.Pow(float64((obs[i].Direction-d).Signed()/photoSigma), 2)
		}
		plate := p.PlateSigma.Tan() * 50
		return s + (x[1]*x[1]+x[2]*x[2])/(plate*plate)
	}
	best, err := optimize.Minimize(optimize.Problem{Func: sum}, []float64{0, 0, 0}, &optimize.Settings{Converger: &optimize.FunctionConverge{Absolute: 1e-10, Iterations: 300}}, &optimize.NelderMead{})
	if err != nil {
		t.Fatal(err)
	}
	for _, q := range []struct {
		name             string
		got, want, sigma angle.Angle
	}{
		{"heading", (got.Stands[0].Heading.Value - f.heading).Signed(), angle.Angle(best.X[0] / 50), got.Stands[0].Heading.Sigma},
		{"lean to starboard", got.LeanStarboard.Value, angle.Atan2(best.X[1]/50, 1), got.LeanStarboard.Sigma},
		{"lean forward", got.LeanForward.Value, angle.Atan2(best.X[2]/50, 1), got.LeanForward.Sigma},
	} {
		if e := (q.got - q.want).Abs(); e > 0.02*q.sigma {
			t.Errorf("%s: %v, the general minimiser has %v, sigma %v", q.name, q.got, q.want, q.sigma)
		}
	}
}

// turned returns eight shadows on eight headings within minutes.
func turned(t *testing.T, f faults, r *rand.Rand) []Observation {
	p := geo.Position{Lat: -20.6 * deg, Lon: 25.4 * deg}
	at := time.Date(2026, 9, 11, 7, 30, 0, 0, time.UTC)
	var obs []Observation
	for i := range 8 {
		o := f.see(t, angle.Angle(i)*45*deg+10*deg, at.Add(time.Duration(i)*time.Minute), p)
		o.Stand = strconv.Itoa(i)
		obs = append(obs, o)
	}
	return noisy(obs, r, photoSigma, 0.05, 0.15)
}

// seeRod has the observation show a rod's slope towards a direction, to 0.003 mm per mm.
func (o *Observation) seeRod(rod instrument.Slope, toward angle.Angle, off float64) {
	o.RodToward, o.RodSlopeSigma = toward, 0.003
	o.RodSlope = rod.Starboard*toward.Sin() + rod.Forward*toward.Cos() + off
}

// On a quick turn the headings are unknown, so directions alone say nothing; lengths give
// t/sin^2 - l. Declared square, or with the rod's slope from its own image, the lean
// follows; else the answer is "not determined".
func TestQuickTurn(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 11))
	for _, tt := range []struct {
		name       string
		rod        instrument.Slope
		change     func(*Priors, []Observation)
		determined bool
	}{
		{"nothing stated", instrument.SlopeOf(1*deg, -0.5*deg), func(*Priors, []Observation) {}, false},
		{"no lengths", instrument.Slope{}, func(p *Priors, obs []Observation) {
			p.RodSigma = 0.1 * deg
			for i := range obs {
				obs[i].LengthMM, obs[i].LengthSigmaMM = 0, 0
			}
		}, false},
		{"declared square", instrument.Slope{}, func(p *Priors, _ []Observation) { p.RodSigma = 0.1 * deg }, true},
		{"height solved for", instrument.Slope{}, func(p *Priors, _ []Observation) { p.RodSigma, p.HeightMM = 0.1*deg, 0 }, true},
		{"known beforehand", instrument.SlopeOf(1*deg, -0.5*deg), func(p *Priors, _ []Observation) {
			p.Rod, p.RodSigma = instrument.SlopeOf(1.05*deg, -0.45*deg), 0.1*deg
		}, true},
		{"seen from all sides", instrument.SlopeOf(1*deg, -0.5*deg), func(_ *Priors, obs []Observation) {
			for i := range obs {
				obs[i].seeRod(instrument.SlopeOf(1*deg, -0.5*deg), angle.Angle(i)*50*deg, 0.003*r.NormFloat64())
			}
		}, true},
		{"seen from one side", instrument.SlopeOf(1*deg, -0.5*deg), func(_ *Priors, obs []Observation) {
			for i := range obs {
				obs[i].seeRod(instrument.SlopeOf(1*deg, -0.5*deg), 20*deg, 0.003*r.NormFloat64())
			}
		}, false},
	} {
		f := faults{plumb: instrument.SlopeOf(1.5*deg, -2*deg), rod: tt.rod, ground: instrument.SlopeOf(1*deg, 0.5*deg), foot: [2]float64{0.4, -0.3}, height: 50.3}
		obs := turned(t, f, r)
		p := DefaultPriors()
		p.HeightMM = 50
		tt.change(&p, obs)
		got := solve(t, obs, p, Options{})
		if got.LeanDetermined() != tt.determined {
			t.Errorf("%s: lean determined %v: %+v %+v", tt.name, got.LeanDetermined(), got.LeanStarboard, got.LeanForward)
		}
		ws, wf := f.rod.Minus(f.plumb).Angles()
		for _, q := range []struct {
			e    Estimate[angle.Angle]
			want angle.Angle
		}{{got.LeanStarboard, ws}, {got.LeanForward, wf}} {
			if e := (q.e.Value - q.want).Abs(); e > 3*q.e.Sigma {
				t.Errorf("%s: lean %v, true %v, sigma %v", tt.name, q.e.Value, q.want, q.e.Sigma)
			}
			if tt.determined && q.e.Sigma > 0.5*deg {
				t.Errorf("%s: lean known to %v only", tt.name, q.e.Sigma)
			}
		}
		if _, err := got.Record(instrument.Record{Gnomon: instrument.Rod}); (err == nil) != tt.determined {
			t.Errorf("%s: record: %v", tt.name, err)
		}
	}
}

// Readings by eye to 0.3 degree on the hour, six hours of them at 50 degrees of latitude,
// leave 3.5 degrees of heading with lean and eccentricity quite free, the figure that the
// design was planned on (a fifth either way); with the foot stated to half a millimetre
// the heading is known. Where readings are many that statement has the most of what is
// left, and the result says so.
func TestByEyeNeedsAPrior(t *testing.T) {
	obs := hoursOf(t, 50*deg, 6*time.Hour, 7)
	for i := range obs {
		obs[i].DirectionSigma, obs[i].RadiusMM = 0.3*deg, 100
	}
	p := DefaultPriors()
	p.FootSigmaMM, p.PlateSigma = 100, 29*deg
	free := solve(t, obs, p, Options{})
	if got := free.Stands[0].Heading.Sigma; got < 3.5*deg*8/10 || got > 3.5*deg*12/10 {
		t.Errorf("with eccentricity free the heading is left at %v, want about 3.5°", got)
	}
	if free.Stands[0].Heading.Determined {
		t.Error("it is called determined")
	}
	p = DefaultPriors()
	if h := solve(t, obs, p, Options{}).Stands[0].Heading; !h.Determined || h.Sigma > 0.5*deg {
		t.Errorf("with the foot stated to 0.5 mm: %+v", h)
	}
	obs = hoursOf(t, -20.6*deg, 8*time.Hour, 33)
	for i := range obs {
		obs[i].DirectionSigma, obs[i].RadiusMM = 0.3*deg, 100
	}
	r := solve(t, obs, p, Options{})
	if h := r.Stands[0].Heading; h.PriorShare < 0.5 || !strings.Contains(h.RestsOn, "foot") || !strings.Contains(strings.Join(r.Verdict(), "\n"), "rests on what was stated of the rod's foot") {
		t.Errorf("what the heading rests on is not said: %+v", h)
	}
}

// A home-made dial read to one degree, numbers clockwise or not and zero anywhere, on one
// heading and on four.
func TestByEyeRoundedToADegree(t *testing.T) {
	place := geo.Position{Lat: -20.6 * deg, Lon: 25.4 * deg}
	dawn := time.Date(2026, 9, 11, 6, 0, 0, 0, time.UTC)
	for _, stands := range []int{1, 4} {
		within, n := 0, 0
		for seed := range uint64(50) {
			r := rand.New(rand.NewPCG(seed, 5))
			p := DefaultPriors()
			f := randomFaults(r, p)
			f.height, f.stretch = 50, 0
			p.StretchSigma = 0
			if stands == 1 {
				f.ground = instrument.Slope{}
			}
			dial := Dial{ZeroAt: angle.Angle(2 * math.Pi * r.Float64()), CounterClockwise: seed%2 == 0, Step: deg, RadiusMM: 90}
			var readings []EyeNumber
			headings := map[string]angle.Angle{}
			for i := range 36 {
				at := dawn.Add(time.Duration(i) * 13 * time.Minute)
				stand := strconv.Itoa(i * stands / 36)
				h := f.heading + angle.Angle(i*stands/36)*91*deg
				headings[stand] = h
				o := f.see(t, h, at, place)
				d := o.Direction + angle.Asin(o.OffsetMM/dial.RadiusMM)
				number := (d - dial.ZeroAt).Bearing()
				if dial.CounterClockwise {
					number = (dial.ZeroAt - d).Bearing()
				}
				rounded := angle.FromDegrees(math.Mod(math.Round(number.Degrees()), 360))
				readings = append(readings, EyeNumber{Time: at.Add(f.clock), Number: rounded, Stand: stand, Line: i + 2})
			}
			obs, err := dial.Observations(readings, bearing.Sun, place, 0)
			if err != nil {
				t.Fatal(err)
			}
			got := solve(t, obs, p, Options{})
			for _, s := range got.Stands {
				e, h := (s.Heading.Value - headings[s.Name]).Signed().Abs(), s.Heading
				if e > 4*h.Sigma {
					t.Errorf("%d stands, seed %d: heading off by %v, sigma %v", stands, seed, e, h.Sigma)
				}
				if e < 2*h.Sigma {
					within++
				}
				n++
			}
		}
		// The headings of four stands share lean and foot: of 50 instruments the count
		// may stray by two standard deviations of 3 %, as if each had one.
		if share := float64(within) / float64(n); share < 0.89 {
			t.Errorf("%d stands: %.1f %% of headings within two sigmas", stands, 100*share)
		}
	}
}

// The vehicle's true heading turns the series into the lubber-line error, and the record
// takes back both from a reading of another hour.
func TestRecordCorrectsAReading(t *testing.T) {
	obs := noisy(series(t), rand.New(rand.NewPCG(4, 4)), photoSigma, 0.05, 0.2)
	p := DefaultPriors()
	p.HeightMM = 50
	vehicle := 143.5 * deg
	r := solve(t, obs, p, Options{True: &TrueHeading{vehicle, 0.05 * deg}})
	if r.Lubber == nil || (r.Lubber.Value-2.2*deg).Abs() > 2*r.Lubber.Sigma {
		t.Errorf("lubber line %+v, want 2.2°", r.Lubber)
	}
	rec, err := r.Record(instrument.Record{Name: "invented", Gnomon: instrument.Rod, HeightMM: 50})
	if err != nil {
		t.Fatal(err)
	}
	// A height that was not measured is the one that the shadows show.
	p.HeightMM = 0
	free := solve(t, obs, p, Options{})
	if found, err := free.Record(instrument.Record{Gnomon: instrument.Rod}); err != nil || math.Abs(found.HeightMM-free.HeightMM.Value) > 0.005 {
		t.Errorf("%v, height %v, want %v", err, found.HeightMM, free.HeightMM)
	}
	if !r.Leans() {
		t.Error("a lean of 2.1° is not seen")
	}
	for _, o := range series(t) {
		turn, level, alignment, err := rec.Correction(o.Sky.Azimuth, o.Sky.Altitude, o.Direction)
		if err != nil {
			t.Fatal(err)
		}
		sigma := angle.RSS(level, alignment)
		if e := (o.plainHeading() + turn - vehicle).Signed().Abs(); e > 3*sigma || sigma > 0.2*deg {
			t.Errorf("%s: corrected heading off by %v, sigma %v", o.Label, e, sigma)
		}
	}
	if r.Judge(1*deg) != Outside || r.Judge(10*deg) != Within {
		t.Errorf("a lean of 2.1° and 2.2° off the mount is %s 1° and %s 10°", r.Judge(1*deg), r.Judge(10*deg))
	}
	said := strings.Join(r.Verdict(), "\n")
	for _, want := range []string{"towards 230°", "3.7 mm", "turn the sheet 2.", "clockwise", "at 45°"} {
		if !strings.Contains(said, want) {
			t.Errorf("the verdict lacks %q:\n%s", want, said)
		}
	}
	out, err := json.Marshal(r)
	if err != nil {
		t.Fatal(err)
	}
	var back map[string]any
	if err := json.Unmarshal(out, &back); err != nil || back["lubber_correction_deg"] == nil || len(back["terms"].([]any)) != 8 {
		t.Errorf("JSON: %v %s", err, out)
	}
}

func TestFigureIsWellFormed(t *testing.T) {
	obs := noisy(series(t), rand.New(rand.NewPCG(4, 4)), photoSigma, 0.05, 0.2)
	obs[3].Direction += 5 * deg
	obs[2].Label = "a <b> & c"
	r := solve(t, obs, DefaultPriors(), Options{})
	var b strings.Builder
	if err := r.WriteSVG(&b); err != nil {
		t.Fatal(err)
	}
	circles, crosses := 0, 0
	for d := xml.NewDecoder(strings.NewReader(b.String())); ; {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		if e, ok := token.(xml.StartElement); ok {
			switch {
			case e.Name.Local == "circle":
				circles++
			case e.Name.Local == "path" && e.Attr[0].Value == "1.5":
				crosses++
			}
		}
	}
	if circles != 14 || crosses != 2 {
		t.Errorf("%d circles and %d crosses, want 7 and 1 in each of two panels", circles, crosses)
	}
	if out := os.Getenv("SHADOWREAD_LOOK"); out != "" {
		if err := os.WriteFile(out, []byte(b.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

func TestBadReadingsAreRefused(t *testing.T) {
	good := noisy(series(t), rand.New(rand.NewPCG(4, 4)), photoSigma, 0.05, 0.2)
	for _, tt := range []struct {
		name, code string
		change     func([]Observation, *Priors) []Observation
	}{
		{"three", "too_few_readings", func(o []Observation, _ *Priors) []Observation { return o[:3] }},
		{"no sigma", "bad_reading", func(o []Observation, _ *Priors) []Observation { o[0].DirectionSigma = 0; return o }},
		{"not a number", "bad_reading", func(o []Observation, _ *Priors) []Observation { o[5].Direction = angle.Angle(math.NaN()); return o }},
		{"length not a number", "bad_reading", func(o []Observation, _ *Priors) []Observation { o[5].LengthMM = math.NaN(); return o }},
		{"sun down", "bad_reading", func(o []Observation, _ *Priors) []Observation { o[5].Sky.Altitude = -2 * deg; return o }},
		{"days apart", "series_too_long", func(o []Observation, _ *Priors) []Observation {
			o[5].Sky.Time = o[5].Sky.Time.AddDate(0, 0, 9)
			return o
		}},
		{"prior not a number", "bad_prior", func(o []Observation, p *Priors) []Observation { p.HeightMM = math.NaN(); return o }},
		{"negative prior", "bad_prior", func(o []Observation, p *Priors) []Observation { p.ClockSigma = -time.Second; return o }},
	} {
		p := DefaultPriors()
		_, err := Solve(tt.change(append([]Observation(nil), good...), &p), p, Options{})
		if got := fault.Code(err); got != tt.code {
			t.Errorf("%s: %v (%s), want %s", tt.name, err, got, tt.code)
		}
	}
}

func TestReadReadings(t *testing.T) {
	for _, tt := range []struct{ name, text, code, says string }{
		{"plain", "time,number\n2026-03-14T09:26:53+02:00,92.5\n", "", ""},
		{"turned, with a comment", "# invented\nheading,number,time,note\nA,92,2026-03-14 09:26:53Z,cloud\nB,182,2026-03-14 09:36:53Z,\n", "", ""},
		{"byte order mark", "\ufefftime,number\n2026-03-14T09:26:53+02:00,0\n", "", ""},
		{"semicolons", "Time;Number\n2026-03-14T09:26:53+02:00;92,5\n", "", ""},
		{"number outside among semicolons", "Time;Number\n2026-03-14T09:26:53+02:00;361,5\n", "bad_number", "line 2: number \"361.5\""},
		{"empty", "", "missing_column", "f.csv"},
		{"missing column", "time,note\n", "missing_column", "line 1: column number"},
		{"unknown column", "time,number,heding\n", "unknown_column", "heding"},
		{"column twice", "time,number,time\n", "bad_csv", "line 1: column time"},
		{"no rows", "time,number\n", "no_readings", "f.csv"},
		{"no offset", "time,number\n2026-03-14T09:26:53Z,3\n2026-03-14T09:26:53,3\n", "no_utc_offset", "line 3"},
		{"no such day", "time,number\n2026-02-30T09:26:53Z,3\n", "bad_time", "line 2"},
		{"number outside", "time,number\n2026-03-14T09:26:53Z,361\n", "bad_number", "line 2"},
		{"negative", "time,number\n2026-03-14T09:26:53Z,-1\n", "bad_number", "line 2"},
		{"not a number", "time,number\n2026-03-14T09:26:53Z,NaN\n", "bad_number", "line 2"},
		{"decimal comma", "time,number\n2026-03-14T09:26:53Z,92,5\n", "bad_csv", "line 2"},
		{"open quote", "time,number\n\"2026", "bad_csv", "line 2"},
		{"too large", strings.Repeat("#\n", maxReadingsBytes), "file_too_large", "f.csv"},
	} {
		got, err := ReadReadings(strings.NewReader(tt.text), "f.csv")
		if fault.Code(err) != tt.code || err != nil && !strings.Contains(err.Error(), tt.says) {
			t.Errorf("%s: %v (%s), want %s that says %q", tt.name, err, fault.Code(err), tt.code, tt.says)
		}
		if tt.code == "" && len(got) == 0 {
			t.Errorf("%s: nothing was read", tt.name)
		}
	}
}

func FuzzReadReadings(f *testing.F) {
	f.Add([]byte("time,number\n2026-03-14T09:26:53+02:00,92.5\n"))
	f.Add([]byte("# c\nheading,number,time\nA,92,2026-03-14 09:26:53Z\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		readings, err := ReadReadings(strings.NewReader(string(data)), "f.csv")
		if err != nil {
			var e *fault.Error
			if !errors.As(err, &e) || e.Hint == "" {
				t.Fatalf("an error without a hint: %v", err)
			}
			return
		}
		for _, r := range readings {
			if !(r.Number >= 0 && r.Number <= 2*math.Pi) || r.Line < 1 {
				t.Fatalf("a reading that cannot be: %+v", r)
			}
		}
		// Whatever was read is solved or refused, and never hangs.
		if len(readings) > 12 {
			return
		}
		obs, err := SheetDial().Observations(readings, bearing.Sun, geo.Position{Lat: -20 * deg, Lon: 25 * deg}, 0)
		if err != nil {
			return
		}
		if r, err := Solve(obs, DefaultPriors(), Options{}); err == nil {
			if _, err := json.Marshal(r); err != nil {
				t.Fatal(err)
			}
		}
	})
}

func BenchmarkSolveEightPhotos(b *testing.B) {
	obs := noisy(series(b), rand.New(rand.NewPCG(4, 4)), photoSigma, 0.05, 0.2)
	p := DefaultPriors()
	p.HeightMM = 50
	for b.Loop() {
		solve(b, obs, p, Options{})
	}
}

// A standing series may hold a quarter of bad photos; more were a turned instrument.
func TestTurned(t *testing.T) {
	for _, tt := range []struct {
		headings []float64 // degrees
		want     bool
	}{
		{[]float64{350, 352, 1, 3, 8, 5, 9, 355}, false},
		{[]float64{350, 352, 1, 3, 8, 5, 9, 90}, false},
		{[]float64{350, 352, 1, 3, 8, 5, 200, 90}, false},
		{[]float64{350, 352, 1, 3, 8, 130, 200, 90}, true},
		{[]float64{10, 100, 190, 280}, true},
		{nil, false},
	} {
		var obs []Observation
		for i, h := range tt.headings {
			var o Observation
			o.Sky.Azimuth = angle.FromDegrees(40 * float64(i)) // the sun goes on, the heading need not
			o.Direction = o.Sky.Azimuth + math.Pi - angle.FromDegrees(h)
			obs = append(obs, o)
		}
		if got := Turned(obs); got != tt.want {
			t.Errorf("%v: %t", tt.headings, got)
		}
	}
}

func TestSame(t *testing.T) {
	a := Observation{Label: "a.jpg", Direction: 1 * deg}
	a.Sky.Time = time.Date(2026, 3, 14, 9, 26, 53, 0, time.UTC)
	copied, later, other := a, a, a
	copied.Label = "copy of a.jpg"
	copied.Sky.Time = a.Sky.Time.In(time.FixedZone("", 7200))
	later.Sky.Time = a.Sky.Time.Add(time.Second)
	other.Direction = 2 * deg
	if !a.Same(copied) || a.Same(later) || a.Same(other) {
		t.Error("a copy is not told from another photo")
	}
}
