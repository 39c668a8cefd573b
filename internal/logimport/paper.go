package logimport

import (
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/fault"
	"shadowread/internal/geo"
	"shadowread/internal/logbook"
	"shadowread/internal/table"
	"shadowread/internal/wording"
	"shadowread/internal/workup"
)

// Paper is a CSV of entries copied from a paper log.
type Paper struct {
	// CSV has the columns of docs/log.md; Name is the file's for messages.
	CSV  io.Reader
	Name string
	// UTCOffset is for times without one; may be nil. JourneysOffset is for them where that is
	// nil and the rows go on with the journey that is there: the file has no departure.
	UTCOffset, JourneysOffset *time.Duration
	// Model is for journeys that the file begins; empty stands for workup.Land().
	Model workup.Model
	// Number works out a heading from a number read by eye, with its sigma, 0 for the
	// default, at a time that was noted by a UTC offset, nil if it was in UTC; here is the
	// log's estimate, nil if there is none. Nil if the file may not have such rows.
	Number func(ctx context.Context, number, sigma angle.Angle, at time.Time, offset *time.Duration, here *logbook.Estimate) (logbook.NumberReading, error)
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
// entered, "photo_already_logged", and as the verbs and Number do. Messages name file and line.
func (in Paper) Import(ctx context.Context, book *logbook.Log) (Imported, error) {
	var done Imported
	rows, err := in.read()
	if err != nil {
		return done, err
	}
	for i := range rows {
		rows[i].order = rows[i].at.Time.UnixNano()
		if _, ok := rows[i].content.(*logbook.Settings); ok && i > 0 { // they hold from their place on
			rows[i].order = rows[i-1].order
		}
	}
	slices.SortStableFunc(rows, func(a, b paperRow) int { return cmp.Compare(a.order, b.order) })
	keys := map[string]bool{}
	for _, r := range rows {
		keys[r.key] = true
	}
	if err := newJourneys(ctx, book, rows); err != nil {
		return done, err
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

// newJourneys refuses, before anything is written, a journey that would be begun and then
// stopped at a photo which the log has in another.
func newJourneys(ctx context.Context, book *logbook.Log, rows []paperRow) error {
	begins := false
	for _, r := range rows {
		leg, ok := r.content.(*logbook.Leg)
		_, departs := r.content.(*logbook.Departure)
		if !departs && !(begins && ok && leg.Photo != nil) {
			continue
		}
		is, err := book.HasCopied(ctx, r.key)
		if err != nil {
			return err
		}
		begins = begins || departs && !is
		if departs || is {
			continue
		}
		sum, _ := hex.DecodeString(leg.Photo.SHA256) // validated
		number, err := book.LoggedPhoto(ctx, [sha256.Size]byte(sum))
		if err != nil {
			return err
		}
		if number != 0 {
			return r.Wrong(fault.New("photo_already_logged", "import an exported journey into a log of its own", "the photo is in the log already, as entry %d", number))
		}
	}
	return nil
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
	from := logbook.Copied{Key: r.key, Whole: r.kept, InFile: inFile}
	if r.number != nil {
		read, err := in.readNumber(ctx, book, r)
		if err != nil {
			return logbook.Added{}, false, err
		}
		from.Whole, r.at.Found = read.Whole, read.Found
	}
	return book.AddCopied(ctx, r.at, r.content, from)
}

// readNumber fills in the leg's reading.
func (in Paper) readNumber(ctx context.Context, book *logbook.Log, r paperRow) (read logbook.NumberReading, err error) {
	if in.Number == nil {
		return read, r.Bad("numbers read by eye cannot be worked out here")
	}
	leg := r.content.(*logbook.Leg)
	here, err := book.EstimateAt(ctx, r.at.Time, &leg.Run)
	if err != nil && fault.Code(err) != "position_lost" {
		return read, err
	}
	if read, err = in.Number(ctx, *r.number, r.numberSigma, r.at.Time, r.at.Offset, here); err == nil {
		leg.Reading = &read.Heading
	}
	return read, err
}

// paperRow is a row of a paper log.
type paperRow struct {
	wayRow
	at      logbook.At
	content logbook.Content
	// number is set for a leg by a number read by eye whose heading is to be worked out,
	// with its sigma, 0 for the default.
	number      *angle.Angle
	numberSigma angle.Angle
	kept        []byte // what is known of the reading of a leg by the dial, as JSON
	rounded     string // what is to be said of a position of few digits
	key         string
	order       int64 // by which rows go in
}

// paperColumns only grow at their end: by their order a row is known that was imported.
var paperColumns = []string{"entry", "time", "odometer_km", "odometer_mi", "odometer_nmi", "rolled_over_digits", "distance_km", "speed_kmh", "stood",
	"heading_deg", "number_deg", "sigma_deg", "position", "error_m", "source", "note", "legs", "reads",
	"kind", "odometer_decimals", "distance_sigma_km", "speed_sigma_kmh", "under_way_s",
	"how", "level_sigma_deg", "lubber_sigma_deg", "position_sigma_deg", "set_up_anew",
	"body", "body_azimuth_deg", "body_altitude_deg", "computed_at",
	"photo", "photo_sha256", "refused", "refused_message", "confirmed",
	"steering_deg", "lubber_shared_deg", "lubber_walk_deg", "lean_deg", "lean_walk_deg", "scale", "scale_walk",
	"drift_mps", "drift_walk_mps", "speed_limit_kmh", "reads_unit", "reads_decimals",
	"waits_from_sigmas", "utc_offset", "settings", "instrument"}

// DerivedColumns are those of an exported journey that follow from its entries: they are
// passed over, and a row is the same entry whatever stands in them.
var DerivedColumns = []string{"leg",
	"latitude", "longitude", "ellipse95_major_m", "ellipse95_minor_m", "ellipse95_bearing_deg",
	"estimated_latitude", "estimated_longitude", "estimated_major_m", "estimated_minor_m", "estimated_bearing_deg",
	"compass_rule_latitude", "compass_rule_longitude",
	"fix_latitude", "fix_longitude", "fix_sigma_m", "fix_source", "fix_used", "closing_m", "closing_bearing_deg", "closing_per_cent"}

// paperKinds are the entries of a paper log.
var paperKinds = []logbook.Kind{logbook.KindDeparture, logbook.KindLeg, logbook.KindDetour, logbook.KindHalt, logbook.KindFix, logbook.KindNote, logbook.KindRemount, logbook.KindTyres, logbook.KindOdometerSet, logbook.KindSettings}

// forKinds are the columns that only some kinds of entries fill.
var forKinds = func() map[string][]logbook.Kind {
	withWay := []logbook.Kind{logbook.KindLeg, logbook.KindDetour, logbook.KindHalt, logbook.KindFix, logbook.KindTyres, logbook.KindOdometerSet}
	departure, leg := []logbook.Kind{logbook.KindDeparture}, []logbook.Kind{logbook.KindLeg}
	kinds := map[string][]logbook.Kind{}
	for _, group := range []struct {
		kinds   []logbook.Kind
		columns []string
	}{
		{withWay, []string{"distance_km", "distance_sigma_km", "speed_kmh", "speed_sigma_kmh", "under_way_s", "stood", "rolled_over_digits"}},
		{append(departure, withWay...), []string{"odometer_km", "odometer_mi", "odometer_nmi", "odometer_decimals"}},
		{append(leg, logbook.KindDetour), []string{"sigma_deg"}},
		{leg, []string{"how", "heading_deg", "number_deg", "level_sigma_deg", "lubber_sigma_deg", "position_sigma_deg", "set_up_anew",
			"body", "body_azimuth_deg", "body_altitude_deg", "computed_at", "photo", "photo_sha256", "refused", "refused_message"}},
		{append(departure, logbook.KindFix), []string{"position", "error_m", "source"}},
		{[]logbook.Kind{logbook.KindFix}, []string{"confirmed", "waits_from_sigmas"}},
		{[]logbook.Kind{logbook.KindDetour}, []string{"legs"}},
		{[]logbook.Kind{logbook.KindOdometerSet}, []string{"reads", "reads_unit", "reads_decimals"}},
		{departure, []string{"steering_deg", "lubber_shared_deg", "lubber_walk_deg", "lean_deg", "lean_walk_deg", "scale", "scale_walk",
			"drift_mps", "drift_walk_mps", "speed_limit_kmh"}},
		{append(departure, logbook.KindSettings), []string{"settings"}},
		{leg, []string{"instrument"}},
	} {
		for _, column := range group.columns {
			kinds[column] = group.kinds
		}
	}
	return kinds
}()

var paperForm = table.Form{
	Columns: slices.Concat(paperColumns, DerivedColumns), Numbers: slices.Concat(numberColumns, exactColumns),
	Needed:   [][]string{{"entry"}, {"time"}},
	Names:    "entry, time and those of docs/log.md that the entries need",
	MaxBytes: maxCSV, MaxRows: maxCSVRows,
}

func (in Paper) read() (rows []paperRow, err error) {
	seen := map[string]int{}
	var begins, unsaid bool // a journey; a time without an offset
	err = paperForm.Read(in.CSV, in.Name, func(r table.Row) error {
		row := paperRow{wayRow: wayRow{r}}
		err := row.read(in.UTCOffset)
		if fault.Code(err) == "no_utc_offset" && in.JourneysOffset != nil && !begins {
			unsaid = true
			row = paperRow{wayRow: wayRow{r}}
			err = row.read(in.JourneysOffset)
		}
		if err != nil {
			return err
		}
		if _, departure := row.content.(*logbook.Departure); departure {
			begins = true
		}
		if begins && unsaid {
			return fault.New("no_utc_offset", "write it behind each time, as +02:00, or give --utc-offset", "the file begins a journey, and times in it have no UTC offset")
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
	// An exported journey has the number in the column entry.
	kind := logbook.Kind(strings.ToLower(cmp.Or(r.Field("kind"), r.Field("entry"))))
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
	if r.at.Time, r.at.Offset, err = r.timeBy(offset); err != nil {
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
		if d.Position, d.Sigma, err = r.position(); err == nil {
			err = r.model(d)
		}
		if err == nil {
			d.Settings, err = r.settings()
		}
		countIn(d)
		r.content = d
	case logbook.KindLeg:
		r.content, err = r.leg(run)
	case logbook.KindDetour:
		r.content, err = r.detour(run)
	case logbook.KindHalt:
		r.content = &logbook.Halt{Run: run}
	case logbook.KindOdometerSet:
		set := &logbook.OdometerSet{Run: run}
		set.After, err = ParseReading(withDecimals(r.Field("reads"), r.Field("reads_decimals"))+r.Field("reads_unit"), logbook.Kilometres)
		r.content = set
	case logbook.KindFix:
		f := &logbook.Fix{Run: run, Source: r.Text("source")}
		if f.Position, f.Sigma, err = r.position(); err == nil {
			err = r.counting(f)
		}
		r.content = f
	case logbook.KindTyres:
		r.content = &logbook.Tyres{Run: run}
	case logbook.KindSettings:
		set, err := r.settings()
		if err != nil {
			return err
		}
		if set == nil {
			return r.Bad("the row has no settings")
		}
		r.content = set
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
	if given, err := r.figures("distance_km", "distance_sigma_km"); err != nil {
		return logbook.Run{}, err
	} else if given != nil {
		run.Distance = &logbook.Distance{Length: geo.Metres(given[0]) * geo.Kilometre, Sigma: geo.Metres(given[1]) * geo.Kilometre}
	}
	if given, err := r.figures("speed_kmh", "speed_sigma_kmh", "under_way_s"); err != nil {
		return logbook.Run{}, err
	} else if given != nil {
		run.Speed = &logbook.Speed{
			Mean: workup.MetresPerSecond(given[0] / 3.6), Sigma: workup.MetresPerSecond(given[1] / 3.6),
			For: time.Duration(math.Round(min(given[2], maxUnderWay) * float64(time.Second))),
		}
	}
	run.Stood, err = r.yes("stood")
	return run, err
}

// maxUnderWay is far more than any way takes, and few enough seconds for a Duration.
const maxUnderWay = 1e9

// figures returns the numbers in columns, 0 where there is none; nil if the first, without
// which the others mean nothing, is empty.
func (r *paperRow) figures(columns ...string) ([]float64, error) {
	out := make([]float64, len(columns))
	first := false
	for i, column := range columns {
		x, filled, err := r.Number(column)
		if err != nil {
			return nil, err
		}
		if i == 0 {
			first = filled
		}
		if filled && !first {
			return nil, r.Bad("%s has no meaning without %s", column, columns[0])
		}
		out[i] = x
	}
	if !first {
		return nil, nil
	}
	return out, nil
}

func (r *paperRow) yes(column string) (bool, error) {
	switch s := strings.ToLower(r.Field(column)); s {
	case "", "no":
		return false, nil
	case "yes":
		return true, nil
	default:
		return false, r.Bad("%s %q is neither yes nor no", column, s)
	}
}

// model reads how wrong the instruments may be, where the row says so.
func (r *paperRow) model(d *logbook.Departure) error {
	for _, f := range modelFields(&d.Model) {
		x, filled, err := r.Number(f.column)
		if err != nil {
			return err
		}
		if filled {
			*f.value = x * f.unit
		}
	}
	x, filled, err := r.Number("speed_limit_kmh")
	if filled {
		d.SpeedLimit = workup.MetresPerSecond(x / 3.6)
	}
	return err
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
	switch {
	case !ok:
		return p, 0, fault.New("bad_position_sigma", "fill the column error_m: metres, one sigma per axis", "the position's error is not given")
	case !(sigma > 0): // which the rounding would make good, or a sign less
		return p, 0, fault.New("bad_position_sigma", "give metres, one sigma per axis, more than 0", "a position's error of %v m cannot be worked with", sigma)
	}
	good, coarse := geo.WithRounding(r.Field("position"), geo.Metres(sigma))
	if coarse {
		r.rounded = fmt.Sprintf("with its last digit the position %s is good to %s only, and not to the %v m of error_m; if its zeros were trimmed, correct the entry, and keep the column as text",
			r.Field("position"), wording.Length(good), sigma)
	}
	return p, good, nil
}

// detour reads the short legs of a detour, parted by semicolons.
func (r *paperRow) detour(run logbook.Run) (logbook.Content, error) {
	sigma, _, err := r.Number("sigma_deg")
	if err != nil {
		return nil, err
	}
	d := &logbook.Detour{Run: run}
	for text := range strings.SplitSeq(r.Field("legs"), ";") {
		leg, err := ParseShortLeg(strings.TrimSpace(text), angle.FromDegrees(sigma), logbook.Kilometres)
		if err != nil {
			return nil, err
		}
		if leg.Heading.Sigma == 0 {
			return nil, noSigma()
		}
		d.Legs = append(d.Legs, leg)
	}
	return d, nil
}
