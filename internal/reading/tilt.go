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
	h, tilt, err := r.levelByHorizon(g, calib.Dip(o.Horizon.EyeMetres))
	switch {
	case errors.Is(err, vision.ErrCrooked):
		r.warn("horizon_not_straight", "what is seen where the horizon must be is not straight over a good part of the width, as hills make it: the board's level was not measured. Turn to where the country is flat")
		return
	case err != nil:
		r.warn("no_horizon", "no horizon is seen above the sheet, or more than one line that may be it: the board's level was not measured. Hold the camera upright, with the sheet below and nothing but open country and sky above it")
		return
	}
	r.Horizon, r.TiltOwn = h, tilt.Sigma
	tilt.Sigma = angle.RSS(o.Horizon.Sigma, tilt.Sigma)
	r.horizonTilt = &tilt
}

// levelByHorizon returns the horizon in the picture, and the tilt by it with what is the
// photo's own of its sigma; an error of vision's where none can be trusted.
func (r *Result) levelByHorizon(g *vision.Gray, dip angle.Angle) (*vision.Horizon, instrument.Tilt, error) {
	h, err := vision.FindHorizon(g, &r.Plate.Plate)
	if err != nil {
		return nil, instrument.Tilt{}, err
	}
	forward, starboard, cov, bends, ok := r.Plate.LevelByHorizon(h.Line, dip, placeSigma)
	switch {
	case !ok:
		return nil, instrument.Tilt{}, vision.ErrNoHorizon
	case bends > mostBends:
		return nil, instrument.Tilt{}, vision.ErrCrooked
	}
	// What is left on the sheet bends the map's frame by as much over half its width.
	const halfFace = 85 // mm
	flat := angle.Atan2(2*r.Plate.ResidualMM, halfFace)
	own := angle.RSS(angle.Angle(math.Sqrt(max(cov[0][0], cov[1][1]))), flat, bends/2)
	return h, instrument.Tilt{Forward: forward, Starboard: starboard, Sigma: own}, nil
}
