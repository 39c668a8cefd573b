package lens

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"math"
	"os"

	"shadowread/internal/calib"
	"shadowread/internal/fault"
	"shadowread/internal/photo"
	"shadowread/internal/sheet"
	"shadowread/internal/vision"
)

// view is what one photo shows. Pixels are those of the whole picture, turned left
// to right if the photo is mirrored.
type view struct {
	photo    string
	facts    photo.Facts
	camera   calib.Camera
	mirrored bool
	plate    *vision.Plate
	samples  []calib.Sample
	corners  []vision.SheetCorner
}

// CameraOf returns what a photo says of its camera, for comparison with a record.
func CameraOf(f photo.Facts) calib.Camera {
	return calib.Camera{
		Make: f.Make, Model: f.Model, FocalLengthMM: f.FocalLengthMM, FocalLength35MM: f.FocalLength35MM,
		WidthPX: f.Width, HeightPX: f.Height,
	}
}

// whole reports whether the picture is, for all that the photo says, as the camera
// wrote it, neither cropped nor scaled. A decoder may have turned it.
func whole(f photo.Facts) bool {
	return f.ExifWidth == 0 || f.ExifHeight == 0 ||
		f.ExifWidth == f.Width && f.ExifHeight == f.Height ||
		f.ExifWidth == f.Height && f.ExifHeight == f.Width
}

// lookAll checks that one lens took all photos and finds the sheet in each.
func lookAll(ctx context.Context, paths []string, o Options) (views []*view, skipped []Skipped, err error) {
	var first *view
	seen := map[[sha256.Size]byte]string{}
	for _, path := range paths { // headers first: they cost nothing
		facts, err := photo.ReadFacts(path)
		if err != nil {
			skipped = append(skipped, Skipped{path, fault.Code(err), err.Error()})
			continue
		}
		if !whole(facts) {
			return nil, nil, fault.New("cropped_photo", "use the photos as the camera wrote them",
				"%s was cropped or scaled after it was taken: it has %d x %d pixels, the camera wrote %d x %d",
				path, facts.Width, facts.Height, facts.ExifWidth, facts.ExifHeight)
		}
		v := &view{photo: path, camera: CameraOf(facts), facts: facts}
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
	s, err := openPhoto(v.photo, v.facts)
	if err != nil {
		return err
	}
	if first, twice := seen[s.hash]; twice {
		return fault.New("same_photo", "", "the same photo as %s", first)
	}
	seen[s.hash] = v.photo
	prior := calib.UnknownLens(s.gray.W, s.gray.H, 0)
	prior.StretchMean, prior.Stretch = o.print()
	prior.Curl = calib.TapedCurl
	g, plate, err := s.find(func(*vision.Gray) calib.Prior { return prior })
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
func turned(a, b calib.Camera) bool {
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

// source is a photo opened.
type source struct {
	hash [sha256.Size]byte
	gray *vision.Gray // the whole picture, turned back if the photo says it is mirrored
}

func openPhoto(path string, facts photo.Facts) (*source, error) {
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, fault.Wrap(err, "unreadable_file", "check that the file is there and may be read", "the file cannot be read")
	}
	s := &source{hash: sha256.Sum256(data)}
	if facts.Format == photo.HEIC {
		img, err := photo.DecodeHEIC(path)
		if err != nil {
			return nil, err
		}
		s.gray = vision.FromImage(img)
	} else if s.gray, err = vision.Decode(data, facts.Format, 1); err != nil {
		return nil, err
	} else if facts.Format == photo.JPEG && s.gray.Torn() {
		return nil, photo.Damaged()
	}
	switch facts.Orientation {
	case 2, 4, 5, 7:
		s.gray = s.gray.Mirror()
	}
	return s, nil
}

// find finds the sheet, in the mirror if need be: front cameras turn their pictures
// without saying so.
func (s *source) find(prior func(*vision.Gray) calib.Prior) (*vision.Gray, *vision.Plate, error) {
	plate, found, err := vision.FindPlate(s.gray, sheet.Standard, prior(s.gray))
	if err == nil {
		return s.gray, plate, nil
	}
	if found < 2 {
		m := s.gray.Mirror()
		if plate, _, e := vision.FindPlate(m, sheet.Standard, prior(m)); e == nil {
			return m, plate, nil
		}
	}
	if errors.Is(err, vision.ErrTooFewMarks) {
		return nil, nil, fault.New("too_few_marks", "take the whole sheet, sharp and well lit", "%d of the sheet's 12 marks found, at least 4 are needed", found)
	}
	return nil, nil, fault.New("poor_map", "take the whole sheet, with marks on all sides of the dial in view", "the marks do not pin the sheet down")
}
