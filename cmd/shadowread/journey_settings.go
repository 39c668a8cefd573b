package main

import (
	"fmt"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"shadowread/internal/camera"
	"shadowread/internal/geo"
	"shadowread/internal/instrument"
	"shadowread/internal/lens"
	"shadowread/internal/logbook"
	"shadowread/internal/photo"
	"shadowread/internal/photofile"
	"shadowread/internal/reading"
	"shadowread/internal/recordfile"
)

// journeySettings puts a journey's settings where the command line says nothing.
type journeySettings struct {
	cmd *cobra.Command
	s   *streams
	set *logbook.Settings
}

func (j *journeySettings) given(flag string) bool {
	f := j.cmd.Flags().Lookup(flag)
	return f != nil && f.Changed
}

// use takes what holds of the instrument, by whatever it is read.
func (j *journeySettings) use(o *reading.Options, k *knownFlags) error {
	set := j.set
	own := k.record != nil
	if set.Instrument != nil && !own {
		record, err := instrument.Decode([]byte(set.Instrument.Text), set.Instrument.File)
		if err != nil {
			return err
		}
		if err := useRecord(j.cmd, o, record, set.Instrument.File); err != nil {
			return err
		}
		k.record = set.Instrument
	}
	if set.RodHeight != nil && !j.given("rod-height") && o.Rod.HeightMM == 0 {
		o.Rod.HeightMM = float64(*set.RodHeight) * 1000
	}
	if set.Level != nil && !j.given("level-sigma") && !own {
		o.Level, o.Unsaid = *set.Level, false
		if o.Instrument != nil {
			o.Instrument.LevelSigma = *set.Level
		}
	}
	if set.Lubber != nil && !j.given("lubber-sigma") && !own {
		o.Alignment = *set.Lubber
		if o.Instrument != nil {
			o.Instrument.AlignmentSigma = *set.Lubber
		}
	}
	if set.PrintScale != nil && !j.given("print-scale") {
		o.PrintScale = set.PrintScale
	}
	return nil
}

// cameraName is how a photo names its camera; "" where it does not.
func cameraName(f photo.Facts) string {
	maker, model := strings.TrimSpace(f.Make), strings.TrimSpace(f.Model)
	if maker == "" || strings.HasPrefix(strings.ToLower(model), strings.ToLower(maker)) {
		return model
	}
	return strings.TrimSpace(maker + " " + model)
}

// cameraOf is the journey's camera that took a photo; nil if there is none.
func (j *journeySettings) cameraOf(f photo.Facts) *logbook.Camera {
	if j.set.Cameras == nil {
		return nil
	}
	for i, c := range *j.set.Cameras {
		if n := cameraName(f); n != "" && (strings.EqualFold(c.Name, n) || strings.EqualFold(c.Name, strings.TrimSpace(f.Model))) {
			return &(*j.set.Cameras)[i]
		}
	}
	return nil
}

// useClock takes what holds of the clock that a photo's time is by. What the photo says of
// its own offset goes before the journey's.
func (j *journeySettings) useClock(o *reading.Options, f photo.Facts) {
	if o.Time.At != nil {
		return
	}
	if set := j.set.UTCOffset; set != nil && o.Time.UTCOffset == nil && f.ClockOffset == nil && f.GPSTime.IsZero() {
		o.Time.UTCOffset = set
	}
	if c := j.cameraOf(f); c != nil && o.Time.ClockError == nil {
		o.Time.ClockError = c.ClockError
	}
}

