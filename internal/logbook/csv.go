package logbook

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/fault"
	"shadowread/internal/geo"
	"shadowread/internal/workup"
)

// Limits of a CSV file: years of a log.
const (
	maxCSV     = 16 << 20 // bytes
	maxCSVRows = 200_000
)

const csvHint = "the first line names the columns, as in docs/log.md; fields are parted by commas, the decimal sign is a point"

// record is a line of a CSV file: its fields by the names of the columns, trimmed,
// the empty ones left out.
type record struct {
	file   string
	line   int
	fields map[string]string
}

// wrong says at which line of which file an error is.
func (r record) wrong(err error) error { return lineError(r.file, r.line, err) }

func lineError(file string, line int, err error) error {
	var f *fault.Error
	if !errors.As(err, &f) {
		return fmt.Errorf("%s line %d: %w", file, line, err)
	}
	e := *f
	e.Message, e.Err = fmt.Sprintf("%s line %d: %s", file, line, strings.TrimSuffix(err.Error(), "\n")), nil
	return &e
}

func badCSV(file string, line int, format string, args ...any) error {
	return lineError(file, line, bad("bad_csv", csvHint, format, args...))
}

// readCSV reads a CSV file (RFC 4180; lines that begin with # are comments) whose
// first line names its columns, all of them known, one at least of each list needed.
func readCSV(file string, r io.Reader, known []string, needed ...[]string) ([]record, error) {
	data, err := io.ReadAll(io.LimitReader(r, maxCSV+1))
	switch {
	case err != nil:
		return nil, fault.Wrap(err, "unreadable_file", "check that the file may be read", "%s cannot be read", file)
	case len(data) > maxCSV:
		return nil, bad("bad_csv", "split the file", "%s is larger than %d MiB", file, maxCSV>>20)
	}
	c := csv.NewReader(strings.NewReader(strings.TrimPrefix(string(data), "\ufeff"))) // spreadsheets write that mark
	c.Comment = '#'
	c.TrimLeadingSpace = true
	var columns []string
	var records []record
	for {
		row, err := c.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		var parse *csv.ParseError
		if errors.As(err, &parse) {
			return nil, badCSV(file, parse.Line, "%v", parse.Err)
		}
		if err != nil {
			return nil, err
		}
		line, _ := c.FieldPos(0)
		for i := range row {
			row[i] = strings.TrimSpace(row[i])
		}
		if columns == nil {
			for i, name := range row {
				switch {
				case !slices.Contains(known, name):
					return nil, badCSV(file, line, "column %q is not known; the columns are %s", name, strings.Join(known, ", "))
				case slices.Contains(row[:i], name):
					return nil, badCSV(file, line, "column %q stands there twice", name)
				}
			}
			for _, list := range needed {
				if !slices.ContainsFunc(list, func(name string) bool { return slices.Contains(row, name) }) {
					return nil, badCSV(file, line, "there is no column %s", strings.Join(list, " or "))
				}
			}
			columns = row
			continue
		}
		if len(records) == maxCSVRows {
			return nil, badCSV(file, line, "the file has more than %d rows", maxCSVRows)
		}
		rec := record{file, line, map[string]string{}}
		for i, field := range row {
			if field != "" {
				rec.fields[columns[i]] = field
			}
		}
		if len(rec.fields) > 0 {
			records = append(records, rec)
		}
	}
	if columns == nil {
		return nil, badCSV(file, 1, "the file is empty")
	}
	return records, nil
}

// odometerColumns are one for each unit; a row fills at most one.
var (
	odometerNames   = []string{"odometer_km", "odometer_mi", "odometer_nmi"}
	odometerColumns = map[string]Unit{"odometer_km": Kilometres, "odometer_mi": StatuteMiles, "odometer_nmi": NauticalMiles}
)

