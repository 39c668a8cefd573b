package sheetprint

import (
	"cmp"

	"shadowread/internal/paper"
	"shadowread/internal/typeface"
)

// leaf is a format with the place of the sheet on it: the foot of the gnomon stands
// half-way across.
type leaf struct {
	paper.Format
	footFromTop float64 // mm from the upper edge of the paper to the foot
}

// newLeaf refuses a format that the page was not composed for, with bad_paper, and a
// build that has no fonts, as typeface.Fonts does.
func newLeaf(f paper.Format) (leaf, error) {
	l := leaf{f, 127.4}
	if f == paper.Letter {
		l.footFromTop = 118.6
	}
	return l, cmp.Or(f.Among(paper.Office...), typeface.Fonts())
}
