package main

import (
	"context"

	"github.com/spf13/cobra"

	"encoding/json"
	"path/filepath"
	"time"

	"shadowread/internal/fault"
	"shadowread/internal/logbook"
	"shadowread/internal/logreading"
	"shadowread/internal/overlay"
	"shadowread/internal/photo"
	"shadowread/internal/photofile"
	"shadowread/internal/reading"
)

func newLogLeg(s *streams) *cobra.Command {
	l := newLegFlags()
	cmd := &cobra.Command{
		Use:   "leg [READING] [PHOTO]",
		Short: "log a change of leg, from a photo, a number or a heading by hand",
		Long: `Log a change of leg: from this odometer reading on, the heading holds that the
photo shows, or the number under the shadow, or --heading with its sigma. The
reading may stand without --odometer: a number that is no file's name is one.

Without any of these it is the newest photo of the folder where the journey's
photos arrive, if it is not logged and was taken within 30 minutes of now, or of
--time. Instrument, rod, the camera's clock and lens, and the UTC offset are the
journey's (shadowread log settings) unless they are given here, which is told.

The whole reading, the photo's SHA-256 and a small picture of what was found are
kept. Where neither photo nor --position tells the place, it is the log's own
estimate, and the work-up allows for its error. A photo that is refused makes an
entry that asks for a heading by hand, and the exit status is 3; the same photo
twice is an error.`,
		Example: `  shadowread log begin --log leg.db --position -22.90000,22.30000 --error 15 --odometer 45210.0km --time 2026-08-29T08:05:00+02:00
  shadowread log leg 45210.0 fixtures/journey/29-august/01.jpg --log leg.db
  shadowread log leg --log leg.db --odometer 45216.1 --number 352.0 --time 2026-08-29T08:55:00+02:00
  shadowread log leg --log leg.db --odometer 45222.6 --heading 58 --heading-sigma 3 --time 2026-08-29T09:47:00+02:00 --note "by the compass"`,
		Args: cobra.ArbitraryArgs, // told apart once the flags are known
		RunE: func(cmd *cobra.Command, args []string) error {
			args, err := l.way.bare(args)
			if err != nil {
				return err
			}
			if err := onePhoto(cmd, args); err != nil {
				return err
			}
			if err := l.one(cmd, args); err != nil {
				return err
			}
			if err := l.way.check(cmd); err != nil {
				return err
			}
			return l.entry.writeUntimed(cmd, s, false, func(_ context.Context, w writing) (logbook.Added, error) {
				run := l.way.run(w.set.UnitOr())
				return l.log(cmd, s, w, args, run, &run)
			})
		},
	}
	l.entry.addAccept(cmd)
	l.entry.addJourney(cmd)
	l.entry.addInBetween(cmd)
	l.add(cmd, s, "the `TIME`, as 2026-03-14T09:26:53+02:00 (default the photo's, or now)")
	return cmd
}

func onePhoto(_ *cobra.Command, args []string) error {
	if len(args) > 1 {
		return fault.Usage("unexpected_argument", "log photos one by one, or a folder with shadowread log import", "unexpected argument %q", args[1])
	}
	return nil
}

// log writes the leg. since is the way since the last entry, for the log's estimate;
// nil in a correction.
func (l *legFlags) log(cmd *cobra.Command, s *streams, w writing, args []string, run logbook.Run, since *logbook.Run) (logbook.Added, error) {
	ctx, book, at := cmd.Context(), w.book, w.at
	given, err := l.photo.when.at()
	if err != nil {
		return logbook.Added{}, err
	}
	if given != nil {
		at.Time = *given
	}
	if at.Offset = l.photo.when.stated(); at.Offset == nil && len(args) == 0 && (l.heading.set || l.number.number.set) {
		at.Offset = l.photo.when.shown() // a photo has a clock of its own
	}
	if l.heading.set {
		if at.Time.IsZero() && at.Supersedes == 0 {
			if at.Time, err = orNow(nil); err != nil {
				return logbook.Added{}, err
			}
		}
		at.Found = l.photo.when.oddClock(ctx, book, at.Time, nil)
		return l.entry.sure(s, at, func(at logbook.At) (logbook.Added, error) {
			return book.LegByHand(ctx, at, run, logbook.Heading{Heading: l.heading.angle().Bearing(), Sigma: l.headingSigma.angle()})
		})
	}
	opts, err := l.photo.options(cmd)
	if err != nil {
		return logbook.Added{}, err
	}
	if err := l.stance.use(cmd, &opts, 1); err != nil {
		return logbook.Added{}, err
	}
	if err := l.known.use(cmd, &opts); err != nil {
		return logbook.Added{}, err
	}
	if at.InBetween && !at.Time.IsZero() {
		if w.set, err = book.SettingsBy(ctx, at.Journey, at.Time); err != nil {
			return logbook.Added{}, err
		}
	}
	j := &journeySettings{cmd: cmd, s: s, set: &w.set}
	if err := j.use(&opts, &l.known); err != nil {
		return logbook.Added{}, err
	}
	w.at = at
	if l.number.number.set {
		j.tell(&l.photo, &l.known, "")
		return l.logNumber(cmd, s, w, opts, run, since)
	}
	if len(args) == 0 {
		// Its own clock tells when it was taken, and not the time by which it is looked for.
		opts.Time = photo.TimeOptions{UTCOffset: l.photo.when.offset.given(), ClockError: opts.Time.ClockError}
		path, err := j.newest(ctx, book, opts, w.at)
		if err != nil {
			return logbook.Added{}, err
		}
		args, w.at.Time, l.picked = []string{path}, time.Time{}, true
	}
	if err := j.usePhoto(&opts, args[0]); err != nil {
		return logbook.Added{}, err
	}
	j.tell(&l.photo, &l.known, args[0])
	return l.logPhoto(ctx, s, w, opts, args[0], run, since)
}

