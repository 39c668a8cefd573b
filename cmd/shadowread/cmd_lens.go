package main

import (
	"bytes"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"shadowread/internal/camera"
	"shadowread/internal/fault"
	"shadowread/internal/lens"
	"shadowread/internal/photofile"
	"shadowread/internal/recordfile"
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
		c, err := lens.CheckPrint(cmd.Context(), photofile.All(photos), record, opts)
		bar.wipe()
		if err != nil {
			return err
		}
		return printCheck(s, c)
	}
	r, err := lens.Solve(cmd.Context(), photofile.All(photos), opts)
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
	dir, err := recordfile.DefaultDir()
	if err != nil {
		return "", err
	}
	path, err := recordfile.Store{Dir: dir}.Save(r)
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
