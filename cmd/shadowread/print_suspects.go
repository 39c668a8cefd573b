package main

import (
	"context"
	"fmt"

	"shadowread/internal/logbook"
	"shadowread/internal/wording"
)

// What is said of a fix that lies far from the estimate, at the moment when it is logged:
// later the slip has gone into what was learnt of instruments and drift.

type suspectJSON struct {
	Entry   int          `json:"entry"`
	Slip    logbook.Slip `json:"slip"`
	Instead string       `json:"instead"`
	Left    float64      `json:"left_m"`
	Sigmas  float64      `json:"left_sigmas"`
}

func suspectsJSON(list []logbook.Suspect) []suspectJSON {
	out := []suspectJSON{}
	for _, x := range list {
		out = append(out, suspectJSON{x.Entry, x.Slip, x.Instead, metres(x.Left), wording.Round(x.Sigmas, 3)})
	}
	return out
}

// suspectsOf looks for them; none for a fix that is near, or was confirmed.
func suspectsOf(ctx context.Context, book *logbook.Log, a *logbook.Added) ([]logbook.Suspect, error) {
	fix, ok := a.Entry.Content.(*logbook.Fix)
	if !ok || fix.Confirmed || !isFar(a) {
		return nil, nil
	}
	return book.Suspects(ctx, a.Entry.Number)
}

func isFar(a *logbook.Added) bool { return a.Closing != nil && a.Closing.Sigmas >= logbook.FarFix }

// quietPerCent of the distance run are more than a good day closes with (common practice).
const quietPerCent = 5

// suspectText says what may have been meant.
func suspectText(x logbook.Suspect) string {
	what := map[logbook.Slip]string{
		logbook.SlipOdometer1: "the odometer may have read", logbook.SlipOdometer10: "the odometer may have read", logbook.SlipOdometer100: "the odometer may have read",
		logbook.SlipDigits: "two figures may be turned round: rather", logbook.SlipHeading1: "number or heading may have been", logbook.SlipHeading10: "number or heading may have been",
		logbook.SlipCarried:    "the odometer may have been misread from there on, by the same figure: rather",
		logbook.SlipInstrument: "the wrong instrument may have been named: rather",
		logbook.SlipHour:       "the time may have been", logbook.SlipUnit: "the other unit may have been meant:", logbook.SlipSense: "the dial may have been read the wrong way round: rather",
	}[x.Slip]
	return fmt.Sprintf("entry %d: %s %s, which leaves %s", x.Entry, what, x.Instead, wording.Length(x.Left))
}

func farText(a *logbook.Added) string {
	text := fmt.Sprintf("the fix lies %.1f sigma from the estimate", a.Closing.Sigmas)
	if a.Closing.Run > 0 {
		text += fmt.Sprintf(", %.1f %% of the distance run", a.Closing.PerCent)
	}
	return text
}

// farForPeople is loud about it.
func farForPeople(s *streams, a acknowledged) {
	if fix, ok := a.Entry.Content.(*logbook.Fix); !ok || fix.Confirmed || !isFar(&a.Added) {
		return
	}
	fmt.Fprintln(s.out, s.paint(red, s.wrap(0, upperFirst(farText(&a.Added))+": look for a slip before you go on")))
	for i, x := range a.suspects {
		fmt.Fprintln(s.out, s.paint(red, s.wrap(3, fmt.Sprintf("%d. %s", i+1, suspectText(x)))))
	}
	if len(a.suspects) == 0 {
		fmt.Fprintln(s.out, s.paint(red, "   no single slip that is looked for would close it"))
	}
}

// tellFix says what may be wrong where nobody sees the screen, and quietly what is only large.
func tellFix(s *streams, a acknowledged) {
	fix, ok := a.Entry.Content.(*logbook.Fix)
	switch {
	case !ok || fix.Confirmed || a.Closing == nil:
	case isFar(&a.Added) && !s.outTTY:
		for _, x := range a.suspects {
			s.note("suspect", "%s", suspectText(x))
		}
	case !isFar(&a.Added) && a.Closing.PerCent > quietPerCent:
		s.note("fix_off", "the fix lies %.1f %% of the distance run off, which the error of the estimate allows", a.Closing.PerCent)
	}
}
