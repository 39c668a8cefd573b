package logimport

import (
	"path/filepath"
	"testing"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/geo"
	"shadowread/internal/logbook"
)

// The scenario is invented: two trucks survey a salt pan that does not exist.
var (
	pan     = geo.Position{Lat: -20.6142 * angle.Degree, Lon: 25.431 * angle.Degree}
	morning = time.Date(2026, 3, 14, 6, 0, 0, 0, time.UTC)
)

const deg = angle.Degree

// open opens a log that is closed with the test. Its clock stands still.
func open(t testing.TB, path string) *logbook.Log {
	t.Helper()
	l, err := logbook.Open(t.Context(), path, logbook.Options{Create: true, Now: func() time.Time { return morning.Add(24 * time.Hour) }})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	return l
}

func newLog(t testing.TB) *logbook.Log { return open(t, filepath.Join(t.TempDir(), "log.db")) }

// at is a time on the first day, in minutes after the departure.
func at(minutes float64) logbook.At {
	return logbook.At{Time: morning.Add(time.Duration(minutes * float64(time.Minute)))}
}

func km(text string) logbook.Run {
	return logbook.ByOdometer(logbook.Odometer{AsGiven: text, Unit: logbook.Kilometres})
}

func by(heading, sigma float64) logbook.Heading {
	return logbook.Heading{Heading: angle.FromDegrees(heading), Sigma: angle.FromDegrees(sigma)}
}

// must passes what an entry that has to be taken returns.
func must(t testing.TB) func(a logbook.Added, err error) logbook.Added {
	return func(a logbook.Added, err error) logbook.Added {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return a
	}
}

// begun returns a log with a departure, odometer at 1000.0 km.
func begun(t testing.TB) *logbook.Log {
	l := newLog(t)
	must(t)(l.Begin(t.Context(), at(0), logbook.Departure{Position: pan, Sigma: 20, Odometer: km("1000.0").Odometer}))
	return l
}

func apartMetres(t testing.TB, a, b geo.Position) float64 {
	t.Helper()
	_, d, err := geo.GeodesicInverse(a, b)
	if err != nil {
		t.Fatal(err)
	}
	return float64(d)
}
