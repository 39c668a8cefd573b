package main

import (
	"context"
	"fmt"
	"strings"
	"time"

	"shadowread/internal/fault"
	"shadowread/internal/geo"
	"shadowread/internal/logbook"
	"shadowread/internal/settingsfile"
	"shadowread/internal/wording"
)

// settingsView is what holds for a journey.
type settingsView struct {
	file settingsfile.File
	set  logbook.Settings
}

// settingsOf gathers what holds for a journey, 0 for the last, and where the log puts it.
func settingsOf(ctx context.Context, book *logbook.Log, journey int) (*settingsView, error) {
	set, err := book.SettingsOf(ctx, journey)
	if err != nil {
		return nil, err
	}
	v := &settingsView{set: set, file: fileOf(&set)}
	v.file.Version = settingsfile.Version
	v.file.DistanceUnit = string(set.UnitOr())
	if set.PositionForm == nil {
		v.file.PositionForm = settingsfile.Degrees
	}
	return v, v.place(ctx, book, journey)
}

// fileOf is what is set, as the file for a phone has it.
func fileOf(set *logbook.Settings) (f settingsfile.File) {
	if set.Unit != nil {
		f.DistanceUnit = string(*set.Unit)
	}
	if set.Name != nil {
		f.Journey = *set.Name
	}
	if set.PositionForm != nil {
		f.PositionForm = string(*set.PositionForm)
	}
	if set.UTCOffset != nil {
		f.UTCOffset = geo.FormatOffset(*set.UTCOffset)
	}
	if set.RodHeight != nil {
		f.RodHeightMM = wording.Round(float64(*set.RodHeight)*1000, 3)
	}
	if set.Steering != nil {
		f.SteeringSigmaDeg = wording.Degrees(*set.Steering, 4)
	}
	if set.Level != nil {
		f.LevelSigmaDeg = new(wording.Degrees(*set.Level, 4))
	}
	if set.Lubber != nil {
		f.LubberSigmaDeg = new(wording.Degrees(*set.Lubber, 4))
	}
	if set.PrintScale != nil {
		f.PrintScale = set.PrintScale[:]
	}
	if set.Instrument != nil {
		f.Instrument = set.Instrument.Text
	}
	if set.Card != nil {
		f.DeviationCard = set.Card.Text
	}
	if set.Cameras != nil {
		for _, c := range *set.Cameras {
			out := settingsfile.Camera{Camera: c.Name}
			if c.ClockError != nil {
				out.ClockErrorS = new(c.ClockError.Seconds())
			}
			if c.Lens != nil {
				out.Lens = c.Lens.Text
			}
			f.Cameras = append(f.Cameras, out)
		}
	}
	if set.Stops != nil {
		for _, x := range *set.Stops {
			f.Stops = append(f.Stops, settingsfile.Stop{Name: x.Name, LatitudeDeg: wording.Round(x.Position.Lat.Degrees(), 7), LongitudeDeg: wording.Round(x.Position.Lon.Degrees(), 7)})
		}
	}
	return f
}

// settingsJSON is settings as JSON has them.
type settingsJSON struct {
	settingsfile.File
	Photos    string   `json:"photos_folder,omitempty"`
	Forgotten []string `json:"forgotten,omitempty"`
}

// settingsJSONOf is null where nothing is set.
func settingsJSONOf(set *logbook.Settings) *settingsJSON {
	if set == nil {
		return nil
	}
	out := &settingsJSON{File: fileOf(set), Forgotten: set.Forgotten}
	out.Version = settingsfile.Version
	if set.Photos != nil {
		out.Photos = *set.Photos
	}
	return out
}

// place adds the journey's beginning and where the log puts it, if it knows.
func (v *settingsView) place(ctx context.Context, book *logbook.Log, journey int) error {
	w, err := book.Where(ctx, journey)
	if fault.Code(err) == "position_lost" {
		return nil
	}
	if err != nil {
		return err
	}
	journeys, err := book.Journeys(ctx)
	if err != nil {
		return err
	}
	for _, j := range journeys {
		if j.Number == w.Journey {
			v.file.Begun = new(j.Departure.Time.UTC())
		}
	}
	e := &w.Estimate
	v.file.Position = &settingsfile.Position{
		LatitudeDeg: wording.Round(e.Position.Lat.Degrees(), 7), LongitudeDeg: wording.Round(e.Position.Lon.Degrees(), 7),
		SigmaKM: min(wording.Round(e.Sigma().Kilometres(), 4), 1000), Time: e.Time.UTC(),
	}
	return nil
}

func (v *settingsView) print(s *streams) error {
	if s.json {
		out := settingsJSONOf(&v.set)
		out.File = v.file
		return s.printJSON(out)
	}
	lines := settingsLines(&v.set)
	if v.set.Unit == nil {
		lines = append([][2]string{{"unit", string(logbook.Kilometres)}}, lines...)
	}
	t := &table{s: s, pipe: "settings", columns: []column{{head: "setting", width: 14}, {head: "what holds"}}}
	for _, l := range lines {
		if err := t.row("", l[0], l[1]); err != nil {
			return err
		}
	}
	return nil
}

// settingsLines are settings in words, with their names.
func settingsLines(set *logbook.Settings) (lines [][2]string) {
	add := func(name, format string, args ...any) {
		lines = append(lines, [2]string{name, fmt.Sprintf(format, args...)})
	}
	if set.Name != nil {
		add("name", "%s", *set.Name)
	}
	if set.Unit != nil {
		add("unit", "%s", *set.Unit)
	}
	if set.UTCOffset != nil {
		add("UTC offset", "%s", geo.FormatOffset(*set.UTCOffset))
	}
	if set.Instrument != nil {
		add("instrument", "%s, sha256 %.8s", set.Instrument.File, set.Instrument.SHA256)
	}
	if set.RodHeight != nil {
		add("rod height", "%s", millimetres(float64(*set.RodHeight)*1000))
	}
	if set.Level != nil {
		add("level", "one sigma %s", degreesText(set.Level.Degrees()))
	}
	if set.Lubber != nil {
		add("lubber line", "one sigma %s", degreesText(set.Lubber.Degrees()))
	}
	if set.Steering != nil {
		add("steering", "one sigma %s", degreesText(set.Steering.Degrees()))
	}
	if set.PrintScale != nil {
		add("print scale", "%s", scaleText(*set.PrintScale))
	}
	if set.Card != nil {
		add("deviation card", "%s, sha256 %.8s", set.Card.File, set.Card.SHA256)
	}
	if set.Photos != nil {
		add("photos", "%s", *set.Photos)
	}
	if set.Cameras != nil {
		for _, c := range *set.Cameras {
			var parts []string
			if c.ClockError != nil {
				parts = append(parts, "clock "+fastText(*c.ClockError))
			}
			if c.Lens != nil {
				parts = append(parts, "lens "+c.Lens.File)
			}
			add("camera", "%s", c.Name+": "+strings.Join(parts, ", "))
		}
	}
	if set.Stops != nil {
		for _, x := range *set.Stops {
			add("stop", "%s, %s", x.Name, set.Place(x.Position))
		}
	}
	if set.PositionForm != nil {
		add("positions", "%s", strings.ReplaceAll(string(*set.PositionForm), "_", " and "))
	}
	if len(set.Forgotten) > 0 {
		add("forgotten", "%s", strings.ReplaceAll(strings.Join(set.Forgotten, ", "), "_", " "))
	}
	return lines
}

// fastText says how far a clock is out.
func fastText(fast time.Duration) string {
	if fast < 0 {
		return secondsText(-fast) + " slow"
	}
	return secondsText(fast) + " fast"
}
