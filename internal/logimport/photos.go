package logimport

import (
	"context"
	"crypto/sha256"
	"io"
	"path/filepath"
	"slices"
	"time"

	"shadowread/internal/fault"
	"shadowread/internal/logbook"
	"shadowread/internal/table"
)

// Folder is the photos of a folder with a CSV of odometer readings, one row for
// each photo, by name or by time.
type Folder struct {
	Photos []string // paths
	// CSV has the columns photo, time (RFC 3339), one of odometer_km, odometer_mi
	// and odometer_nmi, and perhaps rolled_over_digits and note. Name is the file's
	// for messages.
	CSV  io.Reader
	Name string
	// UTCOffset is for times in the CSV without one; may be nil.
	UTCOffset *time.Duration
	// TimeOf returns when a photo was taken, or the zero time if it does not say. It
	// must agree with Read.
	TimeOf func(ctx context.Context, path string) (time.Time, error)
	// Read reads a photo; at is its time, by TimeOf or else by the CSV, and here the
	// log's estimate, nil if there is none. A refusal is in the PhotoReading; an
	// error ends the import. Name and SHA256 are filled in by the import.
	Read func(ctx context.Context, path string, at time.Time, here *logbook.Estimate) (logbook.PhotoReading, error)
	// Progress, if not nil, is told of each entry once it is on the disk.
	Progress func(logbook.Added)
}

// timeTolerance is how far a photo's time may be from that noted with an odometer
// reading: the minute it was rounded to, and another to write it down (a judgement).
const timeTolerance = 2 * time.Minute

// photoFile is a photo of a folder.
type photoFile struct {
	name, path string
	sum        [sha256.Size]byte
	time       time.Time // zero: it does not say
	row        *photoRow
}

// when returns the time of the entry.
func (p *photoFile) when() time.Time {
	if p.time.IsZero() {
		return p.row.time
	}
	return p.time
}

// Import changes leg by each photo of a folder, in the order of their times. Photos in
// the log already are passed over, so that an import that was broken off goes on, to the
// same result.
//
// Before anything is written it fails with the codes of table.Form.Read, "bad_row" and
// those of its fields, "row_without_photo", "photo_without_row", "photo_no_time",
// "time_mismatch" or "unreadable_file"; then as LegFromPhoto and Read do. Messages name
// file and line.
func (in Folder) Import(ctx context.Context, book *logbook.Log) (Imported, error) {
	var done Imported
	photos, err := in.gather(ctx, book, &done)
	if err != nil {
		return done, err
	}
	for _, p := range photos {
		added, err := in.enter(ctx, book, p)
		if fault.Code(err) == "photo_already_logged" { // by another process
			done.Already++
			continue
		}
		if err != nil {
			return done, p.row.Wrong(err)
		}
		done.add(added)
		if in.Progress != nil {
			in.Progress(added)
		}
	}
	return done, nil
}

func (in Folder) enter(ctx context.Context, book *logbook.Log, p *photoFile) (logbook.Added, error) {
	var reading logbook.PhotoReading
	read := func(ctx context.Context, here *logbook.Estimate) (at time.Time, err error) {
		reading, err = in.Read(ctx, p.path, p.when(), here)
		return reading.Time, err
	}
	_, err := book.ReadHere(ctx, p.when(), &p.row.run, read)
	if code := fault.Code(err); code == "position_lost" || code == "estimate_unsettled" {
		_, err = read(ctx, nil)
	}
	if err != nil {
		return logbook.Added{}, err
	}
	reading.Name, reading.SHA256 = p.name, p.sum
	return book.LegFromPhoto(ctx, logbook.At{Time: p.when(), Note: p.row.note}, p.row.run, reading)
}

