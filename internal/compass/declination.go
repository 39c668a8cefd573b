package compass

import (
	"io"
	"math"
	"slices"
	"strconv"

	"shadowread/internal/angle"
	"shadowread/internal/fault"
	"shadowread/internal/geo"
	"shadowread/internal/geomag"
	"shadowread/internal/table"
)

// Reference is what a sighting's heading counts from.
type Reference int

// The references. A sighting by photo has no heading yet: whoever reads the photo sets
// Heading, HeadingSigma and Reference.
const (
	FromTrueNorth Reference = iota
	FromMagneticNorth
	ByPhoto
)

// Sighting is a compass reading beside the known heading of the same axis. Sigmas are
// one standard deviation.
type Sighting struct {
	Compass      angle.Angle // what the compass shows, in [0, 360) degrees
	CompassSigma angle.Angle
	Heading      angle.Angle // in [0, 360) degrees
	HeadingSigma angle.Angle // what it shares with the other sightings included, see Shared
	Reference    Reference
	Photo        string // the file that gives the heading, as written
	Line         int    // in the file it was read from, or 0
	// Share is the part of HeadingSigma that the sightings have in common; nil where it
	// is not known, and all of it may be.
	Share *Shared
}

// AnyTrue reports whether any of the headings is a true one.
func AnyTrue(sightings []Sighting) bool {
	return slices.ContainsFunc(sightings, func(s Sighting) bool { return s.Reference == FromTrueNorth })
}

// Shared is the part of the headings' sigma that a set of sightings has in common, as
// one standard deviation. Averaging does not reduce it. Constant is the same on every
// heading (a sheet mounted askew); Lean goes with the sine and cosine of the heading
// (a rod out of plumb, under a sun that stays where it is while the vehicle turns).
type Shared struct{ Constant, Lean angle.Angle }

// WhollyShared is the cautious choice where the share is not known: the largest sigma
// of the headings, all of it constant and all of it lean.
func WhollyShared(sightings []Sighting) Shared {
	var s angle.Angle
	for _, o := range sightings {
		s = max(s, o.HeadingSigma)
	}
	return Shared{s, s}
}

// SharedOf is the part of the headings' sigma that averaging does not reduce: the most
// that any of them says it shares, all of its sigma where it does not say.
func SharedOf(sightings []Sighting) Shared {
	var out Shared
	for _, o := range sightings {
		share := Shared{o.HeadingSigma, o.HeadingSigma}
		if len(sightings) == 1 {
			share.Lean = 0 // alone, it has nothing to share: its sigma counts once
		}
		if o.Share != nil {
			share = *o.Share
		}
		out.Constant, out.Lean = max(out.Constant, share.Constant), max(out.Lean, share.Lean)
	}
	return out
}

// OwnSigma returns the part of the sighting's sigma that it shares with no other.
func (o Sighting) OwnSigma(s Shared) angle.Angle {
	own := max(0, o.HeadingSigma*o.HeadingSigma-s.Constant*s.Constant-s.Lean*s.Lean)
	return angle.Angle(math.Sqrt(float64(o.CompassSigma*o.CompassSigma + own)))
}

// OutlierLimit returns how many sigmas a studentised residual among n must pass to be
// named: the two-sided 5 % point of the normal distribution for the worst of n
// (Bonferroni), so that one clean set in twenty is suspected wrongly.
func OutlierLimit(n int) float64 { return math.Sqrt2 * math.Erfinv(1-0.05/float64(n)) }

// ObservedDeclination is the declination that sightings along known true headings give.
type ObservedDeclination struct {
	Declination angle.Angle // mean of true less compass, weighted by the own sigmas; east positive
	// Sigma is its standard error: from the sightings' own sigmas, raised where they
	// scatter by more, and from what they share.
	Sigma angle.Angle
	// Scatter is the root mean square residual over that expected, on n - 1 degrees of
	// freedom; 0 with a single sighting, which says nothing of it.
	Scatter float64
	// OneSided is the share, 0 to 1, of a deviation going with the sine and cosine of
	// the heading that stays in the mean: 1 with all readings on one heading, 0 with
	// headings evenly round.
	OneSided float64
	Terms    []DeclinationTerm // one for each sighting, in order
}

