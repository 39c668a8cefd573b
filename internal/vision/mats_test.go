//go:build matprofile && cgo && !noopencv

package vision

import (
	"os"
	"path/filepath"
	"testing"

	"gocv.io/x/gocv"

	"shadowread/internal/calib"
	"shadowread/internal/sheet"
)

// Every Mat is closed, after failures too. gocv counts the open ones under the build
// tag matprofile; make soak runs this.
func TestMatsAreClosed(t *testing.T) {
	before := gocv.MatProfile.Count()
	for _, name := range []string{"dev-06.jpg", "dev-15.jpg", "truth.json"} {
		data, err := os.ReadFile(filepath.Join(independent, name))
		if err != nil {
			t.Fatal(err)
		}
		for _, factor := range []int{1, 4} {
			g, err := DecodeJPEG(data, factor)
			if err != nil {
				continue
			}
			if p, _, err := FindSheet(g, sheet.Standard, calib.UnknownLens(g.W, g.H, 0)); err == nil {
				FindShadow(g, p, sheet.Standard, Rod{})
			}
		}
	}
	if open := gocv.MatProfile.Count() - before; open != 0 {
		t.Errorf("%d Mats left open", open)
	}
}
