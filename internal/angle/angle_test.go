package angle

import (
	"math"
	"testing"
)

func TestReductionsKeepTheirIntervals(t *testing.T) {
	for _, tt := range []struct{ in, bearing, signed float64 }{
		{0, 0, 0},
		{360, 0, 0},
		{-90, 270, -90},
		{180, 180, 180},
		{-180, 180, 180},
		{540.5, 180.5, -179.5},
		{-1e-18, 0, 0},
		{719.75, 359.75, -0.25},
	} {
		a := FromDegrees(tt.in)
		if got := a.Bearing().Degrees(); math.Abs(got-tt.bearing) > 1e-9 || got >= 360 || got < 0 {
			t.Errorf("Bearing(%v) = %v, want %v", tt.in, got, tt.bearing)
		}
		if got := a.Signed().Degrees(); math.Abs(got-tt.signed) > 1e-9 {
			t.Errorf("Signed(%v) = %v, want %v", tt.in, got, tt.signed)
		}
	}
}

func TestClockwiseRunsFromForwardToStarboard(t *testing.T) {
	for _, tt := range []struct{ x, y, want float64 }{{0, 1, 0}, {1, 0, 90}, {0, -1, 180}, {-1, 0, 270}} {
		if got := Clockwise(tt.x, tt.y).Degrees(); math.Abs(got-tt.want) > 1e-9 {
			t.Errorf("Clockwise(%v, %v) = %v, want %v", tt.x, tt.y, got, tt.want)
		}
	}
}
