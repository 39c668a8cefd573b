package main

import (
	"bytes"
	"context"
	"errors"
	"image"
	"image/color"
	"image/jpeg"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"

	"shadowread/internal/angle"
	"shadowread/internal/bearing"
	"shadowread/internal/geo"
	"shadowread/internal/photo/exifwrite"
	"shadowread/internal/render"
)

// process is the program as a process of its own, for what only that shows: signals
// and a broken standard output. Other scripts say "shadowread ...", which runs in this
// process: starting one takes longer than most commands do.
const process = "shadowread-process"

func TestMain(m *testing.M) {
	// The machine's time zone must not matter. UTC+14.
	if err := os.Setenv("TZ", "Pacific/Kiritimati"); err != nil {
		panic(err)
	}
	// Nor must the user's own lens records. A process has its script's environment.
	if filepath.Base(os.Args[0]) != process {
		if err := os.Setenv("XDG_DATA_HOME", filepath.Join(os.TempDir(), "no-shadowread-data")); err != nil {
			panic(err)
		}
	}
	testscript.Main(m, map[string]func(){process: main})
}

// TestScripts runs testdata/script: the command line's specification.
func TestScripts(t *testing.T) {
	here, err := os.Getwd() // the scripts change it, while others are being read
	if err != nil {
		t.Fatal(err)
	}
	testscript.Run(t, testscript.Params{
		Dir: filepath.Join(here, "testdata", "script"),
		Setup: func(e *testscript.Env) error {
			e.Setenv("TZ", os.Getenv("TZ"))
			return copyFixtures(e.WorkDir)
		},
		Cmds: map[string]func(*testscript.TestScript, bool, []string){
			"shadowread": cmdShadowread,
			"status":     cmdStatus,
			"interrupt":  cmdInterrupt,
			"blank":      cmdBlank,
			"photo":      cmdPhoto,
			"near":       cmdNear,
		},
	})
}

// processWide guards the working folder, which commands look at.
var processWide sync.Mutex

// shadowread runs a command line in this process and returns its exit status.
func shadowread(ts *testscript.TestScript, args []string) int {
	processWide.Lock()
	defer processWide.Unlock()
	back, err := os.Getwd()
	ts.Check(err)
	ts.Check(os.Chdir(ts.MkAbs(".")))
	defer os.Chdir(back)
	return execute(context.Background(), args, newStreams(ts.Stdout(), ts.Stderr(), ts.Getenv))
}

// cmdShadowread is "shadowread ARGUMENT...", as from a shell.
func cmdShadowread(ts *testscript.TestScript, neg bool, args []string) {
	if status := shadowread(ts, args); (status == exitOK) == neg {
		ts.Fatalf("exit status %d", status)
	}
}

// cmdStatus is "status N COMMAND...": the command must end with exit status N.
func cmdStatus(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: status N COMMAND...")
	}
	got := 0
	if args[1] == "shadowread" {
		got = shadowread(ts, args[2:])
	} else if err := ts.Exec(args[1], args[2:]...); err != nil {
		var exit *exec.ExitError
		if !errors.As(err, &exit) {
			ts.Fatalf("%v", err)
		}
		got = exit.ExitCode()
	}
	if strconv.Itoa(got) != args[0] {
		ts.Fatalf("exit status %d, want %s", got, args[0])
	}
}

// cmdInterrupt is "interrupt COMMAND...": the command gets an interrupt after its
// first output and must end with exit status 130 before all of it.
func cmdInterrupt(ts *testscript.TestScript, neg bool, args []string) {
	path, err := exec.LookPath(args[0])
	ts.Check(err)
	cmd := exec.Command(path, args[1:]...)
	cmd.Dir = ts.Getenv("WORK")
	out, err := cmd.StdoutPipe()
	ts.Check(err)
	var errs bytes.Buffer
	cmd.Stderr = &errs
	ts.Check(cmd.Start())
	_, err = out.Read(make([]byte, 1))
	ts.Check(err)
	ts.Check(cmd.Process.Signal(os.Interrupt))
	_, err = io.Copy(io.Discard, out)
	ts.Check(err)
	cmd.Wait()
	if got := cmd.ProcessState.ExitCode(); got != exitInterrupted {
		ts.Fatalf("exit status %d, want %d; standard error:\n%s", got, exitInterrupted, errs.String())
	}
}

