package reading

import (
	"errors"
	"fmt"
	"math"

	"shadowread/internal/angle"
	"shadowread/internal/calib"
	"shadowread/internal/instrument"
	"shadowread/internal/vision"
)

// Sources of a tilt.
const (
	TiltStated  = "stated"
	TiltHorizon = "horizon"
)

const (
	// placeSigma is one sigma of where a stretch of the width shows the horizon, mostBends
	// the RMS that hills leave more than.
	placeSigma = 0.02 * angle.Degree
	mostBends  = 0.02 * angle.Degree
)

// tilt joins what was measured of how the sheet stands.
func (r *Result) tilt(o Options) {
	if o.Tilt != nil {
		r.Tilt, r.TiltSources = o.Tilt, []string{TiltStated}
	}
	if r.horizonTilt == nil && o.Same != nil {
		r.horizonTilt = o.Same.tilt
	}
	if r.horizonTilt == nil {
		return
	}
	if r.Tilt == nil {
		r.Tilt, r.TiltSources = r.horizonTilt, []string{TiltHorizon}
		return
	}
	joined, apart := r.Tilt.With(*r.horizonTilt)
	if apart > 3 {
		r.warn("tilt_disagrees", fmt.Sprintf("the stated tilt and the horizon's are %.1f sigmas apart; the uncertainty is widened. Check which edge is high, and whether the country is flat", apart))
	}
	r.Tilt, r.TiltSources = &joined, []string{TiltStated, TiltHorizon}
}

// lookForHorizon measures how the sheet stands by the horizon in the picture.
func (r *Result) lookForHorizon(g *vision.Gray, o Options) {
	if o.Horizon == nil {
		return
	}
	dip := calib.Dip(o.Horizon.EyeMetres)
	h, err := vision.FindHorizon(g, &r.Plate.Plate)
	var forward, starboard, bends angle.Angle
	var cov [2][2]float64
	if err == nil {
		var ok bool
		if forward, starboard, cov, bends, ok = r.Plate.LevelByHorizon(h.Line, dip, placeSigma); !ok {
			err = vision.ErrNoHorizon
		} else if bends > mostBends {
			err = vision.ErrCrooked
		}
	}
	switch {
	case errors.Is(err, vision.ErrCrooked):
		r.warn("horizon_not_straight", "what is seen where the horizon must be is not straight over a good part of the width, as hills make it: the board's level was not measured. Turn to where the country is flat")
		return
	case err != nil:
		r.warn("no_horizon", "no horizon is seen above the sheet, or more than one line that may be it: the board's level was not measured. Hold the camera upright, with the sheet below and nothing but open country and sky above it")
		return
	}
	// What is left on the sheet bends the map's frame by as much over half its width.
	flat := angle.Atan2(2*r.Plate.ResidualMM, 85)
	r.TiltOwn = angle.RSS(angle.Angle(math.Sqrt(max(cov[0][0], cov[1][1]))), flat, bends/2)
	sigma := angle.RSS(o.Horizon.Sigma, r.TiltOwn)
	r.Horizon = h
	r.horizonTilt = &instrument.Tilt{Forward: forward, Starboard: starboard, Sigma: sigma}
}
