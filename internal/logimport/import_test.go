package logimport

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/fault"
	"shadowread/internal/geo"
	"shadowread/internal/logbook"
	"shadowread/internal/workup"
)

// folder makes photos whose content is their name; they are "taken" at the minutes
// given, -1 for one that does not say.
func folder(t testing.TB, minutes map[string]float64) Folder {
	t.Helper()
	dir := t.TempDir()
	var photos []string
	for name := range minutes {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(strings.TrimPrefix(name, "copy-of-")), 0o644); err != nil {
			t.Fatal(err)
		}
		photos = append(photos, filepath.Join(dir, name))
	}
	slices.Sort(photos)
	return Folder{
		Photos: photos, Name: "odometer.csv",
		TimeOf: func(_ context.Context, path string) (time.Time, error) {
			if m := minutes[filepath.Base(path)]; m >= 0 {
				return at(m).Time, nil
			}
			return time.Time{}, nil
		},
		// Every photo reads 90 degrees but those of the night, which are refused.
		Read: func(_ context.Context, path string, when time.Time, here *logbook.Estimate) (logbook.PhotoReading, error) {
			if strings.Contains(path, "night") {
				return logbook.PhotoReading{Time: when, Refused: "body_too_low", Message: "wait"}, nil
			}
			r := &logbook.DialHeading{Heading: 90 * deg, Sigma: 1 * deg, Body: &workup.Body{Azimuth: 60 * deg, Altitude: 30 * deg}}
			if here != nil {
				r.ComputedAt = &here.Position
			}
			return logbook.PhotoReading{Time: when, Reading: r, Whole: []byte(`{"status":"ok"}`)}, nil
		},
	}
}

func TestFolderByNameAndTime(t *testing.T) {
	ctx := t.Context()
	l := begun(t)
	in := folder(t, map[string]float64{"c.jpg": 10, "a.JPG": 70, "night.jpeg": 40, "copy-of-c.jpg": 10, "b.heic": -1})
	table := "photo,time,odometer_km,note\n" +
		"a.JPG,,1020.0,\n" +
		",2026-03-14T06:41:00Z,1010.0,dusk\n" + // a minute from night.jpeg
		"b.heic,2026-03-14T07:30:00Z,1030.5,\n" +
		"c.jpg,2026-03-14 06:11:00Z,1000.0,\n"
	in.CSV = strings.NewReader(table)
	got, err := in.Import(ctx, l)
	if err != nil {
		t.Fatal(err)
	}
	if want := (Imported{Added: []int{2, 3, 4, 5}, Already: 1, NeedHeading: []int{3}}); !reflect.DeepEqual(got, want) {
		t.Errorf("imported %+v, want %+v", got, want)
	}
	list, err := l.List(ctx, 0, false)
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []struct {
		name     string
		minutes  float64
		odometer string
	}{{"c.jpg", 10, "1000.0"}, {"night.jpeg", 40, "1010.0"}, {"a.JPG", 70, "1020.0"}, {"b.heic", 90, "1030.5"}} {
		e := list[i+1]
		leg := e.Content.(*logbook.Leg)
		if leg.Photo.Name != want.name && leg.Photo.Name != "copy-of-"+want.name || !e.Time.Equal(at(want.minutes).Time) || leg.Run.Odometer.AsGiven != want.odometer {
			t.Errorf("entry %d is %s at %v, %s; want %+v", e.Number, leg.Photo.Name, e.Time, leg.Run.Odometer, want)
		}
	}
	// The estimate that a photo was read at is where its leg begins.
	if p := list[1].Content.(*logbook.Leg).Reading.ComputedAt; p == nil || apartMetres(t, *p, pan) > 0.01 {
		t.Errorf("the first photo was read at %v, want %v", p, pan)
	}
	in.CSV = strings.NewReader(table)
	if got, err = in.Import(ctx, l); err != nil || len(got.Added) > 0 || got.Already != 5 {
		t.Errorf("again: %v, %+v", err, got)
	}
}

