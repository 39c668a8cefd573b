package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"shadowread/internal/align"
	"shadowread/internal/bearing"
	"shadowread/internal/fault"
	"shadowread/internal/openfile"
	"shadowread/internal/photo"
	"shadowread/internal/photofile"
	"shadowread/internal/reading"
	"shadowread/internal/wording"
)

// byEye reads the file of numbers.
func (o *alignOptions) byEye(opts reading.Options, priors *align.Priors) ([]align.Observation, error) {
	f, err := openfile.Regular(o.readings)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	list, err := align.ReadReadings(f, o.readings)
	if err != nil {
		return nil, err
	}
	place, err := photo.ResolvePosition(photo.Facts{}, opts.Position)
	if err != nil {
		return nil, asUsage(err)
	}
	for i := range list { // the watch's error, as that of a camera's clock
		list[i].Time = list[i].Time.Add(-o.photo.clockError.duration())
	}
	priors.PositionSigmaKM = place.SigmaKM
	if opts.Time.Sigma != nil {
		priors.ClockSigma = *opts.Time.Sigma
	} else {
		priors.ClockSigma = photo.SigmaTimeOption
	}
	body := bearing.Sun
	if opts.Body != nil {
		body = *opts.Body
	}
	dial := align.Dial{ZeroAt: o.zeroAt.angle(), CounterClockwise: !o.clockwise, Step: o.step.angle(), Sigma: o.eye.angle(), RadiusMM: o.radius.value}
	return dial.Observations(list, body, place.Position, o.elevation.value)
}

// byPhoto reads the photos. One that gives no heading takes no part.
func (o *alignOptions) byPhoto(ctx context.Context, s *streams, opts reading.Options, args []string, priors *align.Priors) ([]align.Observation, error) {
	paths, err := expand(s, args)
	if err == nil {
		err = thereAre(paths)
	}
	if err != nil {
		return nil, err
	}
	bar := progress{s: s}
	defer bar.wipe()
	bar.show("reading %s", wording.Count(len(paths), "photo"))
	var obs []align.Observation
	var set []*reading.Result
	err = inOrder(ctx, len(paths), int(o.jobs.value), func(ctx context.Context, i int) *reading.Result {
		return reading.Read(ctx, photofile.At(paths[i]), opts)
	}, func(i int, r *reading.Result) error {
		bar.wipe()
		if !r.OK() {
			o.leftOut = append(o.leftOut, string(r.Reason))
			s.note("photo_refused", "%s is left out (%s): %s", r.Photo, r.Reason, r.Message)
			return nil
		}
		defer bar.show("read %d of %d photos", i+1, len(paths))
		set = append(set, r)
		stand := ""
		if o.turned || o.reversed.on {
			stand = r.Photo
		}
		one := r.Observation(stand, o.photo.clockError.duration())
		if i := slices.IndexFunc(obs, one.Same); i >= 0 {
			s.note("same_photo", "%s is left out: the same photo as %s", r.Photo, obs[i].Label)
			return nil
		}
		obs = append(obs, one)
		return nil
	})
	if err != nil {
		return nil, err
	}
	tellClock(s, set)
	if err := reading.SharePriors(priors, set); err != nil {
		return nil, err
	}
	if !o.turned && !o.reversed.on && align.Turned(obs) {
		return nil, align.WithSlips(fault.New("instrument_turned", "give --turned, or only photos between which it was not touched",
			"the photos show the sheet on different headings"), obs, *priors)
	}
	return obs, nil
}

// ofTheClock are the warnings that say why all of a series may be of another hour than it seems.
var ofTheClock = []string{"offset_conflict", "offset_not_local", "gps_time_differs", "gps_stamp_old", "zone_from_map", "clock_on_standard_time", "moon_taken"}

// tellClock says what speaks against the clock of photos, each thing once.
func tellClock(s *streams, set []*reading.Result) {
	for _, code := range ofTheClock {
		photos, said := 0, ""
		for _, r := range set {
			if i := slices.IndexFunc(r.Warnings, func(w photo.Warning) bool { return w.Code == code }); i >= 0 {
				if photos++; photos == 1 {
					said = r.Photo + ": " + r.Warnings[i].Message
				}
			}
		}
		if photos > 1 {
			said += fmt.Sprintf(" (so with %d more)", photos-1)
		}
		if photos > 0 {
			s.note(code, "%s", said)
		}
	}
}

// withLeftOut says of an error for too few readings how many photos gave none, and why.
func (o *alignOptions) withLeftOut(err error) error {
	var f *fault.Error
	if len(o.leftOut) == 0 || fault.Code(err) != "too_few_readings" || !errors.As(err, &f) {
		return err
	}
	are := " is"
	if len(o.leftOut) > 1 {
		are = " are"
	}
	why := slices.Compact(slices.Sorted(slices.Values(o.leftOut)))
	return fault.New(f.Code, "shadowread read says what is wrong with each; then "+f.Hint,
		"%s, since %s left out (%s)", f.Message, wording.Count(len(o.leftOut), "photo")+are, strings.Join(why, ", "))
}
