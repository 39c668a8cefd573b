package calib

import (
	"math"
	"math/rand/v2"
	"testing"

	"shadowread/internal/angle"
	"shadowread/internal/sheet"
)

// heights is how high paper lies over the plate, mm, at a true place.
type heights func(x, y float64) float64

// lifted is where a plate shows a point of the drawing that lies at its height.
func (h heights) lifted(p *Plate, s sheet.Point) Pixel {
	at := p.Paper(s)
	return p.ProjectSpace(at.X, at.Y, p.Curl.height(at.X, at.Y)+h(at.X, at.Y))
}

// samples are what a perfect finder of edges and ticks with normal scatter sees of such paper.
func (h heights) samples(r *rand.Rand, p *Plate, sigma float64) (out []Sample) {
	see := func(s Sample, at sheet.Point, along sheet.Point) {
		q := h.lifted(p, at)
		e := h.lifted(p, sheet.Point{X: at.X + 0.1*along.X, Y: at.Y + 0.1*along.Y})
		long := math.Hypot(e.U-q.U, e.V-q.V)
		d := sigma * r.NormFloat64()
		s.At, s.Along = at, along
		s.Seen = Pixel{U: q.U + d*(e.V-q.V)/long, V: q.V - d*(e.U-q.U)/long}
		out = append(out, s)
	}
	for g, m := range sheet.Standard.Marks {
		corners := m.Corners()
		for i, a := range corners {
			b := corners[(i+1)%4]
			along := sheet.Point{X: (b.X - a.X) / m.Side, Y: (b.Y - a.Y) / m.Side}
			for j := range 16 {
				d := (0.1 + 0.8*float64(j)/15) * m.Side
				see(Sample{Ink: 1, Group: 4*g + i}, sheet.Point{X: a.X + d*along.X, Y: a.Y + d*along.Y}, along)
			}
		}
	}
	for d := range 360 {
		along := sheet.Point{X: angle.FromDegrees(float64(d)).Sin(), Y: angle.FromDegrees(float64(d)).Cos()}
		see(Sample{Group: 1000 + d/10}, sheet.Point{X: 59.8 * along.X, Y: 59.8 * along.Y}, along)
	}
	return out
}

// shadow is the line along a direction from 9 to 56 mm from the foot as it is measured through
// a fit: the straight line through what is seen of its places. Its ends are returned in pixels.
func (h heights) shadow(truth *Plate, fit *Fit, dir angle.Angle) (a, b Pixel, off float64) {
	const places = 40
	var s, n [places]float64
	var ms, mn, ss, sn float64
	for i := range places {
		at := 9 + 47*(float64(i)+0.5)/places
		x, y := at*dir.Sin(), at*dir.Cos()
		p, _ := fit.Unproject(truth.ProjectSpace(x, y, truth.Curl.height(x, y)+h(x, y)))
		s[i], n[i] = p.X*dir.Sin()+p.Y*dir.Cos(), p.X*dir.Cos()-p.Y*dir.Sin()
		ms, mn = ms+s[i]/places, mn+n[i]/places
	}
	for i := range places {
		ss, sn = ss+sq(s[i]-ms), sn+(s[i]-ms)*(n[i]-mn)
	}
	on := func(at float64) Pixel {
		across := mn + sn/ss*(at-ms)
		return fit.Project(sheet.Point{X: at*dir.Sin() + across*dir.Cos(), Y: at*dir.Cos() - across*dir.Sin()})
	}
	return on(9), on(56), math.Atan(sn / ss)
}

