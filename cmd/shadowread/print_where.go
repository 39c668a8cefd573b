package main

import (
	"fmt"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/geo"
	"shadowread/internal/logbook"
	"shadowread/internal/wording"
	"shadowread/internal/workup"
)

type (
	whereJSON struct {
		Journey          int             `json:"journey"`
		Time             time.Time       `json:"time_utc"`
		Estimate         *spotJSON       `json:"estimate"`
		Heading          *float64        `json:"heading_true_deg"` // of the current leg, with what the fixes have taught
		Grid             *float64        `json:"heading_grid_deg"` // the same from polar grid north; null away from the poles
		By               *string         `json:"heading_by"`       // sun or moon; null where it is not by the dial
		Since            time.Time       `json:"since_utc"`        // the last fix used, or the departure
		Run              float64         `json:"run_m"`            // as logged since then
		Closing          *closingJSON    `json:"closing"`          // the last fix's
		Instruments      instrumentsJSON `json:"instruments"`
		NeedHeading      []int           `json:"need_heading"`
		NeedConfirmation []int           `json:"need_confirmation"`
		ToGo             *toGoJSON       `json:"to_go"`
		Speed            *float64        `json:"day_speed_mps"` // under way, of the last 24 hours; null where nothing was run
		SunUp            *bool           `json:"sun_up"`
		SunTurns         *time.Time      `json:"sun_turns_utc"` // sets if it is up, else rises; null: not within half a year
		DialNow          *spanJSON       `json:"serves"`        // the dial; null while it cannot be read
		DialNext         *spanJSON       `json:"serves_next"`
	}
	instrumentsJSON struct {
		Mount         float64 `json:"mount_deg"` // is added to headings by the dial
		MountSigma    float64 `json:"mount_sigma_deg"`
		LeanStarboard float64 `json:"lean_starboard_deg"`
		LeanStarbSig  float64 `json:"lean_starboard_sigma_deg"`
		LeanForward   float64 `json:"lean_forward_deg"`
		LeanForwSigma float64 `json:"lean_forward_sigma_deg"`
		Scale         float64 `json:"odometer_scale"` // true = odometer x (1 + scale)
		ScaleSigma    float64 `json:"odometer_scale_sigma"`
		DriftNorth    float64 `json:"drift_north_mps"`
		DriftNSigma   float64 `json:"drift_north_sigma_mps"`
		DriftEast     float64 `json:"drift_east_mps"`
		DriftESigma   float64 `json:"drift_east_sigma_mps"`
	}
	toGoJSON struct {
		Stop             *string   `json:"stop"` // its name; null for a place without
		To               *spotJSON `json:"to"`
		Course           float64   `json:"course_deg"` // rhumb line
		CourseSigma      float64   `json:"course_sigma_deg"`
		Distance         float64   `json:"distance_m"`
		DistanceSigma    float64   `json:"distance_sigma_m"`
		GeodesicCourse   float64   `json:"geodesic_course_deg"` // on setting out
		GeodesicDistance float64   `json:"geodesic_distance_m"`
		CourseGrid       *float64  `json:"course_grid_deg"`
		Turn             *float64  `json:"turn_deg"` // right positive; null without a current leg
		Within           bool      `json:"within_ellipse"`
		Steer            *float64  `json:"steer_deg"` // allowing for the drift; null without a speed, or where it is too fast
		SteerSigma       *float64  `json:"steer_sigma_deg"`
		TimeToGo         *float64  `json:"time_to_go_s"` // at the day's speed
	}
	spanJSON struct {
		Body  string     `json:"body"`
		From  time.Time  `json:"from_utc"`
		Until *time.Time `json:"until_utc"`
	}
)

func whereOf(v view) whereJSON {
	w := v.where
	e, sh := &w.Estimate, w.Shared
	out := whereJSON{
		By: v.by, Journey: w.Journey, Time: e.Time.UTC(), Estimate: workedSpot(e.Position, e.Cov), Since: e.Since.UTC(), Run: metres(e.Run),
		Closing: closingOf(w.Closing), NeedHeading: append([]int{}, w.NeedHeading...), NeedConfirmation: append([]int{}, w.NeedConfirmation...),
		Instruments: instrumentsJSON{
			wording.Degrees(sh.Mount, 4), wording.Degrees(sh.MountSigma, 4), wording.Degrees(sh.LeanX, 4), wording.Degrees(sh.LeanXSigma, 4), wording.Degrees(sh.LeanY, 4), wording.Degrees(sh.LeanYSigma, 4),
			wording.Round(sh.Scale, 6), wording.Round(sh.ScaleSigma, 6),
			wording.Round(float64(sh.DriftN), 5), wording.Round(float64(sh.DriftNSigma), 5), wording.Round(float64(sh.DriftE), 5), wording.Round(float64(sh.DriftESigma), 5),
		},
	}
	if e.Steered {
		out.Heading = new(wording.BearingDegrees(e.Heading, 4))
		out.Grid = gridDegrees(e.Heading, e.Position)
	}
	if v.onward != nil {
		g := &v.onward.Way
		spot := spotOf(v.onward.To, 0)
		spot.Sigma = nil
		out.ToGo = &toGoJSON{stopOf(v.onward), spot, wording.BearingDegrees(g.Course, 4), wording.Degrees(g.CourseSigma, 4), metres(g.Distance), metres(g.DistanceSigma),
			wording.BearingDegrees(g.GeodesicCourse, 4), metres(g.GeodesicDistance), gridDegrees(g.Course, e.Position), nil, g.Within, nil, nil, nil}
		if e.Steered {
			out.ToGo.Turn = new(wording.Degrees(g.Turn, 4))
		}
	}
	v.aheadJSON(&out)
	return out
}

