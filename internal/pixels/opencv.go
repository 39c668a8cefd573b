//go:build cgo && !noopencv

package pixels

/*
#cgo pkg-config: libjpeg
#include <setjmp.h>
#include <stdio.h>
#include <stdlib.h>
#include <jpeglib.h>

// What the library would write to standard error ends the decoding: an error, a
// warning (damaged data, which it would fill with something plausible), or more scans
// than a camera makes.
struct bounds {
	double pixels, coefficients, scanned;
	int scans;
};

struct ending {
	struct jpeg_error_mgr pub;
	struct jpeg_progress_mgr progress;
	jmp_buf back;
	int scans; // at most
	int why;
};

enum { SOUND, DAMAGED, SCANS, LARGE, KIND };

static void leave(j_common_ptr c, int why) {
	struct ending *e = (struct ending *)c->err;
	e->why = why;
	longjmp(e->back, 1);
}
static void failed(j_common_ptr c) { leave(c, DAMAGED); }
static void remark(j_common_ptr c, int level) {
	if (level < 0) leave(c, DAMAGED);
}
static void silent(j_common_ptr c) {}
static void progress(j_common_ptr c) {
	struct ending *e = (struct ending *)c->err;
	if (c->is_decompressor && ((j_decompress_ptr)c)->input_scan_number > e->scans) leave(c, SCANS);
}

// grayJPEG decodes to gray, shrunk by a factor, into out, which has room for the size that it
// writes to width and height where out is NULL. It returns why it ended.
static int grayJPEG(const unsigned char *data, unsigned long size, int factor,
		struct bounds most, int *width, int *height, unsigned char *out) {
	struct jpeg_decompress_struct c;
	struct ending e;
	c.err = jpeg_std_error(&e.pub);
	e.pub.error_exit = failed;
	e.pub.emit_message = remark;
	e.pub.output_message = silent;
	e.progress.progress_monitor = progress;
	e.scans = most.scans;
	e.why = SOUND;
	if (setjmp(e.back)) {
		jpeg_destroy_decompress(&c);
		return e.why;
	}
	jpeg_create_decompress(&c);
	c.progress = &e.progress;
	jpeg_mem_src(&c, data, size);
	jpeg_read_header(&c, TRUE);
	// An arithmetic decoder makes something of any damage, without a word.
	if (c.arith_code || c.num_components > 3) leave((j_common_ptr)&c, KIND);
	double pixels = (double)c.image_width * c.image_height;
	if (pixels > most.pixels) leave((j_common_ptr)&c, LARGE);
	if (jpeg_has_multiple_scans(&c)) { // kept whole as coefficients, and gone through once a scan
		double bytes = 0;
		for (int i = 0; i < c.num_components; i++)
			bytes += 128.0 * c.comp_info[i].width_in_blocks * c.comp_info[i].height_in_blocks;
		if (bytes > most.coefficients) leave((j_common_ptr)&c, LARGE);
		if (pixels * e.scans > most.scanned) e.scans = most.scanned / pixels;
	}
	c.out_color_space = JCS_GRAYSCALE;
	c.scale_num = 1;
	c.scale_denom = factor;
	if (out == NULL) {
		jpeg_calc_output_dimensions(&c);
		*width = c.output_width;
		*height = c.output_height;
		jpeg_destroy_decompress(&c);
		return SOUND;
	}
	jpeg_start_decompress(&c);
	while (c.output_scanline < c.output_height) {
		JSAMPROW row = out + (size_t)c.output_scanline * c.output_width;
		jpeg_read_scanlines(&c, &row, 1);
	}
	jpeg_finish_decompress(&c); // reads to the end of the picture, where remarks may come still
	jpeg_destroy_decompress(&c);
	return SOUND;
}
*/
import "C"

import (
	"image"

	"shadowread/internal/calib"

	"gocv.io/x/gocv"
)

// opencv is OpenCV, with JPEG through the library that it uses too.
type opencv struct{}

func (opencv) name() string { return "OpenCV " + gocv.OpenCVVersion() }