func TestFolderGoesOnWhereItWasBrokenOff(t *testing.T) {
	ctx := t.Context()
	minutes := map[string]float64{}
	table := "photo,odometer_mi\n"
	for i := range 12 {
		name := fmt.Sprintf("%02d.jpg", i)
		minutes[name] = float64(10 * i)
		table += fmt.Sprintf("%s,%d.5\n", name, 700+3*i)
	}
	heads := map[string]string{}
	for _, breakAt := range []int{-1, 0, 5, 11} {
		l := newLog(t)
		must(t)(l.Begin(ctx, at(0), logbook.Departure{Position: pan, Sigma: 20}))
		in := folder(t, minutes)
		read := in.Read
		broken := fault.New("broken_off", "", "the light went out")
		in.Read = func(ctx context.Context, path string, when time.Time, here *logbook.Estimate) (logbook.PhotoReading, error) {
			if breakAt >= 0 && filepath.Base(path) == fmt.Sprintf("%02d.jpg", breakAt) {
				return logbook.PhotoReading{}, broken
			}
			return read(ctx, path, when, here)
		}
		in.CSV = strings.NewReader(table)
		first, err := in.Import(ctx, l)
		if breakAt >= 0 {
			if fault.Code(err) != "broken_off" || len(first.Added) != breakAt {
				t.Fatalf("%v, %+v", err, first)
			}
			in.Read, in.CSV = read, strings.NewReader(table)
			if _, err := in.Import(ctx, l); err != nil {
				t.Fatal(err)
			}
		}
		r, err := l.Check(ctx)
		if err != nil || !r.OK() {
			t.Fatalf("%v, %+v", err, r)
		}
		heads[r.Head] = fmt.Sprint(breakAt)
	}
	if len(heads) != 1 {
		t.Errorf("broken off at different photos, the logs differ: %v", heads)
	}
}

