package recordfile

import (
	"bytes"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/calib"
	"shadowread/internal/camera"
	"shadowread/internal/fault"
	"shadowread/internal/instrument"
	"shadowread/internal/photo"
)

var day = time.Date(2026, 11, 25, 0, 0, 0, 0, time.UTC)

// Of invented cameras.
func record(model string, solved time.Time) camera.LensRecord {
	return camera.LensRecord{
		Camera: camera.Camera{Make: "Saltpan", Model: model, FocalLengthMM: 4.25, FocalLength35MM: 27, WidthPX: 4000, HeightPX: 3000},
		Lens:   calib.Lens{F: 3000, Cx: 2000, Cy: 1500},
		Sigma:  calib.LensSigma{F: 1, Cx: 1, Cy: 1, K1: 0.001, K2: 0.001, K3: 0.001, P1: 1e-4, P2: 1e-4},
		RMSPx:  0.1, Views: 8, Solved: solved,
	}
}

func TestLensRecordRoundTrip(t *testing.T) {
	path := filepath.Join(t.TempDir(), "lens.toml")
	want := record("S-1", day)
	if err := SaveLens(path, want); err != nil {
		t.Fatal(err)
	}
	got, err := Lens(path)
	if err != nil || !reflect.DeepEqual(got, want) {
		t.Errorf("%v\ngot  %+v\nwant %+v", err, got, want)
	}
	want.Views = 9
	if err := SaveLens(path, want); err != nil { // in place of the old one
		t.Fatal(err)
	}
	if got, _ = Lens(path); got.Views != 9 {
		t.Errorf("%d views after saving again", got.Views)
	}
	if left, _ := os.ReadDir(filepath.Dir(path)); len(left) != 1 {
		t.Errorf("%d files in the folder, want 1", len(left))
	}
}

func TestLensRecordSaveLeavesNothing(t *testing.T) {
	dir := t.TempDir()
	bad := record("S-1", day)
	bad.Lens.F = math.NaN()
	if err := SaveLens(filepath.Join(dir, "a.toml"), bad); fault.Code(err) != "bad_lens_record" {
		t.Error(err)
	}
	if err := SaveLens(dir, record("S-1", day)); fault.Code(err) != "cannot_write" {
		t.Error(err)
	}
	if err := SaveLens(filepath.Join(dir, "none", "a.toml"), record("S-1", day)); fault.Code(err) != "cannot_write" {
		t.Error(err)
	}
	if left, _ := os.ReadDir(dir); len(left) != 0 {
		t.Errorf("%d files left", len(left))
	}
}

