package main

import (
	"maps"
	"slices"

	"github.com/spf13/cobra"

	"shadowread/internal/fault"
)

func newCompletion() *cobra.Command {
	shells := map[string]func(*cobra.Command) error{
		"bash": func(c *cobra.Command) error { return c.Root().GenBashCompletionV2(c.OutOrStdout(), true) },
		"zsh":  func(c *cobra.Command) error { return c.Root().GenZshCompletion(c.OutOrStdout()) },
		"fish": func(c *cobra.Command) error { return c.Root().GenFishCompletion(c.OutOrStdout(), true) },
	}
	names := slices.Sorted(maps.Keys(shells))
	return &cobra.Command{
		Use:   "completion bash|fish|zsh",
		Short: "write completion for a shell",
		Long: `Write the code by which a shell completes commands, flags and their values. Load
it at the start of the shell:

    bash  source <(shadowread completion bash)
    zsh   source <(shadowread completion zsh)
    fish  shadowread completion fish | source`,
		Example: `  shadowread completion bash > shadowread.bash
  shadowread completion fish > shadowread.fish`,
		ValidArgs: names,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) != 1 || shells[args[0]] == nil {
				return fault.Usage("bad_shell", "give bash, fish or zsh", "completion takes the name of one shell")
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error { return shells[args[0]](cmd) },
	}
}
