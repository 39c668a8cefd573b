package vision

import (
	"encoding/json"
	"errors"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"shadowread/internal/angle"
	"shadowread/internal/calib"
	"shadowread/internal/sheet"
)

// independent is a folder of photos that another renderer made, a path tracer, with
// the geometry they were made from.
const independent = "../../fixtures/independent"

type photoTruth struct {
	File     string     `json:"file"`
	Readable bool       `json:"readable"`
	Foot     [2]float64 `json:"foot_px"`
	Strip    *float64   `json:"shadow_strip_cw_deg"`
	Length   *float64   `json:"shadow_length_mm"`
	Rod      struct {
		Diameter float64 `json:"diameter_mm"`
	} `json:"rod"`
	Sheet struct {
		Curl float64 `json:"curl_mm"`
	} `json:"sheet"`
	Marks []struct {
		ID      int           `json:"id"`
		Corners [4][2]float64 `json:"corners_px"`
	} `json:"marks"`
}

func loadTruth(t *testing.T) []photoTruth {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(independent, "truth.json"))
	if err != nil {
		t.Fatal(err)
	}
	var truths []photoTruth
	if err := json.Unmarshal(data, &truths); err != nil {
		t.Fatal(err)
	}
	return truths
}

func mustPlate(t *testing.T, file string, factor int) (*Gray, *FoundSheet) {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(independent, file))
	if err != nil {
		t.Fatal(err)
	}
	g, err := DecodeJPEG(data, factor)
	if err != nil {
		t.Fatal(err)
	}
	prior := calib.UnknownLens(g.W, g.H, 0)
	prior.Stretch, prior.Curl = 0.001, 3e-5
	p, _, err := FindSheet(g, sheet.Standard, prior)
	if err != nil {
		t.Fatalf("%s at 1/%d: %v", file, factor, err)
	}
	return g, p
}

// stored returns the place in the stored raster, before any mirroring, of a place in g.
func stored(g *Gray, p calib.Pixel) calib.Pixel {
	if g.Mirrored {
		p.U = float64(g.W-1) - p.U
	}
	return p.Enlarged(float64(g.Factor))
}

// Marks and foot must lie where the other renderer put them, in absolute pixels: a
// detector half a pixel off has a perfect residual too. Decoding at half and a
// quarter of the size must not move them. Bars: 0.07 px rms for corners found by
// their edges at full size, more where a pixel is two or four.
func TestMarksLieWhereAnIndependentRendererPutThem(t *testing.T) {
	for _, tr := range loadTruth(t) {
		for factor, bar := range map[int]float64{1: 0.07, 2: 0.10, 4: 0.25} {
			g, p := mustPlate(t, tr.File, factor)
			if factor == 4 && g.W < 900 {
				continue // the marks have fewer than 30 px
			}
			sum, n := 0.0, 0.0
			var du, dv float64
			for _, m := range tr.Marks {
				for _, s := range sheet.Standard.Marks {
					if s.ID != m.ID {
						continue
					}
					for k, c := range s.Corners() {
						q := stored(g, p.ProjectDrawing(c))
						eu, ev := q.U-m.Corners[k][0], q.V-m.Corners[k][1]
						sum, n = sum+eu*eu+ev*ev, n+1
						du, dv = du+eu, dv+ev
					}
				}
			}
			if rms := math.Sqrt(sum / n); rms > bar {
				t.Errorf("%s at 1/%d: corners %.3f px rms from the truth, want %.2f", tr.File, factor, rms, bar)
			}
			// A common shift is what a wrong pixel convention makes.
			if shift := math.Hypot(du/n, dv/n); shift > 0.04*float64(factor) {
				t.Errorf("%s at 1/%d: all corners shifted by %.3f px", tr.File, factor, shift)
			}
			f := stored(g, p.ProjectDrawing(sheet.Point{}))
			if d := math.Hypot(f.U-tr.Foot[0], f.V-tr.Foot[1]); d > 0.08*float64(factor) {
				t.Errorf("%s at 1/%d: the foot is %.3f px off", tr.File, factor, d)
			}
		}
	}
}

