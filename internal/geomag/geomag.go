// Package geomag gives the earth's main magnetic field by the World Magnetic Model, and the
// grids that headings are kept in where it fails.
package geomag

import (
	_ "embed"
	"encoding/csv"
	"fmt"
	"math"
	"strconv"
	"strings"
	"sync"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"shadowread/internal/angle"
	"shadowread/internal/fault"
	"shadowread/internal/geo"
)

// Nanotesla is a magnetic flux density.
type Nanotesla float64

// Zone says how far a compass can be trusted at a place.
type Zone int

// The zones of the World Magnetic Model 2025: below BlackoutBelow of horizontal
// field a compass is not usable, below CautionBelow it is sluggish.
const (
	Clear Zone = iota
	Caution
	Blackout
)

// The zones' bounds, themselves within the zone (the issuer's code).
const (
	BlackoutBelow Nanotesla = 2000
	CautionBelow  Nanotesla = 6000
)

var zoneNames = [...]string{Clear: "none", Caution: "caution", Blackout: "blackout"}

// String returns "none", "caution" or "blackout".
func (z Zone) String() string { return zoneNames[z] }

// MarshalText writes the zone's name.
func (z Zone) MarshalText() ([]byte, error) { return []byte(z.String()), nil }

// Field is the earth's main magnetic field at a place and an instant, by the World
// Magnetic Model 2025. The vector counts along geodetic north, east and down; at a
// pole, north is that of the position's meridian.
type Field struct {
	Time         time.Time // UTC
	Position     geo.Position
	HeightMetres float64 // above the WGS84 ellipsoid

	North, East, Down Nanotesla   // X, Y, Z
	Horizontal        Nanotesla   // H
	Total             Nanotesla   // F
	Declination       angle.Angle // D, east positive, in (-180, 180] degrees
	Inclination       angle.Angle // I, positive where the needle's north end dips

	// DeclinationSigma is one sigma of Declination as published for the model, the
	// rocks' and the sun's share included: sqrt(0.26² + (5417/H)²) degrees, H in nT;
	// at most 180°, which means nothing is known (a magnetic pole).
	DeclinationSigma angle.Angle
	// DeclinationChange is the change of Declination in one year.
	DeclinationChange angle.Angle
	Zone              Zone
}

// The heights that the World Magnetic Model 2025 is good for (NOAA NCEI / British
// Geological Survey, The US/UK World Magnetic Model for 2025-2030, 2024; the figures
// from memory).
const (
	MinModelHeightMetres = -1_000
	MaxModelHeightMetres = 850_000
)

var (
	modelEpoch = time.Date(2025, 1, 1, 0, 0, 0, 0, time.UTC)
	modelEnd   = time.Date(2030, 1, 1, 0, 0, 0, 0, time.UTC)
)

const (
	modelDegree   = 12
	modelRadiusKM = 6371.2 // geomagnetic reference radius
)

// Magnetic returns the earth's magnetic field at t and p, heightMetres above the
// ellipsoid. Height above the sea will do: it differs by at most 107 m, which moves
// the declination by less than 0.003° outside the caution zone.
//
// The error's code is time_out_of_range (before 2025.0 or after 2030.0),
// position_out_of_range or elevation_out_of_range.
func Magnetic(t time.Time, p geo.Position, heightMetres float64) (Field, error) {
	switch {
	case t.Before(modelEpoch) || t.After(modelEnd):
		return Field{}, fault.New("time_out_of_range", "give the declination yourself, from a map or a newer model",
			"the World Magnetic Model 2025 is good for 2025.0 to 2030.0, not for %s", t.UTC().Format(time.RFC3339))
	case !(p.Lat.Abs() <= 90*angle.Degree) || !(p.Lon.Abs() <= 180*angle.Degree):
		return Field{}, fault.New("position_out_of_range", "latitude runs from -90 to 90, longitude from -180 to 180 degrees",
			"position %v, %v is not on the earth", p.Lat, p.Lon)
	case !(heightMetres >= MinModelHeightMetres && heightMetres <= MaxModelHeightMetres):
		return Field{}, fault.New("elevation_out_of_range", "give metres above the sea, or 0",
			"height %g m is outside the magnetic model's %d to %d m", heightMetres, MinModelHeightMetres, MaxModelHeightMetres)
	}
	b, rate := modelField(yearsSinceEpoch(t), p, heightMetres)
	h := math.Hypot(b.X, b.Y)
	f := Field{
		Time: t.UTC(), Position: p, HeightMetres: heightMetres,
		North: Nanotesla(b.X), East: Nanotesla(b.Y), Down: Nanotesla(b.Z),
		Horizontal: Nanotesla(h), Total: Nanotesla(r3.Norm(b)),
		Declination:      angle.Atan2(b.Y, b.X).Signed(),
		Inclination:      angle.Atan2(b.Z, h),
		DeclinationSigma: min(angle.FromDegrees(math.Hypot(0.26, 5417/h)), 180*angle.Degree),
		Zone:             zone(Nanotesla(h)),
	}
	if h > 0 {
		f.DeclinationChange = angle.Angle((b.X*rate.Y - b.Y*rate.X) / (h * h))
	}
	return f, nil
}

