package camera

import (
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"github.com/BurntSushi/toml"

	"shadowread/internal/boundedtoml"
	"shadowread/internal/calib"
	"shadowread/internal/fault"
)

// Camera tells one lens at one setting from another, by what photos say of
// themselves (Exif). Text is empty and a number 0 where a photo does not say.
type Camera struct {
	Make            string  `toml:"make" json:"make"`
	Model           string  `toml:"model" json:"model"`
	FocalLengthMM   float64 `toml:"focal_length_mm" json:"focal_length_mm"`
	FocalLength35MM float64 `toml:"focal_length_35mm" json:"focal_length_35mm"`
	WidthPX         int     `toml:"width_px" json:"width_px"` // of the stored raster
	HeightPX        int     `toml:"height_px" json:"height_px"`
}

// Same reports whether photos of a and b show the world through the same lens at
// the same zoom in the same raster. Cameras that do not give a model and a focal
// length are never known to be the same. Two focal lengths are one when they agree
// to a thousandth, the rounding of Exif's rationals.
func (a Camera) Same(b Camera) bool {
	return a.Known() && a.Make == b.Make && a.Model == b.Model && a.WidthPX == b.WidthPX && a.HeightPX == b.HeightPX &&
		math.Abs(a.FocalLengthMM-b.FocalLengthMM) <= 1e-3*b.FocalLengthMM &&
		(a.FocalLength35MM == 0 || b.FocalLength35MM == 0 || a.FocalLength35MM == b.FocalLength35MM)
}

// Known reports whether the camera can be told from others.
func (a Camera) Known() bool { return a.Model != "" && a.FocalLengthMM > 0 }

// String names the camera for people.
func (a Camera) String() string {
	var parts []string
	if a.Model != "" { // makers often repeat their name in the model
		if !strings.HasPrefix(a.Model, a.Make) {
			parts = append(parts, a.Make)
		}
		parts = append(parts, a.Model)
	} else {
		parts = append(parts, cmp.Or(a.Make, "unnamed camera"))
	}
	if a.FocalLengthMM > 0 {
		parts = append(parts, fmt.Sprintf("%.4g mm", a.FocalLengthMM))
	}
	return strings.Join(append(parts, fmt.Sprintf("%d x %d px", a.WidthPX, a.HeightPX)), ", ")
}

// lensValues is a set of lens parameters as the record writes them: pixels of the
// stored raster, distortion in units of the focal length.
type lensValues struct {
	F  float64 `toml:"f_px" json:"f_px"`
	Cx float64 `toml:"cx_px" json:"cx_px"`
	Cy float64 `toml:"cy_px" json:"cy_px"`
	K1 float64 `toml:"k1" json:"k1"`
	K2 float64 `toml:"k2" json:"k2"`
	K3 float64 `toml:"k3" json:"k3"`
	P1 float64 `toml:"p1" json:"p1"`
	P2 float64 `toml:"p2" json:"p2"`
}

// LensRecord is a lens that was solved, kept in a text file. Lens and Sigma are in
// pixels of the stored raster: the whole picture as the camera wrote it, neither
// turned nor mirrored.
type LensRecord struct {
	Camera Camera
	Lens   calib.Lens
	Sigma  calib.LensSigma
	RMSPx  float64 // of the marks' corners about the solution
	Views  int
	Solved time.Time // the day
}

// recordFile is a LensRecord as it stands in the file.
type recordFile struct {
	Schema   int        `toml:"schema" json:"schema"`
	Camera   Camera     `toml:"camera" json:"camera"`
	Lens     lensValues `toml:"lens" json:"lens"`
	Sigma    lensValues `toml:"sigma" json:"sigma"`
	Solution struct {
		RMSPx  float64 `toml:"rms_px" json:"rms_px"`
		Views  int     `toml:"views" json:"views"`
		Solved string  `toml:"solved" json:"solved"`
	} `toml:"solution" json:"solution"`
}

const (
	// lensSchema is the version of the file's layout.
	lensSchema = 1
	// MaxRecordBytes bounds what is read of a record; one has 900 bytes.
	MaxRecordBytes = 64 << 10
	maxNameBytes   = 200
	maxSidePX      = 100_000
	lensHint       = "solve the lens again, or take the record from where it was written"
)

// recordHead explains the file to whoever opens it.
const recordHead = `# A camera's lens, solved from photos of the printed sheet.
# Pixels are those of the whole picture as the camera stores it, not turned; the
# centre of the top-left pixel is (0, 0). With x, y the directions over depth (x
# right, y down) and r2 = x*x + y*y, a point is seen at
#   u = cx + f (x (1 + k1 r2 + k2 r2^2 + k3 r2^3) + 2 p1 x y + p2 (r2 + 2 x^2))
#   v = cy + f (y (1 + k1 r2 + k2 r2^2 + k3 r2^3) + p1 (r2 + 2 y^2) + 2 p2 x y)
# Under [sigma] stands one standard deviation of each.

`

