//go:build !nodatabase

package logbook

import (
	"errors"

	"modernc.org/sqlite"
)

// sqliteCode is the primary result code of an error of the database, 0 for any other.
func sqliteCode(err error) int {
	var e *sqlite.Error
	if !errors.As(err, &e) {
		return 0
	}
	return e.Code() & 0xff
}
