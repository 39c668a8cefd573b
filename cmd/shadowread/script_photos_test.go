package main

import (
	"bytes"
	"image"
	"image/jpeg"
	"os"
	"strconv"
	"strings"

	"github.com/rogpeppe/go-internal/testscript"
	"golang.org/x/image/draw"
)

// cmdSmaller is "smaller FROM WIDTH TO": a photo sent as a thumbnail, without what it said of itself.
func cmdSmaller(ts *testscript.TestScript, neg bool, args []string) {
	from := decoded(ts, args[0])
	width, err := strconv.Atoi(args[1])
	ts.Check(err)
	size := from.Bounds().Size()
	to := image.NewRGBA(image.Rect(0, 0, width, width*size.Y/size.X))
	draw.CatmullRom.Scale(to, to.Rect, from, from.Bounds(), draw.Src, nil)
	encode(ts, args[2], to)
}

// cmdBeside is "beside FROM TO": the same photo twice in one picture.
func cmdBeside(ts *testscript.TestScript, neg bool, args []string) {
	from := decoded(ts, args[0])
	size := from.Bounds().Size()
	to := image.NewRGBA(image.Rect(0, 0, 2*size.X, size.Y))
	for x := 0; x < 2*size.X; x += size.X {
		draw.Draw(to, image.Rect(x, 0, x+size.X, size.Y), from, image.Point{}, draw.Src)
	}
	encode(ts, args[1], to)
}

func decoded(ts *testscript.TestScript, name string) image.Image {
	img, err := jpeg.Decode(strings.NewReader(ts.ReadFile(name)))
	ts.Check(err)
	return img
}

func encode(ts *testscript.TestScript, name string, img image.Image) {
	var b bytes.Buffer
	ts.Check(jpeg.Encode(&b, img, &jpeg.Options{Quality: 92}))
	ts.Check(os.WriteFile(ts.MkAbs(name), b.Bytes(), 0o644))
}
