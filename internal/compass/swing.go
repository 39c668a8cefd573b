// Package compass observes the declination against true headings,
// finds a magnetic compass's deviation from readings on several
// headings, and keeps it as a card to steer by.
//
// Signs: east positive; magnetic = true - declination; compass = magnetic - deviation,
// so that deviation = magnetic - compass. The deviation is written as
//
//	deviation = A + B sin z + C cos z + D sin 2z + E cos 2z,  z the compass heading
//
// (NGA, Handbook of Magnetic Compass Adjustment, 2004, chapter V). A also absorbs the
// error of the declination and of the compass's lubber line, B and C a lean of the rod
// that gave the true headings. docs/magnetics.md gives the method and its sources.
package compass

import (
	"cmp"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/mat"

	"shadowread/internal/angle"
	"shadowread/internal/fault"
)

// The coefficients, by their place in Coefficients.
const (
	A = iota
	B
	C
	D
	E
	count
)

var names = [count]string{"A", "B", "C", "D", "E"}

// Coefficients are those of the deviation equation.
type Coefficients [count]angle.Angle

// Deviation returns the deviation on a compass heading, east positive.
func (c Coefficients) Deviation(compass angle.Angle) angle.Angle {
	var sum angle.Angle
	for k, x := range terms(compass) {
		sum += c[k] * angle.Angle(x)
	}
	return sum
}

// slope returns how much the deviation changes with the compass heading.
func (c Coefficients) slope(z angle.Angle) float64 {
	return float64(c[B])*z.Cos() - float64(c[C])*z.Sin() + 2*float64(c[D])*(2*z).Cos() - 2*float64(c[E])*(2*z).Sin()
}

// terms returns what each coefficient is multiplied by.
func terms(z angle.Angle) [count]float64 {
	return [count]float64{1, z.Sin(), z.Cos(), (2 * z).Sin(), (2 * z).Cos()}
}

// Signs says how headings, deviation and coefficients hang together.
const Signs = "east positive; magnetic = true - declination; compass = magnetic - deviation; " +
	"deviation = A + B sin z + C cos z + D sin 2z + E cos 2z, z the compass heading; A absorbs the error of the declination and of the lubber line"

// Declination turns true headings into magnetic ones: magnetic = true - declination,
// east positive.
type Declination struct {
	Value, Sigma angle.Angle
	Source       string // FromModel or AsGiven
}

// Where a declination comes from.
const (
	FromModel = "wmm2025" // the World Magnetic Model 2025
	AsGiven   = "option"  // by whoever swung the compass
)

// Options tell what the sightings do not say of themselves.
type Options struct {
	// Declination is needed if any heading is true. Its sigma, which must be positive,
	// goes into that of A. It is nil where it is not known.
	Declination *Declination
	// Shared is the part of the headings' sigma that averaging does not reduce: the
	// constant goes into A, the lean into B and C. Where it is not known, take
	// WhollyShared.
	Shared Shared
}

// Fitted is one sighting as the fit sees it.
type Fitted struct {
	Sighting
	Magnetic  angle.Angle // heading, in [0, 360) degrees
	Deviation angle.Angle // observed
	Residual  angle.Angle // observed less fitted
	Outlier   bool        // stands out from what the others say
	// Apart is observed less what the other readings, outliers left out, give for this
	// heading; 0 where they do not determine it.
	Apart angle.Angle

	own angle.Angle // sigma
}

// Analysis is what a swing says of the compass.
type Analysis struct {
	// Coefficients fit all readings by least squares, each weighted by its own sigma.
	Coefficients Coefficients
	// Sigmas are their standard errors, from the readings' own sigmas, raised where
	// they scatter by more, from what they share and from the declination.
	Sigmas [count]angle.Angle
	// Meaningless marks what the headings do not determine: its value says nothing.
	Meaningless [count]bool
	// Correlation is that of the coefficients; rows and columns of meaningless ones are
	// zero but for the diagonal.
	Correlation [count][count]float64
	Readings    []Fitted
	// Freedom is the number of readings less the number of coefficients; with none the
	// residuals are zero and prove nothing.
	Freedom int
	// ResidualRMS is sqrt(sum of squared residuals / Freedom), 0 where Freedom is.
	ResidualRMS angle.Angle
	// Scatter is the same with each residual over its own sigma: near 1 if the sigmas
	// are right and the equation holds.
	Scatter float64
	// Handbook holds the coefficients by the handbook's half sums, nil unless there is
	// a reading within half a degree of each of the eight headings N, NE, E to NW.
	Handbook *Coefficients
	// Remarks say in plain words what limits the swing.
	Remarks []string

	declination *Declination          // that made true headings magnetic; nil if none was true
	covariance  [count][count]float64 // rad²
	misfit      angle.Angle           // what the equation leaves unexplained beyond the sigmas
}

