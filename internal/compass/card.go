package compass

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"gonum.org/v1/gonum/mat"

	"shadowread/internal/angle"
	"shadowread/internal/fault"
	"shadowread/internal/typeface"
	"shadowread/internal/wording"
)

// Card is a compass's deviation on every heading, with its uncertainty. It holds for
// the compass where it is mounted, the vehicle loaded as it was, and near the magnetic
// latitude of the swing.
type Card struct {
	Title        string
	Swung        time.Time // UTC
	Coefficients Coefficients
	// Declination made the swing's true headings magnetic; nil if none of them was true.
	// A holds its error, so that the card steers right together with this declination.
	Declination *Declination
	Points      []Point // the readings it rests on

	covariance [count][count]float64 // of the coefficients, rad²
	misfit     angle.Angle           // one sigma of what the equation leaves unexplained
}

// Point is one reading of the swing, as the card shows it.
type Point struct {
	Compass, Deviation angle.Angle
	Outlier            bool
}

// maxSlope is the most that the deviation may change with the heading, as a ratio. At
// 1 two headings would show the same compass reading; compasses are compensated long
// before (common practice), and below 0.8 the iteration for CompassFor settles.
const maxSlope = 0.8

// Card returns the card that the swing proves.
//
// The error's code is swing_incomplete if the headings do not determine all five
// coefficients, deviation_too_large or bad_title.
func (a Analysis) Card(title string, swung time.Time) (Card, error) {
	if unknown := a.unknown(); unknown != "" {
		return Card{}, fault.New("swing_incomplete", a.Remarks[0], "there is no card without %s", unknown)
	}
	c := Card{Title: title, Swung: swung.UTC().Truncate(time.Second), Coefficients: a.Coefficients, Declination: a.declination, covariance: a.covariance, misfit: a.misfit}
	for _, r := range a.Readings {
		c.Points = append(c.Points, Point{r.Compass, r.Deviation, r.Outlier})
	}
	return c, c.check()
}

// steepest bounds the slope of the deviation.
func (c Coefficients) steepest() float64 {
	return math.Hypot(float64(c[B]), float64(c[C])) + 2*math.Hypot(float64(c[D]), float64(c[E]))
}

const maxTitle = 60 // characters

func (c Card) check() error {
	if steep := c.Coefficients.steepest(); !(steep <= maxSlope) {
		return fault.New("deviation_too_large", "check the readings; if they are right, compensate the compass or move it from the iron",
			"the deviation changes by up to %.0f° in 100° of heading", 100*steep)
	}
	if utf8.RuneCountInString(c.Title) > maxTitle || !printable(c.Title) {
		return fault.New("bad_title", "take letters, figures and common signs, in one line", "the title must be at most %d printable characters", maxTitle)
	}
	return nil
}

// printable tells whether the card's font has a glyph for all of s.
func printable(s string) bool {
	return utf8.ValidString(s) && strings.IndexFunc(s, func(r rune) bool { return !unicode.IsPrint(r) }) < 0 && typeface.Regular.Has(s)
}

// DeviationAt returns the deviation on a compass heading and one sigma of it. The
// equation is good between the lines of the printed table too.
func (c Card) DeviationAt(compass angle.Angle) (deviation, sigma angle.Angle) {
	return c.Coefficients.Deviation(compass), angle.Angle(math.Sqrt(variance(c.covariance, compass) + float64(c.misfit*c.misfit)))
}

// MagneticFor returns the magnetic heading of a compass heading and one sigma of it,
// without that of reading the compass.
func (c Card) MagneticFor(compass angle.Angle) (magnetic, sigma angle.Angle) {
	deviation, sigma := c.DeviationAt(compass)
	return (compass + deviation).Bearing(), sigma
}

// CompassFor returns the compass heading to steer for a magnetic one, and one sigma of
// it. It solves compass = magnetic - deviation(compass) by fixed-point iteration.
func (c Card) CompassFor(magnetic angle.Angle) (compass, sigma angle.Angle) {
	compass = magnetic
	// Each step shrinks the error by maxSlope at least: 0.8^150 is 3e-15.
	for range 150 {
		before := compass
		compass = magnetic - c.Coefficients.Deviation(before)
		if (compass - before).Abs() < 1e-14 {
			break
		}
	}
	_, sigma = c.DeviationAt(compass)
	return compass.Bearing(), sigma / angle.Angle(1+c.Coefficients.slope(compass))
}

// step is that of the printed tables: a common one for deviation cards.
const step = 15 * angle.Degree

// Line is one line of a card's tables. Sigma is one sigma of what the table is entered
// for: of the magnetic heading by compass, of the compass heading by magnetic.
type Line struct{ Compass, Magnetic, Deviation, Sigma angle.Angle }