func stopOf(o *logbook.Onward) *string {
	if o.Stop == "" {
		return nil
	}
	return &o.Stop
}

func printWhere(s *streams, v view) error {
	w, j := v.where, whereOf(v)
	if s.json {
		return s.printJSON(j)
	}
	if !s.outTTY {
		cells := append([]string{j.Time.Format(time.RFC3339Nano)}, spotCells(w.Estimate.Position, w.Estimate.Cov)...)
		cells = append(cells, j.Since.Format(time.RFC3339Nano), fmt.Sprintf("%.1f", j.Run), decimal(j.Heading, 4))
		if t := j.ToGo; t != nil {
			cells = append(cells, decimal(&t.Course, 4), decimal(&t.CourseSigma, 4), decimal(&t.Distance, 1), decimal(&t.DistanceSigma, 1), decimal(t.Turn, 4))
		} else {
			cells = append(cells, "", "", "", "", "")
		}
		return (&table{s: s, pipe: "where"}).row("", cells...)
	}
	whereForPeople(s, v)
	return nil
}

func whereForPeople(s *streams, v view) {
	w, e := v.where, &v.where.Estimate
	fmt.Fprintf(s.out, "%s\n", s.paint(bold, fmt.Sprintf("%s at %s", v.set.Place(e.Position), wording.LocalTime(e.Time, v.offset))))
	labelled(s, "95 % within", "%s", ellipseText(w.Ellipse, v.set.UnitOr()))
	since := "the departure, "
	switch c := w.Closing; {
	case c == nil:
	case c.Used:
		since = "the fix, "
	default: // a fix before that one, or the departure
		since = ""
	}
	labelled(s, "since", "%s%s, %s run", since, wording.LocalTime(e.Since, v.offset), v.set.UnitOr().Text(e.Run))
	if e.Steered {
		by := ""
		if v.by != nil {
			by = ", by the " + *v.by
		}
		labelled(s, "heading", "%s true%s, of the current leg%s", wording.ThreeFigures(e.Heading, 1), wording.GridBeside(e.Heading, e.Position), by)
	}
	if c := w.Closing; c != nil {
		labelled(s, "last fix", "%s", closingText(c, v.set.UnitOr()))
	}
	v.skyForPeople(s)
	if v.onward != nil {
		toGoForPeople(s, v)
	}
	fmt.Fprintln(s.out)
	learnt(s, w.Shared)
	for _, n := range w.NeedHeading {
		fmt.Fprintln(s.out, s.paint(red, fmt.Sprintf("entry %d needs a heading: %s", n, waitsFor(n))))
	}
	for _, n := range w.NeedConfirmation {
		fmt.Fprintln(s.out, s.paint(red, fmt.Sprintf("the fix of entry %d is not used; if it is right: shadowread log fix --confirm %d", n, n)))
	}
	fmt.Fprintf(s.out, "%s\n", s.paint(dim, "± holds 95 %; never the sole means of navigation; see shadowread help cautions"))
}

func toGoForPeople(s *streams, v view) {
	g := &v.onward.Way
	fmt.Fprintln(s.out)
	to := v.set.Place(v.onward.To)
	if v.onward.Stop != "" {
		to = v.onward.Stop + ", " + to
	}
	labelled(s, "to go", "to %s", to)
	if g.Within {
		fmt.Fprintln(s.out, s.paint(yellow, s.wrap(13, "it lies within the ellipse: look round before you go on, the course says little")))
	}
	// Nobody steers by hundredths of a degree, whatever the position is good for.
	labelled(s, "course", "%s true%s, %s ± %s by the rhumb line: turn to this heading and hold it",
		wording.Steer(g.Course, max(g.CourseSigma, angle.Degree/19)), wording.GridBeside(g.Course, v.where.Estimate.Position), v.set.UnitOr().Text(g.Distance), v.set.UnitOr().Near(wording.Length95(g.DistanceSigma)))
	labelled(s, "shortest way", "%s, setting out on %s%s", v.set.UnitOr().Text(g.GeodesicDistance), wording.ThreeFigures(g.GeodesicCourse, 1), wording.GridBeside(g.GeodesicCourse, v.where.Estimate.Position))
	if v.where.Estimate.Steered {
		labelled(s, "turn", "%s", wording.Turn(g.Turn, 1))
	}
	v.steeringForPeople(s)
}

// gridDegrees is a heading from polar grid north; nil away from the poles.
func gridDegrees(heading angle.Angle, p geo.Position) *float64 {
	if !geo.NearPole(p) {
		return nil
	}
	return new(wording.BearingDegrees(geo.GridHeading(heading, p), 4))
}

// signed95 writes an angle of either sign with the ± that holds it in 95 of 100 cases.
func signed95(a, sigma angle.Angle) string { return wording.SignedWith(a, wording.Within95(sigma)) }

// learnt says what the fixes have taught of the instruments.
func learnt(s *streams, sh workup.Shared) {
	labelled(s, "lubber line", "%s is added to headings by the dial", signed95(sh.Mount, sh.MountSigma))
	labelled(s, "lean", "%s to starboard, %s forward, of the rod from plumb", signed95(sh.LeanX, sh.LeanXSigma), signed95(sh.LeanY, sh.LeanYSigma))
	labelled(s, "odometer", "%+.2f ± %.2f %% is added to its distances", 100*sh.Scale, 196*sh.ScaleSigma)
	if sh.DriftNSigma > 0 || sh.DriftESigma > 0 {
		labelled(s, "drift", "%+.3f ± %.3f m/s north, %+.3f ± %.3f m/s east", float64(sh.DriftN), 1.96*float64(sh.DriftNSigma), float64(sh.DriftE), 1.96*float64(sh.DriftESigma))
	}
}