func TestImportErrorsNameFileAndLine(t *testing.T) {
	photos := func(table string) func(l *logbook.Log) error {
		return func(l *logbook.Log) error {
			in := folder(t, map[string]float64{"a.jpg": 10, "b.jpg": 20, "c.jpg": -1})
			in.CSV = strings.NewReader(table)
			_, err := in.Import(t.Context(), l)
			return err
		}
	}
	entries := func(rows string) func(l *logbook.Log) error {
		return func(l *logbook.Log) error {
			_, err := Paper{Name: "paper.csv", CSV: strings.NewReader(
				"entry,time,odometer_km,distance_km,speed_kmh,stood,heading_deg,number_deg,sigma_deg,position,error_m\n" + rows)}.Import(t.Context(), l)
			return err
		}
	}
	table := func(text string) func(l *logbook.Log) error {
		return func(l *logbook.Log) error {
			_, err := Paper{Name: "paper.csv", CSV: strings.NewReader(text)}.Import(t.Context(), l)
			return err
		}
	}
	const all = "photo,time,odometer_km\na.jpg,,1000.0\nc.jpg,2026-03-14T06:30:00Z,1002.0\n"
	for _, tt := range []struct {
		name  string
		run   func(l *logbook.Log) error
		code  string
		where string
		added int // entries in the log after it, the departure too
	}{
		{"empty", photos(""), "missing_column", "odometer.csv line 1:", 1},
		{"unknown column", photos("photo,odo\n"), "unknown_column", "odometer.csv line 1:", 1},
		{"column twice", photos("photo,photo\n"), "bad_csv", "odometer.csv line 1:", 1},
		{"short row", photos("# noted by hand\nphoto,odometer_km\na.jpg\n"), "bad_csv", "odometer.csv line 3:", 1},
		{"bare quote", photos("photo,odometer_km\na\"b.jpg,1\n"), "bad_csv", "odometer.csv line 2:", 1},
		{"decimal comma", photos("photo,odometer_km\na.jpg,\"1000,5\"\n"), "bad_odometer", "odometer.csv line 2:", 1},
		{"no reading", photos("photo,odometer_km\na.jpg,\n"), "bad_row", "odometer.csv line 2:", 1},
		{"two readings", photos("photo,odometer_km,odometer_mi\na.jpg,1,1\n"), "bad_row", "odometer.csv line 2:", 1},
		{"no photo or time", photos("photo,odometer_km\n,1\n"), "bad_row", "odometer.csv line 2:", 1},
		{"no offset", photos("time,odometer_km\n2026-03-14T06:30:00,1\n"), "no_utc_offset", "odometer.csv line 2:", 1},
		{"no such photo", photos(all + "d.jpg,,1\n"), "row_without_photo", "odometer.csv line 4:", 1},
		{"no photo then", photos(all + ",2026-03-14T06:23:00Z,1\n"), "row_without_photo", "odometer.csv line 4:", 1},
		{"one photo twice", photos(all + "a.jpg,,1\n"), "row_without_photo", "odometer.csv line 4:", 1},
		{"photo left over", photos(all), "photo_without_row", "b.jpg", 1},
		{"photo without time", photos("photo,odometer_km\na.jpg,1000.0\nb.jpg,1001.0\nc.jpg,1002.0\n"), "photo_no_time", "odometer.csv line 4:", 1},
		{"an hour out", photos(all + "b.jpg,2026-03-14T07:20:00Z,1001.0\n"), "time_mismatch", "odometer.csv line 4:", 1},
		{"backwards", photos(all + "b.jpg,,999.0\n"), "odometer_backwards", "odometer.csv line 4:", 2},
		{"no column for the photo", photos("note,odometer_km\nx,1\n"), "missing_column", "odometer.csv line 1:", 1},
		{"no column for the odometer", photos("photo,note\na.jpg,x\n"), "missing_column", "odometer.csv line 1:", 1},
		{"no column for the entry", table("# paper\ntime,odometer_km\n2026-03-14T06:10:00Z,1001.0\n"), "missing_column", "paper.csv line 2:", 1},
		{"no column for the time", table("entry,odometer_km\nhalt,1001.0\n"), "missing_column", "paper.csv line 1:", 1},
		{"detour without sigma", table("entry,time,odometer_km,legs\ndetour,2026-03-14T06:10:00Z,1001.0,\"140,@1002.0\"\n"), "bad_heading", "paper.csv line 2:", 1},
		{"detour without legs", table("entry,time,odometer_km,legs,sigma_deg\ndetour,2026-03-14T06:10:00Z,1001.0,,5\n"), "bad_leg", "paper.csv line 2:", 1},
		{"detour on no heading", table("entry,time,odometer_km,legs,sigma_deg\ndetour,2026-03-14T06:10:00Z,1001.0,\"140,@1002.0; 361,@1003.0\",5\n"), "bad_leg", "paper.csv line 2:", 1},
		{"detour backwards", table("entry,time,odometer_km,legs,sigma_deg\ndetour,2026-03-14T06:10:00Z,1001.0,\"140,@1000.5\",5\n"), "odometer_backwards", "paper.csv line 2:", 1},
		{"odometer set to nothing", table("entry,time,odometer_km,reads\nodometer_set,2026-03-14T06:10:00Z,1001.0,\n"), "bad_odometer", "paper.csv line 2:", 1},
		{"heading of 400", entries("leg,2026-03-14T06:10:00Z,1001.0,,,,400,,2,,\n"), "bad_heading", "paper.csv line 2:", 1},
		{"number below 0", entries("leg,2026-03-14T06:10:00Z,1001.0,,,,,-20,,,\n"), "bad_row", "paper.csv line 2:", 1},
		{"kind", entries("leap,2026-03-14T06:10:00Z,1001.0,,,,,,,,\n"), "bad_row", "paper.csv line 2:", 1},
		{"no time", entries("halt,,1001.0,,,,,,,,\n"), "bad_row", "paper.csv line 2:", 1},
		{"no sigma", entries("leg,2026-03-14T06:10:00Z,1001.0,,,,90,,,,\n"), "bad_heading", "paper.csv line 2:", 1},
		{"heading of a halt", entries("halt,2026-03-14T06:10:00Z,1001.0,,,,90,,,,\n"), "bad_row", "paper.csv line 2:", 1},
		{"two ways", entries("halt,2026-03-14T06:10:00Z,,5,30,,,,,,\n"), "no_distance", "paper.csv line 2:", 1},
		{"no way", entries("halt,2026-03-14T06:10:00Z,,,,,,,,,\n"), "no_distance", "paper.csv line 2:", 1},
		{"not a number", entries("halt,2026-03-14T06:10:00Z,,NaN,,,,,,,\n"), "bad_number", "paper.csv line 2:", 1},
		{"negative", entries("halt,2026-03-14T06:10:00Z,,-1,,,,,,,\n"), "bad_distance", "paper.csv line 2:", 1},
		{"no error of a fix", entries("fix,2026-03-14T06:10:00Z,,,,yes,,,,\"20 S, 25 E\",\n"), "bad_position_sigma", "paper.csv line 2:", 1},
		{"number", entries("leg,2026-03-14T06:10:00Z,1001.0,,,,,120,,,\n"), "bad_row", "paper.csv line 2:", 1},
		{"second too fast", entries("leg,2026-03-14T06:10:00Z,1001.0,,,,90,,2,,\nhalt,2026-03-14T06:20:00Z,1101.0,,,,,,,,\n"), "leg_too_long", "paper.csv line 3:", 2},
	} {
		t.Run(tt.name, func(t *testing.T) {
			l := begun(t)
			err := tt.run(l)
			if fault.Code(err) != tt.code || !strings.Contains(err.Error(), tt.where) {
				t.Errorf("%v (%s), want %s at %s", err, fault.Code(err), tt.code, tt.where)
			}
			if r, err := l.Check(t.Context()); err != nil || !r.OK() || r.Entries != tt.added {
				t.Errorf("%v, %+v; want %d entries", err, r, tt.added)
			}
		})
	}
}