// ByCompass returns the table entered with the compass heading, every 15 degrees.
func (c Card) ByCompass() []Line {
	var lines []Line
	for z := angle.Angle(0); z < 360*angle.Degree-step/2; z += step {
		magnetic, sigma := c.MagneticFor(z)
		lines = append(lines, Line{z, magnetic, c.Coefficients.Deviation(z), sigma})
	}
	return lines
}

// ByMagnetic returns the table entered with the magnetic heading, every 15 degrees.
func (c Card) ByMagnetic() []Line {
	var lines []Line
	for z := angle.Angle(0); z < 360*angle.Degree-step/2; z += step {
		compass, sigma := c.CompassFor(z)
		lines = append(lines, Line{compass, z, c.Coefficients.Deviation(compass), sigma})
	}
	return lines
}

// The card file: JSON (RFC 8259), angles in degrees.
const (
	fileFormat  = "shadowread deviation card"
	fileVersion = 1
	maxFile     = 1 << 20 // bytes
)

type cardFile struct {
	Format  string    `json:"format"`
	Version int       `json:"version"`
	Signs   string    `json:"signs"` // for people; not read
	Title   string    `json:"title"`
	Swung   time.Time `json:"swung"`

	Declination       *float64 `json:"declination_deg"` // null where no heading was true
	DeclinationSigma  *float64 `json:"declination_sigma_deg"`
	DeclinationSource string   `json:"declination_source"` // then noDeclination

	Coefficients [count]float64 `json:"coefficients_a_to_e_deg"`
	Covariance   [][]float64    `json:"covariance_deg2"`
	Misfit       float64        `json:"misfit_deg"`
	Points       []filePoint    `json:"readings"`
	ByCompass    []fileLine     `json:"by_compass"`
	ByMagnetic   []fileLine     `json:"by_magnetic"`
}

type filePoint struct {
	Compass   float64 `json:"compass_deg"`
	Deviation float64 `json:"deviation_deg"`
	Outlier   bool    `json:"outlier,omitempty"`
}

type fileLine struct {
	Compass   float64 `json:"compass_deg"`
	Magnetic  float64 `json:"magnetic_deg"`
	Deviation float64 `json:"deviation_deg"`
	Sigma     float64 `json:"sigma_deg"`
}

const noDeclination = "none"

const squareDegree = float64(angle.Degree * angle.Degree) // rad²

func fileLines(lines []Line) []fileLine {
	bearing := func(a angle.Angle) float64 { return wording.BearingDegrees(a, 2) }
	var out []fileLine
	for _, l := range lines {
		out = append(out, fileLine{bearing(l.Compass), bearing(l.Magnetic), wording.Round(l.Deviation.Degrees(), 2), wording.Round(l.Sigma.Degrees(), 2)})
	}
	return out
}

// Write writes the card as its file: JSON that ReadCard reads back. The tables are
// there for people and follow from the coefficients.
func (c Card) Write(w io.Writer) error {
	f := cardFile{
		Format: fileFormat, Version: fileVersion, Signs: Signs, Title: c.Title, Swung: c.Swung, DeclinationSource: noDeclination,
		Misfit: wording.Round(c.misfit.Degrees(), 6), ByCompass: fileLines(c.ByCompass()), ByMagnetic: fileLines(c.ByMagnetic()),
		Points: []filePoint{},
	}
	if d := c.Declination; d != nil {
		f.Declination, f.DeclinationSigma, f.DeclinationSource = new(wording.Round(d.Value.Degrees(), 6)), new(wording.Round(d.Sigma.Degrees(), 6)), d.Source
	}
	for k, v := range c.Coefficients {
		f.Coefficients[k] = wording.Round(v.Degrees(), 6)
	}
	for _, row := range c.covariance {
		var out []float64
		for _, v := range row {
			out = append(out, wording.Round(v/squareDegree, 9))
		}
		f.Covariance = append(f.Covariance, out)
	}
	for _, p := range c.Points {
		f.Points = append(f.Points, filePoint{wording.Round(p.Compass.Degrees(), 6), wording.Round(p.Deviation.Degrees(), 6), p.Outlier})
	}
	out, err := json.MarshalIndent(f, "", "  ")
	if err != nil {
		return fault.Wrap(err, "card_failed", "swing again", "cannot write the card")
	}
	_, err = w.Write(append(out, '\n'))
	return err
}

const cardHint = "write the card anew from the swing's readings rather than editing it"