// cmdBlank is "blank FILE...": grey photos without a sheet, time or place.
func cmdBlank(ts *testscript.TestScript, neg bool, args []string) {
	img := image.NewGray(image.Rect(0, 0, 1600, 1200))
	for i := range img.Pix {
		img.Pix[i] = color.Gray{Y: 128}.Y
	}
	var b bytes.Buffer
	ts.Check(jpeg.Encode(&b, img, nil))
	for _, name := range args {
		ts.Check(os.WriteFile(ts.MkAbs(name), b.Bytes(), 0o644))
	}
}

// The photo of the scripts and of the help's examples: an invented survey party on
// a salt pan, the sheet's arrow on 120 degrees.
var (
	panTime  = time.Date(2026, 3, 14, 9, 26, 53, 0, time.FixedZone("", 2*60*60))
	panPlace = geo.Position{Lat: angle.FromDegrees(-20.6142), Lon: angle.FromDegrees(25.4310)}
)

const panHeading = 120 * angle.Degree

var panPhoto = sync.OnceValues(func() ([]byte, error) {
	sun, err := bearing.Observe(bearing.Sun, panTime, panPlace, 0)
	if err != nil {
		return nil, err
	}
	scene := &render.Scene{
		Plate: render.Attitude{Heading: panHeading},
		Rods:  []render.Rod{{Height: 50, Diameter: 3, Material: render.Steel}},
		Light: render.Light{
			Body: render.Sun, Azimuth: sun.Azimuth, Altitude: sun.Altitude, Disc: 2 * sun.SemiDiameter,
			ShadowRatio: 0.2, SunColour: [3]float64{1, 0.96, 0.9}, SkyColour: [3]float64{0.8, 1, 1.4}, Exposure: 0.7,
		},
		Paper:  render.Paper{ScaleX: 1, ScaleY: 1},
		Finish: render.Finish{Defocus: 0.6, Quality: 92},
		Seed:   1,
	}
	scene.Camera = render.Camera{Width: 1600, Height: 1200, Fx: 1250, Fy: 1250, Cx: 799.5, Cy: 599.5}
	// From the south-east, so that the rod does not stand before its shadow.
	scene.Camera.LookAt(scene.Rods[0].Foot, 260, 20*angle.Degree, 90*angle.Degree, 0)
	var b bytes.Buffer
	if _, err := scene.WriteJPEG(&b); err != nil {
		return nil, err
	}
	offset := 2 * time.Hour
	return exifwrite.Insert(b.Bytes(), exifwrite.Tags{Clock: panTime, ClockOffset: &offset, GPS: &panPlace, GPSTime: panTime})
})

// cmdPhoto is "photo FILE...": photos that can be read.
func cmdPhoto(ts *testscript.TestScript, neg bool, args []string) {
	data, err := panPhoto()
	ts.Check(err)
	for _, name := range args {
		ts.Check(os.WriteFile(ts.MkAbs(name), data, 0o644))
	}
}

// cmdNear is "near COLUMN VALUE TOLERANCE": a number in the tab-parted columns
// (from 1) of every line of the last standard output.
func cmdNear(ts *testscript.TestScript, neg bool, args []string) {
	column, err := strconv.Atoi(args[0])
	ts.Check(err)
	want, err := strconv.ParseFloat(args[1], 64)
	ts.Check(err)
	tolerance, err := strconv.ParseFloat(args[2], 64)
	ts.Check(err)
	text := ts.ReadFile("stdout")
	if text == "" {
		ts.Fatalf("no standard output")
	}
	for line := range strings.Lines(text) {
		cells := strings.Split(strings.TrimRight(line, "\n"), "\t")
		if len(cells) < column {
			ts.Fatalf("no column %d in %q", column, line)
		}
		got, err := strconv.ParseFloat(cells[column-1], 64)
		ts.Check(err)
		if diff := got - want; diff > tolerance || diff < -tolerance {
			ts.Fatalf("column %d is %v, want %v ± %v", column, got, want, tolerance)
		}
	}
}

// fixtures is absolute, since commands of other scripts change the working folder.
var fixtures, _ = filepath.Abs(filepath.Join("..", "..", "fixtures"))

