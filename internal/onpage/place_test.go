package onpage

import (
	"encoding/json"
	"math"
	"strings"
	"testing"
)

// 22°54' is 22.9°; a tenth of a minute is 185 m, so that rounding to it is good to 53 m
// (a uniform error's sigma, 185 m over the root of 12).
func TestPlaceByHand(t *testing.T) {
	for _, c := range []struct{ place, shown, code string }{
		{`{"source":"hand","text":"22 54.0 S, 22 18.0 E"}`, "22°54.0' S 022°18.0' E", ""},
		{`{"source":"device","latitude_deg":-22.9,"longitude_deg":22.3,"sigma_km":0.004}`, "22°54.0' S 022°18.0' E", ""},
		{`{"source":"hand","text":"22 54.0 S"}`, "", "bad_position"},
		{`{"source":"hand","text":"95 S, 22 E"}`, "", "bad_position"},
		{`{"source":"device","latitude_deg":95,"longitude_deg":22.3}`, "", "bad_position"},
		{`null`, "", "no_position"},
	} {
		out, _ := new(Program).Call("place", []byte(`{"settings":{"position_form":"degrees_minutes"},"place":`+c.place+`}`), nil, nil)
		var a struct {
			placeAnswer
			Error failure `json:"error"`
		}
		if err := json.Unmarshal(out, &a); err != nil {
			t.Fatal(err)
		}
		if a.Shown != c.shown || a.Error.Code != c.code {
			t.Errorf("%s: %q, code %q, not %q, %q", c.place, a.Shown, a.Error.Code, c.shown, c.code)
		}
		if c.code == "" && (math.Abs(a.Place.LatitudeDeg+22.9) > 1e-9 || math.Abs(a.Place.LongitudeDeg-22.3) > 1e-9) {
			t.Errorf("%s: lies at %v", c.place, a.Place)
		}
		if strings.Contains(c.place, "text") && c.code == "" && (a.Place.SigmaKM < 0.053 || a.Place.SigmaKM > 2) {
			t.Errorf("%s: good to %v km", c.place, a.Place.SigmaKM)
		}
	}
}
