package chart

// XY is a place on the chart, mm from the upper left corner, y down.
type XY struct{ X, Y float64 }

// Item is a Stroke, an Area or Words. Later items cover earlier ones.
type Item interface{ item() }

// Stroke is a line through points, its ends and corners round.
type Stroke struct {
	Points  []XY
	Closed  bool
	WidthMM float64
	DashMM  []float64 // ink, gap, ink, gap; empty for a whole line
	Grey    float64   // 0 is black, 1 white
}

// Area is a filled polygon.
type Area struct {
	Points []XY
	Grey   float64 // 0 is black, 1 white
}

// Words are a line of type.
type Words struct {
	Text   string
	Bold   bool
	SizeMM float64 // em
	At     XY      // on the baseline
	Align  float64 // what of the length lies left of At: 0, 0.5 or 1
}

func (Stroke) item() {}
func (Area) item()   {}
func (Words) item()  {}

// Chart is a drawn chart.
type Chart struct {
	Title             string
	WidthMM, HeightMM float64
	Items             []Item
	// ScaleDenominator is n of the scale 1 : n.
	ScaleDenominator float64

	projection projection
	frame      rect
}
