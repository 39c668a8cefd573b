package main

import (
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"shadowread/internal/fault"
	"shadowread/internal/geo"
	"shadowread/internal/logbook"
	"shadowread/internal/photo"
	"shadowread/internal/recordfile"
)

// settingsFlags is what a journey's settings are stated by, at its beginning or later.
type settingsFlags struct {
	name, photos                  string
	instrument, card              string
	camera, lens                  string
	clockError                    quantity
	stops                         []string
	unit                          parsed[logbook.Unit]
	positions                     parsed[logbook.PositionForm]
	rodHeight, level, lubber      quantity
	steering                      quantity // of the settings alone: a departure has it in its model
	printScale                    parsed[[2]float64]
	forget, forgetStops, forgetCs []string
	proved                        string // the lens record's file that the instrument's names
	typed, lensOf                 string // the names of --camera, if it is no photo, and of the record's of --lens
}

func newSettingsFlags() settingsFlags {
	p := newPhotoFlags()
	return settingsFlags{
		clockError: p.clockError, rodHeight: p.rodHeight, printScale: p.printScale,
		level: quantity{least: 0, most: 20, unit: "deg"}, lubber: quantity{least: 0, most: 45, unit: "deg"}, steering: quantity{least: 0, most: 30, unit: "deg"},
		unit: parsed[logbook.Unit]{name: "UNIT", parse: func(s string) (logbook.Unit, error) {
			u := logbook.Unit(strings.ToLower(strings.TrimSpace(s)))
			if u.Length() == 0 {
				return "", fault.Usage("bad_unit", unitHint, "%.40q is no unit of distance", s)
			}
			return u, nil
		}},
		positions: parsed[logbook.PositionForm]{name: "FORM", parse: func(s string) (logbook.PositionForm, error) {
			switch f := logbook.PositionForm(s); f {
			case logbook.Degrees, logbook.DegreesMinutes:
				return f, nil
			}
			return "", fault.Usage("bad_form", "give degrees or degrees_minutes", "%.40q is no form of positions", s)
		}},
	}
}

const unitHint = "give km, mi (statute miles) or nmi (nautical miles)"

// settingNames are the flags that begin and settings have in common.
var settingNames = []string{"unit", "instrument", "rod-height", "photos", "stop", "camera", "clock-error", "lens", "positions", "name", "deviation-card", "level-sigma", "lubber-sigma", "print-scale"}

func (f *settingsFlags) add(cmd *cobra.Command) {
	fs := cmd.Flags()
	fs.Var(&f.unit, "unit", "the unit of odometer, distances and speeds: km, mi (statute miles) or nmi; bare numbers are in it")
	fs.StringVar(&f.instrument, "instrument", "", "the instrument's record `FILE`, of shadowread align; its text is kept in the log")
	fs.Var(&f.rodHeight, "rod-height", "rod above the sheet")
	fs.StringVar(&f.photos, "photos", "", "the `FOLDER` where photos arrive: log leg takes the newest there")
	fs.StringArrayVar(&f.stops, "stop", nil, "a waypoint, as `NAME=LAT,LON`; again for each, in the order in which they are gone to")
	fs.StringVar(&f.camera, "camera", "", "the `CAMERA` that --clock-error and --lens are of: as its photos name it, or one of its photos")
	fs.Var(&f.clockError, "clock-error", "how much the clock of --camera is fast")
	fs.StringVar(&f.lens, "lens", "", "the lens record `FILE` of --camera")
	fs.Var(&f.positions, "positions", "how positions are shown: degrees or degrees_minutes")
	fs.StringVar(&f.name, "name", "", "the journey's name, a `TEXT`")
	fs.StringVar(&f.card, "deviation-card", "", "a card `FILE` of shadowread swing, for shadowread steer and the page on a phone")
	fs.Var(&f.level, "level-sigma", "one sigma of the rod from plumb across the shadow")
	fs.Var(&f.lubber, "lubber-sigma", "the lubber line: one sigma of the sheet's forward axis against the vehicle's at one setting-up")
	fs.Var(&f.printScale, "print-scale", "printed over nominal, athwart and fore-and-aft, as 1.000,0.995")
	words(cmd, "unit", "km", "mi", "nmi")
	words(cmd, "positions", string(logbook.Degrees), string(logbook.DegreesMinutes))
}

// addChanges adds what only a change of settings takes.
func (f *settingsFlags) addChanges(cmd *cobra.Command) {
	fs := cmd.Flags()
	fs.Var(&f.steering, "steering-sigma", "one sigma of the mean course over a leg against its heading, for legs from here on")
	fs.StringSliceVar(&f.forget, "forget", nil, "a setting that holds no longer, as `KEY`: "+strings.Join(logbook.Forgettable(), ", "))
	fs.StringArrayVar(&f.forgetStops, "forget-stop", nil, "the `NAME` of a waypoint that is not gone to")
	fs.StringArrayVar(&f.forgetCs, "forget-camera", nil, "the `CAMERA` that is used no longer")
	words(cmd, "forget", logbook.Forgettable()...)
}

