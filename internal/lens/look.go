package lens

import (
	"context"
	"crypto/sha256"
	"fmt"
	"math"

	"shadowread/internal/calib"
	"shadowread/internal/camera"
	"shadowread/internal/fault"
	"shadowread/internal/photo"
	"shadowread/internal/sheet"
	"shadowread/internal/sheetphoto"
	"shadowread/internal/vision"
)

// view is what one photo shows. Pixels are those of the whole picture, turned left
// to right if the photo is mirrored.
type view struct {
	photo    string
	file     photo.File
	facts    photo.Facts
	camera   camera.Camera
	mirrored bool
	plate    *vision.FoundSheet
	samples  []calib.Sample
	corners  []vision.SheetCorner
}

// lookAll checks that one lens took all photos and finds the sheet in each.
func lookAll(ctx context.Context, photos []photo.File, o Options) (views []*view, skipped []Skipped, err error) {
	var first *view
	seen := map[[sha256.Size]byte]string{}
	for _, file := range photos { // headers first: they cost nothing
		path := file.Name
		facts, err := photo.ReadFacts(file)
		if err != nil {
			skipped = append(skipped, Skipped{path, fault.Code(err), err.Error()})
			continue
		}
		if !camera.Whole(facts) {
			return nil, nil, fault.New("cropped_photo", "use the photos as the camera wrote them",
				"%s was cropped or scaled after it was taken: it has %d x %d pixels, the camera wrote %d x %d",
				path, facts.Width, facts.Height, facts.ExifWidth, facts.ExifHeight)
		}
		v := &view{photo: path, file: file, camera: camera.Of(facts), facts: facts}
		if first == nil {
			first = v
		}
		if err := alike(first, v); err != nil {
			return nil, nil, err
		}
		views = append(views, v)
	}
	usable := views[:0]
	for _, v := range views {
		if err := ctx.Err(); err != nil {
			return nil, nil, err
		}
		if err := v.look(seen, o); err != nil {
			skipped = append(skipped, Skipped{v.photo, fault.Code(err), err.Error()})
			continue
		}
		usable = append(usable, v)
		if err := alike(usable[0], v); err != nil { // mirrored without saying so
			return nil, nil, err
		}
	}
	return usable, skipped, nil
}

// look measures the sheet in the photo. seen holds the photos looked at before.
func (v *view) look(seen map[[sha256.Size]byte]string, o Options) error {
	sum, err := v.file.Sum()
	if err != nil {
		return err
	}
	if first, twice := seen[sum]; twice {
		return fault.New("same_photo", "", "the same photo as %s", first)
	}
	seen[sum] = v.photo
	p, err := sheetphoto.Open(v.file, v.facts)
	if err != nil {
		return err
	}
	g, plate, _, err := p.FindWhole(sheet.Standard, func(g *vision.Gray) calib.Prior {
		prior := calib.UnknownLens(g.W, g.H, 0)
		prior.StretchMean, prior.Stretch = o.stretch()
		prior.Curl = calib.TapedCurl
		return prior
	})
	if err != nil {
		return err
	}
	v.plate, v.mirrored = plate, g.Mirrored
	v.samples, v.corners = vision.SheetPoints(g, sheet.Standard, plate)
	if len(v.corners) < leastCorners {
		return fault.New("too_few_marks", "", "too few marks are wholly in the picture")
	}
	return nil
}

// leastCorners is the fewest corners that OpenCV's solver is given of a view.
const leastCorners = 8

// alike refuses photos by different lenses.
func alike(a, b *view) error {
	what := differs(a, b)
	if what == "" {
		return nil
	}
	hint := "give photos of one camera, one lens and one zoom setting, all of the same size"
	if turned(a.camera, b.camera) {
		hint = turnedHint
	}
	return fault.New("mixed_cameras", hint, "%s and %s differ in %s", a.photo, b.photo, what)
}

// turned reports whether two pictures of a camera differ by a quarter turn only, as
// those do that an editor turned.
func turned(a, b camera.Camera) bool {
	a.WidthPX, a.HeightPX = a.HeightPX, a.WidthPX
	return a.WidthPX != a.HeightPX && a == b
}

const turnedHint = "pictures that went through an editor may have been turned; a lens belongs to the picture as the camera wrote it: give the files of the camera"

// differs names what tells the lens of a from that of b, "" if nothing does.
func differs(a, b *view) string {
	x, y := a.camera, b.camera
	switch {
	case x.Make != y.Make || x.Model != y.Model:
		return fmt.Sprintf("camera (%s; %s)", x, y)
	case x.WidthPX != y.WidthPX || x.HeightPX != y.HeightPX:
		return fmt.Sprintf("size (%d x %d; %d x %d px)", x.WidthPX, x.HeightPX, y.WidthPX, y.HeightPX)
	case math.Abs(x.FocalLengthMM-y.FocalLengthMM) > 1e-3*y.FocalLengthMM:
		return fmt.Sprintf("focal length (%g; %g mm)", x.FocalLengthMM, y.FocalLengthMM)
	case x.FocalLength35MM != y.FocalLength35MM:
		return fmt.Sprintf("zoom (%g; %g mm on a 35 mm frame)", x.FocalLength35MM, y.FocalLength35MM)
	case a.mirrored != b.mirrored:
		return "being mirrored"
	}
	return ""
}
