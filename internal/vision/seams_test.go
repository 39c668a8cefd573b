package vision

import (
	"bytes"
	"errors"
	"image"
	"image/jpeg"
	"image/png"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"shadowread/internal/calib"
	"shadowread/internal/pixels"
	"shadowread/internal/sheet"
)

// Fifteen turned bits in the path tracer's photo of 12 megapixels, about which libjpeg
// says not a word: from some row on, the picture stands shifted. Read as if sound, the
// shadow was 0.67 degree off with a sigma of 0.05.
var silentDamage = map[int]byte{
	28315: 0345, 84817: 0173, 164756: 0257, 323620: 0140, 326603: 0127, 334184: 0153, 547418: 0237, 561870: 076,
	820442: 0373, 974156: 062, 990663: 0305, 1085046: 0141, 1192895: 0156, 1711998: 022, 1936440: 0365,
}

func TestTorn(t *testing.T) {
	data, err := os.ReadFile("../../fixtures/independent/dev-04.jpg")
	if err != nil {
		t.Fatal(err)
	}
	for at, b := range silentDamage {
		data[at] = b
	}
	for _, factor := range []int{1, 2} {
		g, err := DecodeJPEG(data, factor)
		if err != nil && pixels.Engines()[0] == pixels.PlainGo {
			t.Skip("plain Go hears of this damage as it decodes") // codes that there are not
		}
		if err != nil {
			t.Fatalf("this damage should be silent: %v", err)
		}
		if !g.Torn() {
			t.Errorf("shrunk by %d: rows shifted by blocks pass (%.2f)", factor, g.seam())
		}
		if m := g.Mirror(); !m.Torn() {
			t.Errorf("shrunk by %d and mirrored: rows shifted by blocks pass (%.2f)", factor, m.seam())
		}
	}
}

// No sound photo of either renderer comes near: grain, haze, curl, prints at any slant.
func TestSoundPhotosAreNotTorn(t *testing.T) {
	var paths []string
	for _, pattern := range []string{"demo", "independent", "bench", "instrument/*"} {
		found, _ := filepath.Glob("../../fixtures/" + pattern + "/*.jpg")
		paths = append(paths, found...)
	}
	if len(paths) < 20 {
		t.Fatalf("only %d photos", len(paths))
	}
	for _, path := range paths {
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		g, err := DecodeJPEG(data, 2)
		if err != nil {
			t.Errorf("%s: %v", path, err)
			continue
		}
		if s := g.seam(); s < 0.85 {
			t.Errorf("%s: %.2f, too near to the bar of %.2f", path, s, seamGain)
		}
	}
}

// Rows of a drawn photo of burnt-out paper, on which a good many shifts fit by chance.
func TestSmoothRowsAreNotTorn(t *testing.T) {
	f, err := os.Open("testdata/burnt-out-rows.png")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	img, err := png.Decode(f)
	if err != nil {
		t.Fatal(err)
	}
	if g := FromImage(img); g.Torn() {
		t.Errorf("torn (%.2f)", g.seam())
	}
}

// OpenCV ends the process over a picture of no size, which a thin one shrinks to.
func TestThinPictures(t *testing.T) {
	for _, size := range [][2]int{{1, 1944}, {3, 2000}, {2000, 1}, {8000, 3}, {1, 1}, {40, 3000}} {
		g := &Gray{W: size[0], H: size[1], Factor: 1, Pix: make([]uint8, size[0]*size[1])}
		for i := range g.Pix {
			g.Pix[i] = uint8(i * 37)
		}
		if _, found, err := FindSheet(g, sheet.Standard, calib.UnknownLens(g.W, g.H, 0)); err == nil || found != 0 {
			t.Errorf("%d x %d: %d marks, %v", g.W, g.H, found, err)
		}
		if g.Torn() {
			t.Errorf("%d x %d: torn", g.W, g.H)
		}
	}
}

// Arithmetic coding (ITU-T T.81, annex D; marker SOF9 in place of SOF0, table B.1)
// decodes damage to something without a word.
func TestArithmeticCoding(t *testing.T) {
	var b bytes.Buffer
	if err := jpeg.Encode(&b, image.NewGray(image.Rect(0, 0, 64, 64)), nil); err != nil {
		t.Fatal(err)
	}
	data := bytes.Replace(b.Bytes(), []byte{0xFF, 0xC0}, []byte{0xFF, 0xC9}, 1)
	if _, err := DecodeJPEG(data, 1); !errors.Is(err, pixels.ErrKind) {
		t.Errorf("%v", err)
	}
}

// Sound pictures torn as a decoder tears them that loses or gains whole blocks (ITU-T T.81, A.2.3):
// what follows stands so many to one side, and goes on from row of blocks to row of blocks.
func TestTornAnywhere(t *testing.T) {
	paths, _ := filepath.Glob("../../fixtures/demo/*.jpg")
	random := rand.New(rand.NewPCG(7, 8))
	torn, all := 0, 0
	for _, path := range paths {
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		g, err := DecodeJPEG(data, 1)
		if err != nil {
			continue // another format
		}
		for range 4 {
			by := blockSide * (1 + random.IntN(6)) * (1 - 2*random.IntN(2))
			row, column := blockSide*(10+random.IntN(g.H/blockSide-20)), blockSide*random.IntN(g.W/blockSide)
			if all++; g.torn(row, column, by, random.IntN(21)-10).Torn() {
				torn++
			}
		}
	}
	if all < 20 || 100*torn < 80*all { // the rest lie in smooth paper, above all of its marks, or below
		t.Errorf("%d of %d tears are seen", torn, all)
	}
}

// torn is g from a block on displaced by whole blocks, and lighter by some levels.
func (g *Gray) torn(row, column, by, lighter int) *Gray {
	out := *g
	out.Pix = slices.Clone(g.Pix)
	for v := row; v < g.H; v++ {
		for u := range g.W {
			if v < row+blockSide && u < column {
				continue
			}
			from, at := u-by, v
			if from < 0 {
				from, at = from+g.W, at-blockSide
			} else if from >= g.W {
				from, at = from-g.W, min(g.H-1, at+blockSide)
			}
			out.Pix[v*g.W+u] = uint8(max(0, min(255, int(g.Pix[at*g.W+from])+lighter)))
		}
	}
	return &out
}
