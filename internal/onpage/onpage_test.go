package onpage

import (
	"bytes"
	"encoding/json"
	"fmt"
	"image/jpeg"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/geo"
	"shadowread/internal/photo"
	"shadowread/internal/reading"
	"shadowread/internal/steering"
)

var program = &Program{Version: "0", Commit: "test"}

var demo = filepath.Join("..", "..", "fixtures", "demo")

// noon is some time after the demonstration's photos.
var noon = time.Date(2026, 9, 1, 12, 0, 0, 0, time.UTC)

type object = map[string]any

// call asks as the page does and decodes the answer.
func call[A any](t testing.TB, name string, request object, file []byte) (a A, picture []byte) {
	t.Helper()
	text, err := json.Marshal(request)
	if err != nil {
		t.Fatal(err)
	}
	answer, picture := program.Call(name, text, file, nil)
	if err := json.Unmarshal(answer, &a); err != nil {
		t.Fatalf("%v: %s", err, answer)
	}
	return a, picture
}

// answered is what tests look at.
type answered struct {
	Error   *failure       `json:"error"`
	Reading object         `json:"reading"`
	Steer   object         `json:"steer"`
	Say     object         `json:"say"`
	SHA256  string         `json:"photo_sha256"`
	Text    string         `json:"text"`
	Faults  []fieldFault   `json:"faults"`
	Set     *Settings      `json:"settings"`
	Shown   *shownSettings `json:"shown"`
}

func readFile(t testing.TB, path ...string) []byte {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(path...))
	if err != nil {
		t.Fatal(err)
	}
	return data
}

func withNow(more object) object {
	out := object{"device_now_ms": noon.UnixMilli(), "device_utc_offset_min": 120}
	for k, v := range more {
		out[k] = v
	}
	return out
}

func position(lat, lon float64) *geo.Position {
	return &geo.Position{Lat: angle.FromDegrees(lat), Lon: angle.FromDegrees(lon)}
}

// A photo is read as the command reads it, whatever the page knows beside.
func TestReadIsTheCommands(t *testing.T) {
	photos, err := filepath.Glob(filepath.Join(demo, "*.jpg"))
	if err != nil || len(photos) < 7 {
		t.Fatal(err, photos)
	}
	for _, path := range photos {
		data := readFile(t, path)
		o := reading.Defaults()
		o.Rod.HeightMM, o.Course = 50, new(60*angle.Degree)
		r := reading.Read(t.Context(), photo.InMemory("photo.jpg", data), o)
		if r.Instant != nil && r.Instant.Source == photo.TimeFromGPSOffset {
			r.Instant.Source = photo.TimeFromOptionOffset // the page takes its device's, which the stamp bears out
		}
		want, err := json.Marshal(r)
		if err != nil {
			t.Fatal(err)
		}
		a, picture := call[struct {
			Reading json.RawMessage `json:"reading"`
			Say     saidReading     `json:"say"`
			SHA256  string          `json:"photo_sha256"`
		}](t, "read", withNow(object{"settings": object{"rod_height_mm": 50, "course_deg": 60}, "name": "photo.jpg", "chosen": "album", "overlay": true}), data)
		if string(a.Reading) != string(want) {
			t.Errorf("%s: the page has\n%s\nthe command\n%s", path, a.Reading, want)
		}
		if len(a.SHA256) != 64 {
			t.Errorf("%s: the file's sum is %q", path, a.SHA256)
		}
		if _, err := jpeg.Decode(bytes.NewReader(picture)); err != nil {
			t.Errorf("%s: the picture: %v", path, err)
		}
		if ok := a.Say.Status == "ok"; ok != (a.Say.Heading != nil) || ok == (a.Say.Refused != nil) || ok && *a.Say.PlusMinus == "" {
			t.Errorf("%s: said %+v", path, a.Say)
		}
	}
}

// The answer comes before the picture is drawn.
func TestAnswerComesBeforeThePicture(t *testing.T) {
	var stages []string
	request, err := json.Marshal(withNow(object{"chosen": "album", "overlay": true}))
	if err != nil {
		t.Fatal(err)
	}
	answer, _ := program.Call("read", request, readFile(t, demo, "01-leaving-camp.jpg"), func(stage string, early []byte) {
		stages = append(stages, stage)
		if stage == "read" && !json.Valid(early) {
			t.Errorf("early answer %s", early)
		}
	})
	if got := strings.Join(stages, ", "); got != "decoding, finding the sheet, measuring the shadow, read" {
		t.Errorf("stages %s; %s", got, answer)
	}
}

