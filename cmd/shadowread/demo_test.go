package main

import (
	"bytes"
	"context"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"shadowread/internal/angle"
)

// The demo photos, by the truth of the renderer that drew them, which shares nothing
// with the reader but the sheet's geometry. 0.1 degree is the worst error asked of
// the reader; what the rod's tilt adds is not in strip_reader_heading_deg.
func TestDemoPhotos(t *testing.T) {
	const worst = 0.1 // degree
	dir := filepath.Join("..", "..", "fixtures", "demo")
	data, err := os.ReadFile(filepath.Join(dir, "truth.json"))
	if err != nil {
		t.Fatal(err)
	}
	var truth []struct {
		File     string   `json:"file"`
		Readable bool     `json:"readable"`
		Heading  *float64 `json:"strip_reader_heading_deg"`
		Body     string   `json:"body"`
	}
	if err := json.Unmarshal(data, &truth); err != nil {
		t.Fatal(err)
	}

	var out, errs bytes.Buffer
	s := &streams{out: &out, err: &errs}
	if got := execute(context.Background(), []string{"read", "--json", "--quiet", dir}, s); got != exitRefused {
		t.Errorf("exit status %d, want %d: one photo is to be refused", got, exitRefused)
	}
	if errs.Len() > 0 {
		t.Errorf("standard error: %s", &errs)
	}
	lines := strings.Split(strings.TrimSpace(out.String()), "\n")
	if len(lines) != len(truth) {
		t.Fatalf("%d lines for %d photos", len(lines), len(truth))
	}
	for i, want := range truth {
		var got struct {
			Photo   string
			Body    string
			Heading *float64 `json:"heading_true_deg"`
		}
		if err := json.Unmarshal([]byte(lines[i]), &got); err != nil {
			t.Fatal(err)
		}
		switch {
		case got.Photo != filepath.Join(dir, want.File):
			t.Errorf("line %d is of %s, want %s", i+1, got.Photo, want.File)
		case (got.Heading != nil) != want.Readable:
			t.Errorf("%s: heading %v, readable %v", want.File, got.Heading, want.Readable)
		case !want.Readable:
		case got.Body != want.Body:
			t.Errorf("%s: by the %s, want the %s", want.File, got.Body, want.Body)
		default:
			miss := angle.FromDegrees(*got.Heading - *want.Heading).Signed().Degrees()
			if math.Abs(miss) > worst {
				t.Errorf("%s: heading %.3f, want %.3f", want.File, *got.Heading, *want.Heading)
			}
		}
	}
}
