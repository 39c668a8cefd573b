// Package proof measures the reader against photos whose truth is known: folders
// with a truth file, and random pictures of the program's own renderer.
package proof

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"

	"shadowread/internal/angle"
	"shadowread/internal/geo"
	"shadowread/internal/reading"
)

// truth is what a folder's truth.json says of one photo; other keys are ignored.
type truth struct {
	File     string  `json:"file"`
	UTC      string  `json:"utc"`
	Lat      float64 `json:"lat"`
	Lon      float64 `json:"lon"`
	Readable bool    `json:"readable"`
	WhyNot   string  `json:"why_not_readable"`
	Heading  float64 `json:"strip_reader_heading_deg"`
	Body     string  `json:"body"`
	// Tip is where the tip's shadow falls on the plate, mm.
	Tip    *[2]float64 `json:"shadow_tip_mm"`
	Length float64     `json:"shadow_length_mm"`
	Rod    *struct {
		HeightMM   float64 `json:"height_mm"`
		DiameterMM float64 `json:"diameter_mm"`
	} `json:"rod"`
	Exif string `json:"exif"`
}

func loadTruth(dir string) ([]truth, error) {
	data, err := os.ReadFile(filepath.Join(dir, "truth.json"))
	if err != nil {
		return nil, err
	}
	var ts []truth
	if err := json.Unmarshal(data, &ts); err != nil {
		return nil, fmt.Errorf("%s/truth.json: %w", dir, err)
	}
	return ts, nil
}

// options is what the photographer of t would say: the position where the photo
// carries none. Time and zone are left to the photo.
func (t truth) options() reading.Options {
	o := reading.Defaults()
	if t.Exif == "no_gps" || t.Exif == "none" {
		o.Position.Position = &geo.Position{Lat: angle.FromDegrees(t.Lat), Lon: angle.FromDegrees(t.Lon)}
	}
	if t.Rod != nil {
		o.Rod.HeightMM = t.Rod.HeightMM
	}
	return o
}
