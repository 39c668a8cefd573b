package logbook

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/geo"
	"shadowread/internal/table"
	"shadowread/internal/workup"
)

// Limits of a CSV file: years of a log.
const (
	maxCSV     = 16 << 20 // bytes
	maxCSVRows = 200_000
)

// numberColumns hold figures. What legs and position hold is parted by commas itself.
var numberColumns = []string{"odometer_km", "odometer_mi", "odometer_nmi", "rolled_over_digits", "distance_km", "speed_kmh",
	"heading_deg", "number_deg", "sigma_deg", "error_m", "reads"}

// csvRow is a row of either kind of file.
type csvRow struct{ table.Row }

// odometerColumns are one for each unit; a row fills at most one.
var (
	odometerNames   = []string{"odometer_km", "odometer_mi", "odometer_nmi"}
	odometerColumns = map[string]Unit{"odometer_km": Kilometres, "odometer_mi": StatuteMiles, "odometer_nmi": NauticalMiles}
)

// odometer returns the reading in a row, nil if there is none.
func (r csvRow) odometer() (*Odometer, error) {
	var found *Odometer
	for column, unit := range odometerColumns {
		text := r.Field(column)
		switch {
		case text == "":
			continue
		case found != nil:
			return nil, r.Bad("the odometer is read in two units")
		}
		found = &Odometer{AsGiven: text, Unit: unit}
	}
	digits := r.Field("rolled_over_digits")
	rolled := digits != ""
	switch {
	case found == nil && rolled:
		return nil, r.Bad("the odometer rolled over, but its reading is not given")
	case found == nil:
		return nil, nil
	case rolled:
		n, err := strconv.Atoi(digits)
		if err != nil || n < 1 {
			return nil, r.Bad("rolled_over_digits %q is no count of digits", digits)
		}
		found.RolledOver = n
	}
	return found, found.validate()
}

// WithRounding returns the sigma of a position as it was written: half a step of its last
// digit is an error too, uniform over the step. Coarse says that it is the greater part.
func WithRounding(position string, sigma geo.Metres) (good geo.Metres, coarse bool) {
	step := geo.Resolution(position).Degrees() * geo.KMPerDegree * 1000
	good = geo.Metres(math.Hypot(float64(sigma), step/math.Sqrt(12)))
	return good, good > 1.2*sigma
}

