// Command proof measures shadowread: its accuracy on a folder of photos with known
// truth, and its honesty on random pictures of the project's own renderer.
//
//	proof accuracy DIR...
//	proof page DIR...
//	proof hours [-no-height] DIR...
//	proof soak [-gnomons] [-n COUNT] [-seed SEED] [-width PX] [-keep DIR] [-pixels NAME] [-v]
//	proof clock [-n COUNT] [-seed SEED]
//	proof lying [-n COUNT] [-seed SEED] [-keep DIR]
//	proof sunlit [-n COUNT] [-seed SEED] [-keep DIR]
//	proof elsewhere [-n COUNT] [-seed SEED] [-keep DIR]
//	proof field [-n COUNT] [-seed SEED] [-keep DIR]
//	proof level [-n COUNT] [-seed SEED]
//	proof horizon [-n COUNT] [-seed SEED]
//	proof reversed [-n COUNT] [-seed SEED]
//	proof damage [-mutations COUNT] [-flips COUNT] [-seed SEED] [-photos COUNT] [-keep DIR] [-pixels NAME] DIR...
package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"os/signal"
	"runtime"
	"strings"

	"shadowread/internal/browser"
	"shadowread/internal/page"
	"shadowread/internal/pixels"
	"shadowread/internal/proof"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	if err := run(ctx, os.Args[1:]); err != nil {
		fmt.Fprintln(os.Stderr, "proof:", err)
		os.Exit(1)
	}
}

const measures = "accuracy, page, hours, soak, clock, lying, sunlit, elsewhere, field, level, horizon, reversed or damage"

func run(ctx context.Context, args []string) error {
	if len(args) == 0 {
		return fmt.Errorf("say what to measure: %s, and the folders", measures)
	}
	switch args[0] {
	case "accuracy":
		if len(args) == 1 {
			return fmt.Errorf("accuracy needs a folder with a truth.json")
		}
		for _, dir := range args[1:] {
			if _, err := proof.Accuracy(ctx, os.Stdout, dir); err != nil {
				return err
			}
		}
		return nil
	case "page":
		return inBrowser(ctx, args[1:])
	case "hours":
		return hours(ctx, args[1:])
	case "soak":
		return soak(ctx, args[1:])
	case "clock":
		return pictures(ctx, args[1:], proof.Clock)
	case "lying":
		return pictures(ctx, args[1:], proof.Lying, keepFlag)
	case "sunlit":
		return pictures(ctx, args[1:], proof.Sunlit, keepFlag)
	case "elsewhere":
		return pictures(ctx, args[1:], proof.Elsewhere, keepFlag)
	case "field":
		return pictures(ctx, args[1:], proof.Field, keepFlag)
	case "level":
		return pictures(ctx, args[1:], proof.Level)
	case "horizon":
		return pictures(ctx, args[1:], proof.Horizon)
	case "reversed":
		return pictures(ctx, args[1:], proof.Reversed)
	case "damage":
		return damage(ctx, args[1:])
	}
	return fmt.Errorf("unknown measure %q: %s", args[0], measures)
}

// enginesFlag adds the choice of what works with pixels; what it returns makes it.
func enginesFlag(fs *flag.FlagSet) func() error {
	all := pixels.Engines()
	name := fs.String("pixels", all[0], "what works with pixels")
	return func() error {
		if !pixels.Use(*name) {
			return fmt.Errorf("no %q works with pixels here, but %q", *name, all)
		}
		return nil
	}
}

// keepFlag adds the folder for pictures that went wrong.
func keepFlag(fs *flag.FlagSet, o *proof.SoakOptions) {
	fs.StringVar(&o.Keep, "keep", "", "folder for pictures that went wrong")
}

