package logbook

import "encoding/json"

// DialReading is what a kept reading says that the work-up does not need, by the keys of
// a reading's JSON.
type DialReading struct {
	Body   string   `json:"body,omitempty"` // sun or moon
	Number *float64 `json:"scale_reading_deg,omitempty"`
	// Instrument is whose record has corrected the heading; nil for none.
	Instrument *DialInstrument `json:"instrument,omitempty"`
}

// DialInstrument is what a record made of a heading.
type DialInstrument struct {
	Name       string   `json:"name"`
	Correction *float64 `json:"correction_deg,omitempty"`
}

// Shown returns what a kept reading says of number, body and instrument; nothing if none was kept.
func Shown(reading []byte) (shown DialReading) {
	if json.Unmarshal(reading, &shown) != nil {
		return DialReading{}
	}
	return shown
}