// change is what was given, beside what holds; nil for nothing.
func (f *settingsFlags) change(cmd *cobra.Command, out *streams, when *when, holds logbook.Settings) (*logbook.Settings, error) {
	given := cmd.Flags().Changed
	s := &logbook.Settings{UTCOffset: when.offset.given(), Unit: f.unit.given(), PositionForm: f.positions.given(), PrintScale: f.printScale.given(), Forgotten: f.forget}
	if given("name") {
		s.Name = &f.name
	}
	if f.rodHeight.set {
		s.RodHeight = new(geo.Metres(f.rodHeight.value / 1000))
	}
	if f.level.set {
		s.Level = new(f.level.angle())
	}
	if f.lubber.set {
		s.Lubber = new(f.lubber.angle())
	}
	if f.steering.set {
		s.Steering = new(f.steering.angle())
	}
	for _, part := range []func(*logbook.Settings, logbook.Settings) error{f.files, f.cameras, f.waypoints} {
		if err := part(s, holds); err != nil {
			return nil, err
		}
	}
	f.tellUnseen(out, s, holds)
	if len(s.Says()) == 0 && len(s.Forgotten) == 0 {
		return nil, nil
	}
	return s, nil
}

// files takes what stands in files, read here so that a record which cannot be used is no
// setting.
func (f *settingsFlags) files(s *logbook.Settings, _ logbook.Settings) (err error) {
	if f.instrument != "" {
		record, err := recordfile.Instrument(f.instrument)
		if err != nil {
			return err
		}
		f.proved = record.LensFile(f.instrument)
		if s.Instrument, err = keptFile(f.instrument); err != nil {
			return err
		}
	}
	if f.card != "" {
		if _, err := loadCard(f.card); err != nil {
			return err
		}
		if s.Card, err = keptFile(f.card); err != nil {
			return err
		}
	}
	if f.photos != "" {
		if info, err := os.Stat(f.photos); err != nil || !info.IsDir() {
			return fault.New("no_such_folder", "make it first, or check the name", "there is no folder %s", f.photos)
		}
		path, err := filepath.Abs(f.photos)
		if err != nil {
			path = f.photos
		}
		s.Photos = &path
	}
	return nil
}

// keptLens is a lens record as the log keeps it, and the name of its camera.
func keptLens(file string) (camera string, kept *logbook.Record, err error) {
	record, err := loadLens(file)
	if err != nil {
		return "", nil, err
	}
	kept, err = keptFile(file)
	return cameraName(photo.Facts{Make: record.Camera.Make, Model: record.Camera.Model}), kept, err
}

func (f *settingsFlags) cameras(s *logbook.Settings, holds logbook.Settings) (err error) {
	if f.camera == "" && f.lens == "" && f.proved == "" && !f.clockError.set && len(f.forgetCs) == 0 {
		return nil
	}
	var list []logbook.Camera
	if holds.Cameras != nil {
		list = slices.Clone(*holds.Cameras)
	}
	find := func(name string) int {
		return slices.IndexFunc(list, func(c logbook.Camera) bool { return strings.EqualFold(c.Name, name) })
	}
	for _, name := range f.forgetCs {
		i := find(name)
		if i < 0 {
			return fault.New("no_such_camera", "see shadowread log settings", "the journey has no camera %s", name)
		}
		list = slices.Delete(list, i, i+1)
	}
	switch {
	case f.camera == "" && (f.lens != "" || f.clockError.set):
		return fault.Usage("flag_without_other", "give --camera too: each has its own clock and lens", "--clock-error and --lens have no meaning without --camera")
	case f.camera != "" && f.lens == "" && !f.clockError.set:
		return fault.Usage("flag_without_other", "give --clock-error or --lens too", "--camera has no meaning without --clock-error or --lens")
	case f.camera != "":
		name, err := f.cameraGiven()
		if err != nil {
			return err
		}
		c := logbook.Camera{Name: name}
		i := find(name)
		if i >= 0 {
			c = list[i]
			list = slices.Delete(list, i, i+1)
		}
		if f.clockError.set {
			c.ClockError = new(f.clockError.duration())
		}
		if f.lens != "" {
			if f.lensOf, c.Lens, err = keptLens(f.lens); err != nil {
				return err
			}
		}
		list = append(list, c)
	}
	if f.proved != "" { // the instrument was proved through it
		name, kept, err := keptLens(f.proved)
		if err != nil {
			return err
		}
		switch i := find(name); {
		case i < 0:
			list = append(list, logbook.Camera{Name: name, Lens: kept})
		case list[i].Lens == nil:
			list[i].Lens = kept
		}
	}
	s.Cameras = &list
	return nil
}

func (f *settingsFlags) waypoints(s *logbook.Settings, holds logbook.Settings) error {
	if len(f.stops) == 0 && len(f.forgetStops) == 0 {
		return nil
	}
	var list []logbook.Stop
	if holds.Stops != nil {
		list = slices.Clone(*holds.Stops)
	}
	drop := func(name string) bool {
		i := slices.IndexFunc(list, func(x logbook.Stop) bool { return strings.EqualFold(x.Name, name) })
		if i >= 0 {
			list = slices.Delete(list, i, i+1)
		}
		return i >= 0
	}
	for _, name := range f.forgetStops {
		if !drop(name) {
			return noSuchStop(name)
		}
	}
	for _, text := range f.stops {
		name, where, ok := strings.Cut(text, "=")
		name = strings.TrimSpace(name)
		if !ok || name == "" {
			return fault.Usage("bad_stop", "give NAME=LAT,LON, as well=-22.81,22.45", "--stop %q has no name or no position", text)
		}
		p, err := geo.ParsePosition(where)
		if err != nil {
			return fault.Usage(fault.Code(err), fault.Hint(err), "--stop %s: %s", name, err)
		}
		drop(name) // stated anew it goes to the end
		list = append(list, logbook.Stop{Name: name, Position: p})
	}
	s.Stops = &list
	return nil
}

func noSuchStop(name string) error {
	return fault.New("no_such_stop", "see shadowread log settings for the stops there are", "the journey has no stop %s", name)
}
