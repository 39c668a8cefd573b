package reading_test

import (
	"testing"

	"shadowread/internal/angle"
	"shadowread/internal/fault"
	"shadowread/internal/instrument"
	"shadowread/internal/photofile"
	"shadowread/internal/reading"
)

// A rod that leans, on a board out of level, by the renderer's ray tracer: with the tilt
// stated and the rod seen from two sides the vehicle's heading comes out, and the clock
// check, which would refuse as much of a lean, holds.
func TestOneStandFromTwoSides(t *testing.T) {
	tilt := instrument.Tilt{Forward: 5 * deg, Starboard: -4 * deg, Sigma: 0.1 * deg}
	var results []*reading.Result
	var paths []string
	var o reading.Options
	var truth angle.Angle
	for _, side := range []angle.Angle{shadowDir + 130*deg, shadowDir + 215*deg} {
		s := scene(48*deg, 42*deg, side)
		s.Plate.Pitch, s.Plate.Roll = tilt.Forward, -tilt.Starboard
		s.Rods[0].Lean, s.Rods[0].LeanDir = 2*deg, shadowDir+60*deg
		truth = s.Plate.Heading
		o = exactly(s)
		o.Rod.HeightMM = 50
		o.Tilt = &tilt
		r, _ := readScene(t, s, o)
		if !r.OK() || r.RodSlope == nil {
			t.Fatalf("%s: %s; rod's image %v", r.Reason, r.Message, r.RodSlope)
		}
		results, paths = append(results, r), append(paths, r.Photo)
	}
	same, err := reading.StandOf(results)
	if err != nil {
		t.Fatal(err)
	}
	o.Same = same
	for i, path := range paths {
		r := reading.Read(t.Context(), photofile.At(path), o)
		e, alone := (*r.Heading - truth).Signed(), (*results[i].Heading - truth).Signed()
		t.Logf("alone off by %v ± %v, together by %v ± %v (uncorrected %v), clock %s", alone, results[i].Sigma, e, r.Sigma, (e - r.Correction).Signed(), r.Clock)
		if e.Abs() > 0.3*deg || e.Abs() > 3*r.Sigma || r.Sigma > 0.35*deg {
			t.Errorf("together: off by %v, sigma %v", e, r.Sigma)
		}
		if alone.Abs() > 3.5*results[i].Sigma {
			t.Errorf("alone: off by %v, sigma %v", alone, results[i].Sigma)
		}
		if r.Clock == reading.ClockFailed {
			t.Errorf("the clock check does not know the tilt: %v", r.Warnings)
		}
	}
	results[1].Heading = new(*results[1].Heading + 40*deg)
	if _, err := reading.StandOf(results); fault.Code(err) != "not_same_stand" {
		t.Errorf("two headings: %v", err)
	}
}
