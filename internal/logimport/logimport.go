// Package logimport takes into the log what was noted elsewhere: photos in a folder with a
// list of odometer readings, and a log kept on paper. It reads what people write of ways,
// lengths and speeds.
package logimport

import "shadowread/internal/logbook"

// Imported tells what an import did. If it failed on the way, what was added before
// stays, and the same import goes on from there.
type Imported struct {
	Added   []int // numbers of entries
	Already int   // photos or rows that were in the log
	// Entries added that wait for the user.
	NeedHeading, NeedConfirmation []int
}

func (i *Imported) add(a logbook.Added) {
	i.Added = append(i.Added, a.Entry.Number)
	if a.NeedsHeading {
		i.NeedHeading = append(i.NeedHeading, a.Entry.Number)
	}
	if a.Closing != nil && !a.Closing.Used {
		i.NeedConfirmation = append(i.NeedConfirmation, a.Entry.Number)
	}
}
