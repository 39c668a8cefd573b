package main

import (
	"context"
	"slices"
	"strings"
	"time"

	"shadowread/internal/fault"
	"shadowread/internal/geo"
	"shadowread/internal/logbook"
	"shadowread/internal/photo"
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
	var err error
	at.Wary = true
	if at.Accept, err = e.accepted(); err != nil {
		return logbook.Added{}, err
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

// accepted is what --accept names.
func (e *entryFlags) accepted() (codes []logbook.Odd, err error) {
	for _, text := range e.accept {
		code := logbook.Odd(text)
		if !slices.Contains(logbook.Odds, code) {
			return nil, fault.Usage("bad_code", "give one of "+oddCodes(), "--accept: %q is nothing that is asked about", text)
		}
		codes = append(codes, code)
	}
	return codes, nil
}

func upperFirst(text string) string { return strings.ToUpper(text[:1]) + text[1:] }

// oddClock doubts the UTC offset by which a time was said, where the entry is or, if that is
// nil, where the journey was last.
func (w *when) oddClock(ctx context.Context, book *logbook.Log, at time.Time, where *geo.Position) []logbook.Oddity {
	offset := w.stated()
	if offset == nil || *offset == 0 || at.IsZero() { // anybody may keep UTC
		return nil
	}
	var place photo.Place
	if where != nil {
		place.Position = *where
	} else {
		here, err := book.Where(ctx, book.Meant())
		if err != nil { // no journey, which the entry will say, or a position that is lost
			return nil
		}
		place.Position, place.SigmaKM = here.Estimate.Position, here.Estimate.Sigma().Kilometres()
	}
	if doubt := photo.OffsetDoubt(place, at.Add(*offset), *offset); doubt != "" {
		return []logbook.Oddity{{Code: logbook.OddOffset, Message: "the clock is said to be " + doubt}}
	}
	return nil
}

// tellOdd tells of what an import does not ask about. A time to come is told of anyhow.
func tellOdd(s *streams, a logbook.Added, suspects []logbook.Suspect) {
	for _, o := range a.Odd {
		if o.Code != logbook.OddAhead {
			s.note(string(o.Code), "entry %d: %s", a.Entry.Number, o.Message)
		}
	}
	if waits(&a) {
		s.note("needs_confirmation", "entry %d: %s, and is not used; %s", a.Entry.Number, farText(&a), confirmText(a.Entry.Number))
		for _, x := range suspects {
			s.note("suspect", "%s", suspectText(x))
		}
	}
}
