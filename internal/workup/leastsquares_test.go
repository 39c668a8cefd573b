package workup

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"gonum.org/v1/gonum/mat"

	"shadowread/internal/angle"
	"shadowread/internal/geo"
)

// dense solves a log by plain weighted least squares: every error ever drawn is an
// unknown with its prior as an observation, every fix is two observations, and all
// derivatives are differences of the exact track. It shares no formula with the
// filter but the meaning of the entries.
type dense struct {
	model   Model
	from    Departure
	entries []Entry
	truth   func(p geo.Position, i int) Body // exact sky at the reading of entry i

	sigmas []float64
	next   int // the unknown to be taken next
}

// take returns the next unknown; on the first pass it is enrolled with its sigma.
func (d *dense) take(x []float64, sigma float64) float64 {
	if x == nil {
		d.sigmas = append(d.sigmas, sigma)
		return 0
	}
	d.next++
	return x[d.next-1] * sigma
}

// track returns the position at each entry for a set of errors in sigmas.
func (d *dense) track(t *testing.T, x []float64) []geo.Position {
	d.next = 0
	if x == nil {
		d.sigmas = nil
	}
	m := d.model
	sigma := math.Sqrt(d.from.Cov.NN) // the tests' departures are circles
	p := shift(d.from.Position, Offset{geo.Metres(d.take(x, sigma)), geo.Metres(d.take(x, sigma))})
	bias := d.take(x, m.Mount.Radians())
	lx, ly := d.take(x, m.Lean.Radians()), d.take(x, m.Lean.Radians())
	scaleError := d.take(x, m.Scale)
	vn, ve := d.take(x, float64(m.Drift)), d.take(x, float64(m.Drift))
	var rounded float64
	var course angle.Angle
	chained, mounting, tyres := false, 0, 0
	at := d.from.Time
	out := []geo.Position{p}
	for i, e := range d.entries {
		hours := e.Time.Sub(at).Hours()
		at = e.Time
		root := math.Sqrt(hours)
		bias += d.take(x, m.MountWalk.Radians()*root)
		lx += d.take(x, m.LeanWalk.Radians()*root)
		ly += d.take(x, m.LeanWalk.Radians()*root)
		scaleError += d.take(x, m.ScaleWalk*root)
		start := p
		if l := e.Leg; l != nil {
			if l.Mount != mounting {
				mounting = l.Mount
				bias = d.take(x, m.Mount.Radians())
				lx, ly = d.take(x, m.Lean.Radians()), d.take(x, m.Lean.Radians())
			}
			if l.Tyres != tyres {
				tyres = l.Tyres
				scaleError = d.take(x, m.Scale)
			}
			if !l.Continues {
				course = l.Heading + angle.Angle(d.take(x, l.HeadingSigma.Radians())+d.take(x, m.Steering.Radians()))
				if l.ByDial {
					// The plate direction of the shadow as read; the body on the plate
					// stands where rod and shadow say: S = lean - k shadow, |S| = cot a.
					shadow := l.Body.Azimuth + 180*angle.Degree - l.Heading
					cot := 1 / l.Body.Altitude.Tan()
					along := lx*shadow.Sin() + ly*shadow.Cos()
					k := along + math.Sqrt(along*along-lx*lx-ly*ly+cot*cot)
					plate := angle.Clockwise(lx-k*shadow.Sin(), ly-k*shadow.Cos())
					was := l.Body.Azimuth + 180*angle.Degree - shadow // the heading without the lean
					course += (l.Body.Azimuth - plate - was).Signed() + angle.Angle(bias)
					course += (d.truth(p, i).Azimuth - d.truth(*l.ComputedAt, i).Azimuth).Signed()
				}
			}
			run := float64(l.Distance)
			if l.Odometer {
				sigma := float64(l.Resolution) / math.Sqrt(12)
				if !chained {
					rounded = d.take(x, sigma)
				}
				after := d.take(x, sigma)
				run = (run + rounded - after) * (1 + scaleError)
				rounded = after
			}
			chained = l.Odometer
			run += d.take(x, float64(l.DistanceSigma))
			var err error
			if p, err = geo.RhumbDirect(p, course, geo.Metres(run)); err != nil {
				t.Fatal(err)
			}
		}
		p = shift(p, Offset{geo.Metres(vn * hours * 3600), geo.Metres(ve * hours * 3600)})
		g := (p.Lon - start.Lon).Signed() * angle.Angle(((p.Lat + start.Lat) / 2).Sin())
		vn, ve = vn*g.Cos()-ve*g.Sin(), ve*g.Cos()+vn*g.Sin()
		out = append(out, p)
	}
	return out
}

