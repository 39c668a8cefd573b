package main

import (
	"context"
	"fmt"
	"time"

	"shadowread/internal/steering"
)

// everyMinute prints a line now and at each full minute, until it is interrupted.
func (h *helm) everyMinute(ctx context.Context, c clock, first *steering.Steer) error {
	t := &table{s: h.s, pipe: "steer"}
	for now := first; ; {
		if err := h.print(now, t); err != nil {
			return err
		}
		if err := c.sleep(ctx, c.now().Truncate(time.Minute).Add(time.Minute)); err != nil {
			return err
		}
		var err error
		if now, err = h.at(ctx, c.now(), nil); ctx.Err() != nil {
			return ctx.Err()
		} else if err != nil {
			return err
		}
	}
}

// Control sequences of a terminal (ECMA-48; the second screen is common practice): what was
// there before comes back at the end, and no old figure stays.
const (
	screenOn  = "\x1b[?1049h\x1b[?25l\x1b[2J"
	screenOff = "\x1b[?25h\x1b[?1049l"
	toTop     = "\x1b[H"
	restOfRow = "\x1b[K"
	restBelow = "\x1b[J"
)

// watch draws the number each second until it is interrupted. What cannot be said any more is
// not shown: in its place stands why.
func (h *helm) watch(ctx context.Context, c clock, first *steering.Steer) (err error) {
	if _, err := fmt.Fprint(h.s.screen, screenOn); err != nil {
		return err
	}
	defer func() {
		if _, e := fmt.Fprint(h.s.screen, screenOff); err == nil {
			err = e
		}
	}()
	now, trouble := first, error(nil)
	for {
		columns, rows := h.s.width, 24
		if h.s.size != nil {
			if w, high, ok := h.s.size(); ok {
				columns, rows = w, high
			}
		}
		if _, err := fmt.Fprint(h.s.screen, h.frame(now, trouble, c.now(), columns, rows)); err != nil {
			return err
		}
		if err := c.sleep(ctx, c.now().Truncate(time.Second).Add(time.Second)); err != nil {
			return err
		}
		now, trouble = h.next(ctx, now, trouble, c.now())
		if err := ctx.Err(); err != nil {
			return err
		}
	}
}

// next is what to say at t after now.
func (h *helm) next(ctx context.Context, now *steering.Steer, trouble error, t time.Time) (*steering.Steer, error) {
	if trouble == nil && now.Lasts(t) {
		return now.Again(t, h.sigma, h.options), nil
	}
	if trouble != nil && t.Second()%10 != 0 { // a log that gives no position is not asked each second
		return now, trouble
	}
	after, err := h.at(ctx, t, nil)
	if err != nil {
		return now, err
	}
	return after, nil
}
