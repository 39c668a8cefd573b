// Package sheetphoto opens a photo and finds the printed sheet in it, for whatever is to be
// measured on it: the shadow, or the lens.
package sheetphoto

import (
	"errors"
	"image"
	"sync"
	"time"

	"shadowread/internal/calib"
	"shadowread/internal/fault"
	"shadowread/internal/photo"
	"shadowread/internal/pixels"
	"shadowread/internal/sheet"
	"shadowread/internal/vision"
)

// Photo is an opened photo, which can be decoded at more than one size.
type Photo struct {
	file   photo.File
	data   []byte // of a JPEG
	format photo.Format
	whole  *vision.Gray // of any other, in full size
	pixels int
	flip   bool
	// Decoding is the time that was spent on it.
	Decoding time.Duration
}

// Prior is what is known of lens and print before the sheet is found in a picture.
type Prior func(*vision.Gray) calib.Prior

// Open reads a photo, whose facts photo.ReadFacts gave. It fails with what photo.File.Bytes and
// photo.DecodeHEIC and photo.DecodePlain fail with.
func Open(file photo.File, facts photo.Facts) (*Photo, error) {
	p := &Photo{file: file, format: facts.Format, pixels: facts.Width * facts.Height, flip: facts.Mirrored()}
	if facts.Format == photo.JPEG {
		var err error
		if p.data, err = file.Bytes(); err != nil {
			return nil, err
		}
		return p, nil
	}
	began := time.Now()
	defer func() { p.Decoding = time.Since(began) }()
	if facts.Format == photo.HEIC {
		img, err := photo.DecodeHEIC(file)
		if err != nil {
			return nil, err
		}
		p.whole = vision.FromImage(img)
		p.whole.Colours = func() (image.Image, int) { return img, 1 }
		return p, nil
	}
	img, err := photo.DecodePlain(file, facts.Format)
	if err != nil {
		return nil, err
	}
	p.whole = vision.FromImage(img)
	img = nil
	photo.GiveBack(p.pixels)
	return p, nil
}

func (p *Photo) decode(factor int) (*vision.Gray, error) {
	began := time.Now()
	defer func() { p.Decoding += time.Since(began) }()
	var g *vision.Gray
	if p.whole != nil {
		g = p.whole.Shrink(factor)
	} else {
		var err error
		if g, err = vision.DecodeJPEG(p.data, factor); err != nil {
			return nil, undecoded(err)
		}
	}
	if g.Colours == nil {
		g.Colours = sync.OnceValues(func() (image.Image, int) { return p.colours(factor) })
	}
	if p.flip {
		g = g.Mirror()
	}
	return g, nil
}

// colours decodes once more, in colour, and says by what factor that is shrunk; nil where there
// are none.
func (p *Photo) colours(factor int) (image.Image, int) {
	began := time.Now()
	defer func() { p.Decoding += time.Since(began) }()
	if p.format == photo.JPEG {
		if img, err := pixels.DecodeColours(p.data, factor); err == nil && img != nil {
			return img, factor
		}
		return nil, 0
	}
	img, err := photo.DecodePlain(p.file, p.format)
	if err != nil {
		return nil, 0
	}
	return img, 1
}

// undecoded says for people why a JPEG is not decoded. Damage that the decoder notices, and be
// it a single remark, is "unreadable_file"; "too_large" is what would take more time or memory
// than ten sound photos.
func undecoded(err error) error {
	switch {
	case errors.Is(err, pixels.ErrScans):
		return photo.TooLarge("the JPEG file is made of more scans than any camera makes")
	case errors.Is(err, pixels.ErrLarge):
		return photo.TooLarge("the picture is larger than what is read")
	case errors.Is(err, pixels.ErrKind):
		return fault.New("unreadable_file", "save the photo anew as an ordinary JPEG, in colour or gray",
			"the JPEG file is of a kind that no camera writes (arithmetic coding, or inks for colours)")
	}
	return photo.Damaged()
}

const (
	// enoughPixels is the size to which a larger picture is shrunk while it is
	// decoded: 2000 x 1500 shows a sheet of 300 mm with 5 px to the millimetre,
	// where edges are found to 0.01 mm and a larger picture adds only time.
	enoughPixels = 6_500_000
	// mostPixels bounds the finest size: a sheet that does not show there is looked for no
	// further, since a search costs time and memory for every pixel.
	mostPixels = 26_000_000
	// mostTwice bounds the pictures that are looked at twice though the first look showed no
	// mark at all: of a larger one it shows those of a sheet that takes up a tenth of the
	// width, and a picture of nothing but grain costs most.
	mostTwice = 13_000_000
	// What looks at two sizes of a JPEG cost, in sound photos of 12 megapixels, by each megabyte of the file
	// and each of its megapixels (measured, of grain with a few marks in it). The second look is taken where
	// that is within mostCost: where the sheet was found in the first, that one serves.
	costMB, costMP = 0.32, 0.1
	mostCost       = 9.7
	// enoughScale is the least scale on the dial, px/mm, with which a shrunk
	// picture will do.
	enoughScale = 3.0
)

