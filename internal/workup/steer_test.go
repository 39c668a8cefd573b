package workup_test

import (
	"math"
	"testing"

	"shadowread/internal/angle"
	"shadowread/internal/workup"
)

// What is steered and the drift add up to the course.
func TestSteeringMakesTheCourseGood(t *testing.T) {
	for course := 0.0; course < 360; course += 17 {
		sh := workup.Shared{DriftN: 0.06, DriftE: -0.14, DriftNSigma: 0.01, DriftESigma: 0.01}
		to := angle.FromDegrees(course)
		s, ok := sh.AllowFor(to, 0, 1.5)
		if !ok {
			t.Fatalf("course %v cannot be made good", to)
		}
		n := 1.5*s.Heading.Cos() + float64(sh.DriftN)
		e := 1.5*s.Heading.Sin() + float64(sh.DriftE)
		if miss := (angle.Atan2(e, n) - to).Signed().Abs(); miss > 1e-9 {
			t.Errorf("course %v: made good with %v amiss", to, miss)
		}
		if made := math.Hypot(n, e); math.Abs(made-float64(s.MadeGood)) > 1e-9 {
			t.Errorf("course %v: %v m/s made good, want %v", to, s.MadeGood, made)
		}
		if s.Sigma.Degrees() < 0.3 || s.Sigma.Degrees() > 0.5 { // 0.01 of 1.5
			t.Errorf("course %v: sigma %v", to, s.Sigma)
		}
	}
}

func TestDriftThatCannotBeHeld(t *testing.T) {
	east := workup.Shared{DriftE: 0.5}
	if _, ok := east.AllowFor(0, 0, 0.4); ok {
		t.Error("half a metre a second across is held at less")
	}
	if _, ok := east.AllowFor(270*angle.Degree, 0, 0.4); ok {
		t.Error("it is made good against more drift than speed")
	}
	if _, ok := east.AllowFor(0, 0, 0); ok {
		t.Error("a course is made good without speed")
	}
}