// DeclinationTerm is what one sighting says.
type DeclinationTerm struct {
	Sighting
	Declination angle.Angle
	Apart       angle.Angle // from the mean of the others that are not outliers
	Outlier     bool
}

// ObserveDeclination returns the declination that the sightings give. Outliers are
// named, not left out: the scatter they bring is in Sigma, and only the observer knows
// whether a reading was bad.
//
// The error's code is no_sightings, heading_not_true (a magnetic heading, or a photo
// not yet read) or bad_sigma.
func ObserveDeclination(sightings []Sighting, shared Shared) (ObservedDeclination, error) {
	if len(sightings) == 0 {
		return ObservedDeclination{}, fault.New("no_sightings", "give at least one true heading with the compass reading along it", "there is no sighting")
	}
	o := ObservedDeclination{Terms: make([]DeclinationTerm, len(sightings))}
	var toward, headings [2]float64
	for i, s := range sightings {
		switch {
		case s.Reference != FromTrueNorth:
			return ObservedDeclination{}, fault.New("heading_not_true", "give true_deg or a photo for each reading",
				"sighting %d has no true heading", i+1)
		case !(s.CompassSigma > 0) || !(s.HeadingSigma >= 0) || !(s.CompassSigma+s.HeadingSigma <= 180*angle.Degree):
			return ObservedDeclination{}, fault.New("bad_sigma", "give sigmas in degrees, more than 0",
				"sighting %d has sigmas %v and %v", i+1, s.HeadingSigma, s.CompassSigma)
		}
		d := (s.Heading - s.Compass).Signed()
		o.Terms[i] = DeclinationTerm{Sighting: s, Declination: d}
		toward[0], toward[1] = toward[0]+d.Cos(), toward[1]+d.Sin()
		headings[0], headings[1] = headings[0]+s.Compass.Cos(), headings[1]+s.Compass.Sin()
	}
	o.OneSided = math.Hypot(headings[0], headings[1]) / float64(len(sightings))

	// The mean of differences from a middle direction holds across 180 degrees.
	middle := angle.Atan2(toward[1], toward[0])
	all := make([]int, len(sightings))
	for i := range all {
		all[i] = i
	}
	mean := func(of []int) (m angle.Angle, weight, chi2 float64) {
		for _, i := range of {
			own := float64(o.Terms[i].OwnSigma(shared))
			weight += 1 / (own * own)
			m += (o.Terms[i].Declination - middle).Signed() / angle.Angle(own*own)
		}
		m /= angle.Angle(weight)
		for _, i := range of {
			r := float64(((o.Terms[i].Declination - middle).Signed() - m) / o.Terms[i].OwnSigma(shared))
			chi2 += r * r
		}
		return m, weight, chi2
	}

	// Name the worst, set it aside, look again: two that pull the same way cannot then
	// hide each other for long. Of two readings alone nobody can say which is wrong.
	limit := OutlierLimit(len(sightings))
	for kept := all; len(kept) >= 3; {
		worst, farthest := -1, limit
		for _, i := range kept {
			others := without(kept, i)
			m, weight, chi2 := mean(others)
			own := float64(o.Terms[i].OwnSigma(shared))
			apart := float64(((o.Terms[i].Declination - middle).Signed() - m).Abs())
			sigma := math.Sqrt(own*own+1/weight) * max(1, math.Sqrt(chi2/float64(len(others)-1)))
			if apart/sigma > farthest {
				worst, farthest = i, apart/sigma
			}
		}
		if worst < 0 {
			break
		}
		o.Terms[worst].Outlier = true
		kept = without(kept, worst)
	}
	for i := range o.Terms {
		others := slices.DeleteFunc(slices.Clone(all), func(j int) bool { return j == i || o.Terms[j].Outlier })
		if len(others) > 0 {
			m, _, _ := mean(others)
			o.Terms[i].Apart = ((o.Terms[i].Declination - middle).Signed() - m).Signed()
		}
	}

	m, weight, chi2 := mean(all)
	o.Declination = (middle + m).Signed()
	if n := len(sightings); n > 1 {
		o.Scatter = math.Sqrt(chi2 / float64(n-1))
	}
	own := max(1, o.Scatter) / math.Sqrt(weight)
	common := math.Hypot(float64(shared.Constant), o.OneSided*float64(shared.Lean))
	o.Sigma = angle.Angle(math.Hypot(own, common))
	return o, nil
}