// decodeJPEG goes to the library itself: OpenCV keeps what it has to say of damaged data to
// itself, and such data moves marks and shadow.
func (opencv) decodeJPEG(data []byte, factor int) (Gray, error) {
	if len(data) == 0 {
		return Gray{}, ErrDamaged
	}
	most := C.struct_bounds{pixels: MaxPixels, coefficients: mostCoefficients, scanned: mostScanned, scans: mostScans}
	var w, h C.int
	decode := func(out *C.uchar) error {
		switch C.grayJPEG((*C.uchar)(&data[0]), C.ulong(len(data)), C.int(factor), most, &w, &h, out) {
		case C.SOUND:
			return nil
		case C.SCANS:
			return ErrScans
		case C.LARGE:
			return ErrLarge
		case C.KIND:
			return ErrKind
		}
		return ErrDamaged
	}
	if err := decode(nil); err != nil {
		return Gray{}, err
	}
	g := blank(int(w), int(h))
	if err := decode((*C.uchar)(&g.Pix[0])); err != nil {
		return Gray{}, err
	}
	return g, nil
}

// matOf is a Mat on the pixels of g, in which a call writes where its result has their size. It fails
// only for sizes that do not belong to the pixels.
func matOf(g Gray) gocv.Mat {
	m, err := gocv.NewMatFromBytes(g.H, g.W, gocv.MatTypeCV8U, g.Pix)
	if err != nil {
		panic(err)
	}
	return m
}

func (opencv) shrink(g Gray, factor int) Gray {
	out := blank(g.W/factor, g.H/factor)
	src, dst := matOf(g), matOf(out)
	defer src.Close()
	defer dst.Close()
	whole := src.Region(image.Rect(0, 0, out.W*factor, out.H*factor))
	defer whole.Close()
	gocv.Resize(whole, &dst, image.Pt(out.W, out.H), 0, 0, gocv.InterpolationArea)
	return out
}

func (opencv) threshold(g Gray, window, below int) Gray {
	out := blankInk(g.W, g.H)
	src, ink := matOf(g), matOf(out)
	defer src.Close()
	defer ink.Close()
	gocv.AdaptiveThreshold(src, &ink, 255, gocv.AdaptiveThresholdMean, gocv.ThresholdBinaryInv, window, float32(below))
	return out
}

// cv::CALIB_FIX_ASPECT_RATIO of calib3d.hpp. The names that the binding exports are
// those of the fisheye module, whose bits mean other things.
const calibFixAspectRatio gocv.CalibFlag = 2

func (opencv) solveFlat(views []FlatView, width, height int, square bool) (out CameraSolution, ok bool) {
	on, seen := make([][]gocv.Point3f, len(views)), make([][]gocv.Point2f, len(views))
	for i, v := range views {
		for j, p := range v.On {
			q := v.Seen[j]
			on[i] = append(on[i], gocv.Point3f{X: float32(p.X), Y: float32(p.Y)})
			seen[i] = append(seen[i], gocv.Point2f{X: float32(q.U), Y: float32(q.V)})
		}
	}
	objects, images := gocv.NewPoints3fVectorFromPoints(on), gocv.NewPoints2fVectorFromPoints(seen)
	defer objects.Close()
	defer images.Close()
	k := gocv.Eye(3, 3, gocv.MatTypeCV64F)
	defer k.Close()
	d, rvecs, tvecs := gocv.NewMat(), gocv.NewMat(), gocv.NewMat()
	defer d.Close()
	defer rvecs.Close()
	defer tvecs.Close()
	var flags gocv.CalibFlag
	if square {
		flags = calibFixAspectRatio
	}
	out.RMSPx = gocv.CalibrateCamera(objects, images, image.Pt(width, height), &k, &d, &rvecs, &tvecs, flags)
	// OpenCV counts k1 k2 p1 p2 k3, in a row or a column.
	dist := func(i int) float64 {
		if d.Rows() == 1 {
			return d.GetDoubleAt(0, i)
		}
		return d.GetDoubleAt(i, 0)
	}
	out.Lens = calib.Lens{
		F: k.GetDoubleAt(0, 0), Cx: k.GetDoubleAt(0, 2), Cy: k.GetDoubleAt(1, 2),
		K1: dist(0), K2: dist(1), P1: dist(2), P2: dist(3), K3: dist(4),
	}
	out.Fy = k.GetDoubleAt(1, 1)
	for i := range views {
		r, t := rvecs.GetVecdAt(i, 0), tvecs.GetVecdAt(i, 0)
		pose := calib.Pose{R: calib.Rodrigues([3]float64{r[0], r[1], r[2]}), T: [3]float64{t[0], t[1], t[2]}}
		out.Poses = append(out.Poses, pose)
	}
	return out, true
}