// usePhoto takes what holds of the camera that took a photo.
func (j *journeySettings) usePhoto(o *reading.Options, path string) error {
	f, err := photo.ReadFacts(photofile.At(path))
	if err != nil {
		return nil // for the reading to say
	}
	j.useClock(o, f)
	if set := j.set.UTCOffset; set != nil && f.ClockOffset != nil && *f.ClockOffset != *set {
		j.s.note("offset_differs", "the photo's clock is at %s from UTC, the journey's at %s", geo.FormatOffset(*f.ClockOffset), geo.FormatOffset(*set))
	}
	c := j.cameraOf(f)
	switch {
	case c == nil && j.set.Cameras != nil && len(*j.set.Cameras) > 0:
		name := cameraName(f)
		if name == "" {
			name = "a camera that it does not name"
		}
		j.s.note("camera_unknown", "the photo is by %s, of which the journey states neither clock error nor lens", name)
		return nil
	case c == nil || c.Lens == nil || o.Lens != nil:
		return nil
	}
	record, err := camera.DecodeLensRecord([]byte(c.Lens.Text))
	if err != nil {
		return err
	}
	if err := lens.Fits(record, f); err != nil { // sent smaller, say: read without
		j.s.note("lens_not_used", "%s: the journey's lens of %s is not used", err, c.Name)
		return nil
	}
	o.Lens = &camera.Match{Record: record, Path: c.Lens.File}
	return nil
}

// tell says where the command line differs from what holds.
func (j *journeySettings) tell(p *photoFlags, k *knownFlags, path string) {
	set := j.set
	differs := func(flag, is, holds string) {
		if j.given(flag) && is != holds {
			j.s.note("setting_differs", "--%s is %s here and %s for the journey: it holds for this entry alone", flag, is, holds)
		}
	}
	if set.Instrument != nil && k.record != nil && k.record.SHA256 != set.Instrument.SHA256 {
		j.s.note("setting_differs", "--instrument is another record here than the journey's %s: it holds for this entry alone", set.Instrument.File)
	}
	if set.RodHeight != nil {
		differs("rod-height", millimetres(p.rodHeight.value), millimetres(float64(*set.RodHeight)*1000))
	}
	if set.UTCOffset != nil && p.when.offset.set {
		differs("utc-offset", geo.FormatOffset(p.when.offset.value), geo.FormatOffset(*set.UTCOffset))
	}
	if set.Level != nil {
		differs("level-sigma", degreesText(p.level.value), degreesText(set.Level.Degrees()))
	}
	if set.Lubber != nil {
		differs("lubber-sigma", degreesText(p.lubber.value), degreesText(set.Lubber.Degrees()))
	}
	if set.PrintScale != nil {
		differs("print-scale", p.printScale.text, scaleText(*set.PrintScale))
	}
	if path == "" {
		return
	}
	f, _ := photo.ReadFacts(photofile.At(path))
	if c := j.cameraOf(f); c != nil {
		if c.ClockError != nil {
			differs("clock-error", secondsText(p.clockError.duration()), secondsText(*c.ClockError))
		}
		if c.Lens != nil && k.lens != "" {
			if kept, err := keptFile(k.lens); err == nil && kept.SHA256 != c.Lens.SHA256 {
				j.s.note("setting_differs", "--lens is another record here than the journey's %s: it holds for this entry alone", c.Lens.File)
			}
		}
	}
}

func millimetres(mm float64) string { return fmt.Sprintf("%.4g mm", mm) }

func degreesText(deg float64) string { return fmt.Sprintf("%.4g°", deg) }

func secondsText(d time.Duration) string { return fmt.Sprintf("%.4g s", d.Seconds()) }

func scaleText(scale [2]float64) string { return fmt.Sprintf("%.4g,%.4g", scale[0], scale[1]) }

// keptFile is a small file, which was read before, as the log keeps it. Another may stand
// there by now: it is read with the same care, and no further than any record goes.
func keptFile(path string) (*logbook.Record, error) {
	const most = 1 << 20
	text, err := recordfile.Bytes(path, most, path)
	if err != nil {
		return nil, err
	}
	return logbook.NewRecord(filepath.Base(path), text), nil
}

// kept is the instrument of a reading as the log keeps it: its text only where the journey's
// settings do not have it.
func (k *knownFlags) kept(set *logbook.Settings) *logbook.Record {
	if k.record == nil {
		return &logbook.Record{}
	}
	r := *k.record
	if set.Instrument != nil && set.Instrument.SHA256 == r.SHA256 {
		r.Text = ""
	}
	return &r
}
