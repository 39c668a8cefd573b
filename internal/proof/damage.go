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
	Dearest     float64 // time over that of the sound photo
	DearestWhat string
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

// Damage changes bytes of sound photos and reads them. What is still read must have
// the shadow where the sound photo has it; damage to the Exif data, which moves the
// heading through time and place, is left out by comparing the shadow alone.
func Damage(ctx context.Context, o DamageOptions) (*DamageReport, error) {
	runtime.LockOSThread()
	defer runtime.UnlockOSThread()
	photos, err := soundPhotos(ctx, o)
	if err != nil {
		return nil, err
	}
	dir, err := os.MkdirTemp("", "damage")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(dir)
	rep := &DamageReport{Refused: map[reading.Reason]int{}}
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
			p.took = time.Hour
			for range 3 { // the quickest: the first warms up
				start := cpuTime()
				r := reading.Read(ctx, photofile.At(p.path), p.options)
				p.took = min(p.took, cpuTime()-start)
				if r.Shadow == nil {
					return nil, fmt.Errorf("%s is not read: %s", p.path, r.Reason)
				}
				p.direction = r.Shadow.Direction
			}
			photos = append(photos, p)
		}
	}
	if len(photos) == 0 {
		return nil, fmt.Errorf("no readable JPEG photos in %v", o.Dirs)
	}
	return photos, nil
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
	start := cpuTime()
	r := reading.Read(ctx, photofile.At(path), p.options)
	cost := float64(cpuTime()-start) / float64(max(p.took, time.Millisecond))

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
	fmt.Fprintf(w, "\ndearest: %.1f times the sound photo (%s)\n", rep.Dearest, rep.DearestWhat)
	for _, d := range rep.Wrong {
		fmt.Fprintf(w, "WRONG %s, %s: %+.4f° off, sigma %.4f°\n", d.Photo, d.What, d.Off.Degrees(), d.Sigma.Degrees())
	}
}
