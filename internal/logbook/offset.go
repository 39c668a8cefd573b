package logbook

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"
)

// The UTC offset by which an entry's time was said stands behind what it says: times are
// shown on the clock that the log was kept by.
const offsetKey = `"utc_offset_s":`

// withOffset adds an offset to what is stored of a content, a JSON object.
func withOffset(content string, offset *time.Duration) string {
	if offset == nil {
		return content
	}
	lead := ","
	if content == "{}" {
		lead = ""
	}
	return fmt.Sprintf("%s%s%s%d}", strings.TrimSuffix(content, "}"), lead, offsetKey, *offset/time.Second)
}

// offsetIn returns the offset that is stored with a content, nil if there is none.
func offsetIn(content string) *time.Duration {
	i := strings.LastIndex(content, offsetKey)
	if i < 0 {
		return nil
	}
	seconds, err := strconv.Atoi(strings.TrimSuffix(content[i+len(offsetKey):], "}"))
	if err != nil {
		return nil
	}
	return new(time.Duration(seconds) * time.Second)
}

// maxOffset is more than any clock is set by.
const maxOffset = 24 * time.Hour

func validOffset(offset *time.Duration) error {
	if offset != nil && (offset.Abs() > maxOffset || *offset%time.Second != 0) {
		return bad("bad_offset", "give the clock's difference from UTC, as +02:00", "the UTC offset %v is none", *offset)
	}
	return nil
}

// Offsets returns by which UTC offset the time of each entry is shown: its own, else that of
// the nearest before, else of the nearest after; nil where none is known.
func Offsets(entries []Entry) []*time.Duration {
	out := make([]*time.Duration, len(entries))
	var last *time.Duration
	for i := range entries {
		if entries[i].Offset != nil {
			last = entries[i].Offset
		}
		out[i] = last
	}
	for i := len(out) - 2; i >= 0 && last != nil; i-- {
		if out[i] == nil {
			out[i] = out[i+1]
		}
	}
	return out
}

// Offset returns the UTC offset by which the journey's times were said last, nil where none
// was; journey 0 is the last.
func (l *Log) Offset(ctx context.Context, journey int) (offset *time.Duration, err error) {
	err = l.read(ctx, func(tx *sql.Tx) error {
		journey, err := theJourney(ctx, tx, journey)
		if err != nil {
			return err
		}
		var content string
		err = tx.QueryRowContext(ctx, `SELECT content FROM entries WHERE journey = ? AND instr(content, ?) > 0 ORDER BY number DESC LIMIT 1`, journey, offsetKey).Scan(&content)
		if errors.Is(err, sql.ErrNoRows) {
			return nil
		}
		offset = offsetIn(content)
		return err
	})
	return offset, err
}
