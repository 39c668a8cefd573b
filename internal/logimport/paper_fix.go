package logimport

import (
	"shadowread/internal/logbook"
	"shadowread/internal/workup"
)

// fixRules are the rules by which fixes count, as the column waits_from_sigmas says them.
var fixRules = map[workup.FixRule]string{workup.BeyondFive: "5", workup.FromThree: "3"}

// counting reads whether a fix was confirmed, and by which rule it counts. Journeys that
// were exported before there was more than one do not say, and keep the old one.
func (r *paperRow) counting(f *logbook.Fix) (err error) {
	switch text := r.Field("waits_from_sigmas"); text {
	case "":
		if f.Rule = workup.FromThree; r.Field("kind") != "" {
			f.Rule = workup.BeyondFive
		}
	case fixRules[workup.BeyondFive]:
		f.Rule = workup.BeyondFive
	case fixRules[workup.FromThree]:
		f.Rule = workup.FromThree
	default:
		return r.Bad("waits_from_sigmas %q is neither 3 nor 5", text)
	}
	f.Confirmed, err = r.yes("confirmed")
	return err
}