// odometer returns the reading in a row, nil if there is none.
func (r record) odometer() (*Odometer, error) {
	var found *Odometer
	for column, unit := range odometerColumns {
		text, ok := r.fields[column]
		switch {
		case !ok:
			continue
		case found != nil:
			return nil, bad("bad_csv", csvHint, "the odometer is read in two units")
		}
		found = &Odometer{AsGiven: text, Unit: unit}
	}
	digits, rolled := r.fields["rolled_over_digits"]
	switch {
	case found == nil && rolled:
		return nil, bad("bad_csv", csvHint, "the odometer rolled over, but its reading is not given")
	case found == nil:
		return nil, nil
	case rolled:
		n, err := strconv.Atoi(digits)
		if err != nil || n < 1 {
			return nil, bad("bad_csv", csvHint, "rolled_over_digits %q is no count of digits", digits)
		}
		found.RolledOver = n
	}
	return found, found.validate()
}

// text reads a column of words as it was before a spreadsheet had to be kept from
// working it out.
func (r record) text(column string) string { return BareCell(r.fields[column]) }

// A spreadsheet works out a cell that begins with one of these as a formula, quoted in
// the CSV file or not (OWASP, "CSV Injection"), unless an apostrophe leads it. Numbers
// are harmless. Apostrophes that were there before get another, so that none is lost.
var (
	formula = regexp.MustCompile("^'*[=+\\-@\t\r\n]")
	signed  = regexp.MustCompile(`^[+-][0-9]+(\.[0-9]+)?$`)
)

// SafeCell returns a text as a cell of a CSV file that no spreadsheet takes for a formula.
func SafeCell(text string) string {
	if formula.MatchString(text) && !signed.MatchString(text) {
		return "'" + text
	}
	return text
}

// BareCell returns the text of which SafeCell made a cell.
func BareCell(cell string) string {
	if strings.HasPrefix(cell, "'") && formula.MatchString(cell) {
		return cell[1:]
	}
	return cell
}

// WithRounding returns the sigma of a position as it was written: half a step of its last
// digit is an error too, uniform over the step. Coarse says that it is the greater part.
func WithRounding(position string, sigma geo.Metres) (good geo.Metres, coarse bool) {
	step := geo.Resolution(position).Degrees() * geo.KMPerDegree * 1000
	good = geo.Metres(math.Hypot(float64(sigma), step/math.Sqrt(12)))
	return good, good > 1.2*sigma
}

// number reads a column as a number; ok says whether it is filled.
func (r record) number(column string) (x float64, ok bool, err error) {
	text, ok := r.fields[column]
	if !ok {
		return 0, false, nil
	}
	x, err = strconv.ParseFloat(text, 64)
	if err != nil || math.IsInf(x, 0) || math.IsNaN(x) {
		return 0, false, bad("bad_csv", csvHint, "%s %q is no number", column, text)
	}
	return x, true, nil
}

// time reads the column time.
func (r record) time(offset *time.Duration) (time.Time, error) {
	text, ok := r.fields["time"]
	if !ok {
		return time.Time{}, nil
	}
	t, err := geo.ParseTime(text, offset)
	if err != nil {
		return time.Time{}, err
	}
	_, err = toNS(t)
	return t, err
}

// photoRow is a row of an odometer file.
type photoRow struct {
	record
	photo string    // "": by time
	time  time.Time // zero: by name
	run   Run
	note  string
}

var photoColumns = []string{"photo", "time", "odometer_km", "odometer_mi", "odometer_nmi", "rolled_over_digits", "note"}

func readPhotoCSV(file string, r io.Reader, offset *time.Duration) ([]photoRow, error) {
	records, err := readCSV(file, r, photoColumns, []string{"photo", "time"}, odometerNames)
	if err != nil {
		return nil, err
	}
	var rows []photoRow
	for _, rec := range records {
		row := photoRow{record: rec, photo: rec.fields["photo"], note: rec.text("note")}
		if row.time, err = rec.time(offset); err != nil {
			return nil, rec.wrong(err)
		}
		if row.run.Odometer, err = rec.odometer(); err != nil {
			return nil, rec.wrong(err)
		}
		switch {
		case row.run.Odometer == nil:
			return nil, badCSV(file, rec.line, "the row has no odometer reading")
		case row.photo == "" && row.time.IsZero():
			return nil, badCSV(file, rec.line, "the row names no photo and no time")
		}
		rows = append(rows, row)
	}
	return rows, nil
}

