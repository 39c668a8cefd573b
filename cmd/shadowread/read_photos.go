package main

import (
	"cmp"
	"context"
	"fmt"
	"strings"
	"time"

	"shadowread/internal/fault"
	"shadowread/internal/overlay"
	"shadowread/internal/photofile"
	"shadowread/internal/reading"
)

// readPhotos reads up to jobs photos at once and prints the results in the order of
// paths.
func readPhotos(ctx context.Context, s *streams, paths []string, jobs int, show shown, read func(context.Context, string) (*reading.Result, error)) error {
	type outcome struct {
		result *reading.Result
		err    error
	}
	p := newPrinter(s, paths, show)
	bar := progress{s: s}
	defer bar.wipe()
	tell := func(i int) {
		if i < len(paths) {
			bar.show("reading %d of %d: %s", i+1, len(paths), paths[i])
		}
	}
	refused := 0
	var failed, said error // the first, and that others were said; other headings are worth having
	tell(0)
	err := inOrder(ctx, len(paths), jobs, func(ctx context.Context, i int) outcome {
		r, err := read(ctx, paths[i])
		return outcome{r, err}
	}, func(i int, got outcome) error {
		bar.wipe()
		defer tell(i + 1)
		if got.result != nil {
			if err := p.output(got.result); err != nil {
				return err
			}
			if !got.result.OK() {
				refused++
			}
			if show.timing {
				s.note("timing", "%s: %s", got.result.Photo, timingText(got.result.Stages))
			}
		}
		switch {
		case got.err == nil:
		case got.result == nil && len(paths) > 1: // this photo has no line of its own
			s.say(message{Level: "error", Code: fault.Code(got.err), Message: got.err.Error(), Hint: fault.Hint(got.err)})
			said = errSaid
		case failed == nil:
			failed = got.err
		}
		return nil
	})
	if err != nil {
		return err
	}
	p.footer()
	if err := cmp.Or(failed, said); err != nil {
		return err
	}
	if refused > 0 {
		if len(paths) > 1 {
			s.note("refused", "%d of %d photos refused", refused, len(paths))
		}
		return errRefused
	}
	return nil
}

// timingText says what stages took.
func timingText(stages []reading.Stage) string {
	var parts []string
	total := time.Duration(0)
	for _, t := range stages {
		parts = append(parts, fmt.Sprintf("%s %.1f", t.Name, float64(t.Took)/1e6))
		total += t.Took
	}
	return strings.Join(parts, ", ") + fmt.Sprintf("; in all %.1f ms", float64(total)/1e6)
}

// writeOverlay lays a picture of what was found in the photo at path into dir.
func writeOverlay(path string, r *reading.Result, dir string) error {
	drawn, err := overlay.JPEG(photofile.At(path), r)
	if err == nil {
		_, err = photofile.SaveOverlay(path, dir, drawn)
	}
	return err
}
