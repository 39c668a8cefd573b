package main

import (
	"strings"
	"time"

	"github.com/spf13/pflag"

	"shadowread/internal/fault"
	"shadowread/internal/geo"
)

// place is --position.
type place struct{ parsed[geo.Position] }

func (p *place) add(fs *pflag.FlagSet, usage string) {
	p.name, p.parse = "LAT,LON", geo.ParsePosition
	fs.Var(p, "position", usage)
}

// when is --time and --utc-offset, which may come in any order.
type when struct {
	time   string
	offset parsed[time.Duration]
	// journeys is the offset of the journey's clocks: of times given without one. Nil: not
	// known.
	journeys *time.Duration
}

func (w *when) add(fs *pflag.FlagSet, timeUsage, offsetUsage string) {
	w.offset = newOffsetFlag()
	fs.StringVar(&w.time, "time", "", timeUsage)
	fs.Var(&w.offset, "utc-offset", offsetUsage)
}

// newOffsetFlag is --utc-offset.
func newOffsetFlag() parsed[time.Duration] {
	return parsed[time.Duration]{name: "OFFSET", parse: geo.ParseOffset}
}

// at returns the time given, which has an hour at least; nil where none is.
func (w *when) at() (*time.Time, error) {
	n, err := w.noted()
	if err != nil || n == nil {
		return nil, err
	}
	if n.Day {
		return nil, fault.Usage("no_hour", "give the hour too, as "+w.time+"T09:26: an hour is worth 15° of a heading", "--time %s has no hour", w.time)
	}
	return &n.Time, nil
}

// noted returns the time given as it was written; nil where none is.
func (w *when) noted() (*geo.Noted, error) {
	if w.time == "" {
		return nil, nil
	}
	offset := w.offset.given()
	if offset == nil && !w.utc() {
		offset = w.journeys
	}
	now := timeNow()
	n, err := geo.ParseNoted(w.time, offset, now)
	if err == nil && n.Today {
		if err := clockGoes(now); err != nil {
			return nil, err
		}
	}
	if fault.Code(err) == "offset_conflict" && !w.offset.set {
		return nil, fault.Usage("offset_conflict", "leave the offset out, or say by --utc-offset too that another clock was meant", "--time %s is not by the journey's clock at %s from UTC", w.time, geo.FormatOffset(*w.journeys))
	}
	if err != nil {
		return nil, fault.Usage(fault.Code(err), fault.Hint(err), "--time: %s", err)
	}
	return &n, nil
}

// utc tells whether the time is given in UTC, which is no clock's, and may be had anywhere.
func (w *when) utc() bool { return strings.HasSuffix(strings.ToUpper(w.time), "Z") }

// stated returns the UTC offset by which the time was given, or that of the camera; nil
// where none was.
func (w *when) stated() *time.Duration {
	if w.offset.set {
		return w.offset.given()
	}
	n, err := w.noted()
	if err != nil || n == nil || w.utc() {
		return nil
	}
	return n.Offset
}

// shown returns the UTC offset by which times are shown; nil: UTC.
func (w *when) shown() *time.Duration {
	if stated := w.stated(); stated != nil {
		return stated
	}
	return w.journeys
}