func TestNumberAndSteerAreTheCommands(t *testing.T) {
	at := time.Date(2026, 8, 29, 6, 12, 31, 0, time.UTC)
	here := object{"source": "hand", "latitude_deg": -22.9, "longitude_deg": 22.3}
	o := reading.Defaults()
	o.Position.Position, o.Course = position(-22.9, 22.3), new(58*angle.Degree)
	o.Time.At = &at
	want := reading.ReadNumber(t.Context(), 350*angle.Degree, 0, o)
	request := object{"settings": object{"course_deg": 58}, "number_deg": 350, "place": here, "device_now_ms": at.UnixMilli(), "device_utc_offset_min": 120}
	a, _ := call[answered](t, "number", request, nil)
	if got := a.Reading["heading_true_deg"].(float64); math.Abs(got-want.Heading.Degrees()) > 1e-3 || a.Say["heading"] == nil || a.Say["local_time"] != "08:12:31" {
		t.Errorf("heading %v, want %v; said %v", got, want.Heading.Degrees(), a.Say)
	}
	o.Time = photo.TimeOptions{}
	s, err := steering.New(at, 58*angle.Degree, 0, new(350*angle.Degree), o)
	if err != nil {
		t.Fatal(err)
	}
	a, _ = call[answered](t, "steer", request, nil)
	if got := a.Steer["number_deg"].(float64); math.Abs(got-s.Number.Degrees()) > 1e-3 {
		t.Errorf("number %v, want %v", got, s.Number.Degrees())
	}
	for key, want := range map[string]any{"number": "347.3", "course": "058.0", "turn": "turn left 2.7°", "local_time": "08:12:31", "utc_offset": "+02:00"} {
		if a.Say[key] != want {
			t.Errorf("%s is said as %v, want %v", key, a.Say[key], want)
		}
	}
	if changes := a.Say["changes"].([]any); len(changes) != 4 || a.Say["until"] == nil {
		t.Errorf("said %v", a.Say)
	}
}

// Asked each few seconds, the page says the same as if it were asked once.
func TestSteerGoesOn(t *testing.T) {
	at := time.Date(2026, 8, 29, 6, 12, 31, 0, time.UTC)
	request := object{"course_deg": 58, "device_utc_offset_min": 120, "settings": object{"rod_height_mm": 50}}
	for i := range 40 {
		request["device_now_ms"] = at.Add(time.Duration(i) * 7 * time.Second).UnixMilli()
		request["place"] = object{"source": "device", "latitude_deg": -22.9, "longitude_deg": 22.3, "sigma_km": 0.1, "age_s": i * 7}
		if i == 30 {
			request["course_deg"] = 59
		}
		going, _ := call[answered](t, "steer", request, nil)
		program.steered = steered{}
		anew, _ := call[answered](t, "steer", request, nil)
		a, b := going.Say["changes"].([]any), anew.Say["changes"].([]any)
		for j := range b { // found to a tenth of a second
			if late := a[j].(object)["time_ms"].(float64) - b[j].(object)["time_ms"].(float64); math.Abs(late) > 200 {
				t.Errorf("%d s on: change %d is %v ms late", i*7, j, late)
			}
		}
		for _, one := range []object{going.Say, going.Steer, anew.Say, anew.Steer} {
			delete(one, "changes")
			delete(one, "next_ms")
		}
		if a, b := fmt.Sprint(going.Say, going.Steer), fmt.Sprint(anew.Say, anew.Steer); a != b {
			t.Errorf("%d s on:\n%s\nanew\n%s", i*7, a, b)
		}
		program.steered = steered{} // the next is not by the second of these
		call[answered](t, "steer", request, nil)
	}
}