func (l *legFlags) logNumber(cmd *cobra.Command, s *streams, w writing, opts reading.Options, run logbook.Run, since *logbook.Run) (logbook.Added, error) {
	ctx, book, at := cmd.Context(), w.book, w.at
	if at.Time.IsZero() && at.Supersedes != 0 {
		old, err := book.Entry(ctx, at.Supersedes)
		if err != nil {
			return logbook.Added{}, err
		}
		at.Time = old.Time
	}
	var err error
	if at.Time, err = orNow(timeOrNil(at.Time)); err != nil {
		return logbook.Added{}, err
	}
	opts.Time.At = &at.Time
	r, err := l.number.readAtEstimate(cmd, book, opts, since)
	if err != nil {
		return logbook.Added{}, err
	}
	if !r.OK() {
		return logbook.Added{}, photoRefused{fault.New(string(r.Reason), r.Message, "the number gives no heading")}
	}
	for _, w := range r.Warnings { // a clock that ticks on is not doubted, an hour typed is
		if !logreading.Asked(w) && (w.Code != "clock_not_checked" || l.photo.when.time != "") {
			s.note(w.Code, "%s", w.Message)
		}
	}
	at.Found = logreading.Odd(r)
	if err := s.confirmHour(r, l.photo.when.time != "" && len(at.Found) == 0); err != nil { // which is asked about anyhow
		return logbook.Added{}, err
	}
	whole, err := json.Marshal(r)
	if err != nil {
		return logbook.Added{}, err
	}
	return l.entry.sure(s, at, func(at logbook.At) (logbook.Added, error) {
		h := logreading.Heading(r, l.anew)
		h.Instrument = l.known.kept(&w.set)
		return book.LegFromNumber(ctx, at, run, h, whole)
	})
}

func timeOrNil(t time.Time) *time.Time {
	if t.IsZero() {
		return nil
	}
	return &t
}

func (l *legFlags) logPhoto(ctx context.Context, s *streams, w writing, opts reading.Options, path string, run logbook.Run, since *logbook.Run) (logbook.Added, error) {
	book, at := w.book, w.at
	if err := thereIs(path); err != nil {
		return logbook.Added{}, err
	}
	sum, err := logbook.HashFile(path)
	if err != nil {
		return logbook.Added{}, err
	}
	bar := progress{s: s}
	bar.show("reading %s", path)
	defer bar.wipe()
	r, err := logreading.Photo(ctx, book, path, opts, since)
	bar.wipe()
	if err != nil {
		return logbook.Added{}, err
	}
	if !r.OK() && at.Supersedes != 0 {
		return logbook.Added{}, photoRefused{fault.New("photo_refused", r.Message, "%s gives no heading (%s), and entry %d stays as it is", path, r.Reason, at.Supersedes)}
	}
	if err := s.confirmHour(r, l.photo.when.time != "" && !l.picked && len(logreading.Odd(r)) == 0); err != nil {
		return logbook.Added{}, err
	}
	if l.picked && r.Reason == reading.UnreadableFile { // half copied, say
		return logbook.Added{}, fault.New("photo_damaged", "wait until it is there whole, or name another", "%s cannot be read, and nothing was logged: %s", path, r.Message)
	}
	p, err := photoReading(path, r, l.anew)
	if err != nil {
		return logbook.Added{}, err
	}
	p.Name, p.SHA256 = filepath.Base(path), sum
	if p.Reading != nil {
		p.Reading.Instrument = l.known.kept(&w.set)
	}
	if at.Time.IsZero() && p.Time.IsZero() { // refused, yet the leg was changed
		if at.Time, err = orNow(nil); err != nil {
			return logbook.Added{}, err
		}
		s.note("time", "the photo has no time that can be used: the entry has the machine's, %s", at.Time.Format(time.RFC3339))
	}
	for _, w := range r.Warnings {
		if !logreading.Asked(w) {
			s.note(w.Code, "%s", w.Message)
		}
	}
	return l.entry.sure(s, at, func(at logbook.At) (logbook.Added, error) { return book.LegFromPhoto(ctx, at, run, p) })
}

// photoReading is a photo as the log keeps it, without name and hash.
func photoReading(path string, r *reading.Result, anew bool) (logbook.PhotoReading, error) {
	p, err := logreading.Evidence(r, anew)
	if err != nil {
		return p, err
	}
	p.Overlay = smallOverlay(path, r)
	return p, nil
}

// smallOverlay is the picture of what was found; nil for a file that shows none. The leg
// counts more.
func smallOverlay(path string, r *reading.Result) []byte {
	small, err := overlay.Small(photofile.At(path), r)
	if err != nil {
		return nil
	}
	return small
}
