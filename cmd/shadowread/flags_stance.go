package main

import (
	"math"
	"strconv"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"shadowread/internal/angle"
	"shadowread/internal/fault"
	"shadowread/internal/instrument"
	"shadowread/internal/reading"
)

// stanceFlags say how the board stands and how the rod stands on it.
type stanceFlags struct {
	tilt                 parsed[[2]float64]
	tiltSigma, square    quantity
	horizon              bool
	horizonSigma, eyesUp quantity
}

func newStanceFlags() stanceFlags {
	return stanceFlags{
		tilt:         parsed[[2]float64]{name: "FORWARD,STARBOARD", parse: parseTilt},
		tiltSigma:    quantity{value: reading.DefaultTilt.Degrees(), least: 0.01, most: 10, unit: "deg", text: "0.3"},
		square:       quantity{value: reading.DefaultSquare.Degrees(), least: 0, most: 10, unit: "deg", text: "0.5"},
		horizonSigma: quantity{value: reading.DefaultHorizon.Degrees(), least: 0.005, most: 5, unit: "deg", text: "0.1"},
		eyesUp:       quantity{value: reading.DefaultEye, least: 0.1, most: 100, unit: "m", text: "1.6"},
	}
}

func (t *stanceFlags) add(cmd *cobra.Command) {
	f := cmd.Flags()
	t.addHorizon(f)
	f.Var(&t.tilt, "tilt", "how the board stands, measured on it: elevation in degrees of its forward and of its starboard axis, positive where that edge is high")
	f.Var(&t.tiltSigma, "tilt-sigma", "one sigma of either part of --tilt")
	f.Var(&t.square, "square-sigma", "one sigma of the rod square to its sheet, where --tilt or --horizon tells the level: 0 for a plumb line")
}

func (t *stanceFlags) addHorizon(f *pflag.FlagSet) {
	f.BoolVar(&t.horizon, "horizon", false, "the country is flat to a horizon that the photo shows above the sheet: measures how the board stands")
	f.Var(&t.horizonSigma, "horizon-sigma", "one sigma of the ground's slope to that horizon: 0.03 at sea")
	f.Var(&t.eyesUp, "eye-height", "of the camera above that ground, for the horizon's dip")
}

func (t *stanceFlags) checkHorizon(cmd *cobra.Command) error {
	for _, name := range []string{"horizon-sigma", "eye-height"} {
		if cmd.Flags().Changed(name) && !t.horizon {
			return fault.Usage("flag_without_other", "give --horizon too", "--%s has no meaning without --horizon", name)
		}
	}
	return nil
}

// country is what was said of the ground, nil where nothing was.
func (t *stanceFlags) country() *reading.Horizon {
	if !t.horizon {
		return nil
	}
	return &reading.Horizon{Sigma: t.horizonSigma.angle(), EyeMetres: t.eyesUp.value}
}

// use checks what was given. photos is how many are read at once.
func (t *stanceFlags) use(cmd *cobra.Command, o *reading.Options, photos int) error {
	given := cmd.Flags().Changed
	if err := t.checkHorizon(cmd); err != nil {
		return err
	}
	if given("tilt-sigma") && !given("tilt") {
		return fault.Usage("flag_without_other", "give --tilt too", "--tilt-sigma has no meaning without --tilt")
	}
	if given("square-sigma") && !given("tilt") && !given("horizon") {
		return fault.Usage("flag_without_other", "give --tilt or --horizon too; without them --level-sigma holds both", "--square-sigma has no meaning without --tilt or --horizon")
	}
	o.Square = t.square.angle()
	if v := t.tilt.given(); v != nil {
		if photos > 1 {
			return fault.Usage("tilt_with_many_photos", "a tilt belongs to its photo: read it alone", "--tilt is given for %d photos", photos)
		}
		o.Tilt = &instrument.Tilt{Forward: angle.FromDegrees(v[0]), Starboard: angle.FromDegrees(v[1]), Sigma: t.tiltSigma.angle()}
	}
	if t.horizon {
		if given("number") {
			return exclusive(cmd, "number", "horizon")
		}
		o.Horizon = t.country()
	}
	return nil
}

// parseTilt reads FORWARD,STARBOARD in degrees.
func parseTilt(s string) (tilt [2]float64, err error) {
	const most = 20.0 // beyond it nobody reads a dial, and the parts are no longer small
	forward, starboard, ok := strings.Cut(s, ",")
	if !ok {
		return tilt, fault.Usage("bad_tilt", "give FORWARD,STARBOARD in degrees, as 1.2,-0.4: positive where that edge is high", "%.40q is no pair", s)
	}
	if strings.Trim(forward, " 0-−") == "" && strings.Trim(starboard, "0") != "" { // half a degree, or none and five
		if err := decimalComma(s, "the decimal sign is a point: write FORWARD,STARBOARD as 1.0,5.0 or 1.5,0.0"); err != nil {
			return tilt, err
		}
	}
	for i, text := range []string{forward, starboard} {
		v, err := strconv.ParseFloat(strings.TrimSpace(text), 64)
		if err != nil || !(math.Abs(v) <= most) {
			return tilt, fault.Usage("bad_tilt", "give degrees, positive where the forward or the starboard edge is high", "%.40q is no elevation from -%g to %g degrees", text, most, most)
		}
		tilt[i] = v
	}
	return tilt, nil
}
