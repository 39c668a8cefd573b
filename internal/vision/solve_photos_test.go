//go:build cgo && !noopencv

package vision

import (
	"image"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"gocv.io/x/gocv"

	"shadowread/internal/calib"
	"shadowread/internal/sheet"
)

// boardPhotos is where Debian's opencv-doc puts the photos; OPENCV_DOC_DATA names
// another folder.
func boardPhotos() string {
	if d := os.Getenv("OPENCV_DOC_DATA"); d != "" {
		return d
	}
	return "/usr/share/doc/opencv-doc/examples/data"
}

// boardCorners is the recipe of the published values.
func boardCorners(t *testing.T, path string) FlatView {
	t.Helper()
	m := gocv.IMRead(path, gocv.IMReadGrayScale)
	defer m.Close()
	c := gocv.NewMat()
	defer c.Close()
	if !gocv.FindChessboardCorners(m, image.Pt(boardColumns, boardRows), &c, gocv.CalibCBAdaptiveThresh|gocv.CalibCBNormalizeImage) {
		t.Fatalf("%s: no chessboard", path)
	}
	gocv.CornerSubPix(m, &c, image.Pt(5, 5), image.Pt(-1, -1), gocv.NewTermCriteria(gocv.Count+gocv.EPS, 30, 0.1))
	var v FlatView
	for i := range c.Rows() {
		p := c.GetVecfAt(i, 0)
		v.On = append(v.On, sheet.Point{X: float64(i % boardColumns), Y: float64(i / boardColumns)})
		v.Seen = append(v.Seen, calib.Pixel{U: float64(p[0]), V: float64(p[1])})
	}
	return v
}

func TestSolveCameraOnPublishedPhotos(t *testing.T) {
	paths, _ := filepath.Glob(filepath.Join(boardPhotos(), "left??.jpg"))
	if len(paths) != 13 {
		t.Skip("the sample photos of OpenCV (Debian: opencv-doc) are not installed")
	}
	stored := loadBoard(t, "left")
	var views []FlatView
	for _, path := range paths {
		v := boardCorners(t, path)
		views = append(views, v)
		name := strings.TrimSuffix(filepath.Base(path), ".jpg")
		if len(stored[name].Seen) != len(v.Seen) {
			t.Fatalf("%s: %d corners, stored %d", name, len(v.Seen), len(stored[name].Seen))
		}
		for i, s := range stored[name].Seen {
			// Decoders of JPEG differ by a level here and there.
			if d := math.Hypot(s.U-v.Seen[i].U, s.V-v.Seen[i].V); d > 0.02 {
				t.Errorf("%s corner %d lies %.3f px from the stored one", name, i, d)
			}
		}
	}
	s, err := SolveCamera(views, boardWidth, boardHeight, false)
	if err != nil {
		t.Fatal(err)
	}
	checkBoard(t, s)
}
