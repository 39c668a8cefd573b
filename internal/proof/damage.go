package proof

import (
	"bytes"
	"context"
	"encoding/binary"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"sync"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/photo"
	"shadowread/internal/photofile"
	"shadowread/internal/reading"
)

// DamageOptions says what to damage and how often. Each photo takes its share.
type DamageOptions struct {
	Dirs      []string // folders with a truth.json; only readable JPEG photos are taken
	Photos    int      // at most so many
	Mutations int      // of any bytes
	Flips     int      // of one bit in the entropy-coded data, where a decoder is easily misled
	Seed      uint64
	Workers   int
	Keep      string // folder for the files that went wrong; "" keeps none
}

// Damaged is a damaged photo that was still read.
type Damaged struct {
	Photo, What string
	Off         angle.Angle // shadow's direction less that of the sound photo
	Sigma       angle.Angle // root sum of squares of shadow_fit, sheet_map and print
}

// Wrong reports whether the reading lies beyond four sigma of the sound photo's.
func (d Damaged) Wrong() bool { return d.Off.Abs() > 4*d.Sigma }

// DamageReport sums damaged photos up.
type DamageReport struct {
	Files, Read int
	Refused     map[reading.Reason]int
	Wrong       []Damaged
	WorstRatio  float64 // of those read
	Dearest     float64 // time over that of the sound photo, of either the quickest of three
	DearestWhat string
	Once        time.Duration // what a process loads once, counted to none of them
}

// soundPhoto is a photo before it is damaged.
type soundPhoto struct {
	path      string
	options   reading.Options
	data      []byte
	scan      int // where the entropy-coded data begins
	direction angle.Angle
	took      time.Duration
}

// manyTimes the sound photo's time is timed twice more.
const manyTimes = 2

// Damage changes bytes of sound photos and reads them. What is still read must have
// the shadow where the sound photo has it; damage to the Exif data, which moves the
// heading through time and place, is left out by comparing the shadow alone.
func Damage(ctx context.Context, o DamageOptions) (*DamageReport, error) {
	runtime.LockOSThread()
	defer runtime.UnlockOSThread()
	once := loadOnce()
	photos, err := soundPhotos(ctx, o)
	if err != nil {
		return nil, err
	}
	dir, err := os.MkdirTemp("", "damage")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(dir)
	rep := &DamageReport{Refused: map[reading.Reason]int{}, Once: once}
	var mu sync.Mutex // rep
	var wg sync.WaitGroup
	next := make(chan int)
	for range max(1, o.Workers) {
		wg.Go(func() {
			runtime.LockOSThread() // for cpuTime
			for i := range next {
				rep.one(ctx, o, photos[i%len(photos)], i, dir, &mu)
			}
		})
	}
	for i := range o.Mutations + o.Flips {
		select {
		case next <- i:
		case <-ctx.Done():
		}
	}
	close(next)
	wg.Wait()
	slices.SortFunc(rep.Wrong, func(a, b Damaged) int {
		return bytes.Compare([]byte(a.Photo+a.What), []byte(b.Photo+b.What))
	})
	return rep, ctx.Err()
}

// loadOnce loads the map of time zones, which a process does with the first photo whose clock has no UTC
// offset, or one that is not kept there: the file that met it first, of thousands, was the dearest of all.
func loadOnce() time.Duration {
	start := cpuTime()
	// Of the answer nothing is wanted.
	photo.ResolveTime(photo.Facts{Clock: time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)}, &photo.Place{}, photo.TimeOptions{})
	return cpuTime() - start
}

func soundPhotos(ctx context.Context, o DamageOptions) (photos []*soundPhoto, err error) {
	for _, dir := range o.Dirs {
		truths, err := loadTruth(dir)
		if err != nil {
			return nil, err
		}
		for _, t := range truths {
			if !t.Readable || len(photos) == o.Photos {
				continue
			}
			p := &soundPhoto{path: filepath.Join(dir, t.File), options: t.options()}
			if p.data, err = os.ReadFile(p.path); err != nil {
				return nil, err
			}
			if p.scan = scanStart(p.data); p.scan == 0 {
				continue
			}
			r, took := timed(ctx, p.path, p.options)
			if r.Shadow == nil {
				return nil, fmt.Errorf("%s is not read: %s", p.path, r.Reason)
			}
			p.direction, p.took = r.Shadow.Direction, min(took, quickest(ctx, p.path, p.options))
			photos = append(photos, p)
		}
	}
	if len(photos) == 0 {
		return nil, fmt.Errorf("no readable JPEG photos in %v", o.Dirs)
	}
	return photos, nil
}

// timed reads a photo and says how long that took.
func timed(ctx context.Context, path string, o reading.Options) (*reading.Result, time.Duration) {
	start := cpuTime()
	r := reading.Read(ctx, photofile.At(path), o)
	return r, cpuTime() - start
}

// quickest is how long a photo takes that was read before, the lesser of two times.
func quickest(ctx context.Context, path string, o reading.Options) time.Duration {
	_, a := timed(ctx, path, o)
	_, b := timed(ctx, path, o)
	return min(a, b)
}