// ReadCard reads a card file that Write wrote. It refuses one whose tables do not
// follow from its coefficients: somebody changed the one without the other. name
// stands for the file in errors.
//
// The error's code is unreadable_file, file_too_large, bad_card, card_version,
// deviation_too_large or bad_title.
func ReadCard(r io.Reader, name string) (Card, error) {
	data, err := io.ReadAll(io.LimitReader(r, maxFile+1))
	switch {
	case err != nil:
		return Card{}, fault.Wrap(err, "unreadable_file", "check the file", "cannot read %s", name)
	case len(data) > maxFile:
		return Card{}, fault.New("file_too_large", "check that it is a deviation card", "%s is larger than %d bytes", name, maxFile)
	}
	bad := func(format string, args ...any) (Card, error) {
		return Card{}, fault.New("bad_card", cardHint, "%s: %s", name, fmt.Sprintf(format, args...))
	}
	var head struct {
		Format  string `json:"format"`
		Version int    `json:"version"`
	}
	if err := json.Unmarshal(data, &head); err != nil {
		return bad("%v", err)
	}
	if head.Format != fileFormat {
		return bad("it is not a deviation card")
	}
	if head.Version != fileVersion {
		return Card{}, fault.New("card_version", "use the program that wrote it, or swing again", "%s is a card of version %d, not %d", name, head.Version, fileVersion)
	}
	var f cardFile
	strict := json.NewDecoder(bytes.NewReader(data))
	strict.DisallowUnknownFields()
	if err := strict.Decode(&f); err != nil {
		return bad("%v", err)
	}

	c := Card{Title: f.Title, Swung: f.Swung.UTC(), misfit: angle.FromDegrees(f.Misfit)}
	if f.Swung.IsZero() {
		return bad("it does not say when the compass was swung")
	}
	switch d, sigma := f.Declination, f.DeclinationSigma; f.DeclinationSource {
	case noDeclination:
		if d != nil || sigma != nil {
			return bad("it has a declination that comes from nowhere")
		}
	case FromModel, AsGiven:
		if d == nil || sigma == nil || !(math.Abs(*d) <= 180) || !(*sigma > 0 && *sigma <= 180) {
			return bad("its declination is no angle with an uncertainty")
		}
		c.Declination = &Declination{angle.FromDegrees(*d), angle.FromDegrees(*sigma), f.DeclinationSource}
	default:
		return bad("it does not say with which declination the compass was swung")
	}
	for k, v := range f.Coefficients {
		if !(math.Abs(v) <= 180) {
			return bad("coefficient %s of %g° is no angle", names[k], v)
		}
		c.Coefficients[k] = angle.FromDegrees(v)
	}
	if err := c.check(); err != nil {
		return Card{}, err
	}
	if !(f.Misfit >= 0 && f.Misfit <= 180) || !readCovariance(f.Covariance, &c.covariance) {
		return bad("the uncertainty is not one")
	}
	for _, p := range f.Points {
		if !(p.Compass >= 0 && p.Compass <= 360) || !(math.Abs(p.Deviation) <= 180) {
			return bad("a reading of %g° with the deviation %g° is none", p.Compass, p.Deviation)
		}
		c.Points = append(c.Points, Point{angle.FromDegrees(p.Compass).Bearing(), angle.FromDegrees(p.Deviation), p.Outlier})
	}
	if !slices.EqualFunc(f.ByCompass, fileLines(c.ByCompass()), sameLine) || !slices.EqualFunc(f.ByMagnetic, fileLines(c.ByMagnetic()), sameLine) {
		return bad("its tables do not follow from its coefficients")
	}
	return c, nil
}

// sameLine compares to the last digit of the tables, where rounding may differ.
func sameLine(a, b fileLine) bool {
	const last = 0.01 + 1e-9 // degrees
	near := func(a, b float64) bool { return (angle.FromDegrees(a - b)).Signed().Abs().Degrees() <= last }
	return near(a.Compass, b.Compass) && near(a.Magnetic, b.Magnetic) && near(a.Deviation, b.Deviation) && near(a.Sigma, b.Sigma)
}

// readCovariance checks that rows are a covariance: symmetric, positive semidefinite
// but for rounding, and of angles.
func readCovariance(rows [][]float64, out *[count][count]float64) bool {
	const rounding = 1e-8 // degrees²; ten times the file's last digit
	if len(rows) != count || slices.ContainsFunc(rows, func(row []float64) bool { return len(row) != count }) {
		return false
	}
	m := mat.NewSymDense(count, nil)
	for j, row := range rows {
		if !(row[j] > 0) {
			return false
		}
		for k, v := range row {
			if !(math.Abs(v) <= 180*180) || math.Abs(v-rows[k][j]) > rounding {
				return false
			}
			out[j][k] = v * squareDegree
			m.SetSym(j, k, v)
		}
	}
	var eigen mat.EigenSym
	return eigen.Factorize(m, false) && slices.Min(eigen.Values(nil)) > -rounding
}
