package main

import (
	"fmt"
	"math"
	"strings"

	"github.com/spf13/cobra"

	"shadowread/internal/angle"
	"shadowread/internal/bearing"
	"shadowread/internal/fault"
	"shadowread/internal/openfile"
	"shadowread/internal/reading"
	"shadowread/internal/swing"
)

// declinationFlags is a declination that the user knows.
type declinationFlags struct{ value, sigma quantity }

func newDeclinationFlags() declinationFlags {
	return declinationFlags{quantity{min: -180, max: 180, unit: "deg"}, quantity{min: 0.01, max: 90, unit: "deg"}}
}

func (d *declinationFlags) add(cmd *cobra.Command) {
	cmd.Flags().Var(&d.value, "declination", "east positive (default the World Magnetic Model 2025's, for 2025 to 2030)")
	cmd.Flags().Var(&d.sigma, "declination-sigma", "one sigma of --declination (default 0.5)")
}

// given returns the declination; nil where the model's is to serve.
func (d *declinationFlags) given() (*reading.Declination, error) {
	switch {
	case !d.value.set && d.sigma.set:
		return nil, fault.Usage("sigma_without_declination", "give --declination too", "--declination-sigma has no meaning without --declination")
	case !d.value.set:
		return nil, nil
	}
	out := reading.Declination{Value: d.value.angle().Signed(), Sigma: reading.SigmaDeclinationOption}
	if d.sigma.set {
		out.Sigma = d.sigma.angle()
	}
	return &out, nil
}

func declinationSource(d reading.Declination) string {
	if d.Field == nil {
		return "as given; east positive"
	}
	return "World Magnetic Model 2025; east positive"
}

// loadCard reads a deviation card.
func loadCard(path string) (*swing.Card, error) {
	f, err := openfile.Regular(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	card, err := swing.ReadCard(f, path)
	if err != nil {
		return nil, err
	}
	return &card, nil
}

// Angles in JSON are degrees, rounded to a ten-thousandth.
func rounded(a angle.Angle) float64 { return roundTo(a.Degrees(), 4) }

// roundedBearing is rounded for [0, 360).
func roundedBearing(a angle.Angle) float64 { return math.Mod(rounded(a), 360) }

func roundTo(x float64, places int) float64 {
	unit := math.Pow10(places)
	return math.Round(x*unit)/unit + 0 // no -0
}

// lineOf and photoOf are null in JSON where a reading has none.
func lineOf(x bearing.Sighting) *int {
	if x.Line == 0 {
		return nil
	}
	return &x.Line
}

func photoOf(x bearing.Sighting) *string {
	if x.Photo == "" {
		return nil
	}
	return &x.Photo
}

// count is "1 reading" or "3 readings".
func count(n int, word string) string {
	if n != 1 {
		word += "s"
	}
	return fmt.Sprintf("%d %s", n, word)
}

// outlierNote adds to the notes of a reading that the others contradict.
func outlierNote(notes string) string {
	return strings.TrimPrefix(notes+", out of line with the others", ", ")
}
