package sheet

import (
	"slices"
	"strings"

	"shadowread/internal/fault"
)

// Paper is a page that the sheet is drawn on. The foot of the gnomon stands
// half-way across it.
type Paper struct {
	Name          string
	Width, Height float64 // mm
	FootFromTop   float64 // mm from the upper edge of the paper to the foot
}

// The papers: ISO 216 A4 and the letter size of ANSI/ASME Y14.1 (8.5 by 11 in).
var (
	A4     = Paper{"A4", 210, 297, 127.4}
	Letter = Paper{"Letter", 215.9, 279.4, 118.6}
)

// ParsePaper returns the paper of that name, in any case. Any other name is a
// usage error, bad_paper.
func ParsePaper(name string) (Paper, error) {
	for _, p := range []Paper{A4, Letter} {
		if strings.EqualFold(name, p.Name) {
			return p, nil
		}
	}
	return Paper{}, fault.Usage("bad_paper", "give a4 or letter", "unknown paper %q", name)
}

// check refuses a paper that the page was not composed for.
func (p Paper) check() error {
	if !slices.Contains([]Paper{A4, Letter}, p) {
		return fault.Usage("bad_paper", "give a4 or letter", "unknown paper %q", p.Name)
	}
	return nil
}