func TestPaperLog(t *testing.T) {
	ctx := t.Context()
	l := newLog(t)
	offset := 2 * time.Hour
	const head = "entry,time,odometer_nmi,distance_km,heading_deg,number_deg,sigma_deg,position,error_m,note,stood\n" +
		"# an invented survey of a salt pan\n" +
		"departure,2026-03-14T08:00:00,540.0,,,,,\"20 36.852 S, 25 25.860 E\",20,,\n" +
		"leg,2026-03-14T08:00:00,540.0,,90,,2,,,first,\n" +
		"leg,2026-03-14T09:00:00,550.0,,,120,,,,by eye,\n"
	numbers := 0
	in := Paper{Name: "paper.csv", UTCOffset: &offset,
		Number: func(_ context.Context, number, sigma angle.Angle, when time.Time, by *time.Duration, here *logbook.Estimate) (logbook.NumberReading, error) {
			numbers++
			if number != 120*deg || sigma != 0 || !when.Equal(at(60).Time) || here == nil {
				t.Errorf("number %v, sigma %v at %v, %+v", number, sigma, when, here)
			}
			if by == nil || *by != offset {
				t.Errorf("the time was noted by %v", by)
			}
			return logbook.NumberReading{Heading: logbook.DialHeading{Heading: 180 * deg, Sigma: 1 * deg, ComputedAt: &here.Position}, Whole: []byte("{}")}, nil
		}}
	in.CSV = strings.NewReader(head)
	got, err := in.Import(ctx, l)
	if err != nil || len(got.Added) != 3 || numbers != 1 {
		t.Fatalf("%v, %+v, %d numbers", err, got, numbers)
	}
	// The file goes on, with a row that stands there twice.
	const more = "note,2026-03-14T09:30:00,,,,,,,,two trucks,\nnote,2026-03-14T09:30:00,,,,,,,,two trucks,\n" +
		"halt,2026-03-14T10:00:00,560.0,,,,,,,,\nleg,2026-03-14T10:00:00,,,,,,,,no sun,yes\n"
	in.CSV = strings.NewReader(head + more)
	if got, err = in.Import(ctx, l); err != nil || len(got.Added) != 4 || got.Already != 3 || len(got.NeedHeading) != 1 {
		t.Fatalf("%v, %+v", err, got)
	}
	w, err := l.Where(ctx, 0)
	if err != nil {
		t.Fatal(err)
	}
	// 10 nautical miles east, 10 south.
	from, err := geo.ParsePosition("20 36.852 S, 25 25.860 E")
	if err != nil {
		t.Fatal(err)
	}
	corner, err := geo.RhumbDirect(from, 90*deg, 18_520)
	if err != nil {
		t.Fatal(err)
	}
	end, err := geo.RhumbDirect(corner, 180*deg, 18_520)
	if err != nil {
		t.Fatal(err)
	}
	if d := apartMetres(t, w.Estimate.Position, end); d > 0.01 {
		t.Errorf("the paper log ends %.2f m from where it should", d)
	}
	// A row edited after it was entered would count twice.
	in.CSV = strings.NewReader(head + strings.Replace(more, "560.0", "561.0", 1))
	if got, err = in.Import(ctx, l); fault.Code(err) != "row_changed" || len(got.Added) != 0 || !strings.Contains(err.Error(), "paper.csv line 8") {
		t.Errorf("an edited row: %v, %+v", err, got)
	}
}