// handRow is a row of a paper log.
type handRow struct {
	record
	at      At
	content Content
	// number is set for a leg by a number read by eye, with its sigma, 0 for the
	// default.
	number      *angle.Angle
	numberSigma angle.Angle
	rounded     string // what is to be said of a position of few digits
	key         string
}

// handColumns only grow at their end: by their order a row is known that was imported.
var handColumns = []string{"entry", "time", "odometer_km", "odometer_mi", "odometer_nmi", "rolled_over_digits", "distance_km", "speed_kmh", "stood",
	"heading_deg", "number_deg", "sigma_deg", "position", "error_m", "source", "note", "legs", "reads"}

// handKinds are the entries of a paper log.
var handKinds = []Kind{KindDeparture, KindLeg, KindDetour, KindHalt, KindFix, KindNote, KindRemount, KindTyres, KindOdometerSet}

// forKinds are the columns that only some kinds of entries fill.
var (
	withWay     = []Kind{KindLeg, KindDetour, KindHalt, KindFix, KindTyres, KindOdometerSet}
	withReading = append([]Kind{KindDeparture}, withWay...)
	forKinds    = map[string][]Kind{
		"distance_km": withWay, "speed_kmh": withWay, "stood": withWay, "rolled_over_digits": withWay,
		"odometer_km": withReading, "odometer_mi": withReading, "odometer_nmi": withReading,
		"heading_deg": {KindLeg}, "number_deg": {KindLeg}, "sigma_deg": {KindLeg, KindDetour},
		"position": {KindDeparture, KindFix}, "error_m": {KindDeparture, KindFix}, "source": {KindDeparture, KindFix},
		"legs": {KindDetour}, "reads": {KindOdometerSet},
	}
)

func readHandCSV(file string, r io.Reader, offset *time.Duration) ([]handRow, error) {
	records, err := readCSV(file, r, handColumns, []string{"entry"}, []string{"time"})
	if err != nil {
		return nil, err
	}
	var rows []handRow
	seen := map[string]int{}
	for _, rec := range records {
		row := handRow{record: rec}
		if err := row.read(offset); err != nil {
			return nil, rec.wrong(err)
		}
		// The same row twice is two entries; the same file twice is not.
		var text strings.Builder
		for _, column := range handColumns {
			if field, ok := rec.fields[column]; ok {
				fmt.Fprintf(&text, "%s=%q\n", column, field)
			}
		}
		seen[text.String()]++
		row.key = hash(fmt.Appendf(nil, "%d\n%s", seen[text.String()], text.String()))
		rows = append(rows, row)
	}
	return rows, nil
}

func (r *handRow) read(offset *time.Duration) error {
	kind := Kind(r.fields["entry"])
	if !slices.Contains(handKinds, kind) {
		var names []string
		for _, k := range handKinds {
			names = append(names, string(k))
		}
		return bad("bad_csv", csvHint, "entry %q is none of %s", string(kind), strings.Join(names, ", "))
	}
	for _, column := range handColumns {
		if _, filled := r.fields[column]; filled && forKinds[column] != nil && !slices.Contains(forKinds[column], kind) {
			return bad("bad_csv", csvHint, "a %s has no %s", kind, column)
		}
	}
	var err error
	if r.at.Time, err = r.time(offset); err != nil {
		return err
	}
	if r.at.Time.IsZero() {
		return bad("bad_csv", csvHint, "the row has no time")
	}
	r.at.Note = r.text("note")
	run, err := r.run()
	if err != nil {
		return err
	}
	switch kind {
	case KindDeparture:
		d := &Departure{Odometer: run.Odometer, Source: r.text("source"), Model: workup.Land(), SpeedLimit: DefaultSpeedLimit}
		d.Position, d.Sigma, err = r.position()
		r.content = d
	case KindLeg:
		r.content, err = r.leg(run)
	case KindDetour:
		r.content, err = r.detour(run)
	case KindHalt:
		r.content = &Halt{run}
	case KindOdometerSet:
		set := &OdometerSet{Run: run}
		set.After, err = ParseReading(r.fields["reads"])
		r.content = set
	case KindFix:
		f := &Fix{Run: run, Source: r.text("source")}
		f.Position, f.Sigma, err = r.position()
		r.content = f
	case KindTyres:
		r.content = &Tyres{run}
	default:
		r.content = newContent(kind)
	}
	if err != nil {
		return err
	}
	if err := validText(r.at.Note); err != nil {
		return err
	}
	return r.content.validate()
}

