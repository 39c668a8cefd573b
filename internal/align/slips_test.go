package align

import (
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/bearing"
	"shadowread/internal/fault"
	"shadowread/internal/geo"
	"shadowread/internal/instrument"
)

// Simulated series with one slip each in what was noted: what cannot be believed must
// name the slip, alone or among those that fit equally well, and determine nothing. The
// shadows are of the projection that a ray-tracing renderer holds (package instrument).
func TestSlipsAreNamed(t *testing.T) {
	slipped, clean := 20, 40
	if os.Getenv("SHADOWREAD_SOAK") != "" {
		slipped, clean = 400, 1000
	}
	accused, doubtful := 0, 0
	for seed := range uint64(clean) {
		obs, p := slipSeries(t, seed, "")
		got, err := Solve(obs, p, Options{})
		switch {
		case err != nil || got.Code != "":
			accused++
		case len(got.Slips) > 0:
			doubtful++
		}
	}
	t.Logf("%d of %d clean series accused, of %d more it is said what their lean might be", accused, clean, doubtful)
	if 10*doubtful > clean && doubtful > 4 { // one in twenty by the lean alone
		t.Errorf("of %d of %d clean series it is said what their lean might be", doubtful, clean)
	}
	if 200*accused > clean && accused > 1 {
		t.Errorf("%d of %d clean series accused", accused, clean)
	}

	kinds := []string{SlipHour, SlipOffsetSign, SlipHemisphere, SlipLongitudeSign, SlipDialSense}
	told, named, passed, beside := map[string]int{}, map[string]int{}, map[string]int{}, map[string]int{}
	allTold, allNamed := 0, 0
	for i := range uint64(slipped) {
		kind := kinds[i%uint64(len(kinds))]
		obs, p := slipSeries(t, 10_000+i, kind)
		got, err := Solve(obs, p, Options{})
		words := fault.Hint(err)
		if err == nil {
			if got.Code == "" {
				passed[kind]++ // the slip moves too little to be seen
				if slices.ContainsFunc(got.Slips, func(s Slip) bool { return s.Code == kind }) {
					beside[kind]++
				}
				continue
			}
			if _, err := got.Record(instrument.Record{}); err == nil {
				t.Errorf("%s %d: not believable, and kept", kind, i)
			}
		}
		told[kind]++
		allTold++
		ok := strings.Contains(words, map[string]string{
			SlipHour: "the hour is wrong", SlipOffsetSign: "UTC offset", SlipHemisphere: "latitude", SlipLongitudeSign: "longitude", SlipDialSense: "numbers run",
		}[kind])
		if err == nil {
			for _, s := range got.Slips {
				ok = ok || s.Code == kind
			}
		}
		if ok {
			named[kind]++
			allNamed++
		} else {
			t.Logf("%s %d: %v (%s)", kind, i, err, words)
			if err == nil {
				t.Logf("  %v", got.Slips)
			}
		}
	}
	for _, k := range kinds {
		t.Logf("%-15s told %d, named %d, too small to be seen %d, of which named beside the lean %d", k, told[k], named[k], passed[k], beside[k])
	}
	if 100*allNamed < 95*allTold || allTold < slipped/3 {
		t.Errorf("%d of %d told slips named, of %d", allNamed, allTold, slipped)
	}
}

// slipSeries is a series on a random day as it would be noted with a slip.
func slipSeries(t *testing.T, seed uint64, kind string) ([]Observation, Priors) {
	r := rand.New(rand.NewPCG(seed, 8))
	p := DefaultPriors()
	p.HeightMM = 50
	f := randomFaults(r, p)
	f.ground = instrument.Slope{}
	place, times := randomDay(t, r, 8)
	hours := []time.Duration{-2, -1, 1, 2}[r.IntN(4)] * time.Hour
	offset := time.Duration(1+r.IntN(9)) * time.Hour * time.Duration(1-2*r.IntN(2))
	eye := seed%2 == 0 || kind == SlipDialSense
	var obs []Observation
	for _, at := range times {
		o := f.see(t, f.heading, at, place)
		o.UTCOffset = offset
		noted, where := at, place
		switch kind {
		case SlipHour:
			noted = at.Add(hours)
		case SlipOffsetSign:
			noted, o.UTCOffset = at.Add(2*offset), -offset
		case SlipHemisphere:
			where.Lat = -where.Lat
		case SlipLongitudeSign:
			where.Lon = -where.Lon
		}
		o.Sky = skyThen(t, noted, where)
		if eye {
			o.RadiusMM = 58 // the shadow is read where it crosses the scale
			o.Direction += angle.Asin(o.OffsetMM / o.RadiusMM)
			back := (-o.Direction).Bearing()
			o.Reversed = &back
			o.LengthMM, o.LengthSigmaMM = 0, 0
			if kind == SlipDialSense {
				was := o.Direction
				o.Direction, o.Reversed = back, &was
			}
		}
		obs = append(obs, o)
	}
	if eye {
		return noisyEye(obs, r), p
	}
	return noisy(obs, r, photoSigma, 0.05, 0.2), p
}

func skyThen(t *testing.T, at time.Time, where geo.Position) bearing.Apparent {
	t.Helper()
	a, err := bearing.Observe(bearing.Sun, at, where, 0)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

// noisyEye adds the error of a number read to a degree.
func noisyEye(obs []Observation, r *rand.Rand) []Observation {
	const eye = angle.Degree / 2
	out := append([]Observation(nil), obs...)
	for i := range out {
		e := eye * angle.Angle(r.NormFloat64())
		out[i].Direction += e
		back := *out[i].Reversed - e
		out[i].Reversed, out[i].DirectionSigma = &back, eye
		out[i].OffsetMM, out[i].OffsetSigmaMM = 0, 0
	}
	return out
}

// What a slip makes of a standing series may look like an instrument that was turned, and to
// take it for one would hide the slip.
func TestSlipBehindATurnedInstrument(t *testing.T) {
	seen := 0
	for i := range uint64(20) {
		obs, p := slipSeries(t, 10_000+i, SlipHemisphere)
		if !Turned(obs) {
			continue
		}
		seen++
		err := WithSlips(fault.New("instrument_turned", "give --turned", "the photos show the sheet on different headings"), obs, p)
		if hint := fault.Hint(err); !strings.Contains(hint, "the latitude has the other sign") || !strings.HasSuffix(hint, "; if not that: give --turned") {
			t.Errorf("series %d: %q", i, hint)
		}
	}
	if seen < 5 {
		t.Errorf("only %d of 20 series look turned", seen)
	}
}
