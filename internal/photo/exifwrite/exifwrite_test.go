package exifwrite

import (
	"bytes"
	"encoding/json"
	"image"
	"image/jpeg"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/geo"
)

func picture(t *testing.T) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := jpeg.Encode(&b, image.NewGray(image.Rect(0, 0, 16, 8)), nil); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// ExifTool is the judge of what was written, and its -validate of how.
func TestExifToolReadsWhatIsWritten(t *testing.T) {
	tool, err := exec.LookPath("exiftool")
	if err != nil {
		t.Skip("exiftool is not installed")
	}
	offset := -210 * time.Minute
	out, err := Insert(picture(t), Tags{
		Make: "Salt pan survey", Model: "Truck one", Software: "shadowread", Orientation: 6,
		FocalLengthMM: 4.25, FocalLength35MM: 26, Width: 16, Height: 8,
		Clock: time.Date(2026, 3, 14, 9, 26, 53, 37e6, time.UTC), ClockOffset: &offset,
		GPSTime: time.Date(2026, 3, 14, 12, 56, 51, 250e6, time.UTC),
		GPS:     &geo.Position{Lat: angle.FromDegrees(-20.61425), Lon: angle.FromDegrees(-179.99999999)},
		// Below sea level, as a salt pan may be.
		AltitudeMetres: -12.5, GPSErrorMetres: 4.7,
	})
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "photo.jpg")
	if err := os.WriteFile(path, out, 0o600); err != nil {
		t.Fatal(err)
	}
	text, err := exec.Command(tool, "-j", "-n", "-validate", "-warning", "-error", "-all", path).Output()
	if err != nil {
		t.Fatal(err)
	}
	var rows []map[string]any
	if err := json.Unmarshal(text, &rows); err != nil || len(rows) != 1 {
		t.Fatalf("%v in %s", err, text)
	}
	for _, tt := range []struct {
		field string
		want  any
	}{
		{"Validate", "0 0 0"}, // errors, warnings, minor warnings
		{"Make", "Salt pan survey"}, {"Model", "Truck one"}, {"Software", "shadowread"}, {"Orientation", 6.0},
		{"FocalLength", 4.25}, {"FocalLengthIn35mmFormat", 26.0}, {"ExifImageWidth", 16.0}, {"ExifImageHeight", 8.0},
		{"DateTimeOriginal", "2026:03:14 09:26:53"}, {"SubSecTimeOriginal", "037"}, {"OffsetTimeOriginal", "-03:30"},
		{"GPSDateTime", "2026:03:14 12:56:51.25Z"}, {"GPSAltitude", -12.5}, {"GPSHPositioningError", 4.7},
		{"GPSLatitude", -20.61425}, {"GPSLongitude", -180.0},
	} {
		got := rows[0][tt.field]
		if want, ok := tt.want.(float64); ok {
			if v, ok := got.(float64); ok && math.Abs(v-want) < 1e-7 { // 0.0001 second of arc is 3e-8 degree
				continue
			}
		}
		if got != tt.want {
			t.Errorf("%s = %v, want %v", tt.field, got, tt.want)
		}
	}
}

func TestInsertRefuses(t *testing.T) {
	once, err := Insert(picture(t), Tags{Make: "a"})
	if err != nil {
		t.Fatal(err)
	}
	for name, data := range map[string][]byte{"text": []byte("no photo"), "empty": nil, "twice": once} {
		if _, err := Insert(data, Tags{}); err == nil {
			t.Errorf("%s: accepted", name)
		}
	}
	if _, err := Insert(picture(t), Tags{Make: string(make([]byte, 70000))}); err == nil {
		t.Error("a block of 70 kB: accepted")
	}
}
