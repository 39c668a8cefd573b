package main

import (
	"github.com/spf13/cobra"

	"shadowread/internal/compass"
	"shadowread/internal/fault"
	"shadowread/internal/openfile"
	"shadowread/internal/reading"
)

// declinationFlags is a declination that the user knows.
type declinationFlags struct{ value, sigma quantity }

func newDeclinationFlags() declinationFlags {
	return declinationFlags{quantity{least: -180, most: 180, unit: "deg"}, quantity{least: 0.01, most: 90, unit: "deg"}}
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
func loadCard(path string) (*compass.Card, error) {
	f, err := openfile.Regular(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	card, err := compass.ReadCard(f, path)
	if err != nil {
		return nil, err
	}
	return &card, nil
}
