package instrument

import (
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"github.com/BurntSushi/toml"

	"shadowread/internal/angle"
	"shadowread/internal/boundedtoml"
	"shadowread/internal/fault"
)

const (
	fileFormat  = "shadowread instrument"
	fileVersion = 1
	MaxFile     = 64 << 10 // bytes; what is longer is no record
)

const squareDegree = float64(angle.Degree * angle.Degree) // rad²

// file is the record as it is written.
type file struct {
	Format  string    `toml:"format"`
	Version int       `toml:"version"`
	Name    string    `toml:"name"`
	Found   time.Time `toml:"found"`
	How     string    `toml:"how"`
	Gnomon  struct {
		Kind          string   `toml:"kind"`
		HeightMM      float64  `toml:"height_mm"`
		DiameterMM    float64  `toml:"diameter_mm"`
		NodusMM       float64  `toml:"nodus_height_mm"`
		FootStarboard *float64 `toml:"foot_starboard_mm"`
		FootForward   *float64 `toml:"foot_forward_mm"`
		FootSigma     *float64 `toml:"foot_sigma_mm"`
	} `toml:"gnomon"`
	Proved struct {
		Lubber        *float64    `toml:"lubber_correction_deg"`
		LeanStarboard float64     `toml:"lean_starboard_deg"`
		LeanForward   float64     `toml:"lean_forward_deg"`
		RodStarboard  float64     `toml:"rod_starboard_deg"`
		RodForward    float64     `toml:"rod_forward_deg"`
		Covariance    [][]float64 `toml:"covariance_deg2"`
	} `toml:"proved"`
	Remains struct {
		Level     *float64 `toml:"level_sigma_deg"`
		Alignment float64  `toml:"alignment_sigma_deg"`
	} `toml:"remains"`
	Lens struct {
		File string `toml:"file"`
	} `toml:"lens"`
}

// text writes the record as a file: line by line, which a page, with no use for a language of
// templates, is a fifteenth smaller for.
func (f *file) text() string {
	var b strings.Builder
	line := func(format string, args ...any) { fmt.Fprintf(&b, format+"\n", args...) }
	line(`# Instrument record. Angles in degrees, lengths in millimetres, sigmas one standard
# deviation. On the sheet: starboard is right of forward, seen from above.`)
	line("format = %s\nversion = %d\nname = %s", quote(fileFormat), fileVersion, quote(f.Name))
	if !f.Found.IsZero() {
		line("found = %s", f.Found.UTC().Format("2006-01-02T15:04:05Z"))
	}
	line("how = %s", quote(f.How))

	g := f.Gnomon
	line("\n[gnomon]\nkind = %s  # \"rod\" or \"plumb line\"", quote(g.Kind))
	line("height_mm = %s  # of the tip above the sheet; 0: not known", number(g.HeightMM))
	line("diameter_mm = %s", number(g.DiameterMM))
	if g.NodusMM != 0 {
		line("nodus_height_mm = %s  # of the middle of a bead or ring of tape", number(g.NodusMM))
	}
	if g.FootStarboard != nil {
		line("# Where the axis meets the sheet, from the printed foot.")
		line("foot_starboard_mm = %s\nfoot_forward_mm = %s\nfoot_sigma_mm = %s", number(*g.FootStarboard), number(*g.FootForward), number(*g.FootSigma))
	}

	p := f.Proved
	line("\n[proved]")
	if p.Lubber != nil {
		line("# Add to the heading of the sheet's forward axis to have the vehicle's.\nlubber_correction_deg = %s", number(*p.Lubber))
	}
	line("# Which way the rod's top leans from plumb, and from the sheet's normal.")
	line("lean_starboard_deg = %s\nlean_forward_deg = %s", number(p.LeanStarboard), number(p.LeanForward))
	line("rod_starboard_deg = %s\nrod_forward_deg = %s", number(p.RodStarboard), number(p.RodForward))
	line("# Of lubber, lean starboard, lean forward, rod starboard, rod forward.\ncovariance_deg2 = [")
	for _, row := range p.Covariance {
		var values []string
		for _, v := range row {
			values = append(values, number(v))
		}
		line("  [%s],", strings.Join(values, ", "))
	}
	line("]")

	line("\n[remains]\nlevel_sigma_deg = %s  # what a new setting-up changes", number(*f.Remains.Level))
	line("alignment_sigma_deg = %s", number(f.Remains.Alignment))
	if f.Lens.File != "" {
		line("\n[lens]\nfile = %s", quote(f.Lens.File))
	}
	return b.String()
}

