package lens

import (
	"math"
	"strings"

	"shadowread/internal/calib"
	"shadowread/internal/camera"
	"shadowread/internal/fault"
)

// nearest returns how near the points come to a corner of the picture, in halves of
// the diagonal.
func nearest(points []calib.Pixel, corner calib.Pixel, half float64) float64 {
	best := math.Inf(1)
	for _, p := range points {
		best = min(best, math.Hypot(p.U-corner.U, p.V-corner.V))
	}
	return best / half
}

// Coverage tells which parts of the picture have correspondences.
type Coverage struct {
	Columns int `json:"columns"`
	Rows    int `json:"rows"`
	// Counts is the number of corners of marks in each field of the picture, row
	// by row from the top left of the picture as it is stored.
	Counts []int `json:"counts"`
	// Covered is the share of the fields that have any.
	Covered float64 `json:"covered"`
	// Corners says how near some mark comes to the top left, top right, bottom
	// right and bottom left corner of the stored picture, in halves of its diagonal.
	Corners [4]float64 `json:"corner_gap"`
}

var cornerNames = [4]string{"top left", "top right", "bottom right", "bottom left"}

// cover counts the corners of all views.
func cover(views []*view, camera camera.Camera) Coverage {
	const fields = 8 // along the long side
	w, h := float64(camera.WidthPX), float64(camera.HeightPX)
	side := max(w, h) / fields
	c := Coverage{Columns: max(1, int(math.Round(w/side))), Rows: max(1, int(math.Round(h/side)))}
	c.Counts = make([]int, c.Columns*c.Rows)
	var points []calib.Pixel
	for _, v := range views {
		for _, k := range v.corners {
			p := k.Seen
			if v.mirrored {
				p.U = w - 1 - p.U
			}
			points = append(points, p)
			i := max(0, min(c.Columns-1, int((p.U+0.5)/w*float64(c.Columns))))
			j := max(0, min(c.Rows-1, int((p.V+0.5)/h*float64(c.Rows))))
			c.Counts[j*c.Columns+i]++
		}
	}
	hit := 0
	for _, n := range c.Counts {
		if n > 0 {
			hit++
		}
	}
	c.Covered = float64(hit) / float64(len(c.Counts))
	for i, p := range [4]calib.Pixel{{U: -0.5, V: -0.5}, {U: w - 0.5, V: -0.5}, {U: w - 0.5, V: h - 0.5}, {U: -0.5, V: h - 0.5}} {
		c.Corners[i] = nearest(points, p, math.Hypot(w, h)/2)
	}
	return c
}

// check refuses a set that leaves a corner of the picture empty.
func (c Coverage) check() error {
	var missing []string
	for i, gap := range c.Corners {
		if gap > cornerReach {
			missing = append(missing, cornerNames[i])
		}
	}
	if len(missing) == 0 {
		return nil
	}
	where := "corner"
	if len(missing) > 1 {
		where = "corners"
	}
	return fault.New("corners_not_covered", "add photos in which the sheet's marks come near that part of the picture's edge, best with the sheet filling the picture",
		"no mark comes near the %s %s of the picture as it is stored (camera held level)", strings.Join(missing, ", "), where)
}
