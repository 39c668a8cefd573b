package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"shadowread/internal/compass"
	"shadowread/internal/fault"
	"shadowread/internal/logbook"
	"shadowread/internal/logreading"
	"shadowread/internal/wording"
)

// How it is steered along the journey of a log.

// settings takes what holds for the journey, where there is one.
func (o *steerOptions) settings(cmd *cobra.Command, h *helm) error {
	if !o.withLog(h.s) {
		return nil
	}
	quiet := *h.s
	quiet.quiet = true // the log is named once, where its position is asked for
	err := o.log.withSound(cmd.Context(), &quiet, int(o.journey.value), func(book *logbook.Log) error {
		set, err := book.SettingsOf(cmd.Context(), int(o.journey.value))
		if err == nil {
			h.set, o.photo.when.journeys = &set, set.UTCOffset
		}
		return err
	})
	if code := fault.Code(err); o.course.set && o.log.file == "" && (code == "no_log" || code == "no_journey") {
		return nil // the variable speaks of a log to come
	}
	if !o.course.set && o.log.file == "" && h.s.log == "" && fault.Code(err) == "no_log" {
		return fault.Usage("no_course", "give --course, as 58, or begin a journey with stops, shadowread log begin --stop NAME=LAT,LON", "no course given")
	}
	return err
}

// useSettings takes instrument and deviation card of the journey where none was named.
func (h *helm) useSettings(cmd *cobra.Command, known *knownFlags) error {
	j := &journeySettings{cmd: cmd, s: h.s, set: h.set}
	if err := j.use(&h.options, known); err != nil {
		return err
	}
	if h.set.Card == nil || h.options.Card != nil {
		return nil
	}
	card, err := compass.ReadCard(strings.NewReader(h.set.Card.Text), h.set.Card.File)
	h.options.Card = &card
	return err
}

// follow takes position and course from the log, anew where they are a minute old.
func (o *steerOptions) follow(h *helm) func(context.Context, time.Time) error {
	say, asked := *h.s, time.Time{}
	return func(ctx context.Context, t time.Time) error {
		if age := t.Sub(asked); age >= 0 && age < time.Minute {
			return nil
		}
		err := o.log.with(ctx, &say, false, func(book *logbook.Log) error {
			unit := logbook.Kilometres
			if h.set != nil {
				unit = h.set.UnitOr()
			}
			run := wayOn(o.odometer, o.stood, unit)
			book.GoOnWith(int(o.journey.value))
			if !o.photo.place.set {
				e, err := book.EstimateAt(ctx, t, run)
				if err != nil {
					return err
				}
				h.options.Position.Estimate = logreading.Place(e)
			}
			if o.course.set {
				return nil
			}
			return o.courseOn(ctx, h, book, t, run)
		})
		say.quiet = true // the log is named once
		if err == nil {
			asked = t
		}
		return err
	}
}

// courseOn takes the course to where the journey goes next.
func (o *steerOptions) courseOn(ctx context.Context, h *helm, book *logbook.Log, t time.Time, run *logbook.Run) error {
	journey := int(o.journey.value)
	to, err := destination(ctx, book, journey, &o.to)
	if err != nil {
		return err
	}
	// Without a way since, it is on the course from where the log has it.
	w, err := book.Where(ctx, journey)
	if err == nil && run != nil {
		w, err = book.WhereAt(ctx, journey, t, run)
	}
	if err != nil {
		return err
	}
	if h.onward, err = book.Onward(ctx, w, to); err != nil {
		return err
	}
	heading, err := h.onward.Heading(w.Shared)
	h.course = heading.Bearing()
	return err
}

// whereTo says to where it is steered; "" for a course that was given.
func (h *helm) whereTo() string {
	o := h.onward
	if o == nil {
		return ""
	}
	to := o.Stop
	if to == "" {
		to = h.set.Place(o.To)
	}
	text := fmt.Sprintf("%s, %s on %s true", to, h.set.UnitOr().Text(o.Way.Distance), wording.ThreeFigures(o.Way.Course, 1))
	if h.allows() {
		text += ", steered so as to allow for the drift"
	}
	return text
}

// allows tells whether the heading is another than the course.
func (h *helm) allows() bool {
	return h.onward.Steering != nil && (h.onward.Steering.Heading-h.onward.Way.Course).Signed().Abs().Degrees() > 0.05
}

// sayWhereTo names the destination, and says where it is too near to be steered to.
func (h *helm) sayWhereTo() {
	switch {
	case h.onward == nil:
	case h.onward.Way.Within:
		h.s.note("stop_near", "%s lies within the ellipse of the estimated position: look round, the course says little", h.whereTo())
	default:
		h.s.note("steering_to", "steering to %s", h.whereTo())
	}
}

// withDestination adds to the JSON of an answer to where it is steered.
func (h *helm) withDestination(answer any) (any, error) {
	if h.onward == nil {
		return answer, nil
	}
	text, err := json.Marshal(answer)
	if err != nil {
		return nil, err
	}
	o := h.onward
	spot := spotOf(o.To, 0)
	spot.Sigma = nil
	to, err := json.Marshal(map[string]any{
		"stop": stopOf(o), "to": spot, "course_deg": wording.BearingDegrees(o.Way.Course, 4), "distance_m": metres(o.Way.Distance), "allows_for_drift": h.allows(),
	})
	if err != nil {
		return nil, err
	}
	return json.RawMessage(append(append(bytes.TrimSuffix(text, []byte("}")), `,"to_go":`...), append(to, '}')...)), nil
}
