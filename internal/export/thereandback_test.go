package export

import (
	"bytes"
	"context"
	"encoding/csv"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/chart/charttest"
	"shadowread/internal/fault"
	"shadowread/internal/geo"
	"shadowread/internal/journey"
	"shadowread/internal/logbook"
	"shadowread/internal/logimport"
	"shadowread/internal/workup"
)

// handedOver is a journey as CSV, with what the log keeps beside its legs.
func handedOver(t testing.TB, l *logbook.Log) []byte {
	t.Helper()
	track, err := l.WorkUp(t.Context(), 0)
	if err != nil {
		t.Fatal(err)
	}
	j := journey.FromTrack(track)
	for i := range j.Points {
		if j.Points[i].Reading, err = l.Reading(t.Context(), j.Points[i].Entry); err != nil {
			t.Fatal(err)
		}
	}
	return write(t, CSV, j, "")
}

// takenIn enters a CSV file into an empty log.
func takenIn(t testing.TB, data []byte) *logbook.Log {
	t.Helper()
	l := newLog(t)
	if _, err := (logimport.Paper{CSV: bytes.NewReader(data), Name: "x.csv"}).Import(t.Context(), l); err != nil {
		t.Fatalf("%v\n%s\n%s", err, fault.Hint(err), data)
	}
	return l
}

func newLog(t testing.TB) *logbook.Log {
	t.Helper()
	l, err := logbook.Open(t.Context(), filepath.Join(t.TempDir(), "log.db"), logbook.Options{Create: true, Now: func() time.Time { return charttest.Departure.Add(72 * time.Hour) }})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	return l
}

// alike holds two journeys against each other: positions to a metre, ellipses to a per
// cent. An ellipse of a millimetre is none.
func alike(t testing.TB, got, want *logbook.Log) {
	t.Helper()
	var tracks [2]*logbook.Track
	for i, l := range []*logbook.Log{got, want} {
		track, err := l.WorkUp(t.Context(), 0)
		if err != nil {
			t.Fatal(err)
		}
		tracks[i] = track
	}
	if len(tracks[0].Points) != len(tracks[1].Points) {
		t.Fatalf("%d entries, want %d", len(tracks[0].Points), len(tracks[1].Points))
	}
	for i := range tracks[1].Points {
		a, b := &tracks[0].Points[i], &tracks[1].Points[i]
		if a.Entry.Kind() != b.Entry.Kind() || !a.Entry.Time.Equal(b.Entry.Time) || (a.At == nil) != (b.At == nil) {
			t.Fatalf("entry %d came back as %+v", b.Entry.Number, a.Entry)
		}
		if l, ok := b.Entry.Content.(*logbook.Leg); ok {
			m := a.Entry.Content.(*logbook.Leg)
			if l.How != m.How || l.NeedsHeading() != m.NeedsHeading() || !reflect.DeepEqual(l.Photo, m.Photo) {
				t.Errorf("entry %d: %+v came back as %+v", b.Entry.Number, l, m)
			}
		}
		if b.At == nil {
			continue
		}
		if d := charttest.Apart(t, a.At.Estimated, b.At.Estimated); d > 1 {
			t.Errorf("entry %d, %s: the estimate is %.2f m off", b.Entry.Number, b.Entry.Kind(), float64(d))
		}
		if d := charttest.Apart(t, a.At.Adjusted, b.At.Adjusted); d > 1 {
			t.Errorf("entry %d, %s: the adjusted position is %.2f m off", b.Entry.Number, b.Entry.Kind(), float64(d))
		}
		for k, c := range [][2]workup.Cov{{a.At.Cov, b.At.Cov}, {a.At.AdjustedCov, b.At.AdjustedCov}} {
			e, f := c[0].Ellipse95(), c[1].Ellipse95()
			if math.Abs(float64(e.Major/f.Major-1)) > 0.01 || f.Minor > 0.001 && math.Abs(float64(e.Minor/f.Minor-1)) > 0.01 {
				t.Errorf("entry %d, %s: ellipse %d is %v by %v, want %v by %v", b.Entry.Number, b.Entry.Kind(), k, e.Major, e.Minor, f.Major, f.Minor)
			}
		}
		if c, d := a.At.Closing, b.At.Closing; (c == nil) != (d == nil) || c != nil && c.Used != d.Used {
			t.Errorf("entry %d closes with %+v, want %+v", b.Entry.Number, c, d)
		}
	}
	if len(tracks[0].Lost) != len(tracks[1].Lost) {
		t.Errorf("lost %d times, want %d", len(tracks[0].Lost), len(tracks[1].Lost))
	}
}