func soak(ctx context.Context, args []string) error {
	fs := flag.NewFlagSet("soak", flag.ContinueOnError)
	o := proof.SoakOptions{Workers: runtime.NumCPU()}
	fs.IntVar(&o.Count, "n", 500, "pictures")
	fs.Uint64Var(&o.Seed, "seed", 1, "seed of the first")
	fs.IntVar(&o.WidthPX, "width", 2000, "px, pictures are 4 by 3")
	keepFlag(fs, &o)
	fs.BoolVar(&o.Gnomons, "gnomons", false, "rods as people make them, ripples, things on the sheet")
	fs.BoolVar(&o.Phone, "phone", false, "a telephone's processing, sheets that were used, at times two of them")
	all := fs.Bool("v", false, "a line for each picture")
	engine := enginesFlag(fs)
	if err := errors.Join(fs.Parse(args), engine()); err != nil {
		return err
	}
	var rep proof.Report
	err := proof.Soak(ctx, o,
		func(o proof.Outcome) {
			rep.Add(o)
			odd := o.Readable && o.Reason != "" || o.Reason == "" && o.Error.Abs() > 3*o.Sigma
			if *all || odd {
				fmt.Printf("seed %d readable %v (%s) %s error %+.4f° sigma %.4f°", o.Seed, o.Readable, o.WhyNot, o.Reason, o.Error.Degrees(), o.Sigma.Degrees())
				if o.Result != nil && o.Result.Budget != nil {
					b := o.Result.Budget
					fmt.Printf(" fit %.4f map %.4f print %.4f", b.ShadowFit.Degrees(), b.SheetMap.Degrees(), b.Print.Degrees())
				}
				fmt.Println()
			}
		})
	if err != nil {
		return err
	}
	rep.Print(os.Stdout)
	return nil
}

// report is what a measure of random pictures comes to.
type report interface {
	Print(io.Writer)
	Failed() string
}

func pictures[R report](ctx context.Context, args []string, measure func(context.Context, proof.SoakOptions) (R, error), more ...func(*flag.FlagSet, *proof.SoakOptions)) error {
	fs := flag.NewFlagSet("pictures", flag.ContinueOnError)
	o := proof.SoakOptions{Workers: runtime.NumCPU(), WidthPX: 2000}
	fs.IntVar(&o.Count, "n", 500, "pictures")
	fs.Uint64Var(&o.Seed, "seed", 1, "seed of the first")
	for _, add := range more {
		add(fs, &o)
	}
	if err := fs.Parse(args); err != nil {
		return err
	}
	rep, err := measure(ctx, o)
	if err != nil {
		return err
	}
	rep.Print(os.Stdout)
	if why := rep.Failed(); why != "" {
		return fmt.Errorf("%s", why)
	}
	return nil
}

func damage(ctx context.Context, args []string) error {
	fs := flag.NewFlagSet("damage", flag.ContinueOnError)
	o := proof.DamageOptions{Workers: runtime.NumCPU()}
	fs.IntVar(&o.Mutations, "mutations", 20000, "files with bytes changed anywhere")
	fs.IntVar(&o.Flips, "flips", 2000, "files with one bit of the picture data turned")
	fs.Uint64Var(&o.Seed, "seed", 1, "seed of the damage")
	fs.IntVar(&o.Photos, "photos", 6, "photos that are damaged, at most")
	fs.StringVar(&o.Keep, "keep", "", "folder for files that went wrong")
	engine := enginesFlag(fs)
	if err := errors.Join(fs.Parse(args), engine()); err != nil {
		return err
	}
	if o.Dirs = fs.Args(); len(o.Dirs) == 0 {
		return fmt.Errorf("damage needs a folder with a truth.json")
	}
	rep, err := proof.Damage(ctx, o)
	if rep != nil {
		rep.Print(os.Stdout)
	}
	if err == nil && len(rep.Wrong) > 0 {
		err = fmt.Errorf("%d damaged photos are read wrongly", len(rep.Wrong))
	}
	return err
}

// inBrowser holds the page, in a browser, to the program.
func inBrowser(ctx context.Context, dirs []string) error {
	if len(dirs) == 0 {
		return fmt.Errorf("page needs folders of photos")
	}
	p, err := page.New("measured")
	if err != nil {
		return err
	}
	program, err := browser.Start(ctx, p)
	if err != nil {
		return err
	}
	defer program.Close()
	sums, err := proof.Page(ctx, os.Stdout, program, dirs...)
	if err != nil {
		return err
	}
	if err := proof.PageSteer(ctx, os.Stdout, program, &sums); err != nil {
		return err
	}
	if len(sums.Wrong) > 0 {
		return fmt.Errorf("page and program differ: %s", strings.Join(sums.Wrong, ", "))
	}
	return nil
}

func hours(ctx context.Context, args []string) error {
	fs := flag.NewFlagSet("hours", flag.ContinueOnError)
	noHeight := fs.Bool("no-height", false, "do not say the rod's height")
	if err := fs.Parse(args); err != nil {
		return err
	}
	if fs.NArg() == 0 {
		return fmt.Errorf("hours needs a folder with a truth.json")
	}
	var sums proof.HourSums
	for _, dir := range fs.Args() {
		if err := proof.Hours(ctx, os.Stdout, dir, !*noHeight, &sums); err != nil {
			return err
		}
	}
	sums.Print(os.Stdout)
	return nil
}
