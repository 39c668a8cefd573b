package logbook

import (
	"context"
	"path/filepath"
	"testing"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/geo"
)

// The scenario is invented: two trucks survey a salt pan that does not exist.
var (
	pan    = geo.Position{Lat: -20.6142 * angle.Degree, Lon: 25.431 * angle.Degree}
	start0 = time.Date(2026, 3, 14, 6, 0, 0, 0, time.UTC)
)

func open(t testing.TB, path string) *Log {
	t.Helper()
	l, err := Open(context.Background(), path, Options{Create: true})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	return l
}

func km(text string) Run {
	o, err := ParseOdometer(text, Kilometres)
	if err != nil {
		panic(err)
	}
	return ByOdometer(o)
}

func TestSmoke(t *testing.T) {
	ctx := t.Context()
	l := open(t, filepath.Join(t.TempDir(), "log.db"))
	od := *km("1000.0").Odometer
	if _, err := l.Begin(ctx, At{Time: start0}, Departure{Position: pan, Sigma: 20, Odometer: &od}); err != nil {
		t.Fatal(err)
	}
	h := Heading{90 * angle.Degree, 2 * angle.Degree}
	if _, err := l.LegByHand(ctx, At{Time: start0}, km("1000.0"), h); err != nil {
		t.Fatal(err)
	}
	a, err := l.Halt(ctx, At{Time: start0.Add(time.Hour)}, Halt{km("1030.0")})
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("%+v", a.Estimate)
	w, err := l.WorkUp(ctx, 0)
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("%+v", w.Points[2].At)
}