// inflationLimit is how many times the standard error that as many readings evenly
// round the circle would give makes a coefficient meaningless. At 5, eight readings of
// half a degree leave more than a degree.
const inflationLimit = 5

// A is remarked upon if it is both beyond largeA, since it is small in a compass that is
// sound and rightly mounted (common practice; 1 degree in the handbook's example), and
// beyond farA of its sigmas, which comes by chance once in 400.
const (
	largeA = 2 * angle.Degree
	farA   = 3
)

// fewReadings is the number under which a swing is remarked upon (common practice:
// eight headings, which leave three degrees of freedom to check the equation).
const fewReadings = 8

// Analyse fits the deviation equation to the sightings. Outliers are named, not left
// out. Headings that are too few or too close do not fail: Meaningless marks what they
// leave open, and Card refuses.
//
// The error's code is no_sightings, photo_not_read, no_declination or bad_sigma.
func Analyse(sightings []Sighting, o Options) (Analysis, error) {
	if len(sightings) == 0 {
		return Analysis{}, fault.New("no_sightings", "give compass readings on eight or more headings", "there is no reading")
	}
	a := Analysis{Freedom: max(0, len(sightings)-count)}
	for i, s := range sightings {
		r := Fitted{Sighting: s, Magnetic: s.Heading}
		switch s.Reference {
		case ByPhoto:
			return Analysis{}, fault.New("photo_not_read", "read the photo first", "reading %d has a photo but no heading yet", i+1)
		case FromTrueNorth:
			if o.Declination == nil || !(o.Declination.Sigma > 0) {
				return Analysis{}, fault.New("no_declination", "give the place and date, or the declination with its uncertainty",
					"true headings need the declination to become magnetic")
			}
			a.declination = o.Declination
			r.Magnetic = (s.Heading - o.Declination.Value).Bearing()
		}
		r.own = s.OwnSigma(o.Shared)
		if !(s.CompassSigma > 0) || !(r.own < 180*angle.Degree) {
			return Analysis{}, fault.New("bad_sigma", "give sigmas in degrees, more than 0", "reading %d has sigmas %v and %v", i+1, s.HeadingSigma, s.CompassSigma)
		}
		r.Deviation = (r.Magnetic - s.Compass).Signed()
		a.Readings = append(a.Readings, r)
	}

	f := leastSquares(a.Readings)
	a.Coefficients = f.coefficients
	a.Meaningless = f.meaningless
	var squares, chi2 float64
	for i := range a.Readings {
		r := &a.Readings[i]
		r.Residual = r.Deviation - a.Coefficients.Deviation(r.Compass)
		squares += float64(r.Residual * r.Residual)
		chi2 += math.Pow(float64(r.Residual/r.own), 2)
	}
	if a.Freedom > 0 {
		a.ResidualRMS = angle.Angle(math.Sqrt(squares / float64(a.Freedom)))
		a.Scatter = math.Sqrt(chi2 / float64(a.Freedom))
		a.misfit = a.ResidualRMS * angle.Angle(math.Sqrt(max(0, 1-1/(a.Scatter*a.Scatter))))
	}
	nameOutliers(a.Readings)
	a.setCovariance(f, o.Shared)
	a.Handbook = handbook(a.Readings)
	a.remark()
	return a, nil
}

// fit is a least-squares solution with the covariance that the own sigmas give.
type fit struct {
	coefficients Coefficients
	covariance   [count][count]float64 // rad²
	meaningless  [count]bool
}

