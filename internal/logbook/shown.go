package logbook

import "encoding/json"

// DialReading is what a kept reading says that the work-up does not need, by the keys of
// a reading's JSON.
type DialReading struct {
	Body   string   `json:"body,omitempty"` // sun or moon
	Number *float64 `json:"scale_reading_deg,omitempty"`
}

// Shown returns what a kept reading says of number and body; nothing if none was kept.
func Shown(reading []byte) (shown DialReading) {
	if json.Unmarshal(reading, &shown) != nil {
		return DialReading{}
	}
	return shown
}