// Detours and a new odometer on paper make the entries that the verbs make.
func TestPaperLogMakesWhatTheVerbsMake(t *testing.T) {
	ctx := t.Context()
	byVerbs, byPaper := begun(t), begun(t)
	must(t)(byVerbs.LegByHand(ctx, at(0), km("1000.0"), by(58, 2)))
	must(t)(byVerbs.Detour(ctx, at(30), logbook.Detour{Run: km("1009.1"), Legs: []logbook.ShortLeg{
		{Heading: by(140, 5), Run: km("1009.9")}, {Heading: by(58, 5), Run: logbook.ByOdometer(logbook.Odometer{AsGiven: "627.8", Unit: logbook.StatuteMiles})}, {Heading: by(330, 5), Run: logbook.Run{Distance: &logbook.Distance{Length: 800}}},
	}}))
	must(t)(byVerbs.SetOdometer(ctx, at(60), logbook.OdometerSet{Run: logbook.Run{Distance: &logbook.Distance{Length: 5000}}, After: logbook.Odometer{AsGiven: "0.0", Unit: logbook.StatuteMiles}}))
	paper := Paper{Name: "paper.csv", CSV: strings.NewReader(
		"entry,time,odometer_km,distance_km,heading_deg,sigma_deg,legs,reads\n" +
			"leg,2026-03-14T06:00:00Z,1000.0,,58,2,,\n" +
			"detour,2026-03-14T06:30:00Z,1009.1,,,5,\"140,@1009.9; 58°,@627.8mi; 330, 800 m\",\n" +
			"odometer_set,2026-03-14T07:00:00Z,,5,,,,0.0mi\n")}
	if _, err := paper.Import(ctx, byPaper); err != nil {
		t.Fatal(err)
	}
	want, err := byVerbs.List(ctx, 0, false)
	if err != nil {
		t.Fatal(err)
	}
	got, err := byPaper.List(ctx, 0, false)
	if err != nil || !reflect.DeepEqual(got, want) {
		t.Errorf("%v; the paper log is\n%+v, want\n%+v", err, got, want)
	}
	// Saved anew by a spreadsheet that writes decimal commas, it is the same paper log.
	again, err := Paper{Name: "paper.csv", CSV: strings.NewReader(
		"ENTRY;TIME;ODOMETER_KM;DISTANCE_KM;HEADING_DEG;SIGMA_DEG;LEGS;READS\r\n" +
			"leg;2026-03-14T06:00:00Z;1000,0;;58;2;;\r\n" +
			"detour;2026-03-14T06:30:00Z;1009,1;;;5;\"140,@1009.9; 58°,@627.8mi; 330, 800 m\";\r\n" +
			";;;;;;;\r\n" +
			"odometer_set;2026-03-14T07:00:00Z;;5;;;;0,0mi\r\n")}.Import(ctx, byPaper)
	if err != nil || again.Already != 3 || len(again.Added) != 0 {
		t.Errorf("by semicolons: %v, %+v", err, again)
	}
}

// Whatever parses has for each row a line of the file, and parses alike again;
// whatever does not has a code that tells what is wrong, and names the file.
func FuzzPhotoRows(f *testing.F) {
	for _, s := range []string{
		"photo,odometer_km\na.jpg,1000.0\n", "time,odometer_mi,note\n2026-03-14T06:30:00Z,5,\"a, b\"\n", "", "\ufeffphoto,time,odometer_nmi\r\n,2026-03-14 06:30:00,1\r\n",
		"photo,odometer_km,rolled_over_digits\na,3.5,5\n", "# x\nphoto\n\"", "photo,odometer_km\na,1e5\n", "photo,odometer_km\n\xff,99999999999999999999\n",
	} {
		f.Add(s)
	}
	offset := time.Hour
	f.Fuzz(func(t *testing.T, s string) {
		rows, err := readPhotoRows("f.csv", strings.NewReader(s), &offset)
		checkCSV(t, s, err)
		last := 0
		for _, r := range rows {
			if r.Line <= last || r.Line > strings.Count(s, "\n")+1 || logbook.Validate(at(0), &logbook.Halt{Run: r.run}) != nil || r.photo == "" && r.time.IsZero() {
				t.Fatalf("%q: row %+v", s, r)
			}
			last = r.Line
		}
	})
}

