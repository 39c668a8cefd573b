// Package sheet holds the geometry of the printed sheet.
//
// Lengths are millimetres on paper. The axes are the plate's: origin at the
// printed foot of the gnomon, x to the right (starboard), y forward; directions
// run clockwise from forward, seen from above.
package sheet

import (
	_ "embed"
	"encoding/json"
	"fmt"
)

//go:embed standard-sheet.json
var standardJSON []byte

// Point is a place on the sheet in millimetres.
type Point struct{ X, Y float64 }

// Mark is one printed ArUco 4x4_50 mark, upright: its top edge towards +y.
type Mark struct {
	ID   int
	X, Y float64 // centre, mm
	Side float64 // outer black square, mm
}

// Corners returns the outer corners of the upright mark: top-left, top-right,
// bottom-right, bottom-left.
func (m Mark) Corners() [4]Point {
	h := m.Side / 2
	return [4]Point{{m.X - h, m.Y + h}, {m.X + h, m.Y + h}, {m.X + h, m.Y - h}, {m.X - h, m.Y - h}}
}

// Dial is the graduated ring. Radii, widths and heights are millimetres.
type Dial struct {
	ClearZone       [2]float64 // radii between which nothing is printed
	TickInnerRadius float64
	TickOuterRadius map[int]float64 // by step in degrees: 1, 5, 10
	TickWidth       map[int]float64
	RingRadius      float64
	RingWidth       float64
	NumeralRadius   float64
	NumeralHeight   float64
}

// Sheet is the geometry of one printed sheet.
type Sheet struct {
	Name        string
	Version     int
	Marks       []Mark
	Dial        Dial
	LubberFrom  Point
	LubberTo    Point
	LubberWidth float64
	FootRing    float64 // radius
	FootLine    float64 // line width
	FootCross   [2]float64
	ScaleLength float64
	ScaleFrom   Point
	ScaleTo     Point
	RodHeight   float64 // default gnomon
	RodDiameter float64
}

// Standard is the standard sheet, version 1.
var Standard = mustParse(standardJSON)

func mustParse(data []byte) *Sheet {
	s, err := parse(data)
	if err != nil {
		panic(fmt.Sprintf("embedded standard sheet: %v", err))
	}
	return s
}

func parse(data []byte) (*Sheet, error) {
	var raw struct {
		Name    string `json:"name"`
		Version int    `json:"version"`
		Marks   []Mark `json:"marks"`
		Dial    struct {
			ClearZone  [2]float64         `json:"clear_zone_radii"`
			TickInner  float64            `json:"tick_inner_radius"`
			TickOuter  map[string]float64 `json:"tick_outer_radius"`
			TickWidth  map[string]float64 `json:"tick_width"`
			RingRadius float64            `json:"ring_radius"`
			RingWidth  float64            `json:"ring_width"`
			NumRadius  float64            `json:"numeral_radius"`
			NumHeight  float64            `json:"numeral_height"`
		} `json:"dial"`
		Lubber struct {
			From, To [2]float64
			Width    float64
		} `json:"lubber_line"`
		Foot struct {
			Ring  float64 `json:"ring_radius"`
			Line  float64 `json:"line_width"`
			From  float64 `json:"cross_from"`
			Until float64 `json:"cross_to"`
		} `json:"foot"`
		Scale struct {
			Length   float64
			From, To [2]float64
		} `json:"scale_check"`
		Gnomon struct {
			Height, Diameter float64
		} `json:"gnomon_default"`
	}
	if err := json.Unmarshal(data, &raw); err != nil {
		return nil, err
	}
	steps := func(m map[string]float64) map[int]float64 {
		return map[int]float64{1: m["1_deg"], 5: m["5_deg"], 10: m["10_deg"]}
	}
	pt := func(p [2]float64) Point { return Point{p[0], p[1]} }
	return &Sheet{
		Name: raw.Name, Version: raw.Version, Marks: raw.Marks,
		Dial: Dial{
			ClearZone: raw.Dial.ClearZone, TickInnerRadius: raw.Dial.TickInner,
			TickOuterRadius: steps(raw.Dial.TickOuter), TickWidth: steps(raw.Dial.TickWidth),
			RingRadius: raw.Dial.RingRadius, RingWidth: raw.Dial.RingWidth,
			NumeralRadius: raw.Dial.NumRadius, NumeralHeight: raw.Dial.NumHeight,
		},
		LubberFrom: pt(raw.Lubber.From), LubberTo: pt(raw.Lubber.To), LubberWidth: raw.Lubber.Width,
		FootRing: raw.Foot.Ring, FootLine: raw.Foot.Line, FootCross: [2]float64{raw.Foot.From, raw.Foot.Until},
		ScaleLength: raw.Scale.Length, ScaleFrom: pt(raw.Scale.From), ScaleTo: pt(raw.Scale.To),
		RodHeight: raw.Gnomon.Height, RodDiameter: raw.Gnomon.Diameter,
	}, nil
}

// TickStep returns the class of the tick at a whole degree: 10, 5 or 1.
func TickStep(deg int) int {
	switch {
	case deg%10 == 0:
		return 10
	case deg%5 == 0:
		return 5
	}
	return 1
}

// ModuleBits returns the inner 4x4 bits of ArUco 4x4_50 mark id, row by row from
// the top left, true where white. The 50 codes are those of OpenCV's predefined
// dictionary 0 (modules/aruco/src/predefined_dictionaries.hpp), rotation 0; ok is
// false for an id that the standard sheet does not use.
func ModuleBits(id int) (bits [4][4]bool, ok bool) {
	code, ok := codes[id]
	for i := range 16 {
		bits[i/4][i%4] = code>>(15-i)&1 == 1
	}
	return bits, ok
}

var codes = map[int]uint16{
	4: 0x549e, 5: 0x79cd, 6: 0x9e2e, 7: 0xc4f2, 8: 0xfeda, 9: 0xcf56,
	10: 0xf991, 11: 0x11a7, 12: 0x0eb7, 13: 0x2a0f, 14: 0x24b1, 15: 0x263e,
}