func without(s []int, x int) []int {
	return slices.DeleteFunc(slices.Clone(s), func(y int) bool { return y == x })
}

// Cause is something that would explain a difference from the model.
type Cause struct {
	Code string `json:"code"` // wrong_sign, grid_for_true, scatter, deviation or iron
	Text string `json:"text"` // for people: lower case, no full stop
}

// Comparison sets an observed declination beside the model's.
type Comparison struct {
	Difference angle.Angle // observed less model, in (-180, 180] degrees
	Sigma      angle.Angle // of the difference: the observation's and the model's
	Sigmas     float64     // |Difference| over Sigma
	Agree      bool        // Sigmas is at most 2: by chance one in twenty is not
	Causes     []Cause     // likely causes where they do not agree, the most telling first
}

// agreement is how many sigmas apart two values still agree.
const agreement = 2

// Compare sets o beside the model's field at the place and time of the sightings.
func (o ObservedDeclination) Compare(f geomag.Field) Comparison {
	c := Comparison{
		Difference: (o.Declination - f.Declination).Signed(),
		Sigma:      angle.RSS(o.Sigma, f.DeclinationSigma),
	}
	c.Sigmas = float64(c.Difference.Abs() / c.Sigma)
	if c.Agree = c.Sigmas <= agreement; c.Agree {
		return c
	}
	near := func(a angle.Angle) bool { return a.Signed().Abs() <= agreement*c.Sigma }
	if near(o.Declination + f.Declination) {
		c.Causes = append(c.Causes, Cause{"wrong_sign",
			"a wrong sign: the readings give the model's declination with east and west exchanged; declination is true less compass, east positive"})
	}
	// A grid heading is the true one less the convergence, and so is what is observed.
	if grid := geo.Convergence(f.Position); near(c.Difference + grid) {
		c.Causes = append(c.Causes, Cause{"grid_for_true",
			"grid taken for true: the difference is that between grid and true north here, " + signedDegrees(grid)})
	}
	if o.Scatter > agreement {
		c.Causes = append(c.Causes, Cause{"scatter",
			"readings that do not agree among themselves: they scatter by more than twice what their sigmas say"})
	}
	if o.OneSided > 0.3 {
		c.Causes = append(c.Causes, Cause{"deviation",
			"the vehicle's deviation: the headings lie on one side, so that most of it stays in the mean; read on headings evenly round, or well away from the vehicle"})
	}
	c.Causes = append(c.Causes, Cause{"iron",
		"iron near the compass (rod, board, tools, clothing), the compass's own lubber line, or magnetic rock; read again some 50 m away"})
	return c
}

func signedDegrees(a angle.Angle) string {
	letter := "east"
	if a < 0 {
		letter = "west"
	}
	return strconv.FormatFloat(a.Abs().Degrees(), 'f', 1, 64) + "° " + letter
}

// SightingDefaults are the sigmas of rows that state none.
type SightingDefaults struct{ HeadingSigma, CompassSigma angle.Angle }

// Sigmas where the observer states none (common practice): a compass card marked in
// degrees is read to half a degree, and so is a pelorus.
var ReadingSigmas = SightingDefaults{HeadingSigma: angle.Degree / 2, CompassSigma: angle.Degree / 2}

// MaxSightings bounds a file: looking for outliers takes time with the cube of it.
const MaxSightings = 500

const maxSightingsBytes = 1 << 20

var sightingsForm = table.Form{
	Columns: []string{"compass_deg", "true_deg", "magnetic_deg", "photo", "heading_sigma_deg", "compass_sigma_deg", "note"},
	Numbers: []string{"compass_deg", "true_deg", "magnetic_deg", "heading_sigma_deg", "compass_sigma_deg"},
	Needed:  [][]string{{"compass_deg"}, {"true_deg", "magnetic_deg", "photo"}},
	Names: "compass_deg and one or more of true_deg, magnetic_deg and photo; " +
		"heading_sigma_deg, compass_sigma_deg and note may follow",
	MaxBytes: maxSightingsBytes, MaxRows: maxSightingsBytes,
}

