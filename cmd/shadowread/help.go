package main

import (
	"slices"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
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
{{end}}{{range flagGroups .}}
{{.Title}}:
{{.Flags.FlagUsagesWrapped 80 | trimTrailingWhitespaces}}
{{end}}{{end}}`

func init() {
	cobra.AddTemplateFunc("flagGroups", flagGroups)
	cobra.EnableCommandSorting = false
}

// groupKey is the annotation of a command that says how the help groups its flags.
const groupKey = "groups"

// flagGroup is flags that stand together in the help, under a title.
type flagGroup struct {
	Title string
	Flags *pflag.FlagSet
}

// Titles of groups that several commands have.
const (
	everyday    = "Flags"
	byEye       = "A number read by eye, in place of a photo"
	notOdometer = "In place of the odometer"
	withLog     = "With the log of a journey"
	photosOnly  = "Seldom, with photos only"
	seldom      = "Seldom" // takes all flags that no group names
)

// inGroup puts flags into a group of the help, in this order. Groups stand in the order in
// which they are made; what no group names follows with the seldom ones, if there are such,
// or with those of every day.
func inGroup(cmd *cobra.Command, title string, names ...string) {
	if cmd.Annotations == nil {
		cmd.Annotations = map[string]string{}
	}
	cmd.Annotations[groupKey] += title + "\t" + strings.Join(names, " ") + "\n"
}

// photoNames are the flags that say how a photo is read, and mean nothing of a number read
// by eye.
var photoNames = []string{"clock-error", "nodus-height", "rod-diameter", "plumb-line", "lens", "horizon", "horizon-sigma", "eye-height"}

// flagGroups returns the flags of a command as its help lists them, and last those of
// every command.
func flagGroups(cmd *cobra.Command) []flagGroup {
	local, done := cmd.LocalFlags(), map[string]bool{}
	newGroup := func(title string) flagGroup {
		g := flagGroup{title, pflag.NewFlagSet("", pflag.ContinueOnError)}
		g.Flags.SortFlags = false
		return g
	}
	var groups []flagGroup
	for line := range strings.Lines(cmd.Annotations[groupKey]) {
		title, names, _ := strings.Cut(strings.TrimSpace(line), "\t")
		g := newGroup(title)
		for _, name := range strings.Fields(names) {
			if f := local.Lookup(name); f != nil {
				g.Flags.AddFlag(f)
				done[name] = true
			}
		}
		groups = append(groups, g)
	}
	if len(groups) == 0 || groups[0].Title != everyday {
		groups = slices.Insert(groups, 0, newGroup(everyday))
		groups[0].Flags.SortFlags = cmd.Flags().SortFlags
	}
	rest := slices.IndexFunc(groups, func(g flagGroup) bool { return g.Title == seldom })
	local.SortFlags = cmd.Flags().SortFlags
	local.VisitAll(func(f *pflag.Flag) {
		switch {
		case done[f.Name] || f.Hidden:
		case rest < 0 || f.Name == "help" || f.Name == "json":
			groups[0].Flags.AddFlag(f)
		default:
			groups[rest].Flags.AddFlag(f)
		}
	})
	if cmd.HasAvailableInheritedFlags() {
		g := newGroup("Flags of every command")
		g.Flags.AddFlagSet(cmd.InheritedFlags())
		groups = append(groups, g)
	}
	return slices.DeleteFunc(groups, func(g flagGroup) bool { return !g.Flags.HasAvailableFlags() })
}

// newHelp replaces cobra's help command, which answers an unknown topic with exit
// status 0.
func newHelp() *cobra.Command {
	return &cobra.Command{
		Use:   "help [COMMAND|TOPIC]",
		Short: "show the help of a command or a topic",
		Long:  "Show the help of a command or a topic.",
		Example: `  shadowread help read
  shadowread help cautions`,
		ValidArgsFunction: func(cmd *cobra.Command, args []string, _ string) ([]cobra.Completion, cobra.ShellCompDirective) {
			var names []cobra.Completion
			topic := cmd.Root()
			for _, word := range args {
				i := slices.IndexFunc(topic.Commands(), func(c *cobra.Command) bool { return c.Name() == word })
				if i < 0 {
					return nil, cobra.ShellCompDirectiveNoFileComp
				}
				topic = topic.Commands()[i]
			}
			for _, c := range topic.Commands() {
				names = append(names, cobra.CompletionWithDesc(c.Name(), c.Short))
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
