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

The whole reading, the photo's SHA-256 and a small picture of what was found are
kept. Where neither photo nor --position tells the place, it is the log's own
estimate, and the work-up allows for its error. A photo that is refused makes an
entry that asks for a heading by hand, and the exit status is 3; the same photo
twice is an error.`,
		Example: `  shadowread log begin --log leg.db --position -22.90000,22.30000 --error 15 --odometer 45210.0 --time 2026-08-29T08:05:00+02:00
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
			run, err := l.way.run(cmd)
			if err != nil {
				return err
			}
			return l.entry.writeUntimed(cmd, s, false, func(ctx context.Context, book *logbook.Log) (logbook.Added, error) {
				return l.log(cmd, s, book, args, logbook.At{Note: l.entry.note}, run, &run)
			})
		},
	}
	l.entry.addAccept(cmd)
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
func (l *legFlags) log(cmd *cobra.Command, s *streams, book *logbook.Log, args []string, at logbook.At, run logbook.Run, since *logbook.Run) (logbook.Added, error) {
	ctx := cmd.Context()
	given, err := l.photo.when.at()
	if err != nil {
		return logbook.Added{}, err
	}
	if given != nil {
		at.Time = *given
	}
	at.Offset = l.photo.when.stated()
	if l.heading.set {
		if at.Time.IsZero() && at.Supersedes == 0 {
			at.Time = orNow(nil)
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
	if l.number.number.set {
		return l.logNumber(cmd, s, book, opts, at, run, since)
	}
	return l.logPhoto(ctx, s, book, opts, args[0], at, run, since)
}

func (l *legFlags) logNumber(cmd *cobra.Command, s *streams, book *logbook.Log, opts reading.Options, at logbook.At, run logbook.Run, since *logbook.Run) (logbook.Added, error) {
	ctx := cmd.Context()
	if at.Time.IsZero() && at.Supersedes != 0 {
		old, err := book.Entry(ctx, at.Supersedes)
		if err != nil {
			return logbook.Added{}, err
		}
		at.Time = old.Time
	}
	at.Time = orNow(timeOrNil(at.Time))
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
		return book.LegFromNumber(ctx, at, run, logreading.Heading(r, l.anew), whole)
	})
}

func timeOrNil(t time.Time) *time.Time {
	if t.IsZero() {
		return nil
	}
	return &t
}

func (l *legFlags) logPhoto(ctx context.Context, s *streams, book *logbook.Log, opts reading.Options, path string, at logbook.At, run logbook.Run, since *logbook.Run) (logbook.Added, error) {
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
	if err := s.confirmHour(r, l.photo.when.time != "" && len(logreading.Odd(r)) == 0); err != nil {
		return logbook.Added{}, err
	}
	p, err := photoReading(path, r, l.anew)
	if err != nil {
		return logbook.Added{}, err
	}
	p.Name, p.SHA256 = filepath.Base(path), sum
	if at.Time.IsZero() && p.Time.IsZero() { // refused, yet the leg was changed
		at.Time = orNow(nil)
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
