package main

import (
	"math"
	"testing"

	"shadowread/internal/align"
	"shadowread/internal/angle"
)

// A standing series may hold a quarter of bad photos; more were a turned instrument.
func TestTurnedInstrumentIsTold(t *testing.T) {
	for _, tt := range []struct {
		headings []float64 // degrees
		want     bool
	}{
		{[]float64{350, 352, 1, 3, 8, 5, 9, 355}, false},
		{[]float64{350, 352, 1, 3, 8, 5, 9, 90}, false},
		{[]float64{350, 352, 1, 3, 8, 5, 200, 90}, false},
		{[]float64{350, 352, 1, 3, 8, 130, 200, 90}, true},
		{[]float64{10, 100, 190, 280}, true},
		{nil, false},
	} {
		var obs []align.Observation
		for i, h := range tt.headings {
			var o align.Observation
			o.Sky.Azimuth = angle.FromDegrees(40 * float64(i)) // the sun goes on, the heading need not
			o.Direction = o.Sky.Azimuth + math.Pi - angle.FromDegrees(h)
			obs = append(obs, o)
		}
		if got := wasTurned(obs); got != tt.want {
			t.Errorf("%v: %t", tt.headings, got)
		}
	}
}
