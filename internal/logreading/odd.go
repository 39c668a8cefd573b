package logreading

import (
	"shadowread/internal/logbook"
	"shadowread/internal/photo"
	"shadowread/internal/reading"
)

// Odd is what a reading warns of that is asked about before it goes into a log: a wrong
// hour turns the heading by 15 degrees, and the moon in the sun's place by anything.
func Odd(r *reading.Result) (found []logbook.Oddity) {
	for _, w := range r.Warnings {
		if Asked(w) {
			found = append(found, logbook.Oddity{Code: logbook.Odd(w.Code), Message: w.Message})
		}
	}
	return found
}

// Asked tells whether a warning is one of those.
func Asked(w photo.Warning) bool {
	return w.Code == string(logbook.OddOffset) || w.Code == string(logbook.OddMoon)
}
