//go:build nodatabase

package logbook

import (
	"database/sql"
	"database/sql/driver"

	"shadowread/internal/fault"
)

// A build with the tag nodatabase keeps no log: 6 MB less.
type absent struct{}

func init() { sql.Register("sqlite", absent{}) }

func (absent) Open(string) (driver.Conn, error) {
	return nil, fault.New("no_database", "use a build of the program without the tag nodatabase", "this build of the program keeps no log")
}

func sqliteCode(error) int { return 0 }
