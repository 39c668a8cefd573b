package main

import (
	"context"
	"fmt"
	"slices"

	"shadowread/internal/fault"
	"shadowread/internal/logbook"
)

// waits tells whether an entry is a fix that is not used until it is confirmed.
func waits(a *logbook.Added) bool { return a.Closing != nil && !a.Closing.Used }

// confirmText says what to do about it.
func confirmText(entry int) string {
	return fmt.Sprintf("correct the entry that is wrong, and the fix counts by itself; if the fix is right, and the rest cannot be mended: shadowread log fix --confirm %d", entry)
}

// farFix says what a fix that is far off shows, and asks on a terminal whether it counts
// none the less. It stands in the log either way.
func (e *entryFlags) farFix(ctx context.Context, s *streams, book *logbook.Log, a acknowledged) error {
	accepted, err := e.accepted()
	if err != nil {
		return err
	}
	yes := slices.Contains(accepted, logbook.OddFix)
	if !yes {
		if err := printAdded(s, a); err != nil {
			return err
		}
		if yes, _, err = s.confirm(fmt.Sprintf("The fix is in the log as entry %d, and is not used. Is it right all the same? The estimate then starts there, and nothing is learnt from it", a.Entry.Number)); err != nil {
			return err
		}
	}
	if !yes {
		return photoRefused{fault.New(string(logbook.OddFix), confirmText(a.Entry.Number), "%s; it is in the log as entry %d, and is not used", farText(&a.Added), a.Entry.Number)}
	}
	confirmed, err := book.ConfirmFix(ctx, a.Entry.Number, a.Entry.Note)
	if err != nil {
		return err
	}
	a.Added = confirmed
	return printAdded(s, a)
}
