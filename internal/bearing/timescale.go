package bearing

import (
	"math"
	"slices"
	"time"
)

// The years for which places are given, both included. Before 1972 there was no UTC
// with whole seconds, and a date before it is a camera that lost its clock rather than
// a photo of a printed sheet. The series would reach further than 2099; the rotation
// of the earth does not let itself be foretold (see ut1Sigma).
const (
	FirstYear = 1972
	LastYear  = 2099
)

var (
	firstTime = time.Date(FirstYear, 1, 1, 0, 0, 0, 0, time.UTC)
	endTime   = time.Date(LastYear+1, 1, 1, 0, 0, 0, 0, time.UTC)
)

// leapSeconds holds the instants at which TAI - UTC grew by one second, as years and
// months of their first days. TAI - UTC was 10 s on 1972-01-01 and has been 37 s since
// 2017-01-01 (IERS Bulletin C; IANA time zone database, file leap-seconds.list).
var leapSeconds = func() (at []time.Time) {
	for _, ym := range [][2]int{
		{1972, 7}, {1973, 1}, {1974, 1}, {1975, 1}, {1976, 1}, {1977, 1}, {1978, 1}, {1979, 1}, {1980, 1},
		{1981, 7}, {1982, 7}, {1983, 7}, {1985, 7}, {1988, 1}, {1990, 1}, {1991, 1}, {1992, 7}, {1993, 7},
		{1994, 7}, {1996, 1}, {1997, 7}, {1999, 1}, {2006, 1}, {2009, 1}, {2012, 7}, {2015, 7}, {2017, 1},
	} {
		at = append(at, time.Date(ym[0], time.Month(ym[1]), 1, 0, 0, 0, 0, time.UTC))
	}
	return at
}()

// ttMinusUTC returns TT - UTC: 32.184 s + TAI - UTC (IAU 1991, recommendation IV).
func ttMinusUTC(t time.Time) time.Duration {
	n, found := slices.BinarySearchFunc(leapSeconds, t, time.Time.Compare)
	if found {
		n++
	}
	return 32184*time.Millisecond + time.Duration(10+n)*time.Second
}

// ut1Sigma returns one sigma of UT1 - UTC, which the program takes as zero.
//
// Leap seconds keep |UT1 - UTC| below 0.9 s (ITU-R TF.460-6), which, evenly spread,
// is a sigma of 0.52 s. The 27th CGPM (2022, resolution 4) lets the bound grow by
// 2035: from then on the sigma grows by the mean drift of the 20th century, during
// which TT - UT1 went from -2.8 s to 63.8 s (Meeus, Astronomical Algorithms, table
// 10.A).
func ut1Sigma(t time.Time) time.Duration {
	bounded := 0.9 / math.Sqrt(3)
	free := max(0, t.Sub(boundEnds).Hours()/24/365.25) * (63.8 + 2.8) / 100
	return time.Duration(math.Hypot(bounded, free) * float64(time.Second))
}

var boundEnds = time.Date(2035, 1, 1, 0, 0, 0, 0, time.UTC)

// julianDay returns the Julian day number of t, good to 40 µs.
func julianDay(t time.Time) float64 {
	const unixEpoch = 2440587.5 // 1970-01-01T00:00Z
	return unixEpoch + (float64(t.Unix())+float64(t.Nanosecond())*1e-9)/86400
}
