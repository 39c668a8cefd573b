package proof

import (
	"context"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"testing"

	"shadowread/internal/angle"
	"shadowread/internal/photofile"
	"shadowread/internal/reading"
)

// The horizon in photos of an independent renderer (fixtures/README.md): pitch and roll
// within four sigma where it may be taken, and a warning where a roof hides it, a bank of
// cloud offers another line.
func TestSkyline(t *testing.T) {
	dir := filepath.Join("..", "..", "fixtures", "skyline")
	data, err := os.ReadFile(filepath.Join(dir, "truth.json"))
	if err != nil {
		t.Fatal(err)
	}
	var truths []struct {
		truth
		TrueHeading float64 `json:"heading_deg"`
		Pitch       float64 `json:"pitch_deg"`
		Roll        float64 `json:"roll_deg"` // starboard down
		Skyline     struct {
			Usable bool    `json:"usable"`
			Eye    float64 `json:"eye_height_m"`
		} `json:"skyline"`
	}
	if err := json.Unmarshal(data, &truths); err != nil {
		t.Fatal(err)
	}
	found := 0
	for _, tr := range truths {
		o := tr.options()
		o.Horizon = &reading.Horizon{Sigma: reading.DefaultHorizon, EyeMetres: math.Round(tr.Skyline.Eye*10) / 10}
		r := reading.Read(context.Background(), photofile.At(filepath.Join(dir, tr.File)), o)
		if !r.OK() {
			t.Errorf("%s: %s: %s", tr.File, r.Reason, r.Message)
			continue
		}
		warned := false
		for _, w := range r.Warnings {
			warned = warned || w.Code == "no_horizon" || w.Code == "horizon_not_straight"
		}
		if r.Tilt == nil {
			if !warned {
				t.Errorf("%s: no tilt and no word of it: %v", tr.File, r.Warnings)
			}
			continue
		}
		found++
		forward, starboard := r.Tilt.Forward-angle.FromDegrees(tr.Pitch), r.Tilt.Starboard+angle.FromDegrees(tr.Roll)
		e := (*r.Heading - angle.FromDegrees(tr.TrueHeading)).Signed()
		t.Logf("%s: forward off by %v, starboard by %v, sigma %v; heading off by %v, sigma %v", tr.File, forward, starboard, r.Tilt.Sigma, e, r.Sigma)
		if !tr.Skyline.Usable {
			t.Errorf("%s: a false line was taken", tr.File)
		}
		if max(forward.Abs(), starboard.Abs()) > 4*r.Tilt.Sigma || max(forward.Abs(), starboard.Abs()) > angle.Degree/8 {
			t.Errorf("%s: tilt %v is off", tr.File, *r.Tilt)
		}
		if e.Abs() > 3*r.Sigma {
			t.Errorf("%s: heading off by %v, sigma %v", tr.File, e, r.Sigma)
		}
	}
	if found < 2 {
		t.Errorf("the horizon was found in %d photos", found)
	}
}
