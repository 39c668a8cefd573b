package main

import (
	"fmt"
	"strconv"
	"unicode/utf8"

	"shadowread/internal/camera"
	"shadowread/internal/lens"
	"shadowread/internal/photo"
	"shadowread/internal/pixels"
	"shadowread/internal/wording"
)

// lensParameters lists a lens for people and pipes: name, value, sigma, unit, places.
func lensParameters(r camera.LensRecord) [][]string {
	l, g := r.Lens, r.Sigma
	var rows [][]string
	for _, p := range []struct {
		name         string
		value, sigma float64
		unit         string
		places       int
	}{
		{"focal length", l.F, g.F, "px", 2}, {"centre across", l.Cx, g.Cx, "px", 2}, {"centre down", l.Cy, g.Cy, "px", 2},
		{"k1", l.K1, g.K1, "", 5}, {"k2", l.K2, g.K2, "", 5}, {"k3", l.K3, g.K3, "", 5}, {"p1", l.P1, g.P1, "", 6}, {"p2", l.P2, g.P2, "", 6},
	} {
		rows = append(rows, []string{p.name, strconv.FormatFloat(p.value, 'f', p.places, 64), strconv.FormatFloat(p.sigma, 'f', p.places, 64), p.unit})
	}
	return rows
}

func printLens(s *streams, r *lens.Result, path string) error {
	if s.json {
		return s.printJSON(lensJSON{r, path})
	}
	if !s.outTTY { // the first cell names the kind of the record
		t := &table{s: s, pipe: "lens"}
		for _, row := range lensParameters(r.Record) {
			if err := t.row("", append([]string{"lens"}, row...)...); err != nil {
				return err
			}
		}
		for _, v := range r.Views {
			if err := t.row("", "view", plain(v.Photo), fmt.Sprint(len(v.Marks)), wording.Fixed(v.Tilt, 2), fmt.Sprintf("%.4f", v.RMSPx), fmt.Sprintf("%.4f", v.Share)); err != nil {
				return err
			}
		}
		return pipeRest(t, r.Skipped, r.Warnings)
	}
	fmt.Fprintf(s.out, "%s\n%s\n\n", s.paint(bold, plain(fmt.Sprintf("lens of %s, rms %.2f px over %s", r.Record.Camera, r.RMSPx, wording.Count(len(r.Views), "photo")))), plain(path))
	t := table{s: s, columns: []column{{head: "parameter", width: 13}, {head: "value", right: true, width: 9}, {head: "± 1 sigma", right: true}, {head: "unit"}}}
	for _, row := range lensParameters(r.Record) {
		if err := t.row("", row...); err != nil {
			return err
		}
	}
	fmt.Fprintln(s.out)
	names, width := newPrinter(s, photosOf(r), shown{}), 0
	for _, v := range r.Views {
		width = max(width, utf8.RuneCountInString(names.label(v.Photo)))
	}
	t = table{s: s, columns: []column{{head: "photo", width: width}, {head: "marks", right: true}, {head: "off vertical", right: true}, {head: "distance", right: true}, {head: "rms px", right: true}, {head: "share", right: true}}}
	for _, v := range r.Views {
		if err := t.row("", plain(names.label(v.Photo)), fmt.Sprint(len(v.Marks)), wording.Fixed(v.Tilt, 0)+"°", fmt.Sprintf("%.0f mm", v.DistanceMM), fmt.Sprintf("%.3f", v.RMSPx), fmt.Sprintf("%.0f %%", 100*v.Share)); err != nil {
			return err
		}
	}
	fmt.Fprintln(s.out)
	c := r.Coverage
	fmt.Fprintf(s.out, "coverage     %.0f %% of the picture has marks; %s\n", 100*c.Covered, cornerText(c.Corners))
	fmt.Fprintf(s.out, "%-12s rms %.2f px, at most %.1f sigma from the above\n", solver(), r.OpenCV.RMSPx, r.OpenCV.Difference)
	fmt.Fprintln(s.out, printText(r.Print))
	showRest(s, r.Skipped, r.Warnings)
	return nil
}

// solver names what solved the corners alone.
func solver() string {
	if name := pixels.Engines()[0]; name == pixels.PlainGo {
		return "corners"
	}
	return "OpenCV"
}

func photosOf(r *lens.Result) (paths []string) {
	for _, v := range r.Views {
		paths = append(paths, v.Photo)
	}
	return paths
}

// cornerText says how near marks come to the corner they come least near to.
func cornerText(gaps [4]float64) string {
	worst := 0
	for i, g := range gaps {
		if g > gaps[worst] {
			worst = i
		}
	}
	return fmt.Sprintf("the %s corner is %.2f half diagonals from the nearest mark", []string{"top left", "top right", "bottom right", "bottom left"}[worst], gaps[worst])
}

func printText(p lens.Print) string {
	return fmt.Sprintf("print        stretched athwart by %+.3f %% ± %.3f %%, curled by %.2f mm at 100 mm from the foot", 100*p.Stretch, 100*p.Sigma, p.CurlMM)
}

// pipeRest prints which photos took no part, and notes what is amiss with the result.
func pipeRest(t *table, skipped []lens.Skipped, warnings []photo.Warning) error {
	for _, k := range skipped {
		if err := t.row("", "skipped", plain(k.Photo), k.Reason); err != nil {
			return err
		}
	}
	for _, w := range warnings {
		t.s.note(w.Code, "%s", w.Message)
	}
	return nil
}

// showRest is pipeRest for people.
func showRest(s *streams, skipped []lens.Skipped, warnings []photo.Warning) {
	for _, k := range skipped {
		fmt.Fprintf(s.out, "\n%s\n%s\n", s.paint(yellow, plain("skipped "+k.Photo)), s.wrap(2, plain(k.Detail)))
	}
	for _, w := range warnings {
		fmt.Fprintf(s.out, "\n%s\n%s\n", s.paint(yellow, "warning "+w.Code), s.wrap(2, plain(w.Message)))
	}
}

func printCheck(s *streams, c *lens.PrintCheck) error {
	switch {
	case s.json:
		return s.printJSON(c)
	case !s.outTTY:
		t := &table{s: s, pipe: "check"}
		if err := t.row("", "print", fmt.Sprintf("%.6f", c.Stretch), fmt.Sprintf("%.6f", c.Sigma), fmt.Sprintf("%.3f", c.CurlMM)); err != nil {
			return err
		}
		for _, v := range c.Views {
			if err := t.row("", "view", plain(v.Photo), fmt.Sprintf("%.6f", v.Stretch), fmt.Sprintf("%.6f", v.Sigma)); err != nil {
				return err
			}
		}
		return pipeRest(t, c.Skipped, c.Warnings)
	}
	fmt.Fprintln(s.out, printText(c.Print))
	for _, v := range c.Views {
		fmt.Fprintf(s.out, "  %s  %+.3f %% ± %.3f %%\n", plain(v.Photo), 100*v.Stretch, 100*v.Sigma)
	}
	showRest(s, c.Skipped, c.Warnings)
	return nil
}
