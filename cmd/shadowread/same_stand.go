package main

import (
	"context"

	"shadowread/internal/fault"
	"shadowread/internal/overlay"
	"shadowread/internal/reading"
	"shadowread/internal/wording"
)

// readSameStand reads photos of one standing board: once to see the rod from all sides, and
// again with what all of them show.
func readSameStand(ctx context.Context, s *streams, o *readOptions, opts reading.Options, photos []string, show shown) error {
	if len(photos) < 2 {
		return fault.Usage("too_few_photos", "give two photos of the standing board at least, from different sides", "--same-stand has no meaning for one photo")
	}
	if err := thereAre(photos); err != nil {
		return err
	}
	var first, all []*reading.Result
	err := inOrder(ctx, len(photos), int(o.jobs.value), func(ctx context.Context, i int) *reading.Result {
		return reading.Read(ctx, photos[i], opts)
	}, func(_ int, r *reading.Result) error {
		first = append(first, r)
		return nil
	})
	if err != nil {
		return err
	}
	if opts.Same, err = reading.StandOf(first); err != nil {
		return err
	}
	byPhoto := map[string]*reading.Result{}
	err = readPhotos(ctx, s, photos, 1, show, func(ctx context.Context, path string) (*reading.Result, error) {
		r := reading.Read(ctx, path, opts)
		byPhoto[path] = r
		if o.overlay == "" || !r.OK() {
			return r, nil
		}
		_, err := overlay.Write(path, r, o.overlay)
		return r, err
	})
	for _, path := range photos {
		if r := byPhoto[path]; r != nil {
			all = append(all, r)
		}
	}
	if h, sigma, ok := reading.Joined(all); ok {
		s.note("one_stand", "the stand's heading by all of them is %s true (one sigma)", wording.BearingWith(h, sigma))
	}
	return err
}
