package photo

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"shadowread/internal/geo"
	"shadowread/internal/testtable"
)

// exiftoolArgs are the fields compared with ExifTool, as plain numbers; make.sh
// asks for the same.
var exiftoolArgs = strings.Fields(`-q -n -csv -m -fast2 -IFD0:Make -IFD0:Model -IFD0:Software -IFD0:Orientation
	-ExifIFD:DateTimeOriginal -ExifIFD:SubSecTimeOriginal -ExifIFD:OffsetTimeOriginal
	-ExifIFD:FocalLength -ExifIFD:FocalLengthIn35mmFormat -ExifIFD:ExifImageWidth -ExifIFD:ExifImageHeight
	-GPS:GPSStatus -GPS:GPSDateStamp -GPS:GPSTimeStamp -GPS:GPSHPositioningError
	-Composite:GPSLatitude -Composite:GPSLongitude -Composite:GPSAltitude --`)

func blockFacts(t *testing.T, name string) Facts {
	t.Helper()
	data, err := os.ReadFile(filepath.Join("testdata", "exif", name))
	if err != nil {
		t.Fatal(err)
	}
	f := Facts{Orientation: 1}
	f.readExif(io.NewSectionReader(bytes.NewReader(data), 0, int64(len(data))))
	return f
}

// TestExifAgainstExifTool compares with what ExifTool reads in Exif blocks of some
// ninety cameras, telephones and programs (sources in testdata/make.sh).
func TestExifAgainstExifTool(t *testing.T) {
	rows := testtable.Read(t, "testdata/exiftool.csv")
	if len(rows) < 90 {
		t.Fatalf("%d rows", len(rows))
	}
	for _, row := range rows {
		compareWithExifTool(t, blockFacts(t, row["SourceFile"]), row)
	}
}

// TestExifAgainstLiveExifTool asks the ExifTool that is installed, so that the
// table above is seen to be what ExifTool says.
func TestExifAgainstLiveExifTool(t *testing.T) {
	tool, err := exec.LookPath("exiftool")
	if err != nil {
		t.Skip("exiftool is not installed")
	}
	blocks, _ := filepath.Glob("testdata/exif/*.exif")
	out, err := exec.Command(tool, append(exiftoolArgs, blocks...)...).Output()
	if len(out) == 0 {
		t.Fatal(err)
	}
	for _, row := range testtable.ReadFrom(t, bytes.NewReader(out)) {
		compareWithExifTool(t, blockFacts(t, filepath.Base(row["SourceFile"])), row)
	}
}

// compareWithExifTool checks every field of f against a row of ExifTool's.
func compareWithExifTool(t *testing.T, f Facts, row testtable.Row) {
	t.Helper()
	name := filepath.Base(row["SourceFile"])
	differs := func(field string, got, want any) {
		t.Helper()
		t.Errorf("%s: %s = %v, ExifTool has %v", name, field, got, want)
	}
	for _, tt := range []struct{ field, got string }{
		{"Make", f.Make}, {"Model", f.Model}, {"Software", f.Software},
	} {
		if want := strings.TrimSpace(row[tt.field]); tt.got != want {
			differs(tt.field, tt.got, want)
		}
	}
	for _, tt := range []struct {
		field string
		got   float64
		none  float64 // where ExifTool has no value
	}{
		{"Orientation", float64(f.Orientation), 1},
		{"FocalLength", f.FocalLengthMM, 0},
		{"FocalLengthIn35mmFormat", f.FocalLength35MM, 0},
		{"ExifImageWidth", float64(f.ExifWidth), 0},
		{"ExifImageHeight", float64(f.ExifHeight), 0},
		{"GPSHPositioningError", f.GPSErrorMetres, 0},
	} {
		want := tt.none
		if s := row[tt.field]; s != "" {
			want, _ = strconv.ParseFloat(s, 64)
		}
		if math.Abs(tt.got-want) > 1e-9*max(1, want) { // ExifTool prints ten digits
			differs(tt.field, tt.got, want)
		}
	}

	clock := ""
	if !f.Clock.IsZero() {
		clock = f.Clock.Format("2006:01:02 15:04:05")
	}
	want := row["DateTimeOriginal"]
	if strings.Trim(want, " :") == "" {
		want = ""
	}
	if clock != want {
		differs("DateTimeOriginal", clock, want)
	}
	if digits := row["SubSecTimeOriginal"]; want != "" {
		fraction, _ := strconv.ParseFloat("0."+digits+"0", 64)
		if got := float64(f.Clock.Nanosecond()) / 1e9; math.Abs(got-fraction) > 1e-9 {
			differs("SubSecTimeOriginal", got, digits)
		}
	}
	offset := ""
	if f.ClockOffset != nil {
		offset = geo.FormatOffset(*f.ClockOffset)
	}
	if offset != row["OffsetTimeOriginal"] {
		differs("OffsetTimeOriginal", offset, row["OffsetTimeOriginal"])
	}

	if date, stamp := row["GPSDateStamp"], row["GPSTimeStamp"]; date != "" && stamp != "" {
		at, err := time.Parse("2006:01:02 15:04:05", strings.TrimSpace(date)+" "+stamp)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if f.GPSTime.Sub(at).Abs() > time.Microsecond { // ExifTool prints microseconds at most
			differs("GPS time", f.GPSTime, at)
		}
	} else if !f.GPSTime.IsZero() {
		differs("GPS time", f.GPSTime, "none")
	}

	if reason, ok := refusedPositions[name]; ok {
		if f.GPS != nil || len(f.Warnings) != 1 || f.Warnings[0].Code != reason {
			t.Errorf("%s: position %v with warnings %v, want it refused as %s", name, f.GPS, f.Warnings, reason)
		}
		return
	}
	if row["GPSLatitude"] == "" || row["GPSLongitude"] == "" {
		if f.GPS != nil {
			differs("position", f.GPS, "none")
		}
		return
	}
	lat, _ := strconv.ParseFloat(row["GPSLatitude"], 64)
	lon, _ := strconv.ParseFloat(row["GPSLongitude"], 64)
	if f.GPS == nil {
		differs("position", f.Warnings, fmt.Sprint(lat, lon))
		return
	}
	const tolerance = 1e-9 // degrees, 0.1 mm: ExifTool prints 15 digits
	if math.Abs(f.GPS.Lat.Degrees()-lat) > tolerance || math.Abs(f.GPS.Lon.Degrees()-lon) > tolerance {
		differs("position", f.GPS, fmt.Sprint(lat, lon))
	}
	altitude, _ := strconv.ParseFloat(row["GPSAltitude"], 64)
	if math.Abs(f.AltitudeMetres-altitude) > 1e-6 {
		differs("GPSAltitude", f.AltitudeMetres, altitude)
	}
}

// refusedPositions are positions that ExifTool prints and that are wrong.
var refusedPositions = map[string]string{
	// Latitude and longitude 0: there was no fix.
	"2011-05-07-13-02-49.exif": "gps_void",
	// Text "52,00000,50,00000,34,01180", which ExifTool takes for 52 0 50; goexif
	// takes it for 52 50 34.0118. A wrong guess is 90 km off.
	"geodegrees_as_string.exif": "gps_unreadable",
}