var figure = regexp.MustCompile(`^-?[0-9]+(\.[0-9]+)?$`)

// bySpreadsheet writes a CSV file as a spreadsheet of half the world does: parted by
// semicolons, decimal commas, zeros at the end trimmed, names in capitals, a byte order
// mark, and the line ends of another system.
func bySpreadsheet(t testing.TB, data []byte) []byte {
	t.Helper()
	rows, err := csv.NewReader(bytes.NewReader(data)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	b.WriteString("\ufeff")
	w := csv.NewWriter(&b)
	w.Comma, w.UseCRLF = ';', true
	for i, row := range rows {
		for k, cell := range row {
			switch x, err := strconv.ParseFloat(cell, 64); {
			case i == 0 || rows[0][k] == "kind" || rows[0][k] == "how" || cell == "yes":
				row[k] = strings.ToUpper(cell)
			case err == nil && figure.MatchString(cell) && rows[0][k] != "note":
				row[k] = strings.ReplaceAll(strconv.FormatFloat(x, 'f', -1, 64), ".", ",")
			}
		}
		if err := w.Write(row); err != nil {
			t.Fatal(err)
		}
	}
	w.Flush()
	return b.Bytes()
}

// A journey handed over as CSV makes the same journey in an empty log, and so does the
// file when a spreadsheet has written it anew.
func TestAJourneyComesBackFromCSV(t *testing.T) {
	logs := map[string]*logbook.Log{
		"salt pan":  charttest.SaltPan(t).Log,
		"date line": charttest.DateLine(t).Log,
		"on 180":    charttest.New(t, charttest.At(-17, 180), 30, workup.Land()).Log,
		"paper log": paperLog(t),
	}
	for seed := range uint64(100) {
		logs[fmt.Sprintf("simulated %d", seed)] = simulated(t, seed)
	}
	for name, l := range logs {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			data := handedOver(t, l)
			back := takenIn(t, data)
			alike(t, back, l)
			alike(t, takenIn(t, bySpreadsheet(t, data)), l)
			// Once more, it is the same file but for the numbers of entries.
			if again := handedOver(t, back); !bytes.Equal(said(t, again), said(t, data)) {
				t.Errorf("it comes back as\n%s\nwant\n%s", said(t, again), said(t, data))
			}
			if done, err := (logimport.Paper{CSV: bytes.NewReader(data), Name: "x.csv"}).Import(t.Context(), back); err != nil || len(done.Added) > 0 {
				t.Errorf("a second time: %v, %+v", err, done)
			}
		})
	}
}