func (r *handRow) run() (run Run, err error) {
	if run.Odometer, err = r.odometer(); err != nil {
		return Run{}, err
	}
	if x, ok, err := r.record.number("distance_km"); err != nil {
		return Run{}, err
	} else if ok {
		run.Distance = &Distance{Length: geo.Metres(x) * geo.Kilometre}
	}
	if x, ok, err := r.record.number("speed_kmh"); err != nil {
		return Run{}, err
	} else if ok {
		run.Speed = &Speed{Mean: workup.MetresPerSecond(x / 3.6)}
	}
	switch s := r.fields["stood"]; s {
	case "", "no":
	case "yes":
		run.Stood = true
	default:
		return Run{}, bad("bad_csv", csvHint, "stood %q is neither yes nor no", s)
	}
	return run, nil
}

// position reads where a departure or fix is.
func (r *handRow) position() (geo.Position, geo.Metres, error) {
	p, err := geo.ParsePosition(r.fields["position"])
	if err != nil {
		return p, 0, err
	}
	sigma, ok, err := r.record.number("error_m")
	if err != nil {
		return p, 0, err
	}
	if !ok {
		return p, 0, bad("bad_position_sigma", "fill the column error_m: metres, one sigma per axis", "the position's error is not given")
	}
	good, coarse := WithRounding(r.fields["position"], geo.Metres(sigma))
	if coarse {
		r.rounded = fmt.Sprintf("with its last digit the position %s is good to %.0f m only, and not to the %v m of error_m; if its zeros were trimmed, correct the entry, and keep the column as text",
			r.fields["position"], float64(good), sigma)
	}
	return p, good, nil
}

func (r *handRow) leg(run Run) (Content, error) {
	heading, byHand, err := r.record.number("heading_deg")
	if err != nil {
		return nil, err
	}
	number, byNumber, err := r.record.number("number_deg")
	if err != nil {
		return nil, err
	}
	sigma, known, err := r.record.number("sigma_deg")
	leg := &Leg{Run: run, How: ByHand}
	switch {
	case err != nil:
		return nil, err
	case byHand && byNumber:
		return nil, bad("bad_csv", csvHint, "the leg has both a heading and a number")
	case byHand && !known:
		return nil, noSigma()
	case byHand && !(heading >= 0 && heading <= 360):
		return nil, bad("bad_heading", "give the true heading in degrees", "heading_deg %v is none from 0 to 360", heading)
	case byHand:
		leg.Hand = &Heading{angle.FromDegrees(heading).Bearing(), angle.FromDegrees(sigma)}
	case byNumber && !(number >= 0 && number <= 360 && sigma >= 0):
		return nil, bad("bad_csv", csvHint, "number_deg %v with sigma_deg %v is none that a dial shows", number, sigma)
	case byNumber:
		n := angle.FromDegrees(number)
		leg.How, r.number, r.numberSigma = ByNumber, &n, angle.FromDegrees(sigma)
	case known:
		return nil, bad("bad_csv", csvHint, "the leg has a sigma but no heading")
	}
	return leg, nil // without either it needs a heading
}

func noSigma() error {
	return bad("bad_heading", "fill the column sigma_deg: degrees, one sigma", "how well the heading is known is not given")
}

// detour reads the short legs of a detour, parted by semicolons.
func (r *handRow) detour(run Run) (Content, error) {
	sigma, known, err := r.record.number("sigma_deg")
	switch {
	case err != nil:
		return nil, err
	case !known:
		return nil, noSigma()
	}
	d := &Detour{Run: run}
	for text := range strings.SplitSeq(r.fields["legs"], ";") {
		leg, err := ParseShortLeg(strings.TrimSpace(text), angle.FromDegrees(sigma))
		if err != nil {
			return nil, err
		}
		d.Legs = append(d.Legs, leg)
	}
	return d, nil
}
