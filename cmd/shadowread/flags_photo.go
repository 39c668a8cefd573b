package main

import (
	"fmt"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"shadowread/internal/bearing"
	"shadowread/internal/fault"
	"shadowread/internal/geo"
	"shadowread/internal/photo"
	"shadowread/internal/reading"
	"shadowread/internal/vision"
)

// photoFlags is what a user may know beside a photo.
type photoFlags struct {
	when                     when
	clockError               quantity
	timeSigma, positionSigma quantity
	place                    place
	body                     parsed[*bearing.Body]
	rodHeight, rodDiameter   quantity
	nodusHeight              quantity
	plumbLine                bool
	printScale               parsed[[2]float64]
	level, lubber            quantity
}

func newPhotoFlags() photoFlags {
	return photoFlags{
		clockError:    quantity{least: -366 * 86400, most: 366 * 86400, unit: "s"},
		timeSigma:     quantity{least: 0, most: 43200, unit: "s"}, // half a day: beyond it any azimuth will do
		positionSigma: quantity{least: 0, most: 1000, unit: "km"},
		body:          newBodyFlag(),
		rodHeight:     rodHeightFlag(),
		rodDiameter:   rodDiameterFlag(),
		nodusHeight:   quantity{least: 3, most: 400, unit: "mm"},
		printScale:    parsed[[2]float64]{name: "X,Y", parse: parsePrintScale},
		level:         quantity{value: reading.DefaultLevel.Degrees(), least: 0, most: 20, unit: "deg", text: "0.5"},
		lubber:        quantity{least: 0, most: 45, unit: "deg", text: "0"},
	}
}

func (p *photoFlags) add(cmd *cobra.Command, timeUsage string) {
	f := cmd.Flags()
	p.when.add(f, timeUsage, "of the camera's clock or of --time, as +02:00 or 2; east is positive")
	f.Var(&p.clockError, "clock-error", "how much the camera's clock is fast")
	p.addSky(cmd, " (default from the photo)")
	f.Var(&p.rodHeight, "rod-height", "rod above the sheet; lets the shadow's length check the clock")
	f.Var(&p.nodusHeight, "nodus-height", "of the middle of a bead or ring of tape on the rod, 20 mm say: checks the clock where the tip's shadow is off the sheet")
	f.Var(&p.rodDiameter, "rod-diameter", "of the rod; helps to tell its shadow from others")
	p.addSetUp(cmd)
}

// addSky adds where and how surely when it is, and what casts the shadow.
func (p *photoFlags) addSky(cmd *cobra.Command, placeDefault string) {
	f := cmd.Flags()
	f.Var(&p.timeSigma, "time-sigma", "one sigma of the time (default by its source, see help time)")
	p.place.add(f, "where, as -20.6142,25.4310 or \"20 36.852 S, 25 25.860 E\""+placeDefault)
	f.Var(&p.positionSigma, "position-sigma", fmt.Sprintf("one sigma of the position in each direction (default %g for --position, %g for a GPS fix)", photo.SigmaPositionOptionKM, photo.SigmaPositionGPSKM))
	f.Var(&p.body, "body", "sun, moon, or auto: the sun if it is up, else the moon")
	words(cmd, "body", "auto", "sun", "moon")
}

// addSetUp adds how gnomon, print and vehicle stand to each other.
func (p *photoFlags) addSetUp(cmd *cobra.Command) {
	f := cmd.Flags()
	f.BoolVar(&p.plumbLine, "plumb-line", false, "the gnomon is a thread with a weight, within 10 mm of the printed foot (see docs/alignment.md)")
	f.Var(&p.printScale, "print-scale", "printed over nominal, athwart and fore-and-aft, as 1.000,0.995")
	f.Var(&p.level, "level-sigma", "one sigma of the rod from plumb across the shadow: 0.5 with a bubble and a set square, 2 by eye; unsaid, it is the one or the other as the rod's image shows")
	f.Var(&p.lubber, "lubber-sigma", "the lubber line: one sigma of the sheet's forward axis against the vehicle's at one setting-up (default 0: the heading is the sheet's)")
}

// options checks what was given and returns it as the reader wants it.
func (p *photoFlags) options(cmd *cobra.Command) (reading.Options, error) {
	r := reading.Options{
		Position:   positionOptions(&p.place, &p.positionSigma),
		Body:       p.body.value,
		Rod:        vision.Rod{HeightMM: p.rodHeight.value, NodusMM: p.nodusHeight.value, DiameterMM: p.rodDiameter.value, Hangs: p.plumbLine},
		PrintScale: p.printScale.given(),
		Level:      p.level.angle(),
		Unsaid:     !cmd.Flags().Changed("level-sigma") && !cmd.Flags().Changed("square-sigma"),
		Alignment:  p.lubber.angle(),
	}
	if err := exclusive(cmd, "time", "clock-error"); err != nil {
		return r, err
	}
	var err error
	if r.Time.At, err = p.when.at(); err != nil {
		return r, err
	}
	r.Time.UTCOffset = p.when.stated()
	if p.clockError.set {
		r.Time.ClockError = new(p.clockError.duration())
	}
	if n, err := p.when.noted(); err == nil && n != nil && n.Minutes {
		r.Time = r.Time.ToTheMinute()
	}
	if p.timeSigma.set {
		r.Time.Sigma = new(p.timeSigma.duration())
	}
	return r, nil
}

// newBodyFlag is --body.
func newBodyFlag() parsed[*bearing.Body] {
	return parsed[*bearing.Body]{name: "BODY", text: "auto", parse: func(s string) (*bearing.Body, error) {
		if s == "auto" {
			return nil, nil
		}
		b, err := bearing.ParseBody(s)
		if err != nil {
			return nil, fault.Usage("unknown_body", "give auto, sun or moon", "unknown body %q", s)
		}
		return &b, nil
	}}
}

// parsePrintScale reads X,Y, printed over nominal.
func parsePrintScale(s string) (scale [2]float64, err error) {
	const least, most = 0.9, 1.1 // a page fitted to the wrong paper differs by less
	xs, ys, ok := strings.Cut(s, ",")
	if !ok {
		return scale, fault.Usage("bad_print_scale", "give X,Y: measured over nominal athwart and fore-and-aft, as 1.000,0.995", "%.40q is no pair", s)
	}
	for i, text := range []string{xs, ys} {
		v, err := strconv.ParseFloat(strings.TrimSpace(text), 64)
		if err != nil || !(v >= least && v <= most) {
			return scale, fault.Usage("bad_print_scale", "divide what you measure by the nominal 176 mm: 175.1 mm make 0.9949",
				"%.40q is no scale from %g to %g", text, least, most)
		}
		scale[i] = v
	}
	return scale, nil
}

func positionOptions(p *place, sigma *quantity) photo.PositionOptions {
	o := photo.PositionOptions{Position: p.given()}
	if p.set {
		o.Resolution = geo.Resolution(p.text)
	}
	if sigma.set {
		o.SigmaKM = &sigma.value
	}
	return o
}