// said is what a file says of the entries.
func said(t testing.TB, data []byte) []byte {
	t.Helper()
	rows, err := csv.NewReader(bytes.NewReader(data)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	for _, row := range rows {
		fmt.Fprintln(&b, row[1:3], row[3+len(logimport.DerivedColumns):])
	}
	return b.Bytes()
}

// paperLog is the invented paper log; its numbers, which this package cannot work out,
// give headings of their own.
func paperLog(t testing.TB) *logbook.Log {
	t.Helper()
	f, err := os.Open("../../fixtures/journey/paper.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	l := newLog(t)
	if _, err := (logimport.Paper{CSV: f, Name: "paper.csv", Number: byNumber}).Import(t.Context(), l); err != nil {
		t.Fatal(err)
	}
	return l
}

func byNumber(_ context.Context, number, _ angle.Angle, _ time.Time, _ *time.Duration, here *logbook.Estimate) (logbook.NumberReading, error) {
	r := logbook.DialHeading{
		Heading: (number + 70*angle.Degree).Bearing(), Sigma: 1.2 * angle.Degree, Level: 0.45 * angle.Degree, Position: 0.03 * angle.Degree,
		Body: &workup.Body{Azimuth: 70 * angle.Degree, Altitude: 41 * angle.Degree}, ComputedAt: &here.Position,
	}
	return logbook.NumberReading{Heading: r, Whole: fmt.Appendf(nil, `{"status":"ok","body":"sun","scale_reading_deg":%v}`, number.Degrees())}, nil
}

// simulated is an invented journey of random entries of every kind, each way of knowing a
// distance, corrections and fixes too.
func simulated(t testing.TB, seed uint64) *logbook.Log {
	t.Helper()
	r := rand.New(rand.NewPCG(seed, 13))
	ctx, l := t.Context(), newLog(t)
	must := func(a logbook.Added, err error) int {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return a.Entry.Number
	}
	unit := []logbook.Unit{logbook.Kilometres, logbook.StatuteMiles, logbook.NauticalMiles}[r.IntN(3)]
	decimals := r.IntN(3)
	shows, now := 99_980+10*r.Float64(), charttest.Departure // it rolls over on the way
	rolled := 0
	odometer := func(further float64) *logbook.Odometer {
		if shows += further; shows >= 100_000 {
			shows, rolled = shows-100_000, 5
		}
		o := &logbook.Odometer{AsGiven: strconv.FormatFloat(math.Floor(shows*100)/100, 'f', decimals, 64), Unit: unit, RolledOver: rolled}
		if decimals < 2 { // cut, as a counter does
			o.AsGiven = strconv.FormatFloat(math.Floor(shows*math.Pow10(decimals))/math.Pow10(decimals), 'f', decimals, 64)
		}
		rolled = 0
		return o
	}
	run := func() logbook.Run {
		now = now.Add(time.Duration(r.IntN(7200)+3600) * time.Second)
		switch r.IntN(9) {
		case 8: // the odometer counts on
			if shows += 2; shows >= 100_000 {
				shows, rolled = shows-100_000, 5
			}
			return logbook.Run{Distance: &logbook.Distance{Length: unit.Length() * geo.Metres(2*r.Float64())}}
		case 0:
			return logbook.Run{Distance: &logbook.Distance{Length: geo.Metres(1e4 * r.Float64()), Sigma: geo.Metres(r.IntN(2) * 123)}, Odometer: odometer(3)}
		case 1:
			return logbook.Run{Speed: &logbook.Speed{Mean: workup.MetresPerSecond(8 * r.Float64()), Sigma: workup.MetresPerSecond(r.IntN(2)), For: time.Duration(r.IntN(2)) * 1234 * time.Second}, Odometer: odometer(2)}
		case 2:
			return logbook.Run{Stood: true}
		}
		return logbook.Run{Odometer: odometer(6 * r.Float64())}
	}
	at := func() logbook.At {
		return logbook.At{Time: now, Note: []string{"", "=1+1", "reeds; \"soft\", 塩"}[r.IntN(3)]}
	}
	heading := func() logbook.Heading {
		return logbook.Heading{Heading: angle.FromDegrees(360 * r.Float64()), Sigma: angle.FromDegrees(0.3 + 3*r.Float64())}
	}
	reading := func() *logbook.DialHeading {
		h := heading()
		part := h.Sigma / 2
		out := &logbook.DialHeading{Heading: h.Heading, Sigma: h.Sigma, Level: part, Alignment: part, Position: part / 10, SetUpAnew: r.IntN(4) == 0}
		if r.IntN(4) > 0 {
			out.Body = &workup.Body{Azimuth: heading().Heading, Altitude: angle.FromDegrees(5 + 60*r.Float64())}
		}
		switch r.IntN(3) {
		case 0:
			out.Instrument = &logbook.Record{}
		case 1:
			out.Instrument = logbook.NewRecord("other.toml", []byte("another; record, \"of lines\"\n1.5\n"))
		}
		if e, err := l.Where(ctx, 0); err == nil && r.IntN(2) == 0 {
			out.ComputedAt = &e.Estimate.Position
		}
		return out
	}
	shown := []byte(`{"body":"moon","scale_reading_deg":55.25}`)
	photos := byte(0)
	photo := func(read bool) logbook.PhotoReading {
		photos++
		p := logbook.PhotoReading{Name: fmt.Sprintf("%d.jpg", photos), SHA256: [32]byte{photos}, Time: now}
		if p.Refused, p.Message = "no_shadow", "there is no shadow"; read {
			p.Refused, p.Message, p.Reading, p.Whole = "", "", reading(), shown
		}
		return p
	}

	model := workup.Land()
	if r.IntN(3) == 0 {
		model = workup.Ice()
		model.Mount, model.Lean = 3*angle.Degree, angle.FromDegrees(r.Float64())
	}
	from := charttest.At(80*(2*r.Float64()-1), 179.9*(2*r.Float64()-1))
	must(l.Begin(ctx, logbook.At{Time: now}, logbook.Departure{
		Position: from, Sigma: geo.Metres(5 + 100*r.Float64()), Source: "-map", Odometer: odometer(0), Model: model, SpeedLimit: workup.MetresPerSecond(30 + r.IntN(20)),
		Settings: &logbook.Settings{Unit: &unit, Name: new("=two trucks, 塩"), UTCOffset: new(-210 * time.Minute)},
	}))
	for range 12 + r.IntN(12) {
		switch r.IntN(15) {
		case 13:
			must(l.Set(ctx, at(), logbook.Settings{Steering: new(angle.FromDegrees(1 + 3*r.Float64())), Instrument: logbook.NewRecord("board.toml", []byte("a = 1\nb = \"2;3\"\n")), Forgotten: []string{"name"}}))
		case 14: // what comes later has no way of its own
			between := now.Add(time.Minute)
			now = now.Add(time.Hour)
			must(l.Note(ctx, at()))
			must(l.Note(ctx, logbook.At{Time: between, InBetween: true, Note: "put in later"}))
		case 0, 1:
			w := run()
			must(l.LegFromPhoto(ctx, at(), w, photo(true)))
		case 2:
			w := run()
			refused := must(l.LegFromPhoto(ctx, at(), w, photo(false)))
			if r.IntN(2) == 0 {
				must(l.LegByHand(ctx, logbook.At{Supersedes: refused}, logbook.Run{}, heading()))
			}
		case 3, 4:
			w := run()
			must(l.LegFromNumber(ctx, at(), w, *reading(), shown))
		case 5:
			w := run()
			must(l.LegByHand(ctx, at(), w, heading()))
		case 6:
			w := run()
			must(l.Halt(ctx, at(), logbook.Halt{Run: w}))
		case 7:
			d := logbook.Detour{Run: run(), Legs: []logbook.ShortLeg{
				{Heading: heading(), Run: logbook.ByOdometer(*odometer(1))},
				{Heading: heading(), Run: logbook.Run{Distance: &logbook.Distance{Length: 900, Sigma: 50}}},
				{Heading: heading(), Run: logbook.Run{Speed: &logbook.Speed{Mean: 3, Sigma: 0.5, For: 5 * time.Minute}, Odometer: odometer(1)}},
			}}
			now = now.Add(time.Hour)
			must(l.Detour(ctx, at(), d))
		case 8, 9:
			w := run()
			e, err := l.EstimateAt(ctx, now, &w)
			if err != nil {
				t.Fatal(err)
			}
			p := journey.Offset(e.Position, workup.Offset{North: e.Sigma() * geo.Metres(r.NormFloat64()), East: e.Sigma() * geo.Metres(r.NormFloat64())})
			must(l.Fix(ctx, at(), logbook.Fix{Run: w, Position: p, Sigma: geo.Metres(5 + 30*r.Float64()), Source: "receiver", Confirmed: r.IntN(2) == 0}))
		case 10:
			must(l.Remount(ctx, at()))
		case 11:
			w := run()
			must(l.Tyres(ctx, at(), logbook.Tyres{Run: w}))
		case 12:
			w := run()
			shows = 0.4
			must(l.SetOdometer(ctx, at(), logbook.OdometerSet{Run: w, After: *odometer(0)}))
		}
	}
	note := must(l.Note(ctx, logbook.At{Time: now, Note: "withdrawn"}))
	must(l.Withdraw(ctx, note, ""))
	return l
}

// An exported journey is no second journey of its own log.
func TestAJourneyIsNotTakenInBesideItself(t *testing.T) {
	l := charttest.SaltPan(t).Log
	_, err := logimport.Paper{CSV: bytes.NewReader(handedOver(t, l)), Name: "x.csv"}.Import(t.Context(), l)
	if fault.Code(err) != "photo_already_logged" {
		t.Errorf("%v (%s)", err, fault.Code(err))
	}
	if journeys, err := l.Journeys(t.Context()); err != nil || len(journeys) != 1 {
		t.Errorf("%d journeys, %v", len(journeys), err)
	}
}
