package proof

import (
	"context"
	"math"
	"os"
	"path/filepath"
	"testing"

	"shadowread/internal/align"
	"shadowread/internal/angle"
	"shadowread/internal/photofile"
	"shadowread/internal/reading"
)

// The photos of one instrument that stood still for a day, from file to lean: heading
// within 0.1 degree and two sigma, lean within 0.15 degree, foot within 0.1 mm of an
// independent renderer's truth. The folder lies beside the project where it is at hand.
func TestStandingSeriesOfPhotos(t *testing.T) {
	dir := filepath.Join("..", "..", "..", "shared", "photos", "series-dev")
	truths, err := loadTruth(dir)
	if os.IsNotExist(err) {
		t.Skipf("SKIPPED: no photos in %s", dir)
	}
	if err != nil {
		t.Fatal(err)
	}
	priors := align.DefaultPriors()
	priors.HeightMM = truths[0].Rod.HeightMM
	var obs []align.Observation
	for _, tr := range truths {
		r := reading.Read(context.Background(), photofile.At(filepath.Join(dir, tr.File)), tr.options())
		if !r.OK() {
			t.Errorf("%s: %s: %s", tr.File, r.Reason, r.Message)
			continue
		}
		s := r.Shadow
		o := align.Observation{
			Label: tr.File, Sky: *r.Sky, Direction: s.Direction,
			DirectionSigma: angle.Angle(math.Hypot(math.Hypot(float64(r.Budget.ShadowFit), float64(r.Budget.SheetMap)), float64(align.PhotoFloor))),
			OffsetMM:       s.FootOffset, OffsetSigmaMM: math.Hypot(s.FootSigma, align.PhotoFloorMM),
		}
		if s.Length > 0 {
			o.LengthMM, o.LengthSigmaMM = s.Length, s.LengthSigma
		}
		obs = append(obs, o)
		priors.ClockSigma = r.Instant.Sigma
		priors.PositionSigmaKM = r.Place.SigmaKM
		priors.StretchSigma = r.Plate.StretchSigma()
	}
	for _, withLength := range []bool{true, false} {
		if !withLength {
			for i := range obs {
				obs[i].LengthMM, obs[i].LengthSigmaMM = 0, 0
			}
		}
		got, err := align.Solve(obs, priors, align.Options{})
		if err != nil {
			t.Fatal(err)
		}
		for _, line := range got.Verdict() {
			t.Log(line)
		}
		for _, term := range got.Terms {
			t.Logf("%s: residual %+.4f° sigma %.4f°, offset %+.3f mm (%.3f), length %+.3f mm (%.3f), apart %.1f", term.Label, term.Residual.Degrees(), term.DirectionSigma.Degrees(), term.OffsetResidualMM, term.OffsetSigmaMM, term.LengthResidualMM, term.LengthSigmaMM, term.Sigmas)
		}
		const deg = angle.Degree
		heading := got.Stands[0].Heading
		e := (heading.Value - 141.3*deg).Signed().Abs()
		t.Logf("with length %v: heading off by %v, sigma %v", withLength, e, heading.Sigma)
		if e > 0.1*deg || e > 2*heading.Sigma {
			t.Errorf("with length %v: heading %v is off by %v, sigma %v", withLength, heading.Value, e, heading.Sigma)
		}
		// The rod stands square to a sheet pitched by 1.35 degrees and rolled by -1.62.
		for _, q := range []struct {
			name string
			got  align.Estimate[angle.Angle]
			want angle.Angle
		}{{"to starboard", got.LeanStarboard, -1.62 * deg}, {"forward", got.LeanForward, -1.35 * deg}} {
			t.Logf("lean %s %v, sigma %v, true %v", q.name, q.got.Value, q.got.Sigma, q.want)
			if e := (q.got.Value - q.want).Abs(); e > 0.15*deg {
				t.Errorf("with length %v: the lean %s is %v, true %v", withLength, q.name, q.got.Value, q.want)
			}
		}
		for _, q := range []struct {
			name string
			got  align.Estimate[float64]
			want float64
		}{{"to starboard", got.FootStarboardMM, 0.53}, {"forward", got.FootForwardMM, -0.58}} {
			t.Logf("foot %s %.3f mm, sigma %.3f, true %.2f", q.name, q.got.Value, q.got.Sigma, q.want)
			if math.Abs(q.got.Value-q.want) > 0.1 {
				t.Errorf("with length %v: the foot stands %.3f mm %s, true %.2f", withLength, q.got.Value, q.name, q.want)
			}
		}
	}
}
