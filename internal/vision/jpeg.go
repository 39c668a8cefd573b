package vision

/*
#cgo pkg-config: libjpeg
#include <setjmp.h>
#include <stdio.h>
#include <stdlib.h>
#include <jpeglib.h>

// What the library would write to standard error ends the decoding: an error, a
// warning (damaged data, which it would fill with something plausible), or more scans
// than a camera makes.
static const double mostCoefficients = 3e8; // bytes
// Pixels times scans: ten times those of 12 megapixels in ten scans.
static const double mostScanned = 1.2e9;

struct ending {
	struct jpeg_error_mgr pub;
	struct jpeg_progress_mgr progress;
	jmp_buf back;
	int scans; // at most: cameras make some ten
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

// grayJPEG decodes to gray, shrunk by a factor. It writes the size to width and height
// and returns the pixels, to be freed, or NULL and why.
static unsigned char *grayJPEG(const unsigned char *data, unsigned long size, int factor,
		double most, int *width, int *height, int *why) {
	struct jpeg_decompress_struct c;
	struct ending e;
	unsigned char *volatile out = NULL;
	c.err = jpeg_std_error(&e.pub);
	e.pub.error_exit = failed;
	e.pub.emit_message = remark;
	e.pub.output_message = silent;
	e.progress.progress_monitor = progress;
	e.scans = 100;
	e.why = SOUND;
	if (setjmp(e.back)) {
		jpeg_destroy_decompress(&c);
		free(out);
		*why = e.why;
		return NULL;
	}
	jpeg_create_decompress(&c);
	c.progress = &e.progress;
	jpeg_mem_src(&c, data, size);
	jpeg_read_header(&c, TRUE);
	// An arithmetic decoder makes something of any damage, without a word.
	if (c.arith_code || c.num_components > 3) leave((j_common_ptr)&c, KIND);
	double pixels = (double)c.image_width * c.image_height;
	if (pixels > most) leave((j_common_ptr)&c, LARGE);
	if (jpeg_has_multiple_scans(&c)) { // kept whole as coefficients, and gone through once a scan
		double bytes = 0;
		for (int i = 0; i < c.num_components; i++)
			bytes += 128.0 * c.comp_info[i].width_in_blocks * c.comp_info[i].height_in_blocks;
		if (bytes > mostCoefficients) leave((j_common_ptr)&c, LARGE);
		if (pixels * e.scans > mostScanned) e.scans = mostScanned / pixels;
	}
	c.out_color_space = JCS_GRAYSCALE;
	c.scale_num = 1;
	c.scale_denom = factor;
	jpeg_start_decompress(&c);
	*width = c.output_width;
	*height = c.output_height;
	out = malloc((size_t)c.output_width * c.output_height);
	if (out == NULL) leave((j_common_ptr)&c, DAMAGED);
	while (c.output_scanline < c.output_height) {
		JSAMPROW row = out + (size_t)c.output_scanline * c.output_width;
		jpeg_read_scanlines(&c, &row, 1);
	}
	jpeg_finish_decompress(&c); // reads to the end of the picture, where remarks may come still
	jpeg_destroy_decompress(&c);
	return out;
}
*/
import "C"

import (
	"unsafe"

	"shadowread/internal/fault"
	"shadowread/internal/photo"
)

// decodeJPEG decodes a JPEG to gray through the library itself: OpenCV keeps what it
// has to say of damaged data to itself, and such data moves marks and shadow.
func decodeJPEG(data []byte, factor int) (*Gray, error) {
	var w, h, why C.int
	if len(data) == 0 {
		return nil, photo.Damaged()
	}
	out := C.grayJPEG((*C.uchar)(&data[0]), C.ulong(len(data)), C.int(factor), photo.MaxPixels, &w, &h, &why)
	switch {
	case why == C.SCANS:
		return nil, photo.TooLarge("the JPEG file is made of more scans than any camera makes")
	case why == C.LARGE:
		return nil, photo.TooLarge("the picture is larger than what is read")
	case why == C.KIND:
		return nil, fault.New("unreadable_file", "save the photo anew as an ordinary JPEG, in colour or gray",
			"the JPEG file is of a kind that no camera writes (arithmetic coding, or inks for colours)")
	case out == nil:
		return nil, photo.Damaged()
	}
	defer C.free(unsafe.Pointer(out))
	g := &Gray{W: int(w), H: int(h), Factor: factor}
	g.Pix = C.GoBytes(unsafe.Pointer(out), C.int(g.W*g.H))
	return g, nil
}
