package bearing

import (
	"math"

	"shadowread/internal/angle"
)

// refract lifts an unrefracted altitude by the refraction of a standard atmosphere at the
// observer's elevation.
func (o observer) refract(altitude angle.Angle) angle.Angle {
	pressure, temperature := standardAir(o.elevationMetres)
	return altitude + refraction(altitude, pressure, temperature)
}

// refraction returns Sæmundsson's formula (Sky & Telescope 72, 1986, 70; Meeus,
// Astronomical Algorithms, 16.4; NREL/TP-560-34302, eq. 42) for an unrefracted altitude,
// pressure in hPa and temperature in °C. It stands within 0.003° of an integrated
// standard atmosphere above 5°, within 0.006° down to the horizon; real air strays
// from both by ten times that near the horizon.
//
// A body more than 1° down is not seen: from there to 5° down the refraction fades to
// nothing, only to keep the altitude a smooth function of time.
func refraction(altitude angle.Angle, pressureHPa, temperatureC float64) angle.Angle {
	h := max(altitude.Degrees(), -1)
	r := angle.Angle(1.02/angle.FromDegrees(h+10.3/(h+5.11)).Tan()) * angle.Arcminute
	fade := max(0, min(1, (altitude.Degrees()+5)/4))
	return r * angle.Angle(fade*pressureHPa/1010*283/(273+temperatureC))
}

// standardAir returns the pressure and temperature of the International Standard
// Atmosphere (ISO 2533:1975), which holds to 11 km.
func standardAir(elevationMetres float64) (pressureHPa, temperatureC float64) {
	const seaK, lapse = 288.15, 0.0065 // K, K/m
	k := seaK - lapse*elevationMetres
	return 1013.25 * math.Pow(k/seaK, 5.25588), k - 273.15
}