// copyFixtures copies the invented readings that the help's examples and scripts use.
func copyFixtures(dir string) error {
	for _, name := range []string{"compass", "instrument"} {
		if err := os.CopyFS(filepath.Join(dir, name), os.DirFS(filepath.Join(fixtures, name))); err != nil {
			return err
		}
	}
	// Only read, and too large for a copy each.
	for _, name := range []string{"journey", "damaged", "skyline"} {
		if err := os.Symlink(filepath.Join(fixtures, name), filepath.Join(dir, name)); err != nil {
			return err
		}
	}
	return nil
}

// exampleLogs are the logs that the help's examples go on with: the user's own, of the
// place and day of panPhoto, and that of the first day of the invented journey.
var exampleLogs = sync.OnceValues(func() (map[string][]byte, error) {
	dir, err := os.MkdirTemp("", "logs")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(dir)
	logs := map[string][]byte{}
	for name, lines := range map[string][]string{
		"data/shadowread/log.db": {
			"begin --position -20.61420,25.43100 --error 15 --odometer 45210.0 --time 2026-03-14T06:00:00Z",
			"leg --heading 58 --heading-sigma 2 --odometer 45210.0 --time 2026-03-14T06:05:00Z",
			"halt --odometer 45214.0 --time 2026-03-14T06:30:00Z",
		},
		"pan.db": {
			"begin --position -22.90000,22.30000 --error 15 --odometer 45210.0 --time 2026-08-29T06:05:00Z",
			"import " + filepath.Join(fixtures, "journey", "29-august") + " --odometers " + filepath.Join(fixtures, "journey", "29-august", "odometer.csv"),
		},
	} {
		path := filepath.Join(dir, filepath.Base(name))
		for _, line := range lines {
			var errs bytes.Buffer
			if execute(context.Background(), append(strings.Fields("log "+line), "--log", path), &streams{out: io.Discard, err: &errs}) != exitOK {
				return nil, errors.New(errs.String())
			}
		}
		if logs[name], err = os.ReadFile(path); err != nil {
			return nil, err
		}
	}
	logs["day.db"] = logs["data/shadowread/log.db"]
	return logs, nil
})

// Every example in the help must run as it stands.
func TestExamplesRun(t *testing.T) {
	data, err := panPhoto()
	if err != nil {
		t.Fatal(err)
	}
	logs, err := exampleLogs()
	if err != nil {
		t.Fatal(err)
	}
	root := newRoot(&streams{})
	for _, c := range allCommands(root) {
		if c.Example == "" && c.Runnable() {
			t.Errorf("%s has no example", c.CommandPath())
		}
		for line := range strings.Lines(c.Example) {
			line = strings.TrimSpace(line)
			t.Run(line, func(t *testing.T) {
				dir := t.TempDir()
				if err := os.Mkdir(filepath.Join(dir, "photos"), 0o755); err != nil {
					t.Fatal(err)
				}
				if err := copyFixtures(filepath.Join(dir, "fixtures")); err != nil {
					t.Fatal(err)
				}
				for _, name := range []string{"photo.jpg", "photos/a.jpg", "photos/b.jpg"} {
					if err := os.WriteFile(filepath.Join(dir, name), data, 0o644); err != nil {
						t.Fatal(err)
					}
				}
				t.Chdir(dir)
				t.Setenv("XDG_DATA_HOME", filepath.Join(dir, "data"))
				for name, log := range logs {
					if err := os.MkdirAll(filepath.Dir(name), 0o755); err != nil {
						t.Fatal(err)
					}
					if err := os.WriteFile(name, log, 0o644); err != nil {
						t.Fatal(err)
					}
				}
				// A shell splits the words and sends the output where the line says; the
				// command itself runs in this process, which is quicker.
				sh := exec.Command("sh", "-c", "shadowread() { printf '%s\\0' \"$@\" >words; }\n"+line)
				if out, err := sh.CombinedOutput(); err != nil {
					t.Fatalf("%v\n%s", err, out)
				}
				words, err := os.ReadFile("words")
				if err != nil {
					t.Fatal(err)
				}
				var out, errs bytes.Buffer
				s := &streams{out: &out, err: &errs, width: 100}
				if got := execute(context.Background(), strings.Split(strings.TrimSuffix(string(words), "\x00"), "\x00"), s); got != exitOK {
					t.Errorf("exit status %d\n%s", got, &errs)
				}
			})
		}
	}
}