// gather returns the photos that are not in the log, each with its row, by time.
func (in Folder) gather(ctx context.Context, book *logbook.Log, done *Imported) ([]*photoFile, error) {
	rows, err := readPhotoRows(in.Name, in.CSV, in.UTCOffset)
	if err != nil {
		return nil, err
	}
	photos, err := in.look(ctx)
	if err != nil {
		return nil, err
	}
	if err := match(photos, rows); err != nil {
		return nil, err
	}
	var fresh []*photoFile
	seen := map[[sha256.Size]byte]bool{}
	for _, p := range photos {
		number, err := book.LoggedPhoto(ctx, p.sum)
		switch {
		case err != nil:
			return nil, err
		case number != 0 || seen[p.sum]:
			done.Already++
			continue
		case p.row == nil:
			return nil, fault.New("photo_without_row", "give each photo a row with its name or time, and the odometer's reading; take photos of other things out of the folder",
				"%s has no row for the photo %s", in.Name, p.name)
		case p.when().IsZero():
			return nil, p.row.Wrong(fault.New("photo_no_time", "give the row a time", "the photo %s does not say when it was taken", p.name))
		}
		seen[p.sum] = true
		fresh = append(fresh, p)
	}
	slices.SortStableFunc(fresh, func(a, b *photoFile) int { return a.when().Compare(b.when()) })
	return fresh, nil
}

// look hashes the photos and asks for their times.
func (in Folder) look(ctx context.Context) ([]*photoFile, error) {
	var photos []*photoFile
	for _, path := range in.Photos {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		p := &photoFile{name: filepath.Base(path), path: path}
		var err error
		if p.sum, err = logbook.HashFile(p.path); err != nil {
			return nil, err
		}
		if p.time, err = in.TimeOf(ctx, p.path); err != nil {
			return nil, err
		}
		photos = append(photos, p)
	}
	return photos, nil
}

// match gives each photo its row: the one that names it, or else the one whose time
// is nearest to its own. No row may be left over.
func match(photos []*photoFile, rows []photoRow) error {
	for i := range rows {
		r := &rows[i]
		var found *photoFile
		for _, p := range photos {
			switch {
			case r.photo != "" && p.name == r.photo:
				found = p
			case r.photo == "" && !p.time.IsZero() && apart(p.time, r.time) <= timeTolerance &&
				(found == nil || apart(p.time, r.time) < apart(found.time, r.time)):
				found = p
			}
		}
		switch {
		case found == nil && r.photo != "":
			return r.Wrong(fault.New("row_without_photo", "check the name, or take the row out", "there is no photo %q in the folder", r.photo))
		case found == nil:
			return r.Wrong(fault.New("row_without_photo", "check time and UTC offset, or name the photo", "no photo of the folder was taken within %s of %s",
				timeTolerance, r.time.Format(time.RFC3339)))
		case found.row != nil:
			return r.Wrong(fault.New("row_without_photo", "name the photo in both rows", "the photo %s belongs to line %d already", found.name, found.row.Line))
		case r.photo != "" && !r.time.IsZero() && !found.time.IsZero() && apart(r.time, found.time) > timeTolerance:
			return r.Wrong(fault.New("time_mismatch", "check the camera's clock and the UTC offsets; an hour is worth 15 degrees",
				"the photo %s says it was taken at %s, the row %s", found.name, found.time.UTC().Format(time.RFC3339), r.time.UTC().Format(time.RFC3339)))
		}
		found.row = r
	}
	return nil
}

func apart(a, b time.Time) time.Duration { return a.Sub(b).Abs() }

// photoRow is a row of an odometer file.
type photoRow struct {
	wayRow
	photo string    // "": by time
	time  time.Time // zero: by name
	run   logbook.Run
	note  string
}

var photoForm = table.Form{
	Columns: []string{"photo", "time", "odometer_km", "odometer_mi", "odometer_nmi", "rolled_over_digits", "note"}, Numbers: numberColumns,
	Needed:   [][]string{{"photo", "time"}, odometerNames},
	Names:    "photo or time, and odometer_km, odometer_mi or odometer_nmi",
	MaxBytes: maxCSV, MaxRows: maxCSVRows,
}

func readPhotoRows(file string, r io.Reader, offset *time.Duration) (rows []photoRow, err error) {
	err = photoForm.Read(r, file, func(r table.Row) (err error) {
		row := photoRow{wayRow: wayRow{r}, photo: r.Field("photo"), note: r.Text("note")}
		if row.time, err = row.wayRow.time(offset); err != nil {
			return err
		}
		if row.run.Odometer, err = row.odometer(); err != nil {
			return err
		}
		switch {
		case row.run.Odometer == nil:
			return r.Bad("the row has no odometer reading")
		case row.photo == "" && row.time.IsZero():
			return r.Bad("the row names no photo and no time")
		}
		rows = append(rows, row)
		return nil
	})
	return rows, err
}