// leastSquares solves the normal equations by their eigenvectors, the columns scaled so that
// readings evenly round make them the unit matrix. A direction that the readings do
// not see has the eigenvalue 0 and is left at 0.
func leastSquares(readings []Fitted) fit {
	var total float64
	normal := mat.NewSymDense(count, nil)
	var right [count]float64
	for _, r := range readings {
		weight := 1 / float64(r.own*r.own)
		total += weight
		x := terms(r.Compass)
		for j := range count {
			right[j] += weight * x[j] * float64(r.Deviation)
			for k := range j + 1 {
				normal.SetSym(j, k, normal.At(j, k)+weight*x[j]*x[k])
			}
		}
	}
	var scale [count]float64
	for k := range scale {
		scale[k] = math.Sqrt(total / 2) // the mean of sin² and cos²
	}
	scale[A] = math.Sqrt(total)
	for j := range count {
		for k := range j + 1 {
			normal.SetSym(j, k, normal.At(j, k)/(scale[j]*scale[k]))
		}
	}

	var eigen mat.EigenSym
	if !eigen.Factorize(normal, true) { // it fails on no finite matrix
		return fit{meaningless: [count]bool{true, true, true, true, true}}
	}
	var vectors mat.Dense
	eigen.VectorsTo(&vectors)
	var f fit
	for n, value := range eigen.Values(nil) {
		const unseen = 1e-9 // far above float rounding, far below 1/inflationLimit²
		if value < unseen {
			for k := range count {
				f.meaningless[k] = f.meaningless[k] || math.Abs(vectors.At(k, n)) > 1e-3
			}
			continue
		}
		var along float64
		for k := range count {
			along += vectors.At(k, n) * right[k] / scale[k]
		}
		for j := range count {
			f.coefficients[j] += angle.Angle(vectors.At(j, n) * along / value / scale[j])
			for k := range count {
				f.covariance[j][k] += vectors.At(j, n) * vectors.At(k, n) / value / (scale[j] * scale[k])
			}
		}
	}
	for k := range count {
		inflation := math.Sqrt(f.covariance[k][k]) * scale[k]
		f.meaningless[k] = f.meaningless[k] || inflation > inflationLimit
	}
	return f
}

// setCovariance adds to the fit's covariance what the readings share.
func (a *Analysis) setCovariance(f fit, shared Shared) {
	scatter := max(1, a.Scatter)
	for j := range count {
		for k := range count {
			a.covariance[j][k] = f.covariance[j][k] * scatter * scatter
		}
	}
	square := func(x angle.Angle) float64 { return float64(x * x) }
	a.covariance[A][A] += square(shared.Constant)
	if a.declination != nil {
		a.covariance[A][A] += square(a.declination.Sigma)
	}
	a.covariance[B][B] += square(shared.Lean)
	a.covariance[C][C] += square(shared.Lean)
	for j := range count {
		a.Sigmas[j] = angle.Angle(math.Sqrt(a.covariance[j][j]))
		a.Correlation[j][j] = 1
	}
	for j := range count {
		for k := range count {
			if j != k && !a.Meaningless[j] && !a.Meaningless[k] {
				a.Correlation[j][k] = a.covariance[j][k] / float64(a.Sigmas[j]*a.Sigmas[k])
			}
		}
	}
}

// nameOutliers marks the readings that the others contradict. Two that pull the same
// way would hide each other from a test of one at a time; so it starts from a fit that
// gives far readings little say, sets all aside that lie far from it, and takes back,
// the nearest first, those that the rest can bear.
func nameOutliers(readings []Fitted) {
	limit := OutlierLimit(len(readings))
	near := leastAbsolute(readings)
	var kept []Fitted
	var aside []int
	for i, r := range readings {
		if float64((r.Deviation-near.coefficients.Deviation(r.Compass)).Abs()/r.own) > limit {
			aside = append(aside, i)
		} else {
			kept = append(kept, r)
		}
	}
	rest := rely(kept)
	for len(aside) > 0 {
		nearest := slices.MinFunc(aside, func(i, j int) int { return cmp.Compare(rest.distance(readings[i]), rest.distance(readings[j])) })
		if rest.distance(readings[nearest]) > limit {
			break
		}
		kept = append(kept, readings[nearest])
		rest = rely(kept)
		aside = slices.DeleteFunc(aside, func(i int) bool { return i == nearest })
	}
	for _, i := range aside {
		readings[i].Outlier = true
	}
	for i, r := range readings {
		from := rest
		if !r.Outlier {
			var others []Fitted
			for j, q := range readings {
				if j != i && !q.Outlier {
					others = append(others, q)
				}
			}
			from = rely(others)
		}
		readings[i].Apart, _ = from.apart(r)
	}
}