// solve returns the adjusted positions and their covariances by Gauss-Newton with
// a QR decomposition.
func (d *dense) solve(t *testing.T) ([]geo.Position, []Cov) {
	d.track(t, nil)
	n := len(d.sigmas)
	x := make([]float64, n)
	var fixes []int
	for i, e := range d.entries {
		if e.Fix != nil {
			fixes = append(fixes, i)
		}
	}
	var track []geo.Position
	var jacobian *mat.Dense // of all positions
	var design *mat.Dense
	for range 6 {
		track = d.track(t, x)
		jacobian = mat.NewDense(2*len(track), n, nil)
		const h = 1e-3 // sigma
		for j := range n {
			var moved [2][]geo.Position
			for side, sign := range []float64{1, -1} {
				y := append([]float64(nil), x...)
				y[j] += sign * h
				moved[side] = d.track(t, y)
			}
			for i, p := range track {
				a, b := offset(p, moved[0][i]), offset(p, moved[1][i])
				jacobian.Set(2*i, j, float64(a.North-b.North)/(2*h))
				jacobian.Set(2*i+1, j, float64(a.East-b.East)/(2*h))
			}
		}
		design = mat.NewDense(n+2*len(fixes), n, nil)
		right := mat.NewVecDense(n+2*len(fixes), nil)
		for j := range n {
			design.Set(j, j, 1)
			right.SetVec(j, -x[j])
		}
		for k, i := range fixes {
			f := d.entries[i].Fix
			o := offset(track[i+1], f.Position)
			for axis, v := range []geo.Metres{o.North, o.East} {
				right.SetVec(n+2*k+axis, float64(v/f.Sigma))
				for j := range n {
					design.Set(n+2*k+axis, j, jacobian.At(2*(i+1)+axis, j)/float64(f.Sigma))
				}
			}
		}
		var step mat.VecDense
		if err := step.SolveVec(design, right); err != nil {
			t.Fatal(err)
		}
		for j := range n {
			x[j] += step.AtVec(j)
		}
	}
	track = d.track(t, x)
	var normal, inverse mat.Dense
	normal.Mul(design.T(), design)
	if err := inverse.Inverse(&normal); err != nil {
		t.Fatal(err)
	}
	covs := make([]Cov, len(track))
	for i := range track {
		var half, c mat.Dense
		rows := jacobian.Slice(2*i, 2*i+2, 0, n)
		half.Mul(rows, &inverse)
		c.Mul(&half, rows.T())
		covs[i] = Cov{NN: c.At(0, 0), NE: c.At(0, 1), EE: c.At(1, 1)}
	}
	return track, covs
}