// quote writes a TOML basic string; Check has seen that it is printable.
func quote(s string) string {
	return `"` + strings.NewReplacer(`\`, `\\`, `"`, `\"`).Replace(s) + `"`
}

// number writes twelve digits, so that writing what was read changes nothing.
func number(x float64) string {
	s := strconv.FormatFloat(x+0, 'g', 12, 64) // + 0: no -0
	if !strings.ContainsAny(s, ".e") {
		s += ".0" // TOML tells 1 from 1.0
	}
	return s
}

// Write writes the record as text that Decode reads back.
func (r Record) Write(w io.Writer) error {
	if err := r.Check(); err != nil {
		return err
	}
	f := file{Name: r.Name, Found: r.Found, How: r.How}
	f.Gnomon.Kind, f.Gnomon.HeightMM, f.Gnomon.DiameterMM = string(r.Gnomon), r.HeightMM, r.DiameterMM
	f.Gnomon.NodusMM = r.NodusMM
	if r.Foot != nil {
		f.Gnomon.FootStarboard, f.Gnomon.FootForward, f.Gnomon.FootSigma = &r.Foot.StarboardMM, &r.Foot.ForwardMM, &r.Foot.SigmaMM
	}
	if r.Proved.Lubber != nil {
		f.Proved.Lubber = new(r.Proved.Lubber.Degrees())
	}
	degrees := func(s Slope) (starboard, forward float64) {
		a, b := s.Angles()
		return a.Degrees(), b.Degrees()
	}
	f.Proved.LeanStarboard, f.Proved.LeanForward = degrees(r.Proved.Lean)
	f.Proved.RodStarboard, f.Proved.RodForward = degrees(r.Proved.Rod)
	for _, row := range r.Proved.Covariance {
		out := make([]float64, len(row))
		for k, v := range row {
			out[k] = v / squareDegree
		}
		f.Proved.Covariance = append(f.Proved.Covariance, out)
	}
	f.Remains.Level, f.Remains.Alignment = new(r.LevelSigma.Degrees()), r.AlignmentSigma.Degrees()
	f.Lens.File = r.Lens
	_, err := io.WriteString(w, f.text())
	return err
}

// keyError carries the key that Check complains of to Decode, which knows the line.
type keyError string

func (k keyError) Error() string { return "key " + string(k) }

// Decode reads a record. Keys that are not known are refused with their line: a slip in a
// key must not leave an instrument uncorrected. name stands for the file in errors.
//
// The error's code is file_too_large, bad_instrument or instrument_version.
// It is as long as the file: a key a line.
func Decode(data []byte, name string) (Record, error) {
	if len(data) > MaxFile {
		return Record{}, fault.New("file_too_large", "check that it is an instrument record", "%s is larger than %d bytes", name, MaxFile)
	}
	bad := func(key, hint, format string, args ...any) (Record, error) {
		at := name
		if line := lineOf(string(data), key); line > 0 {
			at = fmt.Sprintf("%s line %d", name, line)
		}
		return Record{}, fault.New("bad_instrument", hint, "%s: %s", at, fmt.Sprintf(format, args...))
	}
	var f file
	meta, err := boundedtoml.Decode(data, &f)
	if err != nil {
		var parse toml.ParseError
		if errors.As(err, &parse) {
			return Record{}, fault.New("bad_instrument", "correct the line, or prove the instrument again", "%s line %d: %s", name, parse.Position.Line, parse.Message)
		}
		return bad("", "correct the value, or prove the instrument again", "%v", err)
	}
	if f.Format != fileFormat {
		return bad("format", "give the file that align wrote", "it is not an instrument record")
	}
	if f.Version != fileVersion {
		return Record{}, fault.New("instrument_version", "use the program that wrote it, or prove the instrument again", "%s is a record of version %d, not %d", name, f.Version, fileVersion)
	}
	if unknown := meta.Undecoded(); len(unknown) > 0 {
		return bad(unknown[0][len(unknown[0])-1], "check the spelling against a record that align wrote", "unknown key %s", unknown[0])
	}
	g := f.Gnomon
	given := 0
	for _, v := range []*float64{g.FootStarboard, g.FootForward, g.FootSigma} {
		if v != nil {
			given++
		}
	}
	if given%3 != 0 {
		return bad("gnomon", "give foot_starboard_mm, foot_forward_mm and foot_sigma_mm, or none of them", "the foot is given in part")
	}
	if f.Remains.Level == nil {
		return bad("remains", "write what a new setting-up changes; 0.5 for a plate set with a bubble", "level_sigma_deg is missing")
	}
	out := Record{
		Name: f.Name, Found: f.Found.UTC().Truncate(time.Second), How: f.How, Gnomon: Gnomon(g.Kind), HeightMM: g.HeightMM, DiameterMM: g.DiameterMM, NodusMM: g.NodusMM,
		LevelSigma: angle.FromDegrees(*f.Remains.Level), AlignmentSigma: angle.FromDegrees(f.Remains.Alignment), Lens: f.Lens.File,
	}
	if given == 3 {
		out.Foot = &Foot{*g.FootStarboard, *g.FootForward, *g.FootSigma}
	}
	p := f.Proved
	if p.Lubber != nil {
		out.Proved.Lubber = new(angle.FromDegrees(*p.Lubber))
	}
	for _, v := range []struct {
		key   string
		value float64
	}{{"lean_starboard_deg", p.LeanStarboard}, {"lean_forward_deg", p.LeanForward}, {"rod_starboard_deg", p.RodStarboard}, {"rod_forward_deg", p.RodForward}} {
		if !(v.value > -90 && v.value < 90) { // beyond, a tangent would make a small slope of it
			return bad(v.key, "check the value and its unit", "%s = %g is no lean", v.key, v.value)
		}
	}
	out.Proved.Lean = SlopeOf(angle.FromDegrees(p.LeanStarboard), angle.FromDegrees(p.LeanForward))
	out.Proved.Rod = SlopeOf(angle.FromDegrees(p.RodStarboard), angle.FromDegrees(p.RodForward))
	if len(p.Covariance) != 0 && len(p.Covariance) != Components {
		return bad("covariance_deg2", "prove the instrument again rather than editing it", "the covariance has not %d rows", Components)
	}
	for i, row := range p.Covariance {
		if len(row) != Components {
			return bad("covariance_deg2", "prove the instrument again rather than editing it", "a row of the covariance has not %d values", Components)
		}
		for j, v := range row {
			out.Proved.Covariance[i][j] = v * squareDegree
		}
	}
	if err := out.Check(); err != nil {
		var key keyError
		var e *fault.Error
		if errors.As(err, &key) && errors.As(err, &e) {
			return bad(string(key), e.Hint, "%s", e.Message)
		}
		return Record{}, err
	}
	return out, nil
}

// lineOf returns the line, from 1, that sets key or opens the table of that name; 0 if
// there is none.
func lineOf(text, key string) int {
	if key == "" {
		return 0
	}
	n := 0
	for line := range strings.Lines(text) {
		n++
		left, _, _ := strings.Cut(line, "=")
		left = strings.Trim(strings.TrimSpace(left), `"'[]`)
		if left == key || strings.HasSuffix(left, "."+key) {
			return n
		}
	}
	return 0
}
