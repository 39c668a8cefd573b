package main

import (
	"fmt"
	"runtime"
	"runtime/debug"

	"github.com/spf13/cobra"

	"shadowread/internal/pixels"
	"shadowread/internal/typeface"
)

const version = "0.1.0"

// commit is set by the build where the go command does not stamp one.
var commit string

type versionInfo struct {
	Version string `json:"version"`
	Commit  string `json:"commit"` // "" where not known
	Go      string `json:"go"`
	OS      string `json:"os"`
	Arch    string `json:"arch"`
	Pixels  string `json:"pixels"` // what works with them: OpenCV and its version, or plain Go
}

func currentVersion() versionInfo {
	v := versionInfo{version, commit, runtime.Version(), runtime.GOOS, runtime.GOARCH, pixels.Engines()[0]}
	if info, ok := debug.ReadBuildInfo(); ok && v.Commit == "" {
		for _, setting := range info.Settings {
			if setting.Key == "vcs.revision" {
				v.Commit = setting.Value
			}
		}
	}
	return v
}

func versionLine() string {
	v := currentVersion()
	if v.Commit == "" {
		v.Commit = "unknown"
	}
	return fmt.Sprintf("shadowread %s (commit %s, %s, %s/%s, pixels by %s)", v.Version, v.Commit, v.Go, v.OS, v.Arch, v.Pixels)
}

func newVersion(s *streams) *cobra.Command {
	licences := false
	cmd := &cobra.Command{
		Use:   "version",
		Short: "tell which version this is",
		Long: `Tell which version this is and what it was built from. With --licences: under
which licence the typeface stands that the program carries and puts into what it
prints and draws.`,
		Example: `  shadowread version
  shadowread version --json
  shadowread version --licences`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if err := exclusive(cmd, "licences", "json"); err != nil {
				return err
			}
			if licences {
				_, err := fmt.Fprintf(s.out, "The typeface in what is printed and drawn:\n\n%s", typeface.Licence)
				return err
			}
			if s.json {
				return s.printJSON(currentVersion())
			}
			_, err := fmt.Fprintln(s.out, versionLine())
			return err
		},
	}
	cmd.Flags().BoolVar(&licences, "licences", false, "the licence of the typeface")
	addJSON(cmd, s)
	return cmd
}