// A log worked up by filter and smoother is the weighted least-squares solution
// (Rauch, Tung and Striebel, AIAA Journal 3, 1965, show it for linear models). Here
// all errors are a hundredth of the defaults, which leaves of what the linear model
// neglects a ten-thousandth: millimetres, on adjustments of metres.
func TestTheWorkUpIsWeightedLeastSquares(t *testing.T) {
	const tolerance = 0.01 // metres
	small := Ice()
	for _, sigma := range []*angle.Angle{&small.Steering, &small.Mount, &small.MountWalk, &small.Lean, &small.LeanWalk} {
		*sigma /= 100
	}
	small.Scale, small.ScaleWalk, small.Drift, small.DriftWalk = small.Scale/100, small.ScaleWalk/100, small.Drift/100, 0
	// The walks, made long enough to show.
	small.MountWalk *= 3
	small.LeanWalk *= 3
	small.ScaleWalk *= 20
	for _, tt := range []struct {
		name  string
		start geo.Position
		fixes []int
	}{
		{"no fix", geo.Position{Lat: -20 * angle.Degree, Lon: 25 * angle.Degree}, nil},
		{"one fix at the end", geo.Position{Lat: -20 * angle.Degree, Lon: 25 * angle.Degree}, []int{11}},
		{"one fix in the middle", geo.Position{Lat: 52 * angle.Degree, Lon: 5 * angle.Degree}, []int{6}},
		{"two fixes over the date line", geo.Position{Lat: 10 * angle.Degree, Lon: 179.9 * angle.Degree}, []int{4, 11}},
		{"far north, fixes in a row", geo.Position{Lat: 86 * angle.Degree, Lon: -100 * angle.Degree}, []int{0, 5, 6, 10}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			r := rand.New(rand.NewPCG(7, uint64(len(tt.name))))
			start := time.Date(2026, 6, 1, 10, 0, 0, 0, time.UTC)
			seen := func(p geo.Position, i int) Body {
				return sky(p, 20*angle.Degree, angle.FromDegrees(8*float64(i)-40)-tt.start.Lon)
			}
			d := &dense{
				model:   small,
				from:    Departure{Time: start, Position: tt.start, Cov: Circle(0.5)},
				truth:   seen,
				entries: make([]Entry, 12),
			}
			there, course := tt.start, angle.Angle(0)
			for i := range d.entries {
				e := &d.entries[i]
				e.Time = start.Add(time.Duration(i+1) * 20 * time.Minute)
				switch body := seen(there, i); i {
				case 3: // halt
				case 7:
					e.Leg = &Leg{Continues: true, Distance: 4000, Odometer: true, Resolution: 1, Mount: 1, Tyres: 1}
				case 8:
					e.Leg = &Leg{Heading: 200 * angle.Degree, HeadingSigma: 0.03 * angle.Degree, Distance: 3000, DistanceSigma: 2, Mount: 1, Tyres: 1}
				default:
					at := there
					e.Leg = &Leg{
						Heading: angle.FromDegrees(360 * r.Float64()), HeadingSigma: 0.005 * angle.Degree,
						ByDial: true, Body: &body, ComputedAt: &at, Mount: min(1, i/5),
						Distance: geo.Metres(2000 + 4000*r.Float64()), Odometer: true, Resolution: 1, Tyres: min(1, i/6),
					}
				}
				if e.Leg != nil {
					if !e.Leg.Continues {
						course = e.Leg.Heading
					}
					there, _ = geo.RhumbDirect(there, course, e.Leg.Distance)
				}
			}
			// Fixes lie where a draw of the errors puts the track.
			d.track(t, nil)
			x := make([]float64, len(d.sigmas))
			for i := range x {
				x[i] = r.NormFloat64()
			}
			drawn := d.track(t, x)
			for _, i := range tt.fixes {
				d.entries[i].Fix = &Fix{Position: drawn[i+1], Sigma: 0.3}
			}

			track, err := small.Run(d.from, d.entries)
			if err != nil {
				t.Fatal(err)
			}
			positions, covs := d.solve(t)
			var moved geo.Metres
			for i, p := range track.Points {
				o := offset(p.Adjusted, positions[i])
				if math.Hypot(float64(o.North), float64(o.East)) > tolerance {
					t.Errorf("entry %d: adjusted %v, least squares %v: %v apart", i, p.Adjusted, positions[i], o)
				}
				a, b := p.AdjustedCov, covs[i]
				// A variance to 1 % is a sigma to 0.5 %.
				if bar := 0.01 * (b.NN + b.EE); math.Abs(a.NN-b.NN) > bar || math.Abs(a.EE-b.EE) > bar || math.Abs(a.NE-b.NE) > bar {
					t.Errorf("entry %d: covariance %.5f, least squares %.5f", i, a, b)
				}
				o = offset(p.Estimated, p.Adjusted)
				moved = max(moved, geo.Metres(math.Hypot(float64(o.North), float64(o.East))))
			}
			if len(tt.fixes) > 0 && moved < 1 {
				t.Errorf("the fixes move the track by %v m only: nothing is tested", float64(moved))
			}
		})
	}
}