// time reads the column time.
func (r csvRow) time(offset *time.Duration) (time.Time, error) {
	text := r.Field("time")
	if text == "" {
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
	csvRow
	photo string    // "": by time
	time  time.Time // zero: by name
	run   Run
	note  string
}

var photoForm = table.Form{
	Columns: []string{"photo", "time", "odometer_km", "odometer_mi", "odometer_nmi", "rolled_over_digits", "note"}, Numbers: numberColumns,
	Needed:   [][]string{{"photo", "time"}, odometerNames},
	Names:    "photo or time, and odometer_km, odometer_mi or odometer_nmi",
	MaxBytes: maxCSV, MaxRows: maxCSVRows,
}

func readPhotoCSV(file string, r io.Reader, offset *time.Duration) (rows []photoRow, err error) {
	err = photoForm.Read(r, file, func(r table.Row) (err error) {
		row := photoRow{csvRow: csvRow{r}, photo: r.Field("photo"), note: r.Text("note")}
		if row.time, err = row.csvRow.time(offset); err != nil {
			return err
		}
		if row.run.Odometer, err = row.odometer(); err != nil {
			return err
		}
		switch {
		case row.run.Odometer == nil:
			return r.Bad("the row has no odometer reading")
		case row.photo == "" && row.time.IsZero():
			return r.Bad("the row names no photo and no time")
		}
		rows = append(rows, row)
		return nil
	})
	return rows, err
}

// handRow is a row of a paper log.
type handRow struct {
	csvRow
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

var handForm = table.Form{
	Columns: handColumns, Numbers: numberColumns,
	Needed:   [][]string{{"entry"}, {"time"}},
	Names:    "entry, time and those of docs/log.md that the entries need",
	MaxBytes: maxCSV, MaxRows: maxCSVRows,
}

func readHandCSV(file string, r io.Reader, offset *time.Duration) (rows []handRow, err error) {
	seen := map[string]int{}
	err = handForm.Read(r, file, func(r table.Row) error {
		row := handRow{csvRow: csvRow{r}}
		if err := row.read(offset); err != nil {
			return err
		}
		// The same row twice is two entries; the same file twice is not.
		var text strings.Builder
		for _, column := range handColumns {
			if field := r.Field(column); field != "" {
				fmt.Fprintf(&text, "%s=%q\n", column, field)
			}
		}
		seen[text.String()]++
		row.key = hash(fmt.Appendf(nil, "%d\n%s", seen[text.String()], text.String()))
		rows = append(rows, row)
		return nil
	})
	return rows, err
}

func (r *handRow) read(offset *time.Duration) error {
	kind := Kind(r.Field("entry"))
	if !slices.Contains(handKinds, kind) {
		var names []string
		for _, k := range handKinds {
			names = append(names, string(k))
		}
		return r.Bad("entry %q is none of %s", string(kind), strings.Join(names, ", "))
	}
	for _, column := range handColumns {
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
	case KindDeparture:
		d := &Departure{Odometer: run.Odometer, Source: r.Text("source"), Model: workup.Land(), SpeedLimit: DefaultSpeedLimit}
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
		set.After, err = ParseReading(r.Field("reads"))
		r.content = set
	case KindFix:
		f := &Fix{Run: run, Source: r.Text("source")}
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
	if x, ok, err := r.Number("distance_km"); err != nil {
		return Run{}, err
	} else if ok {
		run.Distance = &Distance{Length: geo.Metres(x) * geo.Kilometre}
	}
	if x, ok, err := r.Number("speed_kmh"); err != nil {
		return Run{}, err
	} else if ok {
		run.Speed = &Speed{Mean: workup.MetresPerSecond(x / 3.6)}
	}
	switch s := r.Field("stood"); s {
	case "", "no":
	case "yes":
		run.Stood = true
	default:
		return Run{}, r.Bad("stood %q is neither yes nor no", s)
	}
	return run, nil
}

// position reads where a departure or fix is.
func (r *handRow) position() (geo.Position, geo.Metres, error) {
	p, err := geo.ParsePosition(r.Field("position"))
	if err != nil {
		return p, 0, err
	}
	sigma, ok, err := r.Number("error_m")
	if err != nil {
		return p, 0, err
	}
	if !ok {
		return p, 0, bad("bad_position_sigma", "fill the column error_m: metres, one sigma per axis", "the position's error is not given")
	}
	good, coarse := WithRounding(r.Field("position"), geo.Metres(sigma))
	if coarse {
		r.rounded = fmt.Sprintf("with its last digit the position %s is good to %.0f m only, and not to the %v m of error_m; if its zeros were trimmed, correct the entry, and keep the column as text",
			r.Field("position"), float64(good), sigma)
	}
	return p, good, nil
}

func (r *handRow) leg(run Run) (Content, error) {
	heading, byHand, err := r.Number("heading_deg")
	if err != nil {
		return nil, err
	}
	number, byNumber, err := r.Number("number_deg")
	if err != nil {
		return nil, err
	}
	sigma, known, err := r.Number("sigma_deg")
	leg := &Leg{Run: run, How: ByHand}
	switch {
	case err != nil:
		return nil, err
	case byHand && byNumber:
		return nil, r.Bad("the leg has both a heading and a number")
	case byHand && !known:
		return nil, noSigma()
	case byHand && !(heading >= 0 && heading <= 360):
		return nil, bad("bad_heading", "give the true heading in degrees", "heading_deg %v is none from 0 to 360", heading)
	case byHand:
		leg.Hand = &Heading{angle.FromDegrees(heading).Bearing(), angle.FromDegrees(sigma)}
	case byNumber && !(number >= 0 && number <= 360 && sigma >= 0):
		return nil, r.Bad("number_deg %v with sigma_deg %v is none that a dial shows", number, sigma)
	case byNumber:
		n := angle.FromDegrees(number)
		leg.How, r.number, r.numberSigma = ByNumber, &n, angle.FromDegrees(sigma)
	case known:
		return nil, r.Bad("the leg has a sigma but no heading")
	}
	return leg, nil // without either it needs a heading
}

func noSigma() error {
	return bad("bad_heading", "fill the column sigma_deg: degrees, one sigma", "how well the heading is known is not given")
}

// detour reads the short legs of a detour, parted by semicolons.
func (r *handRow) detour(run Run) (Content, error) {
	sigma, known, err := r.Number("sigma_deg")
	switch {
	case err != nil:
		return nil, err
	case !known:
		return nil, noSigma()
	}
	d := &Detour{Run: run}
	for text := range strings.SplitSeq(r.Field("legs"), ";") {
		leg, err := ParseShortLeg(strings.TrimSpace(text), angle.FromDegrees(sigma))
		if err != nil {
			return nil, err
		}
		d.Legs = append(d.Legs, leg)
	}
	return d, nil
}
