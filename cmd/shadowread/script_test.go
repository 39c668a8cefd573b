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
		Condition: func(name string) (bool, error) {
			if name != "page" {
				return false, errors.New("unknown condition " + name)
			}
			return carriesPage(), nil
		},
		Cmds: map[string]func(*testscript.TestScript, bool, []string){
			"shadowread": cmdShadowread,
			"status":     cmdStatus,
			"interrupt":  cmdInterrupt,
			"blank":      cmdBlank,
			"photo":      cmdPhoto,
			"smaller":    cmdSmaller,
			"beside":     cmdBeside,
			"near":       cmdNear,
			"part":       cmdPart,
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
	named, records := 0, 0
	for line := range strings.Lines(text) {
		cells := strings.Split(strings.TrimRight(line, "\n"), "\t")
		if strings.HasPrefix(line, pipeLead) {
			named = len(cells)
			continue
		}
		records++
		if named != 0 && named != len(cells) {
			ts.Fatalf("%d values, %d of them named", len(cells), named)
		}
		if len(cells) < column {
			ts.Fatalf("no column %d in %q", column, line)
		}
		got, err := strconv.ParseFloat(cells[column-1], 64)
		ts.Check(err)
		if diff := got - want; diff > tolerance || diff < -tolerance {
			ts.Fatalf("column %d is %v, want %v ± %v", column, got, want, tolerance)
		}
	}
	if records == 0 {
		ts.Fatalf("no record")
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

// cmdPart is "part FILE COPY BYTES": the copy has the first bytes of the file alone.
func cmdPart(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 3 {
		ts.Fatalf("usage: part FILE COPY BYTES")
	}
	data, err := os.ReadFile(ts.MkAbs(args[0]))
	ts.Check(err)
	n, err := strconv.Atoi(args[2])
	ts.Check(err)
	ts.Check(os.WriteFile(ts.MkAbs(args[1]), data[:n], 0o600))
}
