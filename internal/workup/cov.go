package workup

import (
	"math"

	"shadowread/internal/angle"
	"shadowread/internal/geo"
)

// Cov is the covariance of a position in square metres: its north and east
// variances and what they have in common.
type Cov struct{ NN, NE, EE float64 }

// Circle returns the covariance of a position with one sigma in every direction.
func Circle(sigma geo.Metres) Cov {
	v := float64(sigma * sigma)
	return Cov{NN: v, EE: v}
}

// valid reports whether c is a covariance: no direction has a negative variance.
func (c Cov) valid() bool {
	const rounding = 1e-9 // of a covariance that was printed and read back
	return finite(c.NN, c.NE, c.EE) && c.NN >= 0 && c.EE >= 0 && c.NE*c.NE <= c.NN*c.EE*(1+rounding)
}

// Ellipse is the outline within which a position lies with 95 %.
type Ellipse struct {
	Major, Minor geo.Metres  // semi-axes
	Bearing      angle.Angle // of the major axis, in [0, 180)
}

// chi2At95 is the 95 % point of chi-square with two degrees of freedom,
// -2 ln 0.05 = 5.991 (NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.4,
// prints 5.991).
var chi2At95 = -2 * math.Log(0.05)

// Ellipse95 returns the 95 % ellipse of c: its axes are the eigenvectors, with
// sqrt(5.991 x eigenvalue) as semi-axes.
func (c Cov) Ellipse95() Ellipse {
	mean, half := (c.NN+c.EE)/2, math.Hypot((c.NN-c.EE)/2, c.NE)
	axis := angle.Atan2(2*c.NE, c.NN-c.EE) / 2
	if axis < 0 {
		axis += 180 * angle.Degree
	}
	return Ellipse{
		Major:   geo.Metres(math.Sqrt(chi2At95 * (mean + half))),
		Minor:   geo.Metres(math.Sqrt(chi2At95 * max(0, mean-half))),
		Bearing: axis,
	}
}

// Along returns the sigma of the position in the direction of a bearing.
func (c Cov) Along(bearing angle.Angle) geo.Metres {
	n, e := bearing.Cos(), bearing.Sin()
	return geo.Metres(math.Sqrt(max(0, n*n*c.NN+2*n*e*c.NE+e*e*c.EE)))
}

// mahalanobis returns the length of an offset in sigmas of c.
func (c Cov) mahalanobis(o Offset) float64 {
	n, e := float64(o.North), float64(o.East)
	return math.Sqrt((n*n*c.EE - 2*n*e*c.NE + e*e*c.NN) / (c.NN*c.EE - c.NE*c.NE))
}

// Offset is a small way on the ground.
type Offset struct{ North, East geo.Metres }

// radii returns metres per radian of latitude and of longitude.
func radii(lat angle.Angle) (meridian, parallel float64) {
	n, e := geo.MetresPerDegree(lat)
	return float64(n) / float64(angle.Degree), float64(e) / float64(angle.Degree)
}

// offset returns the way from p to q by the measures at p.
func offset(p, q geo.Position) Offset {
	m, r := radii(p.Lat)
	return Offset{
		North: geo.Metres(m * (q.Lat - p.Lat).Radians()),
		East:  geo.Metres(r * (q.Lon - p.Lon).Signed().Radians()),
	}
}

// shift returns p moved by o; it undoes offset.
func shift(p geo.Position, o Offset) geo.Position {
	m, r := radii(p.Lat)
	lat := p.Lat + angle.Angle(float64(o.North)/m)
	lon := p.Lon + angle.Angle(float64(o.East)/r)
	return geo.Position{Lat: max(-90*angle.Degree, min(90*angle.Degree, lat)), Lon: lon.Signed()}
}
