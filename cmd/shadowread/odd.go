package main

import (
	"slices"
	"strings"

	"shadowread/internal/fault"
	"shadowread/internal/logbook"
)

// oddCodes lists what --accept takes.
func oddCodes() string {
	var codes []string
	for _, c := range logbook.Odds {
		codes = append(codes, string(c))
	}
	return strings.Join(codes, ", ")
}

// sure writes an entry, and asks on a terminal about what is odd of it; elsewhere it is
// refused unless --accept names it.
func (e *entryFlags) sure(s *streams, at logbook.At, write func(logbook.At) (logbook.Added, error)) (logbook.Added, error) {
	at.Wary = true
	for _, text := range e.accept {
		code := logbook.Odd(text)
		if !slices.Contains(logbook.Odds, code) {
			return logbook.Added{}, fault.Usage("bad_code", "give one of "+oddCodes(), "--accept: %q is nothing that is asked about", text)
		}
		at.Accept = append(at.Accept, code)
	}
	for {
		added, err := write(at)
		code := logbook.Odd(fault.Code(err))
		if err == nil || !slices.Contains(logbook.Odds, code) || slices.Contains(at.Accept, code) {
			return added, err
		}
		question := "Is that so?"
		if code == logbook.OddAnother {
			question = "Begin another?"
		}
		yes, asked, failed := s.confirm(upperFirst(err.Error()) + ". " + question)
		if failed != nil {
			return added, failed
		}
		if !asked || !yes {
			return added, err
		}
		at.Accept = append(at.Accept, code)
	}
}

func upperFirst(text string) string { return strings.ToUpper(text[:1]) + text[1:] }