// file returns the record as it is written.
func (r LensRecord) file() recordFile {
	f := recordFile{Schema: lensSchema, Camera: r.Camera}
	l, s := r.Lens, r.Sigma
	f.Lens = lensValues(l)
	f.Sigma = lensValues(s)
	f.Solution.RMSPx, f.Solution.Views, f.Solution.Solved = r.RMSPx, r.Views, r.Solved.Format(time.DateOnly)
	return f
}

// MarshalJSON writes the record with the names of its file.
func (r LensRecord) MarshalJSON() ([]byte, error) { return json.Marshal(r.file()) }

// Encode writes the record as text that DecodeLensRecord reads back.
func (r LensRecord) Encode(w io.Writer) error {
	if _, err := io.WriteString(w, recordHead); err != nil {
		return err
	}
	e := toml.NewEncoder(w)
	e.Indent = ""
	return e.Encode(r.file())
}

// DecodeLensRecord reads a record. It fails with code "bad_lens_record".
func DecodeLensRecord(data []byte) (LensRecord, error) {
	var r LensRecord
	bad := func(format string, args ...any) (LensRecord, error) {
		return LensRecord{}, fault.New("bad_lens_record", lensHint, format, args...)
	}
	if len(data) > MaxRecordBytes {
		return bad("the lens record is longer than %d kB", MaxRecordBytes>>10)
	}
	var f recordFile
	meta, err := boundedtoml.Decode(data, &f)
	if err != nil {
		var p toml.ParseError
		if errors.As(err, &p) {
			return bad("the lens record cannot be read: line %d: %s", p.Position.Line, strings.TrimSuffix(p.Message, "."))
		}
		return bad("the lens record cannot be read: %s", strings.TrimPrefix(err.Error(), "toml: "))
	}
	switch {
	case !meta.IsDefined("schema"):
		return bad("the file is no lens record: it has no schema")
	case f.Schema > lensSchema:
		return LensRecord{}, fault.New("bad_lens_record", "use a newer version of the program",
			"the lens record has schema %d; this program reads %d", f.Schema, lensSchema)
	case f.Schema != lensSchema:
		return bad("the lens record has schema %d; there is only %d", f.Schema, lensSchema)
	}
	if extra := meta.Undecoded(); len(extra) > 0 {
		return bad("the lens record has an unknown entry %s", extra[0])
	}
	for _, key := range []string{"camera.width_px", "camera.height_px",
		"lens.f_px", "lens.cx_px", "lens.cy_px", "lens.k1", "lens.k2", "lens.k3", "lens.p1", "lens.p2",
		"sigma.f_px", "sigma.cx_px", "sigma.cy_px", "sigma.k1", "sigma.k2", "sigma.k3", "sigma.p1", "sigma.p2",
		"solution.rms_px", "solution.views", "solution.solved"} {
		if !meta.IsDefined(strings.Split(key, ".")...) {
			return bad("the lens record lacks %s", key)
		}
	}
	l, s := f.Lens, f.Sigma
	r = LensRecord{
		Camera: f.Camera,
		Lens:   calib.Lens(l),
		Sigma:  calib.LensSigma(s),
		RMSPx:  f.Solution.RMSPx, Views: f.Solution.Views,
	}
	if r.Solved, err = time.Parse(time.DateOnly, f.Solution.Solved); err != nil {
		return bad("the lens record's day %q is not of the form 2026-11-25", f.Solution.Solved)
	}
	if err := r.Validate(); err != nil {
		return LensRecord{}, err
	}
	return r, nil
}