// scanStart is where the entropy-coded data of a JPEG begins, 0 if it is none (ITU-T
// T.81, annex B).
func scanStart(data []byte) int {
	for at := 2; at+4 < len(data) && data[at] == 0xFF; {
		end := at + 2 + int(binary.BigEndian.Uint16(data[at+2:]))
		if data[at+1] == 0xDA {
			return end
		}
		at = end
	}
	return 0
}

func (rep *DamageReport) one(ctx context.Context, o DamageOptions, p *soundPhoto, i int, dir string, mu *sync.Mutex) {
	random := rand.New(rand.NewPCG(o.Seed, uint64(i)))
	var data []byte
	var what string
	if i < o.Flips {
		data = bytes.Clone(p.data)
		at, bit := p.scan+random.IntN(len(data)-2-p.scan), random.IntN(8)
		data[at] ^= 1 << bit
		what = fmt.Sprintf("bit %d of byte %d turned", bit, at)
	} else {
		data, what = mutate(random, p.data, p.scan)
	}
	path := filepath.Join(dir, fmt.Sprintf("%d.jpg", i))
	if err := os.WriteFile(path, data, 0o600); err != nil {
		mu.Lock()
		defer mu.Unlock()
		rep.Refused["not written"]++
		return
	}
	defer os.Remove(path)
	r, took := timed(ctx, path, p.options)
	if took > manyTimes*p.took { // by itself, or for what else the process did meanwhile
		took = min(took, quickest(ctx, path, p.options))
	}
	cost := float64(took) / float64(max(p.took, time.Millisecond))

	mu.Lock()
	defer mu.Unlock()
	rep.Files++
	if cost > rep.Dearest {
		rep.Dearest, rep.DearestWhat = cost, filepath.Base(p.path)+", "+what
	}
	if !r.OK() {
		rep.Refused[r.Reason]++
		return
	}
	rep.Read++
	b := r.Budget
	d := Damaged{Photo: filepath.Base(p.path), What: what, Off: (r.Shadow.Direction - p.direction).Signed(),
		Sigma: angle.RSS(b.ShadowFit, b.SheetMap, b.Print)}
	rep.WorstRatio = max(rep.WorstRatio, float64(d.Off.Abs()/d.Sigma))
	if !d.Wrong() {
		return
	}
	rep.Wrong = append(rep.Wrong, d)
	if o.Keep != "" {
		os.MkdirAll(o.Keep, 0o755)
		os.WriteFile(filepath.Join(o.Keep, fmt.Sprintf("damage-%d-%d-%s", o.Seed, i, d.Photo)), data, 0o644)
	}
}

// mutate does what disks, cables and careless programs do to a file.
func mutate(random *rand.Rand, sound []byte, scan int) (data []byte, what string) {
	data = bytes.Clone(sound)
	n := len(data)
	at := random.IntN(n)
	if random.IntN(4) == 0 { // the tables before the picture
		at = random.IntN(scan)
	}
	length := 1 << random.IntN(13)
	end := min(n, at+length)
	switch random.IntN(7) {
	case 0:
		for range 1 + random.IntN(16) {
			data[random.IntN(n)] ^= 1 << random.IntN(8)
		}
		what = "bits turned all over"
	case 1:
		data[at] ^= 1 << random.IntN(8)
		what = fmt.Sprintf("one bit of byte %d turned", at)
	case 2:
		for k := at; k < end; k++ {
			data[k] = byte(random.Uint32())
		}
		what = fmt.Sprintf("bytes %d to %d random", at, end)
	case 3:
		clear(data[at:end])
		what = fmt.Sprintf("bytes %d to %d zero", at, end)
	case 4:
		data = slices.Delete(data, at, end)
		what = fmt.Sprintf("bytes %d to %d missing", at, end)
	case 5:
		data = slices.Insert(data, at, sound[at:end]...)
		what = fmt.Sprintf("bytes %d to %d twice", at, end)
	case 6:
		from := random.IntN(n)
		copy(data[at:end], sound[from:])
		what = fmt.Sprintf("bytes %d to %d from %d", at, end, from)
	}
	return data, what
}

// Print writes the sums.
func (rep *DamageReport) Print(w io.Writer) {
	fmt.Fprintf(w, "%d damaged files: %d read, worst %.2f sigma from the sound photo; refused:", rep.Files, rep.Read, rep.WorstRatio)
	reasons := make([]reading.Reason, 0, len(rep.Refused))
	for r := range rep.Refused {
		reasons = append(reasons, r)
	}
	slices.Sort(reasons)
	for _, r := range reasons {
		fmt.Fprintf(w, " %s %d", r, rep.Refused[r])
	}
	fmt.Fprintf(w, "\ndearest: %.1f times the sound photo (%s); loaded once for all, and not counted: the map of time zones, %v\n",
		rep.Dearest, rep.DearestWhat, rep.Once.Round(time.Millisecond))
	for _, d := range rep.Wrong {
		fmt.Fprintf(w, "WRONG %s, %s: %+.4f° off, sigma %.4f°\n", d.Photo, d.What, d.Off.Degrees(), d.Sigma.Degrees())
	}
}
