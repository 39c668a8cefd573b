package main

import (
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"shadowread/internal/fault"
)

// helpTemplate puts the examples before the flags: they are what is copied. Help fits
// a terminal of 80 columns, the narrowest in common use; examples are not broken.
const helpTemplate = `{{with (or .Long .Short)}}{{. | trimTrailingWhitespaces}}

{{end}}{{if not .IsAdditionalHelpTopicCommand}}Usage:
  {{.UseLine}}{{if .HasAvailableSubCommands}}
  {{.CommandPath}} COMMAND --help{{end}}
{{if .HasExample}}
Examples:
{{.Example}}
{{end}}{{if .HasAvailableSubCommands}}
Commands:{{range .Commands}}{{if .IsAvailableCommand}}
  {{rpad .Name 12}} {{.Short}}{{end}}{{end}}{{if .HasHelpSubCommands}}

Help topics:{{range .Commands}}{{if .IsAdditionalHelpTopicCommand}}
  {{rpad .Name 12}} {{.Short}}{{end}}{{end}}{{end}}
{{end}}{{if .HasAvailableLocalFlags}}
Flags:
{{.LocalFlags.FlagUsagesWrapped 80 | trimTrailingWhitespaces}}
{{end}}{{if .HasAvailableInheritedFlags}}
Flags of every command:
{{.InheritedFlags.FlagUsagesWrapped 80 | trimTrailingWhitespaces}}
{{end}}{{end}}`

func newRoot(s *streams) *cobra.Command {
	root := &cobra.Command{
		Use:   "shadowread",
		Short: "read a true heading from the shadow of a rod",
		Long: `shadowread turns a photo of a vertical rod on the printed sheet into a true
heading with an honest uncertainty: from the direction of the rod's shadow, the
time, the place and where the sun (or the moon) stands.

Print the sheet, fix it to a board, set the rod upright on the foot, level the
board in the sun and take a photo of the whole sheet. The heading is that of the
sheet's forward axis, the arrow.`,
		Example: `  shadowread sheet -o sheet.pdf
  shadowread read photo.jpg
  shadowread read --overlay out photos`,
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
		RunE: func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	root.SetVersionTemplate("{{.Version}}\n")
	root.SetHelpTemplate(helpTemplate)
	root.SetOut(s.out)
	root.SetErr(s.err)
	root.SetFlagErrorFunc(flagError)
	root.SetHelpCommand(newHelp())
	root.CompletionOptions.DisableDefaultCmd = true
	root.PersistentFlags().BoolVarP(&s.quiet, "quiet", "q", false, "no notes and no progress on standard error")
	root.AddCommand(newRead(s), newSheet(s), newSky(s, sunHelp), newSky(s, moonHelp),
		newLens(s), newAlign(s), newDeclination(s), newSwing(s), newCard(s), newLog(s),
		newVersion(s), newCompletion(), newMan(s))
	root.AddCommand(helpTopics()...)
	return root
}

func unknownCommand(parent *cobra.Command, word string) error {
	var names []string
	for _, c := range parent.Commands() {
		names = append(names, c.Name())
	}
	return fault.Usage("unknown_command", didYouMean("", word, names), "unknown command %q", word)
}

// newHelp replaces cobra's help command, which answers an unknown topic with exit
// status 0.
func newHelp() *cobra.Command {
	return &cobra.Command{
		Use:   "help [COMMAND|TOPIC]",
		Short: "show the help of a command or a topic",
		Long:  "Show the help of a command or a topic." + exits(exitOK, exitUsage),
		Example: `  shadowread help read
  shadowread help cautions`,
		ValidArgsFunction: func(cmd *cobra.Command, args []string, _ string) ([]cobra.Completion, cobra.ShellCompDirective) {
			var names []cobra.Completion
			if len(args) == 0 {
				for _, c := range cmd.Root().Commands() {
					names = append(names, cobra.CompletionWithDesc(c.Name(), c.Short))
				}
			}
			return names, cobra.ShellCompDirectiveNoFileComp
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(args) == 0 {
				return cmd.Root().Help()
			}
			topic := cmd.Root()
			for _, word := range args {
				i := slices.IndexFunc(topic.Commands(), func(c *cobra.Command) bool { return c.Name() == word })
				if i < 0 {
					return unknownCommand(topic, word)
				}
				topic = topic.Commands()[i]
			}
			topic.InitDefaultHelpFlag() // so that it is listed
			return topic.Help()
		},
	}
}

// allCommands returns a command and all below it, in the order of the help.
func allCommands(c *cobra.Command) []*cobra.Command {
	all := []*cobra.Command{c}
	for _, below := range c.Commands() {
		all = append(all, allCommands(below)...)
	}
	return all
}

// exits is the part of a command's help that lists its exit statuses.
func exits(codes ...int) string {
	var b strings.Builder
	b.WriteString("\n\nExit status:\n")
	for _, c := range codes {
		fmt.Fprintf(&b, "\n    %3d  %s", c, exitTexts[c])
	}
	return b.String()
}

func addJSON(cmd *cobra.Command, s *streams) {
	cmd.Flags().BoolVar(&s.json, "json", s.json, "print JSON, one object a line; errors too, on standard error")
	cmd.Flags().Lookup("json").DefValue = "false"
}
