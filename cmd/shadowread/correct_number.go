package main

import (
	"encoding/json"
	"math"
	"strconv"

	"github.com/spf13/cobra"

	"shadowread/internal/angle"
	"shadowread/internal/bearing"
	"shadowread/internal/fault"
	"shadowread/internal/logbook"
	"shadowread/internal/reading"
)

// keptNumber is what must be known of a number that is read again for another time.
type keptNumber struct {
	logbook.DialReading
	Budget map[string]*float64 `json:"error_budget_deg"`
	Tilt   []string            `json:"tilt_source"`
	Print  *float64            `json:"print_correction_deg"`
}

// numberAgain has the number of a leg read again for the time that is corrected, with the
// reading's own sigmas. One at a place that was given, or that rests on a record, a tilt, a
// print or a lubber line that was stated, has to be given anew with that: the log keeps what
// came of it alone.
func (o *correctOptions) numberAgain(cmd *cobra.Command, s *streams, book *logbook.Log, old *logbook.Entry, c *logbook.Leg) (bool, error) {
	r := c.Reading
	if c.How != logbook.ByNumber || c.Hand != nil || r.SetUpAnew || r.Alignment != 0 || r.ComputedAt == nil || r.Body == nil {
		return false, nil
	}
	kept, err := book.Reading(cmd.Context(), old.Number)
	if err != nil {
		return false, err
	}
	var k keptNumber
	if json.Unmarshal(kept, &k) != nil || k.Number == nil || k.Instrument != nil || k.Print != nil && *k.Print != 0 || len(k.Tilt) > 0 || k.Budget["shadow_fit"] == nil {
		return false, nil
	}
	n := &o.leg.number
	n.number.value, n.number.set = *k.Number, true
	n.sigma.value, n.sigma.set = *k.Budget["shadow_fit"], true
	if body, err := bearing.ParseBody(k.Body); err == nil && !o.leg.photo.body.set {
		o.leg.photo.body.value = &body
	}
	if tan := r.Body.Altitude.Tan(); tan > 0 && !cmd.Flags().Changed("level-sigma") {
		o.leg.photo.level.value = r.Level.Degrees() / tan
	}
	s.note("number_again", "the number %.1f is read again for that time", *k.Number)
	return true, nil
}

// keepRest has a leg that gets another number or photo read as it was read before, in all that
// is not given anew: with its own record, and a number with its own sigmas and its body. What
// the log does not keep has to be given.
func (o *correctOptions) keepRest(cmd *cobra.Command, s *streams, w writing, old *logbook.Entry, c *logbook.Leg) error {
	r := c.Reading
	given := cmd.Flags().Changed
	if r == nil || o.leg.heading.set {
		return nil
	}
	if record := r.Instrument; record != nil && record.Text != "" && !given("instrument") {
		o.leg.known.stays = record
		s.note("record_stays", "the instrument's record %s is taken, as for entry %d; another, or '' for none, is said by --instrument", record.File, old.Number)
	}
	if !given("set-up-anew") {
		o.leg.anew = r.SetUpAnew
	}
	if c.How != logbook.ByNumber || !o.leg.number.number.set {
		return nil
	}
	kept, err := w.book.Reading(cmd.Context(), old.Number)
	if err != nil {
		return err
	}
	var k keptNumber
	if json.Unmarshal(kept, &k) != nil {
		return nil // of a version that kept none
	}
	switch {
	case k.Print != nil && *k.Print != 0 && !given("print-scale") && w.set.PrintScale == nil:
		return fault.Usage("print_not_kept", "give --print-scale again, 1,1 if it was none", "entry %d was read on a stretched print, and the log does not keep how it was stretched", old.Number)
	case len(k.Tilt) > 0 && !given("tilt"):
		return fault.Usage("tilt_not_kept", "give --tilt again", "entry %d was read on a board whose tilt was stated, and the log does not keep it", old.Number)
	}
	return o.keepSigmas(cmd, w.set, r, k)
}

// keepSigmas states the body and the sigmas of a number anew where they are not what would
// be taken.
func (o *correctOptions) keepSigmas(cmd *cobra.Command, set logbook.Settings, r *logbook.DialHeading, k keptNumber) error {
	state := func(flag string, deg, otherwise float64) error {
		const rounding = 1e-3
		if cmd.Flags().Changed(flag) || math.Abs(deg-otherwise) < rounding {
			return nil
		}
		return cmd.Flags().Set(flag, strconv.FormatFloat(deg, 'g', 4, 64))
	}
	holds := func(a *angle.Angle, otherwise float64) float64 {
		if a != nil {
			return a.Degrees()
		}
		return otherwise
	}
	if _, err := bearing.ParseBody(k.Body); err == nil && !cmd.Flags().Changed("body") {
		if err := cmd.Flags().Set("body", k.Body); err != nil {
			return err
		}
	}
	if k.Instrument != nil { // whose record has its share in all of these
		return nil
	}
	if fit := k.Budget["shadow_fit"]; fit != nil {
		if err := state("number-sigma", *fit, reading.NumberSigma.Degrees()); err != nil {
			return err
		}
	}
	if len(k.Tilt) > 0 || r.Body == nil { // the level is of the tilt
		return nil
	}
	if tan := r.Body.Altitude.Tan(); tan > 0 {
		if err := state("level-sigma", r.Level.Degrees()/tan, holds(set.Level, reading.DefaultLevel.Degrees())); err != nil {
			return err
		}
	}
	return state("lubber-sigma", r.Alignment.Degrees(), holds(set.Lubber, 0))
}
