package sheetprint

import "shadowread/internal/paper"

// leaf is a format with the place of the sheet on it: the foot of the gnomon stands
// half-way across.
type leaf struct {
	paper.Format
	footFromTop float64 // mm from the upper edge of the paper to the foot
}

// newLeaf refuses a format that the page was not composed for, with bad_paper.
func newLeaf(f paper.Format) (leaf, error) {
	if f == paper.Letter {
		return leaf{f, 118.6}, nil
	}
	return leaf{f, 127.4}, f.Among(paper.Office...)
}
