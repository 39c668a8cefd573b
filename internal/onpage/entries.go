package onpage

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"strconv"
	"strings"
	"time"

	"shadowread/internal/fault"
	"shadowread/internal/table"
)

// keptReading is a reading that the page keeps: what "read" and "number" answered, and what
// the odometer showed.
type keptReading struct {
	ID       string `json:"id"`
	Kind     string `json:"kind"` // "leg" or "heading"
	Odometer string `json:"odometer"`
	Unit     string `json:"odometer_unit"` // "km", "mi" or "nmi"; "" stands for km
	// Stood says that nothing was run since the entry before it.
	Stood   bool        `json:"stood"`
	Note    string      `json:"note"`
	Name    string      `json:"photo"`
	SHA256  string      `json:"photo_sha256"` // "" for a number read by eye
	Reading keptHeading `json:"reading"`
}

// keptHeading is of a reading's JSON what goes into a log.
type keptHeading struct {
	Status   string              `json:"status"`
	Reason   *string             `json:"reason"`
	Message  *string             `json:"message"`
	Time     *string             `json:"time_utc"`
	Number   *float64            `json:"scale_reading_deg"`
	Heading  *float64            `json:"heading_true_deg"`
	Sigma    *float64            `json:"heading_sigma_deg"`
	Body     *string             `json:"body"`
	Azimuth  *float64            `json:"body_azimuth_deg"`
	Altitude *float64            `json:"body_altitude_deg"`
	Budget   map[string]*float64 `json:"error_budget_deg"`
}

type entriesRequest struct {
	Kept []keptReading `json:"kept"`
	As   string        `json:"as"` // "legs", or "headings": notes beside the way
}

type entriesAnswer struct {
	Name string `json:"name"`
	Text string `json:"text"`
}

// entryColumns are those of a paper log (docs/log.md) that a reading fills.
var entryColumns = []string{"entry", "time", "odometer_km", "odometer_mi", "odometer_nmi", "stood", "how", "heading_deg", "sigma_deg", "number_deg",
	"level_sigma_deg", "lubber_sigma_deg", "position_sigma_deg", "body", "body_azimuth_deg", "body_altitude_deg", "photo", "photo_sha256", "refused", "refused_message", "note"}

// answer writes kept readings as entries that the log takes. A reading's row is always the
// same, so that a file taken twice, or grown since, enters nothing twice.
func (r entriesRequest) answer() (any, error) {
	if r.As != "legs" && r.As != "headings" {
		return nil, badRequest(fmt.Errorf("as %.40q", r.As))
	}
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	w.Write(entryColumns)
	rows := 0
	for _, k := range r.Kept {
		row, err := k.row(r.As == "legs")
		if err != nil {
			return nil, err
		}
		if row == nil {
			continue
		}
		rows++
		cells := make([]string, len(entryColumns))
		for i, column := range entryColumns {
			cells[i] = table.SafeCell(row[column])
		}
		w.Write(cells)
	}
	if w.Flush(); w.Error() != nil {
		return nil, w.Error()
	}
	if rows == 0 {
		return nil, fault.New("nothing_kept", "read a heading first", "there is no kept reading to hand over")
	}
	return entriesAnswer{"shadowread-" + r.As + ".csv", b.String()}, nil
}

// row is a reading as an entry; nil for one that gives none.
func (k keptReading) row(legs bool) (map[string]string, error) {
	h := k.Reading
	if h.Time == nil {
		return nil, nil // refused before its time was known
	}
	at, err := time.Parse(time.RFC3339Nano, *h.Time)
	if err != nil {
		return nil, entriesError(k.ID, "its time %.40q cannot be read", *h.Time)
	}
	row := map[string]string{"entry": "leg", "time": at.UTC().Format(time.RFC3339Nano), "note": oneLine(k.Note)}
	read := h.Heading != nil && h.Sigma != nil
	if !legs || k.Kind == "heading" {
		if !read {
			return nil, nil
		}
		row["entry"] = "note"
		text := fmt.Sprintf("heading %.1f true, %.2f one sigma", *h.Heading, *h.Sigma)
		if h.Body != nil {
			text += ", by the " + oneLine(*h.Body)
		}
		row["note"] = strings.TrimPrefix(row["note"]+"; "+text, "; ")
		return row, nil
	}
	if err := k.way(row); err != nil {
		return nil, err
	}
	row["how"] = "number"
	if k.SHA256 != "" {
		row["how"], row["photo"], row["photo_sha256"] = "photo", oneLine(k.Name), k.SHA256
	}
	if !read {
		if row["how"] == "number" {
			return nil, nil
		}
		if h.Reason != nil {
			row["refused"] = *h.Reason
		}
		if h.Message != nil {
			row["refused_message"] = oneLine(*h.Message)
		}
		return row, nil
	}
	fill := func(column string, value *float64) {
		if value != nil {
			row[column] = strconv.FormatFloat(*value, 'f', -1, 64)
		}
	}
	fill("heading_deg", h.Heading)
	fill("sigma_deg", h.Sigma)
	fill("number_deg", h.Number)
	level := h.Budget["level"]
	if square := h.Budget["square"]; square != nil { // of a tilt that was measured, what other stands share
		level = square
	}
	fill("level_sigma_deg", level)
	fill("lubber_sigma_deg", h.Budget["alignment"])
	fill("position_sigma_deg", h.Budget["position"])
	if h.Azimuth != nil && h.Altitude != nil {
		fill("body_azimuth_deg", h.Azimuth)
		fill("body_altitude_deg", h.Altitude)
	}
	if h.Body != nil {
		row["body"] = *h.Body
	}
	return row, nil
}

// way fills in how the leg's beginning was reached.
func (k keptReading) way(row map[string]string) error {
	text := strings.TrimSpace(k.Odometer)
	if k.Stood {
		row["stood"] = "yes"
	}
	if text == "" {
		if !k.Stood {
			return fault.New("no_odometer", "note the odometer beside the reading, or say that the vehicle stood; or hand the readings over as headings", "the kept reading %.60s has no odometer", k.ID)
		}
		return nil
	}
	if _, err := strconv.ParseFloat(text, 64); err != nil || len(text) > 20 {
		return fault.New("bad_odometer", "correct it, as 45218.4", "the odometer %.40q of a kept reading is no number", text)
	}
	switch k.Unit {
	case "", "km", "mi", "nmi":
	default:
		return fault.New("bad_odometer", "say km, mi or nmi", "the odometer's unit %.20q is not known", k.Unit)
	}
	unit := k.Unit
	if unit == "" {
		unit = "km"
	}
	row["odometer_"+unit] = text
	return nil
}

// oneLine leaves out what a CSV's reader might stumble on.
func oneLine(s string) string { return strings.Join(strings.Fields(s), " ") }