func zone(horizontal Nanotesla) Zone {
	switch {
	case horizontal <= BlackoutBelow:
		return Blackout
	case horizontal <= CautionBelow:
		return Caution
	}
	return Clear
}

// yearsSinceEpoch returns t as a decimal year less 2025. Years run evenly from one
// 1 January to the next, as in the issuer's code.
func yearsSinceEpoch(t time.Time) float64 {
	t = t.UTC()
	start := time.Date(t.Year(), 1, 1, 0, 0, 0, 0, time.UTC)
	end := time.Date(t.Year()+1, 1, 1, 0, 0, 0, 0, time.UTC)
	return float64(t.Year()-modelEpoch.Year()) + float64(t.Sub(start))/float64(end.Sub(start))
}

// gauss is a coefficient pair of the potential and its yearly change, in nT.
type gauss struct{ g, h, gDot, hDot float64 }

//go:embed wmm2025.csv
var modelCSV string

// coefficients returns the model by degree and order.
var coefficients = sync.OnceValue(func() (c [modelDegree + 1][modelDegree + 1]gauss) {
	r := csv.NewReader(strings.NewReader(modelCSV))
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		panic(fmt.Sprintf("embedded magnetic model: %v", err))
	}
	for _, row := range rows[1:] {
		var v [6]float64
		for i := range v {
			if v[i], err = strconv.ParseFloat(row[i], 64); err != nil {
				panic(fmt.Sprintf("embedded magnetic model: %v", err))
			}
		}
		c[int(v[0])][int(v[1])] = gauss{v[2], v[3], v[4], v[5]}
	}
	return c
})

// modelField returns the field (north, east, down) in nT and its change in a year.
//
// The sums are those of the model's report (see MinModelHeightMetres), with one turn: for orders
// m > 0 the recursion carries S = P/sin(colatitude) in place of the Schmidt
// semi-normalised function P. It is the same recursion, started from 1, and neither
// the eastward component nor the derivative then divides by the sine, which is zero at
// the poles:
//
//	P(n,0)' = -sqrt(n(n+1)/2) sin S(n,1)
//	P(n,m)' = n cos S(n,m) - sqrt(n²-m²) S(n-1,m)
func modelField(years float64, p geo.Position, heightMetres float64) (b, rate r3.Vec) {
	place := r3.Scale(0.001, geo.Geocentric(p, geo.Metres(heightMetres))) // km
	r := r3.Norm(place)
	sin, cos := math.Hypot(place.X, place.Y)/r, place.Z/r // of the geocentric colatitude

	table := coefficients()
	var s [modelDegree + 1][modelDegree + 1]float64 // by n, m; column 0 holds P(n,0) itself
	for m := range modelDegree + 1 {
		switch m {
		case 0, 1:
			s[m][m] = 1
		default:
			s[m][m] = math.Sqrt(1-1/float64(2*m)) * sin * s[m-1][m-1]
		}
		for n := m + 1; n <= modelDegree; n++ {
			var before float64
			if n > m+1 {
				before = math.Sqrt(float64((n-1)*(n-1)-m*m)) * s[n-2][m]
			}
			s[n][m] = (float64(2*n-1)*cos*s[n-1][m] - before) / math.Sqrt(float64(n*n-m*m))
		}
	}

	for n := 1; n <= modelDegree; n++ {
		var bN, rateN r3.Vec // geocentric north, east, down
		for m := range n + 1 {
			value, slope := s[n][m], 0.0
			if m == 0 {
				slope = -math.Sqrt(float64(n*(n+1))/2) * sin * s[n][1]
			} else {
				value *= sin
				slope = float64(n)*cos*s[n][m] - math.Sqrt(float64(n*n-m*m))*s[n-1][m]
			}
			sinM, cosM := math.Sincos(float64(m) * p.Lon.Radians())
			wave := func(g, h float64) r3.Vec {
				along := g*cosM + h*sinM
				across := float64(m) * (g*sinM - h*cosM) * s[n][m]
				return r3.Vec{X: along * slope, Y: across, Z: -float64(n+1) * along * value}
			}
			c := table[n][m]
			bN = r3.Add(bN, wave(c.g+years*c.gDot, c.h+years*c.hDot))
			rateN = r3.Add(rateN, wave(c.gDot, c.hDot))
		}
		fall := math.Pow(modelRadiusKM/r, float64(n+2))
		b, rate = r3.Add(b, r3.Scale(fall, bN)), r3.Add(rate, r3.Scale(fall, rateN))
	}

	// From the geocentric to the geodetic vertical: by geocentric less geodetic latitude.
	sinTilt := cos*p.Lat.Cos() - sin*p.Lat.Sin()
	cosTilt := sin*p.Lat.Cos() + cos*p.Lat.Sin()
	geodetic := func(v r3.Vec) r3.Vec {
		return r3.Vec{X: v.X*cosTilt - v.Z*sinTilt, Y: v.Y, Z: v.X*sinTilt + v.Z*cosTilt}
	}
	return geodetic(b), geodetic(rate)
}
