package main

import (
	"cmp"
	"context"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"shadowread/internal/fault"
	"shadowread/internal/page"
)

type pageOptions struct {
	output, single string
	force          bool
}

func newPage(s *streams) *cobra.Command {
	var o pageOptions
	cmd := &cobra.Command{
		Use:   "page -o DIR | --single FILE",
		Short: "write the page that reads and steers on a phone",
		Long: `Write the page by which a phone reads photos and tells what to steer, without
a network once it was opened: the same program, in a browser.

With -o it is a folder of files, to be put on any host that serves them by
https: only there does a phone give a page its camera, place and storage. It
is written whole or not at all; an older page in the folder is replaced, a
folder with anything else in it is left alone.

With --single it is one file, to be copied onto a phone or laptop and opened
from its storage. Such a page cannot ask for the place and is not installed:
the place is typed.

Open it once before departure, and once more without a network. See
docs/page.md.

A passenger handles the phone, the driver does not. Never look at the sun. It
is never the sole means of navigation.`,
		Example: `  shadowread page -o page
  shadowread page --single page.html`,
		Args: noArgs,
		RunE: func(*cobra.Command, []string) error { return runPage(s, o) },
	}
	f := cmd.Flags()
	f.StringVarP(&o.output, "output", "o", "", "the folder `DIR` to write the page to")
	f.StringVar(&o.single, "single", "", "write one `FILE` in place of a folder, as page.html")
	f.BoolVarP(&o.force, "force", "f", false, "replace the file of --single that is there")
	return cmd
}

func runPage(s *streams, o pageOptions) error {
	switch {
	case o.output == "" && o.single == "":
		return fault.Usage("no_output", "give -o DIR, or --single FILE", "where the page is to be written is not given")
	case o.output != "" && o.single != "":
		return fault.Usage("contradicting_flags", "give one of the two", "--output and --single contradict each other")
	}
	p, err := page.New(version)
	if err != nil {
		return err
	}
	if o.output != "" {
		if err := p.Write(o.output); err != nil {
			return err
		}
		s.note("wrote", "wrote page %s to %s; put the folder on a host that serves https", p.Version, o.output)
		return nil
	}
	one, err := p.Single()
	if err != nil {
		return err
	}
	if err := writeFile(o.single, o.force, func(w io.Writer) error { _, err := w.Write(one); return err }); err != nil {
		return err
	}
	s.note("wrote", "wrote page %s to %s", p.Version, o.single)
	return nil
}

func newServe(s *streams) *cobra.Command {
	var port int
	cmd := &cobra.Command{
		Use:   "serve",
		Short: "serve the page on this machine alone",
		Long: `Serve the page of shadowread page on this machine, for a laptop and for trying
it out, until Ctrl-C; its address is printed. It is served on 127.0.0.1 alone:
no other machine reaches it, and no phone. What a browser keeps of it belongs
to the port.`,
		Example: `  shadowread serve
  shadowread serve --port 9000`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return runServe(cmd.Context(), s, port) },
	}
	cmd.Flags().IntVar(&port, "port", 8417, "`N`, of this machine's loopback address; 0 takes one that is free")
	return cmd
}

func runServe(ctx context.Context, s *streams, port int) error {
	if port < 0 || port > 65535 {
		return fault.Usage("bad_port", "give a number from 1 to 65535, or 0 for any that is free", "--port %d is no port", port)
	}
	p, err := page.New(version)
	if err != nil {
		return err
	}
	ctx, end := context.WithCancel(ctx)
	defer end()
	var printing error
	err = p.Serve(ctx, port, func(address string) {
		if _, printing = fmt.Fprintln(s.out, address); printing != nil { // nobody would know where it is
			end()
			return
		}
		s.note("serving", "page %s is served on this machine alone; Ctrl-C ends it", p.Version)
	})
	return cmp.Or(printing, err)
}
