package logimport

import (
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/fault"
	"shadowread/internal/geo"
	"shadowread/internal/logbook"
	"shadowread/internal/table"
	"shadowread/internal/workup"
)

// Paper is a CSV of entries copied from a paper log.
type Paper struct {
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
	Number func(ctx context.Context, number, sigma angle.Angle, at time.Time, here *logbook.Estimate) (logbook.DialHeading, []byte, error)
	// Rounded, if not nil, is told before a row goes in whose position is written with so
	// few digits that its error is more than the row states.
	Rounded func(message string)
	// Progress, if not nil, is told of each entry once it is on the disk.
	Progress func(logbook.Added)
}

// Import enters the rows of a paper log in the order of their times, those of one time in
// the order of the file. Rows that are in the log already are passed over, so that an
// import that was broken off goes on, to the same result, and a file that was added to may
// be imported again.
//
// Before anything is written it fails with the codes of table.Form.Read, "bad_row" and
// those of its fields; then with "row_changed" for a row that was edited since it was
// entered, and as the verbs and Number do. Messages name file and line.
func (in Paper) Import(ctx context.Context, book *logbook.Log) (Imported, error) {
	var done Imported
	rows, err := readPaper(in.Name, in.CSV, in.UTCOffset)
	if err != nil {
		return done, err
	}
	slices.SortStableFunc(rows, func(a, b paperRow) int { return cmp.Compare(a.at.Time.UnixNano(), b.at.Time.UnixNano()) })
	keys := map[string]bool{}
	for _, r := range rows {
		keys[r.key] = true
	}
	for _, r := range rows {
		added, isNew, err := in.enter(ctx, book, r, func(key string) bool { return keys[key] })
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

func (in Paper) enter(ctx context.Context, book *logbook.Log, r paperRow, inFile func(key string) bool) (added logbook.Added, isNew bool, err error) {
	if is, err := book.HasCopied(ctx, r.key); is || err != nil {
		return logbook.Added{}, false, err
	}
	if d, ok := r.content.(*logbook.Departure); ok && in.Model != (workup.Model{}) {
		d.Model = in.Model
	}
	if r.rounded != "" && in.Rounded != nil {
		in.Rounded(r.Wrong(errors.New(r.rounded)).Error())
	}
	from := logbook.Copied{Key: r.key, InFile: inFile}
	if r.number != nil {
		if from.Whole, err = in.readNumber(ctx, book, r); err != nil {
			return logbook.Added{}, false, err
		}
	}
	return book.AddCopied(ctx, r.at, r.content, from)
}

// readNumber fills in the leg's reading and returns it as JSON.
func (in Paper) readNumber(ctx context.Context, book *logbook.Log, r paperRow) ([]byte, error) {
	if in.Number == nil {
		return nil, r.Bad("numbers read by eye cannot be worked out here")
	}
	leg := r.content.(*logbook.Leg)
	here, err := book.EstimateAt(ctx, r.at.Time, &leg.Run)
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

// paperRow is a row of a paper log.
type paperRow struct {
	wayRow
	at      logbook.At
	content logbook.Content
	// number is set for a leg by a number read by eye, with its sigma, 0 for the
	// default.
	number      *angle.Angle
	numberSigma angle.Angle
	rounded     string // what is to be said of a position of few digits
	key         string
}

// paperColumns only grow at their end: by their order a row is known that was imported.
var paperColumns = []string{"entry", "time", "odometer_km", "odometer_mi", "odometer_nmi", "rolled_over_digits", "distance_km", "speed_kmh", "stood",
	"heading_deg", "number_deg", "sigma_deg", "position", "error_m", "source", "note", "legs", "reads"}

// paperKinds are the entries of a paper log.
var paperKinds = []logbook.Kind{logbook.KindDeparture, logbook.KindLeg, logbook.KindDetour, logbook.KindHalt, logbook.KindFix, logbook.KindNote, logbook.KindRemount, logbook.KindTyres, logbook.KindOdometerSet}

// forKinds are the columns that only some kinds of entries fill.
var (
	withWay     = []logbook.Kind{logbook.KindLeg, logbook.KindDetour, logbook.KindHalt, logbook.KindFix, logbook.KindTyres, logbook.KindOdometerSet}
	withReading = append([]logbook.Kind{logbook.KindDeparture}, withWay...)
	forKinds    = map[string][]logbook.Kind{
		"distance_km": withWay, "speed_kmh": withWay, "stood": withWay, "rolled_over_digits": withWay,
		"odometer_km": withReading, "odometer_mi": withReading, "odometer_nmi": withReading,
		"heading_deg": {logbook.KindLeg}, "number_deg": {logbook.KindLeg}, "sigma_deg": {logbook.KindLeg, logbook.KindDetour},
		"position": {logbook.KindDeparture, logbook.KindFix}, "error_m": {logbook.KindDeparture, logbook.KindFix}, "source": {logbook.KindDeparture, logbook.KindFix},
		"legs": {logbook.KindDetour}, "reads": {logbook.KindOdometerSet},
	}
)

var paperForm = table.Form{
	Columns: paperColumns, Numbers: numberColumns,
	Needed:   [][]string{{"entry"}, {"time"}},
	Names:    "entry, time and those of docs/log.md that the entries need",
	MaxBytes: maxCSV, MaxRows: maxCSVRows,
}

func readPaper(file string, r io.Reader, offset *time.Duration) (rows []paperRow, err error) {
	seen := map[string]int{}
	err = paperForm.Read(r, file, func(r table.Row) error {
		row := paperRow{wayRow: wayRow{r}}
		if err := row.read(offset); err != nil {
			return err
		}
		// The same row twice is two entries; the same file twice is not.
		var text strings.Builder
		for _, column := range paperColumns {
			if field := r.Field(column); field != "" {
				fmt.Fprintf(&text, "%s=%q\n", column, field)
			}
		}
		seen[text.String()]++
		row.key = keyOf(seen[text.String()], text.String())
		rows = append(rows, row)
		return nil
	})
	return rows, err
}

// keyOf tells the nth row of this text from all other rows.
func keyOf(n int, text string) string {
	sum := sha256.Sum256(fmt.Appendf(nil, "%d\n%s", n, text))
	return hex.EncodeToString(sum[:])
}

func (r *paperRow) read(offset *time.Duration) error {
	kind := logbook.Kind(r.Field("entry"))
	if !slices.Contains(paperKinds, kind) {
		var names []string
		for _, k := range paperKinds {
			names = append(names, string(k))
		}
		return r.Bad("entry %q is none of %s", string(kind), strings.Join(names, ", "))
	}
	for _, column := range paperColumns {
		if r.Field(column) != "" && forKinds[column] != nil && !slices.Contains(forKinds[column], kind) {
			return r.Bad("a %s has no %s", kind, column)
		}
	}
	var err error
	if r.at.Time, err = r.time(offset); err != nil {
		return err
	}
	if r.at.Time.IsZero() {
		return r.Bad("the row has no time")
	}
	r.at.Note = r.Text("note")
	run, err := r.run()
	if err != nil {
		return err
	}
	switch kind {
	case logbook.KindDeparture:
		d := &logbook.Departure{Odometer: run.Odometer, Source: r.Text("source"), Model: workup.Land(), SpeedLimit: logbook.DefaultSpeedLimit}
		d.Position, d.Sigma, err = r.position()
		r.content = d
	case logbook.KindLeg:
		r.content, err = r.leg(run)
	case logbook.KindDetour:
		r.content, err = r.detour(run)
	case logbook.KindHalt:
		r.content = &logbook.Halt{Run: run}
	case logbook.KindOdometerSet:
		set := &logbook.OdometerSet{Run: run}
		set.After, err = ParseReading(r.Field("reads"))
		r.content = set
	case logbook.KindFix:
		f := &logbook.Fix{Run: run, Source: r.Text("source")}
		f.Position, f.Sigma, err = r.position()
		r.content = f
	case logbook.KindTyres:
		r.content = &logbook.Tyres{Run: run}
	case logbook.KindRemount:
		r.content = &logbook.Remount{}
	default:
		r.content = &logbook.Note{}
	}
	if err != nil {
		return err
	}
	return logbook.Validate(r.at, r.content)
}

func (r *paperRow) run() (run logbook.Run, err error) {
	if run.Odometer, err = r.odometer(); err != nil {
		return logbook.Run{}, err
	}
	if x, ok, err := r.Number("distance_km"); err != nil {
		return logbook.Run{}, err
	} else if ok {
		run.Distance = &logbook.Distance{Length: geo.Metres(x) * geo.Kilometre}
	}
	if x, ok, err := r.Number("speed_kmh"); err != nil {
		return logbook.Run{}, err
	} else if ok {
		run.Speed = &logbook.Speed{Mean: workup.MetresPerSecond(x / 3.6)}
	}
	switch s := r.Field("stood"); s {
	case "", "no":
	case "yes":
		run.Stood = true
	default:
		return logbook.Run{}, r.Bad("stood %q is neither yes nor no", s)
	}
	return run, nil
}

// position reads where a departure or fix is.
func (r *paperRow) position() (geo.Position, geo.Metres, error) {
	p, err := geo.ParsePosition(r.Field("position"))
	if err != nil {
		return p, 0, err
	}
	sigma, ok, err := r.Number("error_m")
	if err != nil {
		return p, 0, err
	}
	if !ok {
		return p, 0, fault.New("bad_position_sigma", "fill the column error_m: metres, one sigma per axis", "the position's error is not given")
	}
	good, coarse := geo.WithRounding(r.Field("position"), geo.Metres(sigma))
	if coarse {
		r.rounded = fmt.Sprintf("with its last digit the position %s is good to %.0f m only, and not to the %v m of error_m; if its zeros were trimmed, correct the entry, and keep the column as text",
			r.Field("position"), float64(good), sigma)
	}
	return p, good, nil
}

func (r *paperRow) leg(run logbook.Run) (logbook.Content, error) {
	heading, byHand, err := r.Number("heading_deg")
	if err != nil {
		return nil, err
	}
	number, byNumber, err := r.Number("number_deg")
	if err != nil {
		return nil, err
	}
	sigma, known, err := r.Number("sigma_deg")
	leg := &logbook.Leg{Run: run, How: logbook.ByHand}
	switch {
	case err != nil:
		return nil, err
	case byHand && byNumber:
		return nil, r.Bad("the leg has both a heading and a number")
	case byHand && !known:
		return nil, noSigma()
	case byHand && !(heading >= 0 && heading <= 360):
		return nil, fault.New("bad_heading", "give the true heading in degrees", "heading_deg %v is none from 0 to 360", heading)
	case byHand:
		leg.Hand = &logbook.Heading{Heading: angle.FromDegrees(heading).Bearing(), Sigma: angle.FromDegrees(sigma)}
	case byNumber && !(number >= 0 && number <= 360 && sigma >= 0):
		return nil, r.Bad("number_deg %v with sigma_deg %v is none that a dial shows", number, sigma)
	case byNumber:
		n := angle.FromDegrees(number)
		leg.How, r.number, r.numberSigma = logbook.ByNumber, &n, angle.FromDegrees(sigma)
	case known:
		return nil, r.Bad("the leg has a sigma but no heading")
	}
	return leg, nil // without either it needs a heading
}

func noSigma() error {
	return fault.New("bad_heading", "fill the column sigma_deg: degrees, one sigma", "how well the heading is known is not given")
}

// detour reads the short legs of a detour, parted by semicolons.
func (r *paperRow) detour(run logbook.Run) (logbook.Content, error) {
	sigma, known, err := r.Number("sigma_deg")
	switch {
	case err != nil:
		return nil, err
	case !known:
		return nil, noSigma()
	}
	d := &logbook.Detour{Run: run}
	for text := range strings.SplitSeq(r.Field("legs"), ";") {
		leg, err := ParseShortLeg(strings.TrimSpace(text), angle.FromDegrees(sigma))
		if err != nil {
			return nil, err
		}
		d.Legs = append(d.Legs, leg)
	}
	return d, nil
}
