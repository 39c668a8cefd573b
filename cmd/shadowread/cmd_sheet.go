package main

import (
	"context"
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"shadowread/internal/fault"
	"shadowread/internal/paper"
	"shadowread/internal/sheetprint"
)

type sheetOptions struct {
	paper  parsed[paper.Format]
	output string
	format string
	dpi    int
	force  bool
}

var sheetFormats = []string{"pdf", "svg", "png"}

func newSheet(s *streams) *cobra.Command {
	o := sheetOptions{paper: paperFlag(paper.Office)}
	cmd := &cobra.Command{
		Use:   "sheet",
		Short: "write the sheet to print",
		Long: `Write the sheet to print: the dial, the marks by which a photo is read, and what
to measure and mind. It also serves without a camera: the hand rule is printed
on it.

Print at 100 %, without "fit to page", then measure the 100 mm line and the
outer edges of the corner marks, 176 mm in both directions: a print stretched by
0.5 % in one of them costs 0.14 degree (see --print-scale of read).`,
		Example: `  shadowread sheet
  shadowread sheet --paper letter -o sheet.pdf
  shadowread sheet -o sheet.svg
  shadowread sheet --format pdf -o - > page.pdf`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return runSheet(cmd.Context(), cmd, s, o) },
	}
	f := cmd.Flags()
	f.Var(&o.paper, "paper", "a4 or letter")
	f.StringVarP(&o.output, "output", "o", "", "the `FILE` to write, - for standard output (default sheet-PAPER.FORMAT)")
	f.StringVar(&o.format, "format", "", "the `FORMAT`: pdf, svg or png (default by the file's ending, else pdf)")
	f.IntVar(&o.dpi, "dpi", 600, "`N` pixels an inch, of png only")
	f.BoolVarP(&o.force, "force", "f", false, "replace a file that is there")
	words(cmd, "paper", "a4", "letter")
	words(cmd, "format", sheetFormats...)
	words(cmd, "dpi", "300", "600", "1200")
	return cmd
}

func runSheet(ctx context.Context, cmd *cobra.Command, s *streams, o sheetOptions) error {
	format, err := o.resolveFormat()
	if err != nil {
		return err
	}
	if format != "png" && cmd.Flags().Changed("dpi") {
		return fault.Usage("contradicting_flags", "only a png has pixels", "--dpi and the format %s contradict each other", format)
	}
	write := func(w io.Writer) error {
		switch format {
		case "svg":
			return sheetprint.WriteSVG(w, o.paper.value)
		case "png":
			err := sheetprint.WritePNG(w, o.paper.value, o.dpi)
			if fault.Code(err) == "bad_dpi" {
				err = asUsage(err)
			}
			return err
		}
		return sheetprint.WritePDF(w, o.paper.value)
	}
	if o.output == "-" {
		if s.outTTY && format != "svg" {
			return fault.Usage("binary_to_terminal", "send standard output into a file or a pipe, or give -o FILE", "a %s is not for a terminal", format)
		}
		return write(s.out)
	}
	name := o.output
	if name == "" {
		name = fmt.Sprintf("sheet-%s.%s", strings.ToLower(o.paper.value.Name), format)
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	if err := writeFile(name, o.force, write); err != nil {
		return err
	}
	s.note("wrote", "wrote %s for %s paper; print at 100 %% and measure: 176 mm over the corner marks, both ways", name, o.paper.value.Name)
	return nil
}

// resolveFormat goes by --format and the ending of the file, which must agree.
func (o sheetOptions) resolveFormat() (string, error) {
	known := func(f string) bool { return slices.Contains(sheetFormats, f) }
	format := strings.ToLower(o.format)
	if format != "" && !known(format) {
		return "", fault.Usage("bad_format", "give pdf, svg or png", "unknown format %q", o.format)
	}
	if o.output == "" || o.output == "-" {
		if format == "" {
			format = "pdf"
		}
		return format, nil
	}
	ending := strings.ToLower(strings.TrimPrefix(filepath.Ext(o.output), "."))
	switch {
	case known(ending) && format != "" && format != ending:
		return "", fault.Usage("contradicting_flags", "give one of the two", "--format %s and --output %s contradict each other", o.format, o.output)
	case format != "":
		return format, nil
	case known(ending):
		return ending, nil
	}
	return "", fault.Usage("bad_format", "end the name in .pdf, .svg or .png, or give --format", "the name %s does not say which format is wanted", o.output)
}