// What was measured of a board that stands says nothing of one under way.
func TestTiltIsOfAStand(t *testing.T) {
	here := object{"source": "hand", "latitude_deg": -22.9, "longitude_deg": 22.3}
	tilted := object{"tilt": object{"forward_deg": 2, "starboard_deg": -3}}
	number := func(call_ string, settings object) (out float64, said string) {
		a, _ := call[answered](t, call_, object{"settings": settings, "course_deg": 58, "number_deg": 20, "place": here, "device_now_ms": noon.UnixMilli(), "device_utc_offset_min": 120}, nil)
		if call_ == "steer" {
			return a.Steer["number_deg"].(float64), fmt.Sprint(a.Say["warnings"])
		}
		return a.Reading["heading_true_deg"].(float64), fmt.Sprint(a.Say["warnings"])
	}
	level, _ := number("steer", object{})
	if got, _ := number("steer", tilted); got != level {
		t.Errorf("steers by a tilt: %v, level %v", got, level)
	}
	flat, said := number("number", object{})
	if strings.Contains(said, "tilt_stated") {
		t.Error(said)
	}
	if got, said := number("number", tilted); got == flat || !strings.Contains(said, "tilt_stated") {
		t.Errorf("heading %v, level %v; %s", got, flat, said)
	}
}

func TestSteerToAStop(t *testing.T) {
	request := withNow(object{"stop": "well", "settings": object{"stops": []object{{"name": "Well", "latitude_deg": -22.9, "longitude_deg": 23.3}}},
		"place": object{"source": "hand", "latitude_deg": -22.9, "longitude_deg": 22.3}})
	a, _ := call[answered](t, "steer", request, nil)
	// Along a parallel; WGS84 has 102.7 km to a degree of longitude at 22.9 degrees.
	if a.Error != nil || a.Say["to"] != "Well, 102.6 km, course 090.0°" && a.Say["to"] != "Well, 102.7 km, course 090.0°" {
		t.Errorf("%+v %v", a.Error, a.Say["to"])
	}
	request["stop"] = "nowhere"
	if a, _ := call[answered](t, "steer", request, nil); a.Error == nil || a.Error.Code != "no_such_stop" {
		t.Errorf("%+v", a.Error)
	}
}

// What is wrong with a request is an error with a code, and so is a panic.
func TestErrors(t *testing.T) {
	here := object{"source": "hand", "latitude_deg": -22.9, "longitude_deg": 22.3}
	for _, tt := range []struct {
		name, call, code string
		request          object
		file             []byte
	}{
		{"no such call", "sail", "unknown_call", object{}, nil},
		{"no clock", "read", "bad_request", object{}, nil},
		{"an offset of a week", "read", "bad_request", object{"device_now_ms": 1, "device_utc_offset_min": 10080}, nil},
		{"no number", "number", "bad_number", withNow(object{"place": here}), nil},
		{"a number beyond the dial", "number", "bad_number", withNow(object{"place": here, "number_deg": 361}), nil},
		{"no course", "steer", "no_course", withNow(object{"place": here}), nil},
		{"a course beyond the rose", "steer", "bad_course", withNow(object{"place": here, "course_deg": -1}), nil},
		{"no such body", "number", "unknown_body", withNow(object{"place": here, "number_deg": 1, "body": "lamp"}), nil},
		{"a place off the earth", "number", "bad_position", withNow(object{"place": object{"source": "hand", "latitude_deg": 95}, "number_deg": 1}), nil},
		{"a record that is none", "read", "bad_instrument", withNow(object{"settings": object{"instrument": "x = 1"}}), nil},
		{"nothing kept", "entries", "nothing_kept", object{"as": "legs"}, nil},
		{"as nothing", "entries", "bad_request", object{"as": "boats"}, nil},
		{"no photo", "facts", "unreadable_file", object{}, []byte("text")},
		{"an unknown file", "open_settings", "unknown_record", object{"text": "hello"}, nil},
		{"settings of another version", "open_settings", "settings_version", object{"text": `{"shadowread_settings": 9}`}, nil},
		{"a stated day", "read", "no_hour", withNow(object{"stated_time": "2026-08-29"}), []byte("x")},
	} {
		a, _ := call[answered](t, tt.call, tt.request, tt.file)
		if a.Error == nil || a.Error.Code != tt.code || a.Error.Message == "" || a.Error.Hint == "" {
			t.Errorf("%s: %+v, want %s", tt.name, a.Error, tt.code)
		}
	}
	request, _ := json.Marshal(withNow(object{"chosen": "album"}))
	answer, _ := program.Call("read", request, readFile(t, demo, "01-leaving-camp.jpg"), func(string, []byte) { panic("out of order") })
	if !strings.Contains(string(answer), `"internal_error"`) {
		t.Errorf("a panic: %s", answer)
	}
	if answer, _ := program.Call("read", []byte("{"), nil, nil); !strings.Contains(string(answer), `"bad_request"`) {
		t.Errorf("half a request: %s", answer)
	}
}