// Validate checks that the record can be a lens: finite numbers, sigmas above zero,
// a focal length of a tenth to fifty times the picture's long side, a principal
// point not beyond the picture, and a distortion that does not fold the picture
// over. It fails with code "bad_lens_record".
func (r LensRecord) Validate() error {
	bad := func(format string, args ...any) error {
		return fault.New("bad_lens_record", lensHint, format, args...)
	}
	c, l, s := r.Camera, r.Lens, r.Sigma
	for _, name := range []string{c.Make, c.Model} {
		if len(name) > maxNameBytes || !utf8.ValidString(name) || strings.ContainsFunc(name, unicode.IsControl) {
			return bad("the lens record's make or model is no plain name")
		}
	}
	if c.WidthPX < 16 || c.HeightPX < 16 || c.WidthPX > maxSidePX || c.HeightPX > maxSidePX {
		return bad("the lens record is for a picture of %d x %d px", c.WidthPX, c.HeightPX)
	}
	w, h := float64(c.WidthPX), float64(c.HeightPX)
	for _, v := range []struct {
		name       string
		v, lo, hi  float64
		aboveFloor bool
	}{
		{"focal_length_mm", c.FocalLengthMM, 0, 1e4, false}, {"focal_length_35mm", c.FocalLength35MM, 0, 1e4, false},
		{"f_px", l.F, 0.1 * max(w, h), 50 * max(w, h), false},
		{"cx_px", l.Cx, 0, w, false}, {"cy_px", l.Cy, 0, h, false},
		{"k1", l.K1, -100, 100, false}, {"k2", l.K2, -1e4, 1e4, false}, {"k3", l.K3, -1e6, 1e6, false},
		{"p1", l.P1, -1, 1, false}, {"p2", l.P2, -1, 1, false},
		{"sigma of f_px", s.F, 0, w + h, true}, {"sigma of cx_px", s.Cx, 0, w, true}, {"sigma of cy_px", s.Cy, 0, h, true},
		{"sigma of k1", s.K1, 0, 100, true}, {"sigma of k2", s.K2, 0, 1e4, true}, {"sigma of k3", s.K3, 0, 1e6, true},
		{"sigma of p1", s.P1, 0, 1, true}, {"sigma of p2", s.P2, 0, 1, true},
		{"rms_px", r.RMSPx, 0, w + h, false}, {"views", float64(r.Views), 1, 1e6, false},
	} {
		if !(v.v >= v.lo && v.v <= v.hi) || v.aboveFloor && v.v == 0 { // NaN too
			return bad("the lens record's %s cannot be %v", v.name, v.v)
		}
	}
	if y := r.Solved.Year(); y < 1 || y > 9999 {
		return bad("the lens record's day lies in the year %d", y)
	}
	for _, p := range []calib.Pixel{{U: -0.5, V: -0.5}, {U: w - 0.5, V: -0.5}, {U: -0.5, V: h - 0.5}, {U: w - 0.5, V: h - 0.5}} {
		if _, _, ok := l.Undistort(p); !ok {
			return bad("the lens record's distortion folds the picture over before its corners")
		}
	}
	return nil
}

// focusPerMM is one sigma of the change of a lens's effective focal length with
// focus, per mm of focal length. A lens focused at d has its image at f d/(d - f),
// so that f counts 1 + f/d times (thin lens). Solved at 400 mm and used between 250
// and 650 mm it is off by f/650 to f/1000. Lenses that focus by moving inner groups
// change less or more.
const focusPerMM = 1.0 / 1000

// unknownFocus stands for focusPerMM times a focal length that is not known: 4 to 6
// mm in a phone.
const unknownFocus = 0.005

// centreShift is one sigma of the principal point's wandering from photo to photo,
// parts of the picture's long side: stabilised lenses and sensors move by some
// tenths of a per cent (from memory; it cannot be told from a photo's data).
const centreShift = 0.002

// Prior returns what the record says of the lens of a photo in a working raster of
// the given width that stands for the stored one shrunk by a whole factor, and
// perhaps mirrored left to right after that. Stored and working pixels are related by
//
//	stored = working*factor + (factor-1)/2
//
// A mirrored raster has u' = width-1-u, so x changes sign: cx' = width-1-cx and,
// since the terms of p2 in x are even in x, p2' = -p2; all others stay.
//
// The sigmas are the record's, which leaves out that its errors hang together, and
// those of focal length and principal point are widened by what focusing at another
// distance and stabilisation do. Nothing is said of the print: Stretch, StretchMean
// and Curl are the caller's.
func (r LensRecord) Prior(widthPX, factor int, mirrored bool) calib.Prior {
	n := float64(factor)
	l, s := r.Lens, r.Sigma
	l.F /= n
	c := calib.Pixel{U: l.Cx, V: l.Cy}.Enlarged(1 / n)
	l.Cx, l.Cy = c.U, c.V
	if mirrored {
		l = l.Mirrored(widthPX)
	}
	focus := unknownFocus
	if r.Camera.FocalLengthMM > 0 {
		focus = focusPerMM * r.Camera.FocalLengthMM
	}
	long := float64(max(r.Camera.WidthPX, r.Camera.HeightPX))
	return calib.Prior{
		Lens: l, LogF: math.Hypot(s.F/r.Lens.F, focus), Centre: math.Hypot(max(s.Cx, s.Cy), centreShift*long) / n,
		K1: s.K1, K2: s.K2, K3: s.K3, Decentring: max(s.P1, s.P2),
	}
}
