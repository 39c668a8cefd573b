package main

import (
	"slices"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"shadowread/internal/fault"
)

// legFlags is where a leg's heading may come from.
type legFlags struct {
	entry         entryFlags // its time is that of the photo's flags
	photo         photoFlags
	stance        stanceFlags
	number        numberFlags
	heading       quantity
	headingSigma  quantity
	known         knownFlags
	anew          bool
	way           wayFlags
	picked        bool     // the photo was found in the journey's folder
	photoHeadings []string // flags that say how a photo or a number is read
}

func newLegFlags() legFlags {
	return legFlags{
		photo: newPhotoFlags(), stance: newStanceFlags(), number: newNumberFlags(), way: newWayFlags(),
		heading: quantity{least: 0, most: 360, unit: "deg"}, headingSigma: newHeadingSigma(),
	}
}

func (l *legFlags) add(cmd *cobra.Command, s *streams, timeUsage string) {
	f := cmd.Flags()
	f.SortFlags = false
	l.way.add(cmd)
	f.Var(&l.heading, "heading", "the true heading, had in another way than by the dial")
	f.Var(&l.headingSigma, "heading-sigma", "one sigma of --heading")
	l.entry.addRest(cmd, s)
	l.entry.clock = &l.photo.when
	before := flagSet(cmd)
	l.number.add(cmd)
	l.photo.add(cmd, timeUsage)
	l.stance.add(cmd)
	f.Lookup("position").Usage = "where the photo was taken, as -20.6142,25.4310 (default from the photo, else the log's estimate)"
	f.BoolVar(&l.anew, "set-up-anew", false, "the instrument was put down and levelled for this reading alone, not mounted")
	l.known.add(cmd)
	inGroup(cmd, everyday, "odometer", "heading", "heading-sigma", "time", "utc-offset", "note", "rod-height", "instrument", "log", "json")
	l.way.group(cmd)
	inGroup(cmd, byEye, "number", "number-sigma", "length")
	inGroup(cmd, photosOnly, photoNames...)
	inGroup(cmd, seldom)
	for _, name := range flagSet(cmd) {
		if !slices.Contains(before, name) && name != "time" && name != "utc-offset" {
			l.photoHeadings = append(l.photoHeadings, name)
		}
	}
}

func flagSet(cmd *cobra.Command) (names []string) {
	cmd.Flags().VisitAll(func(f *pflag.Flag) { names = append(names, f.Name) })
	return names
}

// one checks that the heading comes from one source.
func (l *legFlags) one(cmd *cobra.Command, args []string) error {
	if err := l.consistent(cmd, args); err != nil {
		return err
	}
	return nil
}

func (l *legFlags) consistent(cmd *cobra.Command, args []string) error {
	if len(args) > 0 {
		for _, name := range []string{"number", "heading", "heading-sigma"} {
			if cmd.Flags().Changed(name) {
				return fault.Usage("contradicting_flags", "give one of the two", "--%s and the photo %s contradict each other", name, args[0])
			}
		}
	}
	if l.heading.set {
		for _, name := range l.photoHeadings {
			if err := exclusive(cmd, "heading", name); err != nil {
				return err
			}
		}
	}
	switch {
	case l.heading.set && !l.headingSigma.set:
		return noHeadingSigma()
	case l.headingSigma.set && !l.heading.set:
		return fault.Usage("sigma_without_heading", "give --heading too", "--heading-sigma has no meaning without --heading")
	case l.number.sigma.set && !l.number.number.set:
		return fault.Usage("sigma_without_number", "give --number too", "--number-sigma has no meaning without --number")
	}
	return nil
}

func newHeadingSigma() quantity { return quantity{least: 0.01, most: 30, unit: "deg"} }

func noHeadingSigma() error {
	return fault.Usage("no_heading_sigma", "give --heading-sigma DEG: some 2 for a compass with its card, 5 or more by eye", "how well the heading is known is not given")
}