// A photo that no browser decodes is refused by name; its header tells all else.
func TestHEIC(t *testing.T) {
	data := readFile(t, "..", "photo", "testdata", "photos", "irot.heic")
	a, _ := call[struct {
		Copy     *string
		Original photo.Facts
	}](t, "facts", object{"name": "a.heic"}, data)
	if photo.DecodesHEIC {
		return // the command's build; the page's has no decoder
	}
	if a.Copy == nil || *a.Copy != "heic" || a.Original.Clock.IsZero() {
		t.Errorf("%+v", a)
	}
	if a, _ := call[answered](t, "read", withNow(object{}), data); a.Error == nil || a.Error.Code != "heic_not_decoded" {
		t.Errorf("%+v", a.Error)
	}
}

// A copy that the browser made is read with what the original's file said.
func TestCopy(t *testing.T) {
	data := readFile(t, demo, "01-leaving-camp.jpg")
	facts, _ := call[struct {
		Copy     *string      `json:"copy"`
		Original *photo.Facts `json:"original"`
		WidthPX  int          `json:"width_px"`
	}](t, "facts", object{"name": "01.jpg"}, data)
	if facts.Copy != nil || facts.Original == nil || facts.WidthPX == 0 {
		t.Fatalf("%+v", facts)
	}
	img, err := jpeg.Decode(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, img, &jpeg.Options{Quality: 95}); err != nil {
		t.Fatal(err)
	}
	bare, _ := call[answered](t, "read", withNow(object{"chosen": "album"}), b.Bytes())
	if bare.Reading["reason"] != "no_time" {
		t.Errorf("without the original: %v", bare.Reading["reason"])
	}
	whole, _ := call[answered](t, "read", withNow(object{"chosen": "album", "original": facts.Original, "shrunk_by": 2}), b.Bytes())
	heading, _ := whole.Reading["heading_true_deg"].(float64)
	if math.Abs(heading-58.41) > 0.1 { // its truth, fixtures/demo/truth.json
		t.Errorf("with it: %v", whole.Reading)
	}
	if !strings.Contains(fmt.Sprint(whole.Say["warnings"]), "picture_shrunk") {
		t.Errorf("said %v", whole.Say["warnings"])
	}
}

var (
	literal = regexp.MustCompile(`"(?:[^"\\]|\\.)*"`)
	flags   = regexp.MustCompile(`--[a-z]`)
)

// No sentence that may reach the page speaks of the command line.
func TestSentencesAreThePages(t *testing.T) {
	seen := 0
	for _, dir := range []string{"reading", "photo", "sheetphoto", "lens", "steering", "geomag", "compass", "instrument", "camera", "telling", "align", "bearing", "geo", "settingsfile", "overlay", "vision", "calib", "onpage"} {
		files, err := filepath.Glob(filepath.Join("..", dir, "*.go"))
		if err != nil || len(files) == 0 {
			t.Fatal(dir, err)
		}
		for _, path := range files {
			if strings.HasSuffix(path, "_test.go") || filepath.Base(path) == "words.go" {
				continue
			}
			for line := range strings.Lines(string(readFile(t, path))) {
				code, _, _ := strings.Cut(line, "\t// ")
				if strings.HasPrefix(strings.TrimSpace(code), "//") {
					continue
				}
				for _, text := range literal.FindAllString(code, -1) {
					if !flags.MatchString(text) {
						continue
					}
					seen++
					if out := onPage(text); flags.MatchString(out) {
						t.Errorf("%s: %s becomes %s", path, text, out)
					}
				}
			}
		}
	}
	if seen < 10 {
		t.Errorf("only %d sentences with options were found", seen)
	}
}