func TestStripOfAnIndependentRenderer(t *testing.T) {
	tops := 0
	defer func() {
		if tops < 2 {
			t.Errorf("the rod's tip was seen in %d photos only", tops)
		}
	}()
	for _, tr := range loadTruth(t) {
		g, p := mustPlate(t, tr.File, 1)
		s, err := FindShadow(g, p, sheet.Standard, Rod{})
		if !tr.Readable {
			if !errors.Is(err, ErrNoShadow) {
				t.Errorf("%s: %v, want no shadow", tr.File, err)
			}
			continue
		}
		if err != nil {
			t.Errorf("%s: %v", tr.File, err)
			continue
		}
		if e := (s.Direction - angle.FromDegrees(*tr.Strip)).Signed(); e.Abs() > 0.03*angle.Degree {
			t.Errorf("%s: direction %.4f° off", tr.File, e.Degrees())
		}
		if math.Abs(s.Width-tr.Rod.Diameter) > 0.1 {
			t.Errorf("%s: strip %.2f mm wide, rod %.2f mm", tr.File, s.Width, tr.Rod.Diameter)
		}
		if math.Abs(s.FootOffset) > 0.05 { // the rods of these photos stand on the foot
			t.Errorf("%s: strip passes the foot by %.3f mm", tr.File, s.FootOffset)
		}
		if s.RodTop != nil {
			// A rod of 50 mm; half a millimetre of the tip's place on the paper is
			// worth one to two of height at these obliquities.
			if top, ok := p.Sight(*s.RodTop); !ok || math.Abs(top.HeightMM-50) > 3 {
				t.Errorf("%s: the rod's image shows a height of %.1f mm, true 50", tr.File, top.HeightMM)
			}
			tops++
		}
		if s.Length > 0 && math.Abs(s.Length-*tr.Length) > 0.3 {
			t.Errorf("%s: shadow %.2f mm long, true %.2f", tr.File, s.Length, *tr.Length)
		}
	}
}

// flatPlate is a camera straight above that shows one millimetre as scale pixels.
func flatPlate(scale float64, w, h int) *calib.Plate {
	return &calib.Plate{
		Lens: calib.Lens{F: scale * 1000, Cx: float64(w-1) / 2, Cy: float64(h-1) / 2},
		Pose: calib.Pose{R: [3][3]float64{{1, 0, 0}, {0, -1, 0}, {0, 0, -1}}, T: [3]float64{0, 0, 1000}},
	}
}

// drawStrip draws a blurred strip of shadow with white noise, in plain gamma: the
// light is exact to the pixel's centre.
func drawStrip(r *rand.Rand, p *calib.Plate, w, h int, dir angle.Angle, offset, width, blur, depth, noise, end float64) *Gray {
	g := &Gray{W: w, H: h, Factor: 1, Pix: make([]uint8, w*h)}
	f := newFrame(dir, offset)
	for v := range h {
		for u := range w {
			q, _ := p.Unproject(calib.Pixel{U: float64(u), V: float64(v)})
			s := q.X*f.u.X + q.Y*f.u.Y
			n := q.X*f.v.X + q.Y*f.v.Y - offset
			sd := math.Hypot(blur, 0.0028*max(s, 0))
			in := 0.5 * (math.Erf((n+width/2)/sd/math.Sqrt2) - math.Erf((n-width/2)/sd/math.Sqrt2))
			in *= 0.5 * (1 + math.Erf((end-s)/0.3)) * 0.5 * (1 + math.Erf(s/0.3))
			light := 0.7 * (1 - depth*in)
			level := 255 * linearToSRGB(light)
			g.Pix[v*w+u] = uint8(max(0, min(255, math.Round(level+noise*r.NormFloat64()))))
		}
	}
	return g
}

// The scatter of the direction must lie near the Cramer-Rao bound of a free line
// through a strip with two blurred edges,
//
//	sd = (noise/contrast) sqrt(12 sqrt(pi) s / L^3)
//
// (closed form for a sampled edge: Gatherer, Stanford CSL-TR-93-560, 1993), and the
// stated sigma must cover it. 1.6 times the bound leaves room for the interpolation.
func TestStripReachesTheBoundAndOwnsUpToIt(t *testing.T) {
	if testing.Short() {
		t.Skip()
	}
	const (
		scale, w, h  = 5.0, 640, 640 // px/mm
		blur, noise  = 0.16, 3.0     // mm, levels
		depth, width = 0.8, 3.0
		trials       = 30
	)
	p := flatPlate(scale, w, h)
	r := rand.New(rand.NewPCG(11, 12))
	var square, stated, mean float64
	for range trials {
		dir := angle.Angle(2 * math.Pi * r.Float64())
		offset := 0.4 * (2*r.Float64() - 1)
		g := drawStrip(r, p, w, h, dir, offset, width, blur, depth, noise, 70)
		st, err := measureOnly(g, p, dir)
		if err != nil {
			t.Fatalf("dir %v: %v", dir, err)
		}
		e := float64((st.Direction - dir).Signed())
		square += e * e / trials
		mean += e / trials
		stated += float64(st.Sigma*st.Sigma) / trials
		if math.Abs(st.FootOffset-offset) > 0.02 {
			t.Errorf("offset %.3f mm, true %.3f", st.FootOffset, offset)
		}
	}
	contrast := 255 * (linearToSRGB(0.7) - linearToSRGB(0.7*(1-depth)))
	sd := math.Hypot(blur, 0.0028*31) * scale
	length := (56.4 - shadowStart) * scale
	bound := noise / contrast * math.Sqrt(12*math.Sqrt(math.Pi)*sd/math.Pow(length, 3))
	t.Logf("rms %.5f°, bound %.5f°, stated %.5f°, mean %.5f°", angle.Angle(math.Sqrt(square)).Degrees(),
		angle.Angle(bound).Degrees(), angle.Angle(math.Sqrt(stated)).Degrees(), angle.Angle(mean).Degrees())
	if math.Sqrt(square) > 1.6*bound {
		t.Errorf("scatter %.5f°, bound %.5f°", angle.Angle(math.Sqrt(square)).Degrees(), angle.Angle(bound).Degrees())
	}
	// 30 trials know a standard deviation to 13 %.
	if q := math.Sqrt(square / stated); q < 0.5 || q > 1.35 {
		t.Errorf("errors are %.2f of the stated sigma", q)
	}
	if math.Abs(mean) > 3*math.Sqrt(square/trials) {
		t.Errorf("mean error %.5f°", angle.Angle(mean).Degrees())
	}
}

