// Package charttest makes logs of invented journeys for the tests of what shows them.
package charttest

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"path/filepath"
	"testing"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/geo"
	"shadowread/internal/logbook"
	"shadowread/internal/workup"
)

// Departure is when the journeys begin.
var Departure = time.Date(2026, 3, 14, 6, 0, 0, 0, time.UTC)

// At is a position in degrees.
func At(lat, lon float64) geo.Position {
	return geo.Position{Lat: angle.FromDegrees(lat), Lon: angle.FromDegrees(lon)}
}

// Apart returns the distance of two positions.
func Apart(t testing.TB, a, b geo.Position) geo.Metres {
	t.Helper()
	_, d, err := geo.GeodesicInverse(a, b)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// Book is a log under way.
type Book struct {
	*logbook.Log
	t   testing.TB
	now time.Time
	km  float64
}

// New begins a journey with its odometer at 1000.0 km.
func New(t testing.TB, from geo.Position, sigma geo.Metres, model workup.Model) *Book {
	t.Helper()
	clock := func() time.Time { return Departure.Add(72 * time.Hour) }
	l, err := logbook.Open(t.Context(), filepath.Join(t.TempDir(), "log.db"), logbook.Options{Create: true, Now: clock})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	b := &Book{Log: l, t: t, now: Departure, km: 1000}
	run := b.run()
	b.must(l.Begin(t.Context(), b.at(""), logbook.Departure{Position: from, Sigma: sigma, Source: "receiver", Odometer: run.Odometer, Model: model}))
	return b
}

func (b *Book) must(a logbook.Added, err error) logbook.Added {
	b.t.Helper()
	if err != nil {
		b.t.Fatal(err)
	}
	return a
}

func (b *Book) at(note string) logbook.At { return logbook.At{Time: b.now, Note: note} }

func (b *Book) run() logbook.Run {
	o, err := logbook.ParseOdometer(fmt.Sprintf("%.1f", b.km), logbook.Kilometres)
	if err != nil {
		b.t.Fatal(err)
	}
	return logbook.ByOdometer(o)
}

// Go runs on at 40 km/h.
func (b *Book) Go(km float64) {
	b.km += km
	b.now = b.now.Add(time.Duration(km / 40 * float64(time.Hour)))
}

// Wait lets time pass.
func (b *Book) Wait(d time.Duration) { b.now = b.now.Add(d) }

// Photo changes leg by a photo that was read.
func (b *Book) Photo(name string, heading, altitude float64) logbook.Added {
	b.t.Helper()
	var hash [32]byte
	copy(hash[:], name)
	h := angle.FromDegrees(heading)
	return b.must(b.LegFromPhoto(b.t.Context(), b.at(""), b.run(), logbook.PhotoReading{
		Name: name, SHA256: hash, Time: b.now,
		Reading: &logbook.DialHeading{
			Heading: h, Sigma: 1.2 * angle.Degree, Level: 0.5 * angle.Degree, Alignment: 1 * angle.Degree,
			Body: &workup.Body{Azimuth: 80 * angle.Degree, Altitude: angle.FromDegrees(altitude)},
		},
		Whole: []byte(`{}`), Overlay: picture(),
	}))
}

// Refused changes leg by a photo that was refused, and gives the heading by hand if it
// is not negative.
func (b *Book) Refused(name, code, message string, byHand float64) logbook.Added {
	b.t.Helper()
	var hash [32]byte
	copy(hash[:], name)
	a := b.must(b.LegFromPhoto(b.t.Context(), b.at(""), b.run(), logbook.PhotoReading{Name: name, SHA256: hash, Time: b.now, Refused: code, Message: message}))
	if byHand >= 0 {
		a = b.must(b.LegByHand(b.t.Context(), logbook.At{Note: "by the compass", Supersedes: a.Entry.Number}, logbook.Run{}, heading(byHand, 3)))
	}
	return a
}

func heading(h, sigma float64) logbook.Heading {
	return logbook.Heading{Heading: angle.FromDegrees(h), Sigma: angle.FromDegrees(sigma)}
}

// Hand changes leg by hand.
func (b *Book) Hand(h float64, note string) logbook.Added {
	b.t.Helper()
	return b.must(b.LegByHand(b.t.Context(), b.at(note), b.run(), heading(h, 1.5)))
}

// Around goes round an obstacle on two short legs.
func (b *Book) Around(first, second, km float64, note string) {
	b.t.Helper()
	d := logbook.Detour{Run: b.run()}
	at := b.at(note)
	for _, h := range []float64{first, second} {
		b.Go(km)
		d.Legs = append(d.Legs, logbook.ShortLeg{Heading: heading(h, 3), Run: b.run()})
	}
	at.Time = b.now
	b.must(b.Detour(b.t.Context(), at, d))
}

// Stop halts.
func (b *Book) Stop(note string) {
	b.t.Helper()
	b.must(b.Halt(b.t.Context(), b.at(note), logbook.Halt{Run: b.run()}))
}

// Fixed enters a fix.
func (b *Book) Fixed(p geo.Position, sigma geo.Metres, source, note string) logbook.Added {
	b.t.Helper()
	return b.must(b.Fix(b.t.Context(), b.at(note), logbook.Fix{Run: b.run(), Position: p, Sigma: sigma, Source: source}))
}

// Work works the journey up.
func (b *Book) Work() *logbook.Track {
	b.t.Helper()
	t, err := b.WorkUp(b.t.Context(), 0)
	if err != nil {
		b.t.Fatal(err)
	}
	return t
}

// picture is a grey ramp, for an overlay.
func picture() []byte {
	p := image.NewGray(image.Rect(0, 0, 640, 480))
	for i := range p.Pix {
		p.Set(i%640, i/640, color.Gray{Y: uint8(i % 640 * 255 / 640)})
	}
	var out bytes.Buffer
	if err := jpeg.Encode(&out, p, nil); err != nil {
		panic(err) // a Buffer does not fail
	}
	return out.Bytes()
}

// SaltPan is an invented journey of two trucks over two days, with three fixes, of which
// one is too far off to be used, a detour, a photo refused and a note in other scripts.
func SaltPan(t testing.TB) *Book {
	t.Helper()
	b := New(t, At(-20.6142, 25.431), 20, workup.Land())
	b.Photo("p01.jpg", 62, 25)
	b.Go(11.3)
	b.Photo("p02.jpg", 95, 33)
	b.Go(9.8)
	b.Photo("p03.jpg", 71, 41)
	b.Go(6.1)
	b.Around(110, 20, 1.4, "soft ground")
	b.Go(5.2)
	b.Stop("tea; <b>wind</b> & dust, 塩")
	b.Wait(20 * time.Minute)
	b.Refused("p04.jpg", "no_shadow", "there is no shadow on the dial", 40)
	b.Go(14.7)
	b.Photo("p05.jpg", 12, 60)
	b.Go(8.6)
	b.Fixed(offBy(b, 420, -310), 15, "receiver", "camp")
	b.Wait(17 * time.Hour)
	b.Photo("p06.jpg", 305, 30)
	b.Go(12.2)
	b.Fixed(offBy(b, 9000, 6000), 30, "a hill that was the wrong one", "")
	b.Photo("p07.jpg", 271, 42)
	b.Go(10.5)
	b.Hand(240, "along the shore")
	b.Go(9.4)
	b.Photo("p08.jpg", 222, 55)
	b.Go(13.6)
	b.Fixed(offBy(b, -160, 350), 15, "receiver", "")
	b.Photo("p09.jpg", 188, 58)
	b.Go(7.7)
	b.Stop("camp")
	return b
}

// offBy returns a position so many metres north and east of where the log will be after
// the run in hand.
func offBy(b *Book, north, east float64) geo.Position {
	b.t.Helper()
	run := b.run()
	e, err := b.EstimateAt(b.t.Context(), b.now, &run)
	if err != nil {
		b.t.Fatal(err)
	}
	perLat, perLon := geo.MetresPerDegree(e.Position.Lat)
	return geo.Position{
		Lat: e.Position.Lat + angle.FromDegrees(north/float64(perLat)),
		Lon: (e.Position.Lon + angle.FromDegrees(east/float64(perLon))).Signed(),
	}
}

// DateLine is an invented journey over the sea ice across the 180th meridian, at a
// latitude where meridians visibly meet.
func DateLine(t testing.TB) *Book {
	t.Helper()
	b := New(t, At(84.2, 178.1), 50, workup.Ice())
	for i, h := range []float64{80, 110, 95, 60} {
		b.Photo(fmt.Sprintf("ice%d.jpg", i), h, 15)
		b.Go(9.5)
	}
	b.Fixed(offBy(b, 500, 700), 20, "receiver", "")
	b.Photo("ice9.jpg", 75, 15)
	b.Go(11)
	b.Stop("")
	return b
}
