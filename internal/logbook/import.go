package logbook

import (
	"cmp"
	"context"
	"crypto/sha256"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/fault"
	"shadowread/internal/openfile"
	"shadowread/internal/workup"
)

// Imported tells what an import did. If it failed on the way, what was added before
// stays, and the same import goes on from there.
type Imported struct {
	Added   []int // numbers of entries
	Already int   // photos or rows that were in the log
	// Entries added that wait for the user.
	NeedHeading, NeedConfirmation []int
}

func (i *Imported) add(a Added) {
	i.Added = append(i.Added, a.Entry.Number)
	if a.NeedsHeading {
		i.NeedHeading = append(i.NeedHeading, a.Entry.Number)
	}
	if a.Closing != nil && !a.Closing.Used {
		i.NeedConfirmation = append(i.NeedConfirmation, a.Entry.Number)
	}
}

// PhotoImport is the photos of a folder with a CSV of odometer readings, one row for
// each photo, by name or by time.
type PhotoImport struct {
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
	Read func(ctx context.Context, path string, at time.Time, here *Estimate) (PhotoReading, error)
	// Progress, if not nil, is told of each entry once it is on the disk.
	Progress func(Added)
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

// ImportPhotos changes leg by each photo of a folder, in the order of their times.
// Photos in the log already are passed over, so that an import that was broken off
// goes on, to the same result.
//
// Before anything is written it fails with the codes of table.Form.Read, "bad_row" and those of its fields,
// "row_without_photo", "photo_without_row", "photo_no_time", "time_mismatch" or
// "unreadable_file"; then as LegFromPhoto and Read do. Messages name file and line.
func (l *Log) ImportPhotos(ctx context.Context, in PhotoImport) (Imported, error) {
	var done Imported
	photos, err := l.gather(ctx, in, &done)
	if err != nil {
		return done, err
	}
	for _, p := range photos {
		added, err := l.importPhoto(ctx, in, p)
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

func (l *Log) importPhoto(ctx context.Context, in PhotoImport, p *photoFile) (Added, error) {
	var reading PhotoReading
	read := func(ctx context.Context, here *Estimate) (at time.Time, err error) {
		reading, err = in.Read(ctx, p.path, p.when(), here)
		return reading.Time, err
	}
	_, err := l.ReadHere(ctx, p.when(), &p.row.run, read)
	if code := fault.Code(err); code == "position_lost" || code == "estimate_unsettled" {
		_, err = read(ctx, nil)
	}
	if err != nil {
		return Added{}, err
	}
	reading.Name, reading.SHA256 = p.name, p.sum
	return l.LegFromPhoto(ctx, At{Time: p.when(), Note: p.row.note}, p.row.run, reading)
}

// gather returns the photos that are not in the log, each with its row, by time.
func (l *Log) gather(ctx context.Context, in PhotoImport, done *Imported) ([]*photoFile, error) {
	rows, err := readPhotoCSV(in.Name, in.CSV, in.UTCOffset)
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
		number, err := l.LoggedPhoto(ctx, p.sum)
		switch {
		case err != nil:
			return nil, err
		case number != 0 || seen[p.sum]:
			done.Already++
			continue
		case p.row == nil:
			return nil, bad("photo_without_row", "give each photo a row with its name or time, and the odometer's reading; take photos of other things out of the folder",
				"%s has no row for the photo %s", in.Name, p.name)
		case p.when().IsZero():
			return nil, p.row.Wrong(bad("photo_no_time", "give the row a time", "the photo %s does not say when it was taken", p.name))
		}
		seen[p.sum] = true
		fresh = append(fresh, p)
	}
	slices.SortStableFunc(fresh, func(a, b *photoFile) int { return a.when().Compare(b.when()) })
	return fresh, nil
}

// look hashes the photos and asks for their times.
func (in PhotoImport) look(ctx context.Context) ([]*photoFile, error) {
	var photos []*photoFile
	for _, path := range in.Photos {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		p := &photoFile{name: filepath.Base(path), path: path}
		var err error
		if p.sum, err = HashFile(p.path); err != nil {
			return nil, err
		}
		if p.time, err = in.TimeOf(ctx, p.path); err != nil {
			return nil, err
		}
		photos = append(photos, p)
	}
	return photos, nil
}

// HashFile returns the SHA-256 of a file's bytes, by which the log knows a photo.
// It fails with code "unreadable_file" or "not_a_file".
func HashFile(path string) (sum [sha256.Size]byte, err error) {
	f, err := openfile.Regular(path)
	if err != nil {
		return sum, err
	}
	defer f.Close()
	h := sha256.New()
	if _, err = io.Copy(h, f); err == nil {
		return [sha256.Size]byte(h.Sum(nil)), nil
	}
	return sum, fault.Wrap(err, "unreadable_file", "check that it is there and may be read", "%s cannot be read", path)
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
			return r.Wrong(bad("row_without_photo", "check the name, or take the row out", "there is no photo %q in the folder", r.photo))
		case found == nil:
			return r.Wrong(bad("row_without_photo", "check time and UTC offset, or name the photo", "no photo of the folder was taken within %s of %s",
				timeTolerance, r.time.Format(time.RFC3339)))
		case found.row != nil:
			return r.Wrong(bad("row_without_photo", "name the photo in both rows", "the photo %s belongs to line %d already", found.name, found.row.Line))
		case r.photo != "" && !r.time.IsZero() && !found.time.IsZero() && apart(r.time, found.time) > timeTolerance:
			return r.Wrong(bad("time_mismatch", "check the camera's clock and the UTC offsets; an hour is worth 15 degrees",
				"the photo %s says it was taken at %s, the row %s", found.name, found.time.UTC().Format(time.RFC3339), r.time.UTC().Format(time.RFC3339)))
		}
		found.row = r
	}
	return nil
}

