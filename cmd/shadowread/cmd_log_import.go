package main

import (
	"context"
	"io"
	"os"
	"time"

	"github.com/spf13/cobra"

	"shadowread/internal/fault"
	"shadowread/internal/logbook"
	"shadowread/internal/logimport"
	"shadowread/internal/logreading"
	"shadowread/internal/openfile"
	"shadowread/internal/reading"
	"shadowread/internal/wholefile"
)

type importOptions struct {
	log       logFlag
	photo     photoFlags
	stance    stanceFlags
	known     knownFlags
	anew      bool
	odometers string
	entries   string
}

func newLogImport(s *streams) *cobra.Command {
	o := importOptions{photo: newPhotoFlags(), stance: newStanceFlags()}
	cmd := &cobra.Command{
		Use:   "import FOLDER --odometers FILE | --entries FILE",
		Short: "log a folder of photos and odometer readings, or a paper log",
		Long: `Log a folder of photos (JPEG, PNG, TIFF, HEIC) as changes of leg in the order
of their times; overlays in it that shadowread read drew are passed over. The
CSV file of --odometers has a row for each photo: the columns photo (its file
name) or time (RFC 3339), odometer_km, odometer_mi or odometer_nmi, and if need
be rolled_over_digits and note. The journey must have been begun.

Or, with --entries, log a CSV file of entries copied from a paper log: the
columns are in docs/log.md, the first of them entry (departure, leg, detour,
halt, fix, note, remount, tyres, odometer_set) and time.

Each entry is on the disk when it is listed. What is in the log already is
passed over: an import that was broken off, or a file that has grown, goes in
again. Headings that photos do not give are asked for, and the exit status is 3.`,
		Example: `  shadowread log begin --log photos.db --position -22.90000,22.30000 --error 15 --odometer 45210.0km --time 2026-08-29T08:05:00+02:00
  shadowread log import --log photos.db fixtures/journey/29-august --odometers fixtures/journey/29-august/odometer.csv
  shadowread log import --log paper.db --entries fixtures/journey/paper.csv`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) > 1 {
				return fault.Usage("unexpected_argument", "import one folder after the other", "unexpected argument %q", args[1])
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error { return runImport(cmd, s, &o, args) },
	}
	f := cmd.Flags()
	f.SortFlags = false
	f.StringVar(&o.odometers, "odometers", "", "the odometer at each photo, from this CSV `FILE`")
	f.StringVar(&o.entries, "entries", "", "entries of a paper log, from this CSV `FILE`")
	o.log.add(cmd)
	addJSON(cmd, s)
	o.photo.add(cmd, "")
	f.MarkHidden("time")
	f.Lookup("utc-offset").Usage = "of the camera's clock, and of times in the file without one, as +02:00 or 2; east is positive (default the journey's)"
	f.Lookup("position").Usage = "where, for all photos (default from the photo, else the log's estimate)"
	f.BoolVar(&o.anew, "set-up-anew", false, "the instrument was put down and levelled for each reading, not mounted")
	o.stance.addHorizon(f)
	o.known.add(cmd)
	inGroup(cmd, everyday, "odometers", "entries", "rod-height", "utc-offset", "instrument", "log", "json")
	inGroup(cmd, seldom)
	return cmd
}

// check refuses flags that do not go together.
func (o *importOptions) check(cmd *cobra.Command, args []string) error {
	switch {
	case o.odometers != "" && o.entries != "":
		return exclusive(cmd, "odometers", "entries")
	case len(args) == 1 && o.entries != "":
		return fault.Usage("contradicting_flags", "import the two one after the other", "--entries and the folder %s contradict each other", args[0])
	case len(args) == 1 && o.odometers == "":
		return fault.Usage("no_odometers", "give --odometers FILE, with a row for each photo", "the odometer's readings are not given")
	case len(args) == 0 && o.odometers != "":
		return fault.Usage("no_folder", "name the folder of the photos", "no folder given")
	case len(args) == 0 && o.entries == "":
		return fault.Usage("nothing_to_import", "name a folder and --odometers FILE, or give --entries FILE", "there is nothing to import")
	case o.photo.when.time != "":
		return fault.Usage("time_with_many_photos", "give --utc-offset and --clock-error, or times in the file", "--time is the time of one photo")
	}
	return nil
}

// options is how photos and numbers are read.
func (o *importOptions) options(cmd *cobra.Command) (reading.Options, error) {
	opts, err := o.photo.options(cmd)
	if err != nil {
		return opts, err
	}
	if err := o.stance.checkHorizon(cmd); err != nil {
		return opts, err
	}
	opts.Horizon = o.stance.country()
	return opts, o.known.use(cmd, &opts)
}

// photosIn lists the photos of the folder to import.
func photosIn(s *streams, folder string) ([]string, error) {
	if _, err := os.ReadDir(folder); err != nil {
		return nil, fault.Wrap(wholefile.Cause(err), "unreadable_file", "name the folder of the photos", "the folder %s cannot be read", folder)
	}
	return expand(s, []string{folder})
}

