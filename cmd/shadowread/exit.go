package main

import (
	"context"
	"errors"
	"io"
	"slices"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"shadowread/internal/fault"
)

// Exit statuses. The texts stand in the topic of the help that tells of them.
const (
	exitOK          = 0
	exitError       = 1
	exitUsage       = 2
	exitRefused     = 3
	exitOutside     = 4
	exitInterrupted = 130 // 128 + SIGINT, as shells report it
)

var exitTexts = map[int]string{
	exitOK:          "all went well; for read and log: every photo gave a heading",
	exitError:       "an error, as a folder without photos or a file that cannot be written",
	exitUsage:       "a slip in the command line",
	exitRefused:     "a photo, or a fix far off, was refused; read and log go on with others",
	exitOutside:     "the instrument is outside --tolerance, or was not proved to be within",
	exitInterrupted: "interrupted",
}

// errRefused says that a result which is printed already holds no heading.
var errRefused = errors.New("refused")

// errOutside says that an instrument, whose result is printed already, was not proved
// to be within its tolerance.
var errOutside = errors.New("outside tolerance")

// errSaid says that what went wrong was said already, while the work went on.
var errSaid = errors.New("said already")

// execute runs the command line and returns the exit status. It is the one place
// that turns errors into statuses and prints them.
func execute(ctx context.Context, args []string, s *streams) int {
	out := &checkedWriter{w: s.out}
	s.out = out
	if s.screen != nil {
		s.screen = out
	}
	if s.outTTY {
		s.out = &terminal{w: out}
	}
	// Flags may fail to parse before --json is met, and that error is JSON too.
	for _, a := range args {
		if a == "--" {
			break
		}
		s.json = s.json || a == "--json"
	}
	args, renamed := newSpellings(args)
	root := newRoot(s)
	root.SetArgs(args)
	cmd, err := root.ExecuteContextC(ctx)
	if out.err != nil {
		err = fault.Wrap(out.err, "output_failed", "check the disk's space or where standard output goes", "standard output cannot be written")
	}
	for _, old := range renamed {
		s.note("old_spelling", "from the next version on --%s is said --%s", old, renamedFlags[old])
	}
	return s.report(cmd, err)
}

// renamedFlags are the flags that had another name in the version before, and go by that
// too until the next.
var renamedFlags = map[string]string{"alignment-sigma": "lubber-sigma", "plate-sigma": "board-sigma", "mount-sigma": "lubber-shared-sigma"}

// newSpellings puts the flags of a command line into their new names, and returns the old
// ones that it met.
func newSpellings(args []string) (out, renamed []string) {
	out = slices.Clone(args)
	for i, a := range out {
		if a == "--" {
			break
		}
		name, value, has := strings.Cut(strings.TrimPrefix(a, "--"), "=")
		now := renamedFlags[name]
		if !strings.HasPrefix(a, "--") || now == "" {
			continue
		}
		if !slices.Contains(renamed, name) {
			renamed = append(renamed, name)
		}
		if out[i] = "--" + now; has {
			out[i] += "=" + value
		}
	}
	return out, renamed
}

func (s *streams) report(cmd *cobra.Command, err error) int {
	var (
		f       *fault.Error
		refused photoRefused
	)
	switch {
	case err == nil:
		return exitOK
	case errors.Is(err, errRefused):
		return exitRefused
	case errors.Is(err, errOutside):
		return exitOutside
	case errors.Is(err, errSaid):
		return exitError
	case errors.Is(err, context.Canceled):
		s.say(message{Level: "error", Code: "interrupted", Message: "interrupted"})
		return exitInterrupted
	case !errors.As(err, &f):
		s.say(message{Level: "error", Code: "error", Message: err.Error()})
		return exitError
	}
	hint := f.Hint
	if f.Usage {
		if cmd.Name() == "help" {
			cmd = cmd.Root()
		}
		hint = strings.TrimPrefix(hint+"\nsee '"+cmd.CommandPath()+" --help'", "\n")
	}
	s.say(message{Level: "error", Code: f.Code, Message: f.Error(), Hint: hint})
	switch {
	case f.Usage:
		return exitUsage
	case errors.As(err, &refused):
		return exitRefused
	}
	return exitError
}

// checkedWriter remembers the first failed write: help and tables are written by
// code that drops the error, and a full disk must not end as success.
type checkedWriter struct {
	w   io.Writer
	err error
}

func (c *checkedWriter) Write(p []byte) (int, error) {
	n, err := c.w.Write(p)
	if c.err == nil {
		c.err = err
	}
	return n, err
}

// flagError turns what the flag parser says into a usage error of ours.
func flagError(cmd *cobra.Command, err error) error {
	var (
		unknown *pflag.NotExistError
		bad     *pflag.InvalidValueError
		empty   *pflag.ValueRequiredError
		cause   *fault.Error
	)
	switch {
	case errors.As(err, &unknown):
		name := unknown.GetSpecifiedName()
		if short := unknown.GetSpecifiedShortnames(); short != "" {
			hint := ""
			if strings.ContainsAny(short[:1], "0123456789.") {
				hint = "a negative value stands behind its flag, as in --position -" + short
			}
			return fault.Usage("unknown_flag", hint, "unknown flag -%s", short)
		}
		return fault.Usage("unknown_flag", didYouMean("--", name, flagNames(cmd)), "unknown flag --%s", name)
	case errors.As(err, &bad):
		name := "--" + bad.GetFlag().Name
		if errors.As(err, &cause) {
			return fault.Usage(cause.Code, cause.Hint, "%s: %s", name, cause.Message)
		}
		return fault.Usage("bad_flag_value", "", "%s does not take the value %q", name, bad.GetValue())
	case errors.As(err, &empty):
		return fault.Usage("missing_flag_value", "", "flag --%s needs a value", empty.GetFlag().Name)
	}
	return fault.Usage("bad_flag", "", "%s", err.Error())
}

func flagNames(cmd *cobra.Command) []string {
	var names []string
	cmd.Flags().VisitAll(func(f *pflag.Flag) { names = append(names, f.Name) })
	return names
}

// didYouMean returns a hint that names the words nearest to word. The measure is
// cobra's for commands, so each word poses as one.
func didYouMean(prefix, word string, words []string) string {
	pool := &cobra.Command{SuggestionsMinimumDistance: min(2, len(word)/2)}
	for _, w := range words {
		pool.AddCommand(&cobra.Command{Use: w, Run: func(*cobra.Command, []string) {}})
	}
	near := pool.SuggestionsFor(word)
	if len(near) == 0 {
		return ""
	}
	slices.Sort(near)
	for i := range near {
		near[i] = prefix + near[i]
	}
	return "did you mean " + strings.Join(near, " or ") + "?"
}

// asUsage makes an error of what was given by flags a slip in the command line.
func asUsage(err error) error {
	var f *fault.Error
	if !errors.As(err, &f) {
		return err
	}
	return fault.Usage(f.Code, f.Hint, "%s", f.Error())
}

// noArgs refuses words that are no flags.
func noArgs(_ *cobra.Command, args []string) error {
	if len(args) > 0 {
		return fault.Usage("unexpected_argument", "", "unexpected argument %q", args[0])
	}
	return nil
}

// exclusive refuses flags that contradict each other, by name.
func exclusive(cmd *cobra.Command, names ...string) error {
	var given []string
	for _, n := range names {
		if cmd.Flags().Changed(n) {
			given = append(given, "--"+n)
		}
	}
	if len(given) > 1 {
		return fault.Usage("contradicting_flags", "give one of the two", "%s and %s contradict each other", given[0], given[1])
	}
	return nil
}