// ReadSightings reads compass readings from a CSV file (package table). The columns, in
// any order: compass_deg; true_deg, magnetic_deg and photo, of which each row fills
// exactly one; heading_sigma_deg and compass_sigma_deg, which may be missing or empty and
// then take the defaults; note, which is not read. Headings are degrees from 0 to 360.
// Photo names are returned as written. name stands for the file in errors.
//
// The error's code is one of table.Form.Read's, no_sightings, too_many_sightings,
// bad_heading, bad_sigma, bad_row or duplicate_photo.
func ReadSightings(r io.Reader, name string, defaults SightingDefaults) ([]Sighting, error) {
	var sightings []Sighting
	photos := map[string]int{} // lines
	err := sightingsForm.Read(r, name, func(r table.Row) error {
		s, err := readSighting(r, defaults)
		if err != nil {
			return err
		}
		if s.Photo != "" {
			if first, twice := photos[s.Photo]; twice {
				return fault.New("duplicate_photo", "give each reading its own photo; of several readings beside one photo give the mean",
					"photo %q stands in line %d already", s.Photo, first)
			}
			photos[s.Photo] = r.Line
		}
		if len(sightings) == MaxSightings {
			return fault.New("too_many_sightings", "split the file", "there are more than %d readings", MaxSightings)
		}
		sightings = append(sightings, s)
		return nil
	})
	if err != nil {
		return nil, err
	}
	if len(sightings) == 0 {
		return nil, fault.New("no_sightings", sightingsForm.Hint(), "%s has no readings below its first line", name)
	}
	return sightings, nil
}

func readSighting(r table.Row, defaults SightingDefaults) (Sighting, error) {
	s := Sighting{Line: r.Line, Photo: r.Field("photo"), HeadingSigma: defaults.HeadingSigma, CompassSigma: defaults.CompassSigma}
	var err error
	if s.Compass, err = readHeading(r, "compass_deg"); err != nil {
		return Sighting{}, err
	}
	var given []string
	for reference, column := range []string{FromTrueNorth: "true_deg", FromMagneticNorth: "magnetic_deg", ByPhoto: "photo"} {
		if r.Field(column) != "" {
			given = append(given, column)
			s.Reference = Reference(reference)
		}
	}
	if len(given) != 1 {
		return Sighting{}, fault.New("bad_row", "fill exactly one of true_deg, magnetic_deg and photo", "the row has %d headings", len(given))
	}
	if s.Reference == ByPhoto {
		s.HeadingSigma = 0
		if r.Field("heading_sigma_deg") != "" {
			return Sighting{}, fault.New("bad_row", "leave heading_sigma_deg empty: the photo gives its own uncertainty", "the row has a photo and a heading_sigma_deg")
		}
	} else if s.Heading, err = readHeading(r, given[0]); err != nil {
		return Sighting{}, err
	}
	if s.HeadingSigma, err = readSigma(r, "heading_sigma_deg", s.HeadingSigma); err != nil {
		return Sighting{}, err
	}
	s.CompassSigma, err = readSigma(r, "compass_sigma_deg", s.CompassSigma)
	return s, err
}

func readSigma(r table.Row, column string, byDefault angle.Angle) (angle.Angle, error) {
	v, filled, err := r.Number(column)
	if !filled {
		return byDefault, nil
	}
	if err != nil || !(v > 0 && v <= 90) {
		return 0, fault.New("bad_sigma", "write one standard deviation in degrees, more than 0 and at most 90",
			"%s %q is not an uncertainty", column, r.Field(column))
	}
	return angle.FromDegrees(v), nil
}

func readHeading(r table.Row, column string) (angle.Angle, error) {
	v, filled, err := r.Number(column)
	if err != nil || !filled || !(v >= 0 && v <= 360) {
		return 0, fault.New("bad_heading", "write degrees from 0 to 360, such as 092.5", "%s %q is not a heading", column, r.Field(column))
	}
	return angle.FromDegrees(v).Bearing(), nil
}