func FuzzPaper(f *testing.F) {
	for _, s := range []string{
		paper(), "entry,time\nnote,2026-03-14T06:30:00Z\nnote,2026-03-14T06:30:00Z\n", "entry\nhalt\n",
		"entry,time,odometer_km,heading_deg,sigma_deg\nleg,2026-03-14T06:30:00,1.5,-90,2\n", "entry,time,number_deg,sigma_deg,stood\nleg,2026-03-14T06:30:00,1,NaN,yes\n",
		"entry,time,position,error_m\ndeparture,2026-03-14T06:30:00Z,\"20 S, 25 E\",1e308\n", "entry,time,speed_kmh\ntyres,2026-03-14T06:30:00Z,1e400\n",
		"entry,time,odometer_km,position,error_m\nfix,0001-01-01T00:00:00Z,1,0 0,1\n",
		"entry,kind,time,odometer_km,odometer_decimals,how,heading_deg,sigma_deg,level_sigma_deg,lubber_sigma_deg,position_sigma_deg,set_up_anew,number_deg,body,body_azimuth_deg,body_altitude_deg,computed_at,photo,photo_sha256\n" +
			"2,LEG,2026-03-14T06:30:00Z,1,1,photo,90,1.5,0.5,1,0.1,YES,12,sun,80,30,\"20 S, 25 E\",a.jpg,sha256:" + strings.Repeat("0a", 32) + "\n" +
			"3,leg,2026-03-14T07:30:00Z,2,1,number,90,0.1,0.5,1,0.1,,,,,,,,\n",
		"kind;entry;time;distance_km;distance_sigma_km;speed_kmh;speed_sigma_kmh;under_way_s;legs;steering_deg;scale;speed_limit_kmh;position;error_m\n" +
			"departure;1;2026-03-14T06:30:00Z;;;;;;;2,5;0,02;120;20.5 S, 25 E;5\ndetour;2;2026-03-14T07:30:00Z;1,5;0,1;;;;140+-3,900m+-50m; 20±1,@000003.2km(6) 1km;;;;;\nhalt;3;2026-03-14T08:30:00Z;;;20;2;1e3;;;;;;\n",
		"entry,time,odometer_km,sigma_deg,legs,reads\ndetour,2026-03-14T06:30:00Z,1,5,\"140,@2;0°,9 m\",\nodometer_set,2026-03-14T06:30:00Z,1,,,0mi\n",
		"kind,time,settings\ndeparture,2026-03-14T06:00:00Z,\n" + `settings,2026-03-14T06:00:00Z,"{""distance_unit"":""mi"",""stops"":[{""name"":""well"",""position"":{""lat_rad"":0.1,""lon_rad"":0.2}}]}"` + "\n",
		"entry,time,heading_deg,sigma_deg,how,instrument\n" + `leg,2026-03-14T06:00:00Z,58,2,number,"{""sha256"":""00"",""text"":""x""}"` + "\n",
	} {
		f.Add(s)
	}
	offset := time.Hour
	f.Fuzz(func(t *testing.T, s string) {
		rows, err := Paper{Name: "f.csv", CSV: strings.NewReader(s), JourneysOffset: &offset}.read()
		checkCSV(t, s, err)
		keys := map[string]bool{}
		for _, r := range rows {
			if keys[r.key] || logbook.Validate(r.at, r.content) != nil {
				t.Fatalf("%q: row %+v", s, r)
			}
			keys[r.key] = true
			text, err := json.Marshal(r.content)
			if err != nil {
				t.Fatalf("%q: %v", s, err)
			}
			content := reflect.New(reflect.TypeOf(r.content).Elem()).Interface()
			if err := json.Unmarshal(text, content); err != nil || !reflect.DeepEqual(content, r.content) {
				t.Fatalf("%q: %s reads back as %+v, %v", s, text, content, err)
			}
		}
	})
}

func checkCSV(t *testing.T, s string, err error) {
	t.Helper()
	if err != nil && (fault.Code(err) == "error" || !strings.HasPrefix(err.Error(), "f.csv")) {
		t.Fatalf("%q: %v (%s)", s, err, fault.Code(err))
	}
}