func TestLensRefuses(t *testing.T) {
	if _, err := Lens(filepath.Join(t.TempDir(), "none")); fault.Code(err) != "unreadable_file" {
		t.Error(err)
	}
	if _, err := Lens(t.TempDir()); fault.Code(err) != "not_a_file" {
		t.Error(err)
	}
	long := filepath.Join(t.TempDir(), "long.toml")
	if err := os.WriteFile(long, bytes.Repeat([]byte("#"), camera.MaxRecordBytes+1), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := Lens(long); fault.Code(err) != "bad_lens_record" {
		t.Error(err)
	}
	if _, err := Instrument(long); fault.Code(err) != "file_too_large" {
		t.Error(err)
	}
}

func TestStore(t *testing.T) {
	s := Store{Dir: filepath.Join(t.TempDir(), "data", "lenses")}
	facts := photo.Facts{Make: "Saltpan", Model: "S-1", FocalLengthMM: 4.25, FocalLength35MM: 27, Width: 4000, Height: 3000}
	if m, w, err := s.Find(facts); m != nil || w != nil || err != nil {
		t.Errorf("no folder: %v %v %v", m, w, err)
	}
	first, err := s.Save(record("S-1", day))
	if err != nil {
		t.Fatal(err)
	}
	if got, want := filepath.Base(first), "saltpan-s-1-4.25-mm-4000x3000.toml"; got != want {
		t.Errorf("file %s, want %s", got, want)
	}
	// The same letters, another camera; then the first again.
	second, err := s.Save(record("S/1", day))
	if err != nil || second == first {
		t.Errorf("%s %v", second, err)
	}
	again := record("S-1", day.AddDate(0, 1, 0))
	if path, err := s.Save(again); path != first || err != nil {
		t.Errorf("%s %v", path, err)
	}
	if m, w, err := s.Find(facts); err != nil || len(w) > 0 || m == nil || m.Path != first || !m.Record.Solved.Equal(again.Solved) {
		t.Errorf("%+v %v %v", m, w, err)
	}
	// An older copy under another name, a broken file and an unfinished one.
	if err := SaveLens(filepath.Join(s.Dir, "a copy.toml"), record("S-1", day)); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"broken.toml", ".lens-1.part", ".hidden.toml", "notes.txt"} {
		if err := os.WriteFile(filepath.Join(s.Dir, name), []byte("?"), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	m, w, err := s.Find(facts)
	if err != nil || m == nil || m.Path != first || len(w) != 1 || !strings.Contains(w[0].Message, "broken.toml") {
		t.Errorf("%+v %v %v", m, w, err)
	}
	for name, change := range map[string]func(*photo.Facts){
		"model": func(f *photo.Facts) { f.Model = "S-3" }, "size": func(f *photo.Facts) { f.Width = 2000 },
		"lens": func(f *photo.Facts) { f.FocalLengthMM = 9 }, "cropped": func(f *photo.Facts) { f.ExifWidth, f.ExifHeight = 5000, 3000 },
		"nameless": func(f *photo.Facts) { f.Make, f.Model = "", "" },
	} {
		g := facts
		change(&g)
		if m, _, err := s.Find(g); m != nil || err != nil {
			t.Errorf("%s: found %+v, %v", name, m, err)
		}
	}
	if _, err := s.Save(record("", day)); fault.Code(err) != "unknown_camera" {
		t.Error(err)
	}
}

func TestStoreNamesStayInTheFolder(t *testing.T) {
	for _, model := range []string{"../../etc", "..", "/", "\\..\\x", "süd", strings.Repeat("long ", 39)} {
		s := Store{Dir: t.TempDir()}
		path, err := s.Save(record(model, day))
		if err != nil || filepath.Dir(path) != s.Dir || len(filepath.Base(path)) > 255 {
			t.Errorf("%q: %s %v", model, path, err)
		}
	}
}

func TestDefaultDir(t *testing.T) {
	t.Setenv("XDG_DATA_HOME", "/data")
	if d, err := DefaultDir(); err != nil || d != "/data/shadowread/lenses" {
		t.Errorf("%s %v", d, err)
	}
	t.Setenv("XDG_DATA_HOME", "relative")
	t.Setenv("HOME", "/home/driver")
	if d, err := DefaultDir(); err != nil || d != "/home/driver/.local/share/shadowread/lenses" {
		t.Errorf("%s %v", d, err)
	}
}

func TestInstrument(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "instrument.toml")
	for _, name := range []string{"board", "bonnet"} { // the second replaces the first
		want := instrument.Record{Name: name, Gnomon: instrument.Rod, NodusMM: 20, LevelSigma: 0.5 * angle.Degree}
		if err := SaveInstrument(path, want); err != nil {
			t.Fatal(err)
		}
		if got, err := Instrument(path); err != nil || got.Name != name || got.NodusMM != 20 {
			t.Errorf("%v: read back %+v", err, got)
		}
	}
	if left, err := os.ReadDir(dir); err != nil || len(left) != 1 {
		t.Errorf("%v, left in the folder: %v", err, left)
	}
	if _, err := Instrument(filepath.Join(dir, "none.toml")); fault.Code(err) != "unreadable_file" {
		t.Error(err)
	}
	whole := instrument.Record{Gnomon: instrument.Rod, LevelSigma: 0.5 * angle.Degree}
	if err := SaveInstrument(filepath.Join(dir, "none", "i.toml"), whole); fault.Code(err) != "cannot_write" {
		t.Error(err)
	}
	if err := SaveInstrument(path, instrument.Record{Gnomon: "spear"}); fault.Code(err) != "bad_instrument" {
		t.Error(err)
	}
}