// measureOnly measures the strip in a picture that shows nothing else, so that no
// rod can be seen and no witness heard.
func measureOnly(g *Gray, p *calib.Plate, dir angle.Angle) (*Strip, error) {
	q := newSearch(g, p, ghost{}, sheet.Standard, Rod{})
	if !q.lookAtDial(q.img.hides) {
		return nil, ErrNoShadow
	}
	for _, r := range q.dial.rays(0, offsetMost) {
		if (r.dir - dir).Signed().Abs() < 3*angle.Degree {
			return q.measureStrip(r)
		}
	}
	return nil, ErrNoShadow
}

// The table of the normal law against Erfc; 5e-5 of the depth moves an edge by less
// than a ten-thousandth of a pixel.
func TestNormalTable(t *testing.T) {
	for x := -7.0; x < 7; x += 0.0137 {
		if d := math.Abs(cdf(x) - 0.5*math.Erfc(-x/math.Sqrt2)); d > 5e-5 {
			t.Errorf("cdf(%.3f) is %.2g off", x, d)
		}
	}
}

// A patch of a known place in a picture shrunk by s lies at full = small s + (s-1)/2.
func TestShrinkKeepsPlaces(t *testing.T) {
	g := &Gray{W: 101, H: 83, Factor: 1, Pix: make([]uint8, 101*83)}
	for v := 41; v < 49; v++ {
		for u := 32; u < 40; u++ {
			g.Pix[v*g.W+u] = 240
		}
	}
	for _, s := range []int{1, 2, 4} {
		small := g.Shrink(s)
		var m, mu, mv float64
		for v := range small.H {
			for u := range small.W {
				x := float64(small.Pix[v*small.W+u])
				m, mu, mv = m+x, mu+x*float64(u), mv+x*float64(v)
			}
		}
		q := stored(small, calib.Pixel{U: mu / m, V: mv / m})
		if math.Abs(q.U-35.5) > 0.02 || math.Abs(q.V-44.5) > 0.02 {
			t.Errorf("shrunk by %d the patch lies at %.3f, %.3f, want 35.5, 44.5", s, q.U, q.V)
		}
	}
	if q := stored(g.Mirror(), calib.Pixel{U: 65, V: 2}); q.U != 35 || q.V != 2 {
		t.Errorf("the mirrored place comes back as %v", q)
	}
}

func TestDecodeRefusesWhatIsNoPicture(t *testing.T) {
	for _, data := range [][]byte{nil, []byte("no picture"), {0xff, 0xd8, 0xff}} {
		if g, err := DecodeJPEG(data, 2); err == nil {
			t.Errorf("decoded %q to %d x %d", data, g.W, g.H)
		}
	}
}

// A lone mark, and marks of two maps, make no plate.
func TestLoneMarksMakeNoPlate(t *testing.T) {
	square := func(id int, u, v, side float64) candidate {
		for _, m := range sheet.Standard.Marks {
			if m.ID == id {
				return candidate{mark: m, corners: [4]calib.Pixel{{U: u, V: v}, {U: u + side, V: v}, {U: u + side, V: v + side}, {U: u, V: v + side}}}
			}
		}
		t.Fatalf("no mark %d", id)
		return candidate{}
	}
	if _, chosen := consensus([]candidate{square(4, 100, 100, 44)}); len(chosen) != 0 {
		t.Errorf("one mark made a plate of %d", len(chosen))
	}
	// Two marks at places that the sheet does not allow: each pair explains itself
	// only as far as a map can; a third out of place must not join.
	all := []candidate{square(4, 100, 100, 44), square(5, 408, 100, 44), square(6, 408, 408, 44), square(7, 100, 408, 44), square(8, 600, 700, 28)}
	if _, chosen := consensus(all); len(chosen) != 4 {
		t.Errorf("%d marks agree, want the four corners", len(chosen))
	}
}