func runImport(cmd *cobra.Command, s *streams, o *importOptions, args []string) error {
	if err := o.check(cmd, args); err != nil {
		return err
	}
	opts, err := o.options(cmd)
	if err != nil {
		return err
	}
	in := importFile{name: o.odometers + o.entries, offset: o.photo.when.offset.given()}
	csv, err := openfile.Regular(in.name)
	if err != nil {
		return err
	}
	defer csv.Close()
	in.csv = csv
	var photos []string
	if len(args) == 1 {
		if photos, err = photosIn(s, args[0]); err != nil {
			return err
		}
	}

	// One that cannot be printed ends the import: what stands in the log stays, and the
	// rest can be imported again.
	ctx, cancel := context.WithCancel(cmd.Context())
	defer cancel()
	say := newImportSays(s, cancel)
	defer say.bar.wipe()
	// A file with departures may begin a log.
	return o.log.with(ctx, s, o.entries != "", func(book *logbook.Log) error {
		say.shown = func(e *logbook.Entry) (logbook.DialReading, error) { return shownOf(ctx, book, e) }
		say.suspects = func(a *logbook.Added) ([]logbook.Suspect, error) { return suspectsOf(ctx, book, a) }
		from := held{o: o, cmd: cmd, s: s, book: book, options: opts}
		if o.entries != "" {
			set, err := book.SettingsOf(ctx, 0)
			if err != nil && fault.Code(err) != "no_journey" {
				return err
			}
			in.journeys = set.UTCOffset
			return say.end(in.paper(ctx, book, from.number, say))
		}
		reader, err := from.reader(ctx)
		if err != nil {
			return err
		}
		if in.offset == nil {
			in.offset = from.set.UTCOffset
		}
		return say.end(in.folder(ctx, book, reader, photos, say))
	})
}

// importFile is the CSV file of an import.
type importFile struct {
	name   string
	csv    io.Reader
	offset *time.Duration
	// journeys is for rows of a paper log that go on with the journey.
	journeys *time.Duration
}

func (f importFile) paper(ctx context.Context, book *logbook.Log, number numberReader, say *importSays) (logimport.Imported, error) {
	return logimport.Paper{
		CSV: f.csv, Name: f.name, UTCOffset: f.offset, JourneysOffset: f.journeys, Progress: say.added, Rounded: say.rounded, Number: number,
	}.Import(ctx, book)
}

func (f importFile) folder(ctx context.Context, book *logbook.Log, reader *logreading.Importer, photos []string, say *importSays) (logimport.Imported, error) {
	if w, err := book.Where(ctx, 0); err == nil {
		reader.Now = logreading.Place(&w.Estimate)
	}
	return logimport.Folder{
		Photos: photos, CSV: f.csv, Name: f.name, UTCOffset: f.offset, Progress: say.added, TimeOf: reader.TimeOf,
		Read: func(ctx context.Context, path string, at time.Time, here *logbook.Estimate) (logbook.PhotoReading, error) {
			say.bar.show("reading %s", path)
			defer say.bar.wipe()
			return reader.Read(ctx, path, at, here)
		},
	}.Import(ctx, book)
}

// importSays prints what an import does.
type importSays struct {
	s      *streams
	bar    progress
	table  *table
	failed error // of printing
	stop   func()
	shown  func(*logbook.Entry) (logbook.DialReading, error)
	// suspects are the slips that would close a fix that is far off.
	suspects func(*logbook.Added) ([]logbook.Suspect, error)
}

func newImportSays(s *streams, stop func()) *importSays {
	return &importSays{s: s, bar: progress{s: s}, table: addedTable(s), stop: stop}
}

func (p *importSays) added(a logbook.Added) {
	p.bar.wipe()
	suspects, err := p.suspects(&a)
	switch {
	case err != nil:
		p.failed = err
	case p.s.json:
		var shown logbook.DialReading
		if shown, p.failed = p.shown(&a.Entry); p.failed == nil {
			out := addedOf(a, shown)
			out.Suspects = suspectsJSON(suspects)
			p.failed = p.s.printJSON(out)
		}
	default:
		p.failed = addedRow(p.table, a)
	}
	if p.failed != nil {
		p.stop()
	}
	tellAdded(p.s, a)
	tellOdd(p.s, a, suspects)
}

func (p *importSays) rounded(message string) {
	p.bar.wipe()
	p.s.note("position_rounded", "%s", message)
}

// end says what came of it all.
func (p *importSays) end(done logimport.Imported, err error) error {
	p.bar.wipe()
	switch {
	case p.failed != nil:
		return p.failed
	case err != nil:
		if n := len(done.Added); n > 0 {
			p.s.note("imported", "%s before that went into the log; what is there already is passed over when you import again", entriesText(n))
		}
		return err
	}
	p.s.note("imported", "%s added, %d were in the log already", entriesText(len(done.Added)), done.Already)
	if len(done.NeedHeading) > 0 {
		return errRefused
	}
	return nil
}