// reliance is a fit to some readings, to judge another by.
type reliance struct {
	fit
	scatter float64 // at least 1
}

func rely(on []Fitted) reliance {
	f := reliance{leastSquares(on), 1}
	if freedom := len(on) - count; freedom > 0 {
		var chi2 float64
		for _, q := range on {
			chi2 += math.Pow(float64((q.Deviation-f.coefficients.Deviation(q.Compass))/q.own), 2)
		}
		f.scatter = max(1, math.Sqrt(chi2/float64(freedom)))
	}
	return f
}

// apart returns how far r lies from the fit and one sigma of that; both are 0 where
// the fit does not determine it.
func (f reliance) apart(r Fitted) (apart, sigma angle.Angle) {
	if slices.Contains(f.meaningless[:], true) {
		return 0, 0
	}
	return r.Deviation - f.coefficients.Deviation(r.Compass),
		angle.Angle(f.scatter * math.Sqrt(float64(r.own*r.own)+variance(f.covariance, r.Compass)))
}

// distance returns how many sigmas r lies apart, 0 where that is not determined.
func (f reliance) distance(r Fitted) float64 {
	apart, sigma := f.apart(r)
	if sigma == 0 {
		return 0
	}
	return float64(apart.Abs() / sigma)
}

// leastAbsolute fits by least absolute residuals, by reweighting: residuals within half
// a sigma count alike.
func leastAbsolute(readings []Fitted) fit {
	weighted := slices.Clone(readings)
	f := leastSquares(weighted)
	for range 30 { // it only has to come near
		for i, r := range readings {
			far := math.Abs(float64((r.Deviation - f.coefficients.Deviation(r.Compass)) / r.own))
			weighted[i].own = r.own * angle.Angle(math.Sqrt(max(far, 0.5)))
		}
		f = leastSquares(weighted)
	}
	return f
}

// variance returns that of the fitted deviation on a heading, in rad².
func variance(covariance [count][count]float64, compass angle.Angle) float64 {
	x := terms(compass)
	var sum float64
	for j := range count {
		for k := range count {
			sum += x[j] * x[k] * covariance[j][k]
		}
	}
	return max(0, sum) // a covariance read from a file is rounded
}

// handbook returns the approximate coefficients by half and quarter sums of the
// deviations on the eight headings (NGA, Handbook of Magnetic Compass Adjustment,
// 2004, chapter V), or nil if one of them has no reading within half a degree. B and C
// come from the cardinal headings alone, where least squares also hears the others.
func handbook(readings []Fitted) *Coefficients {
	var d [8]angle.Angle // N, NE, E, SE, S, SW, W, NW
	for n := range d {
		heading := angle.FromDegrees(float64(n) * 45)
		off := func(r Fitted) angle.Angle { return (r.Compass - heading).Signed().Abs() }
		nearest := slices.MinFunc(readings, func(r, s Fitted) int { return cmp.Compare(off(r), off(s)) })
		if off(nearest) > angle.Degree/2 {
			return nil
		}
		d[n] = nearest.Deviation
	}
	n, ne, e, se, s, sw, w, nw := d[0], d[1], d[2], d[3], d[4], d[5], d[6], d[7]
	return &Coefficients{
		A: (n + ne + e + se + s + sw + w + nw) / 8,
		B: (e - w) / 2,
		C: (n - s) / 2,
		D: (ne - se + sw - nw) / 4,
		E: (n - e + s - w) / 4,
	}
}

