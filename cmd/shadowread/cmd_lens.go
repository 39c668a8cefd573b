package main

import (
	"bytes"
	"fmt"
	"path/filepath"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/spf13/cobra"

	"shadowread/internal/camera"
	"shadowread/internal/fault"
	"shadowread/internal/lens"
	"shadowread/internal/photo"
	"shadowread/internal/pixels"
	"shadowread/internal/wording"
)

type lensOptions struct {
	output, figure string
	check          string
	printScale     parsed[[2]float64]
	force          bool
}

func newLens(s *streams) *cobra.Command {
	o := lensOptions{printScale: parsed[[2]float64]{name: "X,Y", parse: parsePrintScale}}
	cmd := &cobra.Command{
		Use:   "lens PHOTO|FOLDER...",
		Short: "solve a camera's lens from photos of the sheet",
		Long: `Solve one camera's lens from five or more photos of the sheet: one from straight
above, the others 30 to 45 degrees off the vertical from all sides, the sheet
filling the picture into its corners. Tape the sheet flat, keep to one zoom and
about one distance, and use the files as the camera wrote them. A set that
cannot determine the lens is refused, and what is missing is said.

The record is a small text file. Without --output it goes into the store of
lenses, shadowread/lenses in the user's data folder (shadowread help
environment), where shadowread read finds it by itself for photos of the same
make, model, focal length and picture size.

A known lens shows a stretched print. The photos that solve a lens say how the
print is stretched; with --check-print RECORD another print is judged by a lens
known already, from any number of photos.`,
		Example: `  shadowread lens -o camera.toml fixtures/instrument/series
  shadowread lens -o lens.toml --figure residuals.svg --json fixtures/instrument/series
  shadowread lens --check-print fixtures/instrument/camera.toml fixtures/instrument/series/01.jpg`,
		RunE: func(cmd *cobra.Command, args []string) error { return runLens(cmd, s, &o, args) },
	}
	f := cmd.Flags()
	f.SortFlags = false
	f.StringVarP(&o.output, "output", "o", "", "write the record into this `FILE` (default into the store of lenses)")
	f.StringVar(&o.figure, "figure", "", "draw the residuals into this `FILE`, as SVG")
	f.StringVar(&o.check, "check-print", "", "judge the print in the photos by this `RECORD` of the lens; writes nothing")
	f.Var(&o.printScale, "print-scale", "printed over nominal, athwart and fore-and-aft, as 1.000,0.995")
	f.BoolVarP(&o.force, "force", "f", false, "replace files that are there")
	addJSON(cmd, s)
	return cmd
}

func runLens(cmd *cobra.Command, s *streams, o *lensOptions, args []string) error {
	for _, name := range []string{"output", "figure", "force"} {
		if err := exclusive(cmd, "check-print", name); err != nil {
			return err
		}
	}
	switch {
	case o.output != "" && filepath.Clean(o.output) == filepath.Clean(o.figure):
		return fault.Usage("contradicting_flags", "give two names", "--output and --figure %s are one file", o.figure)
	case len(args) == 0:
		return fault.Usage("no_photo", "name photos or folders of photos", "no photo given")
	}
	if err := onlySVG(o.figure); err != nil {
		return err
	}
	if err := mayWriteAll(o.force, o.output, o.figure); err != nil {
		return err
	}
	photos, err := expand(s, args)
	if err == nil {
		err = thereAre(photos)
	}
	if err != nil {
		return err
	}
	opts := lens.Options{PrintScale: o.printScale.given(), Solved: time.Now().UTC()}
	bar := progress{s: s}
	defer bar.wipe()
	bar.show("looking at %s", wording.Count(len(photos), "photo"))
	if o.check != "" {
		record, err := loadLens(o.check)
		if err != nil {
			return err
		}
		c, err := lens.CheckPrint(cmd.Context(), photos, record, opts)
		bar.wipe()
		if err != nil {
			return err
		}
		return printCheck(s, c)
	}
	r, err := lens.Solve(cmd.Context(), photos, opts)
	bar.wipe()
	if err != nil {
		return err
	}
	path, err := o.write(s, r)
	if err != nil {
		return err
	}
	return printLens(s, r, path)
}

// onlySVG refuses a name of a figure that promises another format.
func onlySVG(figure string) error {
	if figure != "" && !strings.EqualFold(filepath.Ext(figure), ".svg") {
		return fault.Usage("bad_format", "end the name in .svg", "the figure %s would be SVG under another name", figure)
	}
	return nil
}

// write writes the figure and the record, composed before either is written, and
// returns the record's file.
func (o *lensOptions) write(s *streams, r *lens.Result) (path string, err error) {
	var figure, record bytes.Buffer
	if o.figure != "" {
		if err := r.WriteFigure(&figure); err != nil {
			return "", err
		}
	}
	if o.output == "" {
		if path, err = storeLens(r.Record); err != nil {
			return "", err
		}
		s.note("wrote", "wrote %s", path)
		return path, writeComposed(s, o.force, composed{o.figure, &figure})
	}
	if err := r.Record.Encode(&record); err != nil {
		return "", err
	}
	return o.output, writeComposed(s, o.force, composed{o.figure, &figure}, composed{o.output, &record})
}

func storeLens(r camera.LensRecord) (string, error) {
	dir, err := camera.DefaultDir()
	if err != nil {
		return "", err
	}
	path, err := camera.Store{Dir: dir}.Save(r)
	if fault.Code(err) == "unknown_camera" {
		return "", fault.Wrap(err, "unknown_camera", "give --output FILE, and read with --lens FILE", "the record cannot be kept in the store of lenses")
	}
	return path, err
}

// lensJSON is the result with the record's file.
type lensJSON struct {
	*lens.Result
	File string `json:"file"`
}

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
