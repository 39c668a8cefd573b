package logimport

import (
	"bytes"
	"encoding/json"

	"shadowread/internal/logbook"
	"shadowread/internal/wording"
)

// settings reads those of a departure, or of an entry of their own; nil where there are none.
func (r *paperRow) settings() (*logbook.Settings, error) {
	text := r.Field("settings")
	if text == "" {
		return nil, nil
	}
	d := json.NewDecoder(bytes.NewReader([]byte(text)))
	d.DisallowUnknownFields()
	s := new(logbook.Settings)
	if err := d.Decode(s); err != nil || d.More() {
		return nil, r.Bad("the settings are not what log export writes")
	}
	if len(s.Forgotten) == 0 {
		s.Forgotten = nil
	}
	return s, nil
}

// instrument reads which record a heading was corrected by; nil where that is not known.
func (r *paperRow) instrument() (*logbook.Record, error) {
	text := r.Field("instrument")
	if text == "" {
		return nil, nil
	}
	d := json.NewDecoder(bytes.NewReader([]byte(text)))
	d.DisallowUnknownFields()
	record := new(logbook.Record)
	if err := d.Decode(record); err != nil || d.More() {
		return nil, r.Bad("the instrument is not what log export writes")
	}
	return record, nil
}

// countIn has a journey count in the unit of the odometer with which it begins, where that
// is not stated otherwise.
func countIn(d *logbook.Departure) {
	if d.Odometer == nil || d.Odometer.Unit == logbook.Kilometres {
		return
	}
	if d.Settings == nil {
		d.Settings = &logbook.Settings{}
	}
	if d.Settings.Unit == nil {
		d.Settings.Unit = new(d.Odometer.Unit)
	}
}

func (w cells) settings(s *logbook.Settings) {
	if s != nil {
		text, _ := json.Marshal(s) // has no numbers but such as JSON has
		w["settings"] = string(wording.EscapedJSON(text))
	}
}