// Paper in folds and waves turns a shadow that is seen obliquely by some tenths of a degree.
// What marks and ticks show of it must put most of that right, and what is left must lie
// within what is feared: a unit normal, so that of 20 sheets none is off by four sigmas. A flat sheet is
// left as it is. Two waves across each other are put right where they explain what is seen, or where one
// all but does. Paper with bumps, of which the dial tells nothing, is not put right by what it
// does not do, and is feared.
func TestReliefPutsRightWhatPaperTurns(t *testing.T) {
	wave := func(r *rand.Rand) heights {
		way, high, long, from := 6.28*r.Float64(), 0.15+0.25*r.Float64(), 70+130*r.Float64(), 6.28*r.Float64()
		return func(x, y float64) float64 {
			return high * math.Sin(from+2*math.Pi*(x*math.Cos(way)-y*math.Sin(way))/long)
		}
	}
	fold := func(r *rand.Rand) heights {
		way, high, reach, off := 6.28*r.Float64(), 0.1+0.4*r.Float64(), 8+17*r.Float64(), 100*r.Float64()-50
		return func(x, y float64) float64 {
			return high * math.Exp(-math.Abs(x*math.Cos(way)-y*math.Sin(way)-off)/reach)
		}
	}
	for _, tt := range []struct {
		name    string
		draw    func(*rand.Rand) heights
		leaves  float64 // of the RMS error, at most
		widened float64 // median sigma over that of the map, at most
	}{
		{"flat", func(*rand.Rand) heights { return func(float64, float64) float64 { return 0 } }, 1.001, 1.05},
		{"waves", wave, 0.3, 8},
		{"folds", fold, 0.5, 4},
		{"waves that cross", func(r *rand.Rand) heights {
			a, b, part := wave(r), wave(r), 0.1+0.2*r.Float64()
			return func(x, y float64) float64 { return a(x, y) + part*b(x, y) }
		}, 0.7, 8},
		{"waves with a slight one across", func(r *rand.Rand) heights {
			a, b := wave(r), wave(r)
			return func(x, y float64) float64 { return a(x, y) + 0.08*b(x, y) }
		}, 0.13, 1.2},
		{"bumps", func(r *rand.Rand) heights {
			var x, y, high, wide [6]float64
			for i := range x {
				x[i], y[i], high[i], wide[i] = 220*r.Float64()-110, 220*r.Float64()-110, 0.2*r.NormFloat64(), 15+25*r.Float64()
			}
			return func(u, v float64) (z float64) {
				for i := range x {
					z += high[i] * math.Exp(-(sq(u-x[i])+sq(v-y[i]))/(2*sq(wide[i])))
				}
				return z
			}
		}, 1.1, 20},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			const n = 20
			r := rand.New(rand.NewPCG(11, 12))
			var before, after float64
			var widened []float64
			for range n {
				prior := UnknownLens(2000, 1500, 1600)
				prior.Stretch, prior.Curl = 0.001, TapedCurl
				tilt := angle.FromDegrees(10 + 45*r.Float64())
				truth := testPlate(tilt, angle.Angle(6.28*r.Float64()), angle.Angle(6.28*r.Float64()), 330, phone)
				truth.Stretch = prior.Stretch * r.NormFloat64()
				h := tt.draw(r)
				samples := h.samples(r, &truth, 0.06)
				fit, err := FitPlate(startOf(t, &truth), samples, prior)
				if err != nil {
					t.Fatal(err)
				}
				dir := angle.Angle(6.28 * r.Float64())
				a, b, off := h.shadow(&truth, fit, dir)
				got := fit.Relief(a, b)
				printed, rest := fit.Spread(func(p *Plate) float64 {
					u, _ := p.Unproject(a)
					v, _ := p.Unproject(b)
					return float64((angle.Clockwise(v.X-u.X, v.Y-u.Y) - dir).Signed())
				})
				left := off + float64(got.Turn)
				// What is not explained is charged by the reading: 6 degrees a millimetre.
				ripple := 6 * math.Pi / 180 * got.ResidualMM
				sigma := math.Sqrt(sq(printed) + sq(rest) + sq(float64(got.Sigma)) + sq(ripple))
				if math.Abs(left) > 4*sigma {
					t.Errorf("%.3f° off before, %.3f° after, sigma %.3f°: %+v", angle.Angle(off).Degrees(), angle.Angle(left).Degrees(), angle.Angle(sigma).Degrees(), got)
				}
				before, after = before+sq(off), after+sq(left)
				widened = append(widened, math.Sqrt(sq(printed)+sq(rest)+sq(float64(got.Sigma)))/math.Hypot(printed, rest))
			}
			before, after = math.Sqrt(before/n), math.Sqrt(after/n)
			t.Logf("rms %.4f° before, %.4f° after, sigma %.2f times the map's", angle.Angle(before).Degrees(), angle.Angle(after).Degrees(), middle(widened))
			if after > tt.leaves*before {
				t.Errorf("rms %.4f° before, %.4f° after", angle.Angle(before).Degrees(), angle.Angle(after).Degrees())
			}
			if m := middle(widened); m > tt.widened {
				t.Errorf("sigma %.2f times the map's", m)
			}
		})
	}
}

// From straight above heights neither turn a shadow nor show.
func TestReliefFromAboveIsNone(t *testing.T) {
	r := rand.New(rand.NewPCG(13, 14))
	truth := testPlate(0.01, 1, 2, 330, phone)
	h := heights(func(x, _ float64) float64 { return 0.1 * math.Sin(x/20) })
	prior := UnknownLens(2000, 1500, 1600)
	prior.Stretch, prior.Curl = 0.001, TapedCurl
	fit, err := FitPlate(startOf(t, &truth), h.samples(r, &truth, 0.06), prior)
	if err != nil {
		t.Fatal(err)
	}
	a, b, _ := h.shadow(&truth, fit, 1)
	// The dial's rim is still seen 10 degrees off the vertical, since the camera is near: some
	// hundredths of a degree.
	if got := fit.Relief(a, b); got.Turn.Abs() > 0.05*angle.Degree || got.Sigma > 0.05*angle.Degree {
		t.Errorf("%+v", got)
	}
}