// remark fills Remarks.
func (a *Analysis) remark() {
	say := func(format string, args ...any) { a.Remarks = append(a.Remarks, fmt.Sprintf(format, args...)) }
	if unknown := a.unknown(); unknown != "" {
		next := "spread round the circle"
		if len(a.Readings) > 1 {
			from, to := a.widestGap()
			next = fmt.Sprintf("first between %03.0f° and %03.0f° by compass", from.Degrees(), to.Degrees())
		}
		say("the headings do not determine %s: read more headings, %s", unknown, next)
	}
	if n := len(a.Readings); n < fewReadings {
		say("eight or more readings are wanted, so that the residuals check the equation; there are %d", n)
	}
	var outliers []string
	for i, r := range a.Readings {
		if r.Outlier {
			name := fmt.Sprintf("line %d", r.Line)
			if r.Line == 0 {
				name = fmt.Sprintf("reading %d", i+1)
			}
			outliers = append(outliers, fmt.Sprintf("%s (compass %05.1f°) by %+.1f°", name, r.Compass.Degrees(), r.Apart.Degrees()))
		}
	}
	if len(outliers) > 0 {
		say("out of line with the others: %s; read again or leave out", strings.Join(outliers, ", "))
	} else if a.Scatter > 2 {
		say("the residuals are %.1f times what the sigmas say, and no single reading is to blame: loose iron, a sticking compass, or sigmas too small", a.Scatter)
	}
	if v := a.Coefficients[A]; !a.Meaningless[A] && v.Abs() > max(largeA, farA*a.Sigmas[A]) {
		cause := "the lubber line askew, the compass's or that of the other headings"
		if d := a.declination; d != nil {
			cause = "a wrong declination, or the lubber line askew, the compass's or the sheet's"
			within := farA * a.Sigmas[A]
			switch {
			case (v + d.Value).Abs() < within: // magnetic headings made magnetic once more
				cause = "a declination that was taken off twice, since A is that with its sign turned, or the lubber line askew, the compass's or the sheet's"
			case (v + 2*d.Value).Abs() < within:
				cause = "a declination of the wrong sign, since A is twice that with its sign turned, or the lubber line askew, the compass's or the sheet's"
			}
		}
		say("A is %+.1f°, beyond its uncertainty; no iron in the vehicle does that, so look for %s", v.Degrees(), cause)
	}
}

// unknown lists the meaningless coefficients, as "D" or "B, C and E".
func (a *Analysis) unknown() string {
	var list []string
	for k, m := range a.Meaningless {
		if m {
			list = append(list, names[k])
		}
	}
	if n := len(list); n > 1 {
		return strings.Join(list[:n-1], ", ") + " and " + list[n-1]
	}
	return strings.Join(list, "")
}

// widestGap returns the compass headings between which none was read.
func (a *Analysis) widestGap() (from, to angle.Angle) {
	var headings []angle.Angle
	for _, r := range a.Readings {
		headings = append(headings, r.Compass)
	}
	slices.Sort(headings)
	widest := angle.Angle(-1)
	for i, h := range headings {
		next := headings[(i+1)%len(headings)]
		gap := (next - h).Bearing()
		if i+1 == len(headings) {
			gap = 360*angle.Degree - (h - next)
		}
		if gap > widest+angle.Arcsecond { // the first of equals
			widest, from, to = gap, h, next
		}
	}
	return from, to
}

// ReadSwing is ReadSightings for a swing: no two readings may have the same
// compass heading, the code is then duplicate_heading.
func ReadSwing(r io.Reader, name string, defaults SightingDefaults) ([]Sighting, error) {
	sightings, err := ReadSightings(r, name, defaults)
	if err != nil {
		return nil, err
	}
	line := map[angle.Angle]int{}
	for _, s := range sightings {
		if first, ok := line[s.Compass]; ok {
			return nil, fault.New("duplicate_heading", "keep one of the two, or correct the compass heading",
				"%s line %d: compass heading %.2f° stands in line %d already", name, s.Line, s.Compass.Degrees(), first)
		}
		line[s.Compass] = s.Line
	}
	return sightings, nil
}
