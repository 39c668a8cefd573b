package main

import (
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

// at returns the time given; nil where none is.
func (w *when) at() (*time.Time, error) {
	if w.time == "" {
		return nil, nil
	}
	t, err := geo.ParseTime(w.time, w.offset.given())
	if err != nil {
		return nil, fault.Usage(fault.Code(err), fault.Hint(err), "--time: %s", err)
	}
	return &t, nil
}

// stated returns the UTC offset by which the time was given, or that of the camera; nil
// where none was.
func (w *when) stated() *time.Duration {
	if w.offset.set || len(w.time) < len("+00:00") {
		return w.offset.given()
	}
	// What ends in a date alone was refused by at.
	d, err := geo.ParseOffset(w.time[len(w.time)-len("+00:00"):])
	if err != nil {
		return nil
	}
	return &d
}
