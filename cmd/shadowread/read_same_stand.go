package main

import (
	"context"

	"shadowread/internal/fault"
	"shadowread/internal/photofile"
	"shadowread/internal/reading"
	"shadowread/internal/wording"
)

// readSameStand reads photos of one standing board: it looks at all of them, and concludes each
// with what all of them show.
func readSameStand(ctx context.Context, s *streams, o *readOptions, opts reading.Options, photos []string, show shown) error {
	if len(photos) < 2 {
		return fault.Usage("too_few_photos", "give two photos of the standing board at least, from different sides", "--same-stand has no meaning for one photo")
	}
	if err := thereAre(photos); err != nil {
		return err
	}
	var looked, alone, all []*reading.Result
	err := inOrder(ctx, len(photos), int(o.jobs.value), func(ctx context.Context, i int) *reading.Result {
		return reading.Look(ctx, photofile.At(photos[i]), opts)
	}, func(_ int, r *reading.Result) error {
		looked, alone = append(looked, r), append(alone, r.Conclude(opts))
		return nil
	})
	if err != nil {
		return err
	}
	if opts.Same, err = reading.StandOf(alone); err != nil {
		return err
	}
	// By one job, and so in order.
	err = readPhotos(ctx, s, photos, 1, show, func(_ context.Context, path string) (*reading.Result, error) {
		r := looked[len(all)].Conclude(opts)
		all = append(all, r)
		if o.overlay == "" || !r.OK() {
			return r, nil
		}
		return r, writeOverlay(path, r, o.overlay)
	})
	if h, sigma, ok := reading.Joined(all); ok {
		s.note("one_stand", "the stand's heading by all of them is %s true (one sigma)", wording.BearingWith(h, sigma))
	}
	return err
}
