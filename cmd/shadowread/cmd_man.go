package main

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/cpuguy83/go-md2man/v2/md2man"
	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"shadowread/internal/fault"
)

func newMan(s *streams) *cobra.Command {
	return &cobra.Command{
		Use:   "man DIR",
		Short: "write the manual pages",
		Long: `Write the manual pages into a folder: one a command in section 1, one a help
topic in section 7. They say what the help says. Pages that are there are
replaced.`,
		Example: `  shadowread man man`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) != 1 {
				return fault.Usage("no_folder", "", "man takes the folder to write to")
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error { return runMan(cmd.Context(), cmd.Root(), s, args[0]) },
	}
}

func runMan(ctx context.Context, root *cobra.Command, s *streams, dir string) error {
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return unwritable(err, dir)
	}
	pages := 0
	for _, c := range allCommands(root) {
		if err := ctx.Err(); err != nil {
			return err
		}
		section := "1"
		if c.IsAdditionalHelpTopicCommand() {
			section = "7"
		}
		page, err := manPage(c, section)
		if err != nil {
			return err
		}
		name := fmt.Sprintf("%s.%s", strings.ReplaceAll(c.CommandPath(), " ", "-"), section)
		if err := writeFile(filepath.Join(dir, name), true, func(w io.Writer) error { _, err := w.Write(page); return err }); err != nil {
			return err
		}
		pages++
	}
	s.note("wrote", "wrote %d pages to %s; read one with: man -l %s", pages, dir, filepath.Join(dir, "shadowread-read.1"))
	return nil
}

// manDate is that of the pages' last change of substance: the same help makes the
// same bytes.
var manDate = time.Date(2026, time.November, 29, 0, 0, 0, 0, time.UTC)

func manPage(c *cobra.Command, section string) ([]byte, error) {
	title := strings.ToUpper(strings.ReplaceAll(c.CommandPath(), " ", "-"))
	source := "shadowread " + version
	if c.IsAdditionalHelpTopicCommand() { // has no synopsis and no options
		return md2man.Render(fmt.Appendf(nil, "%% %q %q %q %q %q\n# NAME\n%s \\- %s\n\n# DESCRIPTION\n%s\n",
			title, section, manDate.Format("Jan 2006"), source, "shadowread", c.Name(), c.Short, c.Long)), nil
	}
	c.InitDefaultHelpFlag()
	var b bytes.Buffer
	fmt.Fprintf(&b, "%% %q %q %q %q %q\n# NAME\n%s \\- %s\n\n# SYNOPSIS\n**%s**\n\n# DESCRIPTION\n%s\n\n",
		title, section, manDate.Format("Jan 2006"), source, "shadowread", strings.ReplaceAll(c.CommandPath(), " ", "-"), c.Short, c.UseLine(), c.Long)
	for i, g := range flagGroups(c) {
		heading := strings.ToUpper(g.Title)
		if i == 0 {
			heading = "OPTIONS"
		}
		fmt.Fprintf(&b, "# %s\n", heading)
		g.Flags.VisitAll(func(f *pflag.Flag) { b.WriteString(manFlag(f)) })
	}
	if c.Example != "" {
		fmt.Fprintf(&b, "# EXAMPLES\n```\n%s\n```\n", c.Example)
	}
	if also := seeAlso(c); len(also) > 0 {
		fmt.Fprintf(&b, "# SEE ALSO\n%s\n", strings.Join(also, ", "))
	}
	return md2man.Render(b.Bytes()), nil
}

// manFlag is a flag with its value's name and its usage, as the help has them.
func manFlag(f *pflag.Flag) string {
	value, usage := pflag.UnquoteUsage(f)
	name := "**--" + f.Name + "**"
	if f.Shorthand != "" {
		name = "**-" + f.Shorthand + "**, " + name
	}
	if value != "" {
		name += " *" + value + "*"
	}
	if d := f.DefValue; d != "" && d != "false" && d != "0" && d != "0s" && d != "[]" {
		usage += " (default " + d + ")"
	}
	return name + "\n\t" + usage + "\n\n"
}

// seeAlso names the pages of the command above and of those below.
func seeAlso(c *cobra.Command) (pages []string) {
	page := func(c *cobra.Command) string {
		section := "1"
		if c.IsAdditionalHelpTopicCommand() {
			section = "7"
		}
		return fmt.Sprintf("**%s(%s)**", strings.ReplaceAll(c.CommandPath(), " ", "-"), section)
	}
	if c.HasParent() {
		pages = append(pages, page(c.Parent()))
	}
	for _, below := range c.Commands() {
		if below.IsAvailableCommand() || below.IsAdditionalHelpTopicCommand() {
			pages = append(pages, page(below))
		}
	}
	return pages
}
