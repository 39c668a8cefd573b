package logbook

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"io"

	"shadowread/internal/fault"
	"shadowread/internal/openfile"
)

// mostSummed bounds the bytes that are summed, some seconds' worth: four times those of the
// largest photo that is read.
const mostSummed = 512 << 20

// HashFile returns the SHA-256 of a file's bytes, by which the log knows a photo.
// It fails with code "unreadable_file", "too_large" or "not_a_file".
func HashFile(path string) (sum [sha256.Size]byte, err error) {
	f, err := openfile.Regular(path)
	if err != nil {
		return sum, err
	}
	defer f.Close()
	h := sha256.New()
	n, err := io.Copy(h, io.LimitReader(f, mostSummed+1))
	switch {
	case err == nil && n > mostSummed:
		return sum, fault.New("too_large", "name a photo", "%s is larger than 512 MB, which no photo is", path)
	case err == nil:
		return [sha256.Size]byte(h.Sum(nil)), nil
	}
	return sum, fault.Wrap(err, "unreadable_file", "check that it is there and may be read", "%s cannot be read", path)
}

// Copied is what the log keeps of the row of a file that an entry is copied from, so that
// the row goes in once, however often the file does.
type Copied struct {
	Key string // tells the row from any other
	// Whole is the entry's reading as JSON; may be nil.
	Whole []byte
	// InFile reports whether the file has the row of a key.
	InFile func(key string) bool
}

// HasCopied reports whether the row of this key is in the log.
func (l *Log) HasCopied(ctx context.Context, key string) (bool, error) {
	is, err := hasCopied(ctx, l.db, key)
	return is, storeError(err)
}

func hasCopied(ctx context.Context, q querier, key string) (is bool, err error) {
	err = q.QueryRowContext(ctx, "SELECT EXISTS (SELECT 1 FROM entries WHERE import_key = ?)", key).Scan(&is)
	return is, err
}

// AddCopied enters what a row of a file says; isNew is false if it is in the log already.
// It fails as the verbs do, and with code "row_changed" for a row that was edited since
// it was entered.
func (l *Log) AddCopied(ctx context.Context, at At, c Content, from Copied) (added Added, isNew bool, err error) {
	p := proof{importKey: from.Key, reading: from.Whole}
	if err := p.validate(); err != nil {
		return Added{}, false, err
	}
	err = l.write(ctx, func(tx *sql.Tx) error {
		is, err := hasCopied(ctx, tx, from.Key)
		if isNew = !is; is || err != nil { // another process may import the same
			return err
		}
		if err := unchanged(ctx, tx, at, c, from); err != nil {
			return err
		}
		added, err = l.addIn(ctx, tx, at, c, p)
		return err
	})
	return added, isNew && err == nil, err
}

// unchanged refuses a row that stands for an entry of the same kind and time which came
// from a row that the file no longer has: it was edited, and would count twice. Only the
// latest entries can be meant, since an earlier time is refused anyhow.
func unchanged(ctx context.Context, tx *sql.Tx, at At, c Content, from Copied) error {
	const latest = 50
	if _, ok := c.(*Note); ok { // counts for nothing, and two may be of one minute
		return nil
	}
	rows, err := tx.QueryContext(ctx, `SELECT number, import_key FROM entries
		WHERE number > (SELECT max(number) FROM entries) - ? AND time_ns = ? AND kind = ? AND import_key IS NOT NULL`,
		latest, at.Time.UnixNano(), string(c.Kind()))
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
		if !from.InFile(key) {
			return bad("row_changed", "correct the entry in the log (shadowread log correct), or give the row its own time if it is another entry",
				"entry %d is of the same time and kind, from a row that the file no longer has", number)
		}
	}
	return storeError(rows.Err())
}
