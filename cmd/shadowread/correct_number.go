package main

import (
	"encoding/json"

	"github.com/spf13/cobra"

	"shadowread/internal/bearing"
	"shadowread/internal/logbook"
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
