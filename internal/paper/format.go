package paper

import (
	"slices"
	"strings"

	"shadowread/internal/fault"
)

// Format is a size of paper, mm.
type Format struct {
	Name          string
	Width, Height float64
}

// The formats: ISO 216 A4 and A6, the letter size of ANSI/ASME Y14.1 (8.5 by 11 in).
var (
	A4     = Format{"A4", 210, 297}
	Letter = Format{"Letter", 215.9, 279.4}
	Pocket = Format{"Pocket", 105, 148} // A6
)

// Office are the formats that office printers take, the usual one first.
var Office = []Format{A4, Letter}

// Parser returns a function that finds one of the formats by its name, in any case.
// Any other name is the usage error bad_paper.
func Parser(formats ...Format) func(name string) (Format, error) {
	return func(name string) (Format, error) {
		for _, f := range formats {
			if strings.EqualFold(name, f.Name) {
				return f, nil
			}
		}
		return Format{}, unknown(name, formats)
	}
}

// Among refuses a format that is none of those that a page was composed for, with
// bad_paper.
func (f Format) Among(formats ...Format) error {
	if !slices.Contains(formats, f) {
		return unknown(f.Name, formats)
	}
	return nil
}

func unknown(name string, formats []Format) error {
	var names []string
	for _, f := range formats {
		names = append(names, strings.ToLower(f.Name))
	}
	last := len(names) - 1
	return fault.New("bad_paper", "give "+strings.Join(names[:last], ", ")+" or "+names[last], "unknown paper %.40q", name)
}
