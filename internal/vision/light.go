package vision

import (
	"math"

	"shadowread/internal/rank"
)

// srgbToLinear undoes the transfer function of sRGB (IEC 61966-2-1), whose figures these are.
func srgbToLinear(x float64) float64 {
	if x <= 0.04045 {
		return x / 12.92
	}
	return math.Pow((x+0.055)/1.055, 2.4)
}

// linearToSRGB is the level, 0 to 1, of a light, none below 0.
func linearToSRGB(x float64) float64 {
	if x <= 0.0031308 {
		return 12.92 * max(0, x)
	}
	return 1.055*math.Pow(x, 1/2.4) - 0.055
}

// quantile returns the q-quantile of xs, which it leaves unchanged; NaN if empty. That of
// gonum's stat counts places otherwise, by which photos at the bars are read or refused.
func quantile(xs []float64, q float64) float64 {
	if len(xs) == 0 {
		return math.NaN()
	}
	k := int(q * float64(len(xs)-1))
	if len(xs) <= 16 { // a little room costs less to clear
		var room [16]float64
		return rank.Select(append(room[:0], xs...), k)
	}
	var room [256]float64
	return rank.Select(append(room[:0], xs...), k)
}

// tenths reports whether a count makes so many tenths of all.
func tenths(some, all, least int) bool { return 10*some >= least*all }
