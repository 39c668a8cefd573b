package main

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"shadowread/internal/fault"
)

func newRoot(s *streams) *cobra.Command {
	root := &cobra.Command{
		Use:   "shadowread",
		Short: "read a true heading from the shadow on a sun compass",
		Long: `shadowread turns a photo of a sun compass, a vertical rod on the printed sheet,
into a true heading with an honest uncertainty: from the direction of the rod's
shadow, the time, the place and where the sun (or the moon) stands.

Print the sheet, fix it to a board, set the rod upright on the foot, level the
board in the sun and take a photo of the whole sheet. The heading is that of the
sheet's forward axis, the arrow.

What the exit statuses mean: shadowread help exit-codes. How results look on a
terminal, in a pipe and as JSON: shadowread help environment.`,
		Example: `  shadowread sheet -o sheet.pdf
  shadowread read fixtures/demo/01-leaving-camp.jpg
  shadowread read --overlay out fixtures/instrument/series`,
		Version:       versionLine(),
		SilenceUsage:  true,
		SilenceErrors: true,
		// The root takes no words of its own: what lands here is no command.
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) == 0 {
				return nil
			}
			return unknownCommand(cmd, args[0])
		},
		PersistentPreRunE: func(cmd *cobra.Command, _ []string) error { return noEmptyFlag(cmd) },
		RunE:              func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	root.SetVersionTemplate("{{.Version}}\n")
	root.SetHelpTemplate(helpTemplate)
	root.SetOut(s.out)
	root.SetErr(s.err)
	root.SetFlagErrorFunc(flagError)
	root.SetHelpCommand(newHelp())
	root.CompletionOptions.DisableDefaultCmd = true
	root.PersistentFlags().BoolVarP(&s.quiet, "quiet", "q", false, "no notes and no progress on standard error")
	// In the order in which they are needed, which the help keeps.
	root.AddCommand(newSheet(s), newRead(s), newSteer(s, wallClock), newLog(s), newCard(s), newSky(s, sunHelp), newSky(s, moonHelp),
		newAlign(s), newLens(s), newSwing(s), newDeclination(s), newPage(s), newServe(s), newVersion(s), newCompletion(), newMan(s))
	root.AddCommand(helpTopics()...)
	return root
}

func unknownCommand(parent *cobra.Command, word string) error {
	var names []string
	for _, c := range parent.Commands() {
		names = append(names, c.Name())
	}
	hint := didYouMean("", word, names)
	if word == "help" {
		hint = "say shadowread help, and then the command"
	}
	return fault.Usage("unknown_command", hint, "unknown command %q", word)
}

// allCommands returns a command and all below it, in the order of the help.
func allCommands(c *cobra.Command) []*cobra.Command {
	all := []*cobra.Command{c}
	for _, below := range c.Commands() {
		all = append(all, allCommands(below)...)
	}
	return all
}

// exits is the list of exit statuses in their topic.
func exits(codes ...int) string {
	var b strings.Builder
	b.WriteString("\n")
	for _, c := range codes {
		fmt.Fprintf(&b, "\n    %3d  %s", c, exitTexts[c])
	}
	return b.String()
}

func addJSON(cmd *cobra.Command, s *streams) {
	cmd.Flags().BoolVar(&s.json, "json", s.json, "print JSON, one object a line; errors too, on standard error")
	cmd.Flags().Lookup("json").DefValue = "false"
}