// Rows of an exported journey that cannot stand are refused before anything is written.
func TestExportedRowsThatCannotStand(t *testing.T) {
	const leg = "entry,kind,time,odometer_km,how,heading_deg,sigma_deg,level_sigma_deg,photo_sha256,distance_sigma_km,body_altitude_deg,confirmed\n"
	for _, tt := range []struct{ name, text, code, says string }{
		{"photo without its hash", leg + "2,leg,2026-03-14T06:30:00Z,1,photo,90,1,,,,,\n", "bad_row", "photo_sha256"},
		{"hash that is none", leg + "2,leg,2026-03-14T06:30:00Z,1,photo,90,1,,sha256:12,,,\n", "bad_photo_hash", "no hash"},
		{"heading from nowhere", leg + "2,leg,2026-03-14T06:30:00Z,1,guess,90,1,,,,,\n", "bad_row", "none of photo, number, hand"},
		{"a part larger than the whole", leg + "2,leg,2026-03-14T06:30:00Z,1,number,90,1,2,,,,\n", "bad_heading", "less than its terms"},
		{"a sigma of nothing", leg + "2,leg,2026-03-14T06:30:00Z,1,hand,90,1,,,0.1,,\n", "bad_row", "distance_sigma_km has no meaning without distance_km"},
		{"half a direction", leg + "2,leg,2026-03-14T06:30:00Z,1,number,90,1,,,,30,\n", "bad_row", "body_altitude_deg has no meaning"},
		{"of another kind", leg + "2,halt,2026-03-14T06:30:00Z,1,,,,,,,,yes\n", "bad_row", "a halt has no confirmed"},
	} {
		in := Paper{CSV: strings.NewReader(tt.text), Name: "x.csv"}
		_, err := in.Import(t.Context(), begun(t))
		if fault.Code(err) != tt.code || !strings.Contains(err.Error(), tt.says) || !strings.HasPrefix(err.Error(), "x.csv line 2: ") || fault.Hint(err) == "" {
			t.Errorf("%s: %v (%s), want %s that says %q", tt.name, err, fault.Code(err), tt.code, tt.says)
		}
	}
}

// Zeros that a spreadsheet trims are put back: they say how finely the odometer counts.
func TestTrimmedZerosComeBack(t *testing.T) {
	for _, tt := range []struct{ text, decimals, want string }{
		{"45210", "1", "45210.0"}, {"45210.5", "2", "45210.50"}, {"45210.5", "1", "45210.5"}, {"45210", "", "45210"}, {"45210", "0", "45210"},
		{"45210.5", "0", "45210.5"}, {"45210", "x", "45210"}, {"45210", "1000000", "45210"}, {"45210", "-1", "45210"},
	} {
		if got := withDecimals(tt.text, tt.decimals); got != tt.want {
			t.Errorf("%s with %q decimals is %s, want %s", tt.text, tt.decimals, got, tt.want)
		}
	}
}

// A short leg may have sigmas of its own.
func TestShortLegs(t *testing.T) {
	for _, tt := range []struct {
		text string
		want logbook.ShortLeg
	}{
		{"140,@45219.9", logbook.ShortLeg{Heading: by(140, 5), Run: km("45219.9")}},
		{"140±3, @0.4km(6)", logbook.ShortLeg{Heading: by(140, 3), Run: logbook.ByOdometer(logbook.Odometer{AsGiven: "0.4", Unit: logbook.Kilometres, RolledOver: 6})}},
		{"140°+-3°,900m+-50m", logbook.ShortLeg{Heading: by(140, 3), Run: logbook.Run{Distance: &logbook.Distance{Length: 900, Sigma: 50}}}},
		{"140,@2.0 1.5km", logbook.ShortLeg{Heading: by(140, 5), Run: logbook.Run{Odometer: km("2.0").Odometer, Distance: &logbook.Distance{Length: 1500}}}},
	} {
		got, err := ParseShortLeg(tt.text, 5*deg, logbook.Kilometres)
		if err != nil || !reflect.DeepEqual(got, tt.want) {
			t.Errorf("%q: %+v, %v, want %+v", tt.text, got, err, tt.want)
		}
	}
	for _, text := range []string{"140", "140+-x,1km", "140,@2(0)", "140,@2(x)", "140,1km+-x", "140,@2 x"} {
		if got, err := ParseShortLeg(text, 5*deg, logbook.Kilometres); fault.Code(err) != "bad_leg" {
			t.Errorf("%q: %+v, %v", text, got, err)
		}
	}
}