// Find finds the sheet at the smallest size of the picture that serves: a sheet that is
// small in it, or not found, is looked for again at a finer one, unless the file is too large for
// that. It returns the picture in
// which the sheet was found, what was found, and how many of its marks were seen, whether or
// not it fails: with "too_few_marks", "more_than_one_sheet", "poor_map" or
// "unreadable_file".
func (p *Photo) Find(s *sheet.Sheet, prior Prior) (g *vision.Gray, plate *vision.FoundSheet, marks int, err error) {
	factor := 1
	for factor < 8 && p.pixels/(factor*factor) > enoughPixels {
		factor *= 2
	}
	finest := 1
	for p.pixels/(finest*finest) > mostPixels {
		finest *= 2
	}
	return p.between(factor, finest, s, prior)
}

// FindWhole is Find in the whole picture.
func (p *Photo) FindWhole(s *sheet.Sheet, prior Prior) (g *vision.Gray, plate *vision.FoundSheet, marks int, err error) {
	return p.between(1, 1, s, prior)
}

func (p *Photo) between(factor, finest int, s *sheet.Sheet, prior Prior) (g *vision.Gray, plate *vision.FoundSheet, marks int, err error) {
	g, plate, marks, err = p.search(factor, finest, s, prior)
	if err != nil {
		return nil, nil, marks, explain(err, marks)
	}
	if p.format == photo.JPEG && g.Torn() {
		return nil, nil, marks, photo.Damaged()
	}
	return g, plate, marks, nil
}

// search looks at every size from the coarsest on. A sheet that was found serves where a finer size
// shows it no better, for whatever reason: grain of single pixels hides edges there.
func (p *Photo) search(factor, finest int, s *sheet.Sheet, prior Prior) (g *vision.Gray, plate *vision.FoundSheet, found int, err error) {
	var coarse *vision.Gray // where the sheet was found, if too small for the aim
	var inCoarse *vision.FoundSheet
	for ; factor >= finest; factor /= 2 {
		if g, err = p.decode(factor); err != nil {
			return nil, nil, found, err
		}
		var n int
		plate, n, err = vision.FindSheet(g, s, prior(g))
		if errors.Is(err, vision.ErrMirrored) {
			g = g.Mirror()
			plate, n, err = vision.FindSheet(g, s, prior(g))
		}
		found = max(found, n)
		if errors.Is(err, vision.ErrTwoSheets) {
			return nil, nil, found, err
		}
		if err == nil {
			if least, _ := plate.Scale(sheet.Point{}); least >= enoughScale || factor == finest {
				return g, plate, n, nil
			}
			coarse, inCoarse = g, plate
		}
		if found == 0 && p.pixels > mostTwice || !p.affordsFiner() {
			break
		}
	}
	if err != nil && inCoarse != nil {
		return coarse, inCoarse, found, nil
	}
	return g, plate, found, err
}

// affordsFiner reports whether the picture may be decoded at a second size: of 100 megapixels of grain
// with two marks both would cost as much as twenty sound photos.
func (p *Photo) affordsFiner() bool {
	return p.format != photo.JPEG || costMB*float64(len(p.data))/1e6+costMP*float64(p.pixels)/1e6 <= mostCost
}

// explain says why the sheet was not found and what to do.
func explain(err error, marks int) error {
	var decoding *fault.Error
	switch {
	case errors.As(err, &decoding):
		return err
	case errors.Is(err, vision.ErrTooFewMarks):
		return fault.New("too_few_marks", "take the whole sheet, sharp and well lit, from above", "%d of the sheet's 12 marks found, at least 4 are needed", marks)
	case errors.Is(err, vision.ErrTwoSheets):
		return fault.New("more_than_one_sheet", "take the photo of one alone, or cover the others' marks", "more than one sheet is in the picture, and each has its own heading")
	case errors.Is(err, vision.ErrMarksDisagree):
		return fault.New("poor_map", "the file may be damaged, or pieces of more than one sheet are in view. Copy the file again from the camera, or take the photo again", "marks stand where the others do not allow it")
	}
	return fault.New("poor_map", "take the whole sheet, with marks on all sides of the dial in view", "the marks do not pin the sheet down")
}
