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

func init() { cobra.AddTemplateFunc("flagGroups", flagGroups) }

// groupKey is the annotation of a flag that names its group in the help.
const groupKey = "group"

// flagGroup is flags that stand together in the help, under a title.
type flagGroup struct {
	Title string
	Flags *pflag.FlagSet
}

// everyday is the title of the flags that are in no group.
const everyday = "Flags"

// seldom is the title of the flags that hardly anybody needs.
const seldom = "Seldom"

// inGroup puts flags that are there into a group of the help. Groups stand in the order
// in which they are made.
func inGroup(cmd *cobra.Command, title string, names ...string) {
	for _, name := range names {
		if f := cmd.Flags().Lookup(name); f != nil {
			if f.Annotations == nil {
				f.Annotations = map[string][]string{}
			}
			f.Annotations[groupKey] = []string{title}
		}
	}
	if cmd.Annotations == nil {
		cmd.Annotations = map[string]string{}
	}
	cmd.Annotations[groupKey] += title + "\n"
}

// flagGroups returns the flags of a command as its help lists them: those of every day
// first, the seldom ones last, and then those of every command.
func flagGroups(cmd *cobra.Command) []flagGroup {
	var groups []flagGroup
	at := func(title string) *pflag.FlagSet {
		i := slices.IndexFunc(groups, func(g flagGroup) bool { return g.Title == title })
		if i < 0 {
			i = len(groups)
			groups = append(groups, flagGroup{title, pflag.NewFlagSet("", pflag.ContinueOnError)})
			groups[i].Flags.SortFlags = false
		}
		return groups[i].Flags
	}
	at(everyday)
	for title := range strings.Lines(cmd.Annotations[groupKey]) {
		if title = strings.TrimSpace(title); title != seldom {
			at(title)
		}
	}
	local := cmd.LocalFlags()
	local.SortFlags = cmd.Flags().SortFlags
	local.VisitAll(func(f *pflag.Flag) {
		title := everyday
		if list := f.Annotations[groupKey]; len(list) > 0 {
			title = list[0]
		}
		if !f.Hidden && title != seldom {
			at(title).AddFlag(f)
		}
	})
	local.VisitAll(func(f *pflag.Flag) {
		if list := f.Annotations[groupKey]; !f.Hidden && len(list) > 0 && list[0] == seldom {
			at(seldom).AddFlag(f)
		}
	})
	if cmd.HasAvailableInheritedFlags() {
		at("Flags of every command").AddFlagSet(cmd.InheritedFlags())
	}
	return slices.DeleteFunc(groups, func(g flagGroup) bool { return !g.Flags.HasAvailableFlags() })
}

// first moves flags to the front of the help, in this order.
func first(cmd *cobra.Command, names ...string) {
	cmd.Flags().SortFlags = false
	all := cmd.Flags()
	sorted := pflag.NewFlagSet("", pflag.ContinueOnError)
	sorted.SortFlags = false
	for _, name := range names {
		if f := all.Lookup(name); f != nil {
			sorted.AddFlag(f)
		}
	}
	all.VisitAll(func(f *pflag.Flag) {
		if sorted.Lookup(f.Name) == nil {
			sorted.AddFlag(f)
		}
	})
	cmd.ResetFlags()
	cmd.Flags().SortFlags = false
	cmd.Flags().AddFlagSet(sorted)
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