func apart(a, b time.Time) time.Duration { return a.Sub(b).Abs() }

// HandImport is a CSV of entries copied from a paper log.
type HandImport struct {
	// CSV has the columns of docs/log.md; Name is the file's for messages.
	CSV  io.Reader
	Name string
	// UTCOffset is for times without one; may be nil.
	UTCOffset *time.Duration
	// Model is for journeys that the file begins; empty stands for workup.Land().
	Model workup.Model
	// Number works out a heading from a number read by eye at a time, with its sigma,
	// 0 for the default, and the reading as JSON; here is the log's estimate, nil if
	// there is none. Nil if the file may not have such rows.
	Number func(ctx context.Context, number, sigma angle.Angle, at time.Time, here *Estimate) (Reading, []byte, error)
	// Rounded, if not nil, is told before a row goes in whose position is written with so
	// few digits that its error is more than the row states.
	Rounded func(message string)
	// Progress, if not nil, is told of each entry once it is on the disk.
	Progress func(Added)
}

// ImportHand enters the rows of a paper log in the order of their times, those of
// one time in the order of the file. Rows that are in the log already are passed
// over, so that an import that was broken off goes on, to the same result, and a
// file that was added to may be imported again.
//
// Before anything is written it fails with the codes of table.Form.Read, "bad_row" and those of its fields;
// then with "row_changed" for a row that was edited since it was entered, and as the verbs
// and Number do. Messages name file and line.
func (l *Log) ImportHand(ctx context.Context, in HandImport) (Imported, error) {
	var done Imported
	rows, err := readHandCSV(in.Name, in.CSV, in.UTCOffset)
	if err != nil {
		return done, err
	}
	slices.SortStableFunc(rows, func(a, b handRow) int { return cmp.Compare(a.at.Time.UnixNano(), b.at.Time.UnixNano()) })
	inFile := map[string]bool{}
	for _, r := range rows {
		inFile[r.key] = true
	}
	for _, r := range rows {
		added, isNew, err := l.importHand(ctx, in, r, inFile)
		switch {
		case err != nil:
			return done, r.Wrong(err)
		case !isNew:
			done.Already++
			continue
		}
		done.add(added)
		if in.Progress != nil {
			in.Progress(added)
		}
	}
	return done, nil
}

func (l *Log) importHand(ctx context.Context, in HandImport, r handRow, inFile map[string]bool) (added Added, isNew bool, err error) {
	known := func(q querier) (is bool, err error) {
		err = q.QueryRowContext(ctx, "SELECT EXISTS (SELECT 1 FROM entries WHERE import_key = ?)", r.key).Scan(&is)
		return is, err
	}
	if is, err := known(l.db); is || err != nil {
		return Added{}, false, storeError(err)
	}
	if d, ok := r.content.(*Departure); ok && in.Model != (workup.Model{}) {
		d.Model = in.Model
	}
	if r.rounded != "" && in.Rounded != nil {
		in.Rounded(r.Wrong(errors.New(r.rounded)).Error())
	}
	p := proof{importKey: r.key}
	if r.number != nil {
		if p.reading, err = l.readNumber(ctx, in, r); err != nil {
			return Added{}, false, err
		}
	}
	err = l.write(ctx, func(tx *sql.Tx) error {
		is, err := known(tx)
		if isNew = !is; is || err != nil { // another process may import the same
			return err
		}
		if err := unchanged(ctx, tx, r, inFile); err != nil {
			return err
		}
		added, err = l.addIn(ctx, tx, r.at, r.content, p)
		return err
	})
	return added, isNew && err == nil, err
}

// unchanged refuses a row that stands for an entry of the same kind and time which came
// from a row that the file no longer has: it was edited, and would count twice. Only the
// latest entries can be meant, since an earlier time is refused anyhow.
func unchanged(ctx context.Context, tx *sql.Tx, r handRow, inFile map[string]bool) error {
	const latest = 50
	if _, ok := r.content.(*Note); ok { // counts for nothing, and two may be of one minute
		return nil
	}
	rows, err := tx.QueryContext(ctx, `SELECT number, import_key FROM entries
		WHERE number > (SELECT max(number) FROM entries) - ? AND time_ns = ? AND kind = ? AND import_key IS NOT NULL`,
		latest, r.at.Time.UnixNano(), string(r.content.Kind()))
	if err != nil {
		return storeError(err)
	}
	defer rows.Close()
	for rows.Next() {
		var number int64
		var key string
		if err := rows.Scan(&number, &key); err != nil {
			return storeError(err)
		}
		if !inFile[key] {
			return bad("row_changed", fmt.Sprintf("correct the entry in the log (log correct %d), or give the row its own time if it is another entry", number),
				"entry %d is of the same time and kind, from a row that the file no longer has", number)
		}
	}
	return storeError(rows.Err())
}

// readNumber fills in the leg's reading and returns it as JSON.
func (l *Log) readNumber(ctx context.Context, in HandImport, r handRow) ([]byte, error) {
	if in.Number == nil {
		return nil, r.Bad("numbers read by eye cannot be worked out here")
	}
	leg := r.content.(*Leg)
	here, err := l.EstimateAt(ctx, r.at.Time, &leg.Run)
	if err != nil && fault.Code(err) != "position_lost" {
		return nil, err
	}
	reading, whole, err := in.Number(ctx, *r.number, r.numberSigma, r.at.Time, here)
	if err != nil {
		return nil, err
	}
	leg.Reading = &reading
	return whole, nil
}
