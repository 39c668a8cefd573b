package proof

import (
	"context"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"sync"
	"time"

	"shadowread/internal/photofile"
	"shadowread/internal/reading"
	"shadowread/internal/render"
	"shadowread/internal/sheet"
)

// measured sums errors against the truth.
type measured struct {
	all, found int
	square     float64 // of the errors
	worst      float64
	ratio      float64 // squares of error over sigma
}

func (m *measured) add(err, sigma float64) {
	m.found++
	m.square += err * err
	m.worst = math.Max(m.worst, math.Abs(err))
	if sigma > 0 {
		m.ratio += err * err / (sigma * sigma)
	}
}

// Found is the part that was found, RMS the root mean square of its errors and Ratio that of
// the errors over their sigmas.
func (m *measured) Found() float64 { return float64(m.found) / math.Max(1, float64(m.all)) }

func (m *measured) RMS() float64 { return math.Sqrt(m.square / math.Max(1, float64(m.found))) }

func (m *measured) Ratio() float64 { return math.Sqrt(m.ratio / math.Max(1, float64(m.found))) }

func (m *measured) String() string {
	return fmt.Sprintf("%d, found %.1f %%, error rms %.3g, worst %.3g, over sigma rms %.2f", m.all, 100*m.Found(), m.RMS(), m.worst, m.Ratio())
}

// ClockReport is what random pictures read with right and wrong hours come to: the place of
// the tip's shadow on plain paper and over ink, mm, as it lies on paper that may curl, whose rise
// is charged to the altitude and not to the place; that of the nodus's, mm; the rod's height
// off its own image, as a part; and the answers to the hours.
type ClockReport struct {
	Plain, Inked, Nodus, Height measured
	HourSums
	Accused int
	Silent  []string // wrong hours that nothing was said of, right hours that were accused
}

// Clock renders random pictures, tips anywhere from the dial to beyond the board, a nodus in
// a third of them, and reads each with its own hour and with wrong ones that move the sun's
// altitude by movedLeast or more.
func Clock(ctx context.Context, o SoakOptions) (*ClockReport, error) {
	rep := &ClockReport{}
	return rep, eachSeed(ctx, o, "clock", rep.one)
}

// clockScene draws a picture; nodus is its height on the rod, mm, or 0.
func clockScene(o SoakOptions, seed uint64) (s *render.Scene, nodus float64) {
	r := rand.New(rand.NewPCG(seed, 0xc10c))
	s = render.RandomScene(r, render.RandomOptions{
		Width: o.WidthPX, Sky: sky, MaxCurl: 1, PrintSigma: soakPrint, Troubles: true,
	})
	rod := &s.Rods[0]
	if r.IntN(3) == 0 {
		rod.Cap = 0
		nodus = 20
		half := 2 + 2*r.Float64()
		rod.Collars = []render.Collar{{From: nodus - half, To: nodus + half, Diameter: rod.Diameter + 2 + 3*r.Float64()}}
	}
	return s, nodus
}

func (rep *ClockReport) one(ctx context.Context, o SoakOptions, dir string, seed uint64, lock *sync.Mutex) error {
	s, nodus := clockScene(o, seed)
	path := filepath.Join(dir, fmt.Sprintf("clock-%d.jpg", seed))
	truth, err := writeScene(s, path)
	if err != nil {
		return err
	}
	defer os.Remove(path)
	if ok, _ := s.Readable(truth); !ok {
		return nil
	}
	read := func(at time.Time, height bool) *reading.Result {
		opts := atHand(s, at)
		opts.Rod.NodusMM = nodus
		if height {
			opts.Rod.HeightMM = s.Rods[0].Height
		}
		return reading.Read(ctx, photofile.At(path), opts)
	}
	right := read(s.Time, true)
	bare := read(s.Time, false)
	type wrong struct {
		by time.Duration
		r  *reading.Result
	}
	var wrongs []wrong
	for _, d := range wrongBy {
		if _, alt := sky(s.Time.Add(d), s.Lat, s.Lon); (alt - s.Light.Altitude).Abs() >= movedLeast {
			wrongs = append(wrongs, wrong{d, read(s.Time.Add(d), true)})
		}
	}
	lock.Lock()
	defer lock.Unlock()
	rep.tip(s, truth, right, nodus)
	if truth.Camera.Tilt >= 15 {
		rep.Height.all++
		if h := bare.RodHeightMM; h > 0 {
			rep.Height.add(h/s.Rods[0].Height-1, bare.RodHeightSigmaMM/s.Rods[0].Height)
		}
	}
	say := func(what string, r *reading.Result) {
		shows := "no altitude"
		if r.AltitudeFromShadow != nil {
			shows = fmt.Sprintf("%.1f° ± %.1f", r.AltitudeFromShadow.Degrees(), r.AltitudeSigma.Degrees())
		}
		rep.Silent = append(rep.Silent, fmt.Sprintf("seed %d: %s; the shadow shows %s, it is %.1f°", seed, what, shows, s.Light.Altitude.Degrees()))
	}
	if got := rep.Right.take(right); right.Reason == reading.ClockCheck || got == "warned" && right.Clock == reading.ClockFailed {
		rep.Accused++
		say("the right hour is accused", right)
	}
	if !right.OK() && right.Reason != reading.ClockCheck {
		return nil // a shadow that is not read checks nothing
	}
	answers := &rep.Beyond // there, in another shade or hidden
	if onPage(truth.ShadowTip) && s.Seen(truth.ShadowTip) {
		answers = &rep.OnPaper
	}
	for _, w := range wrongs {
		if answers.take(w.r) == "SILENT" {
			say(fmt.Sprintf("%v wrong, and nothing said", w.by), w.r)
		}
	}
	return nil
}

// tip counts what was found of the shadow of the tip and of the nodus.
func (rep *ClockReport) tip(s *render.Scene, t *render.Truth, r *reading.Result, nodus float64) {
	plain := len(s.Shades)+len(s.Blobs)+len(s.Occluders) == 0
	if r.Shadow == nil || !plain || t.ShadowTip == nil {
		return
	}
	if s.Seen(t.ShadowTip) && onPage(t.ShadowTip) {
		m := &rep.Plain
		if overInk(t.ShadowTip) {
			m = &rep.Inked
		}
		m.all++
		if lies, _ := s.ShadowOnPaper(1); r.Shadow.Length > 0 {
			m.add(r.Shadow.Length-lies, r.Shadow.LengthSigma)
		}
	}
	if nodus == 0 {
		return
	}
	part := nodus / s.Rods[0].Height
	place := [2]float64{
		t.Rod.Foot[0] + part*(t.ShadowTip[0]-t.Rod.Foot[0]), t.Rod.Foot[1] + part*(t.ShadowTip[1]-t.Rod.Foot[1]),
	}
	if !s.Seen(&place) || !onPage(&place) || overInk(&place) || math.Hypot(place[0], place[1]) < 15 {
		return
	}
	rep.Nodus.all++
	if lies, _ := s.ShadowOnPaper(part); r.Shadow.Nodus > 0 {
		rep.Nodus.add(r.Shadow.Nodus-lies, r.Shadow.NodusSigma)
	}
}

// onPage reports whether a place lies on an A4 page about the sheet's foot, two millimetres
// within its edges.
func onPage(p *[2]float64) bool {
	return p != nil && math.Abs(p[0]) < paperHalf[0]-2 && p[1] > -183 && p[1] < 110
}

// overInk reports whether a shadow's end there lies over ticks, numerals, marks or lines.
func overInk(p *[2]float64) bool {
	s := sheet.Standard
	r := math.Hypot(p[0], p[1])
	if r > s.Dial.ClearZone[1]-3 && r < s.Dial.NumeralRadius+s.Dial.NumeralHeight {
		return true
	}
	for _, m := range s.Marks {
		if h := m.Side/2 + 4; math.Abs(p[0]-m.X) < h && math.Abs(p[1]-m.Y) < h {
			return true
		}
	}
	return math.Abs(p[0]) < 4 && p[1] > 0 && r > s.Dial.ClearZone[1]
}

// Print writes the report.
func (rep *ClockReport) Print(w io.Writer) {
	fmt.Fprintf(w, "tip on plain paper, mm: %v\ntip over ink, mm: %v\nnodus, mm: %v\nrod's height off its image from 15° off the vertical, parts: %v\n",
		&rep.Plain, &rep.Inked, &rep.Nodus, &rep.Height)
	rep.HourSums.Print(w)
	fmt.Fprintf(w, "right hours accused: %d\n", rep.Accused)
	for _, s := range rep.Silent {
		fmt.Fprintln(w, s)
	}
}

// Failed says what falls short of what is asked; "" for nothing.
func (rep *ClockReport) Failed() string {
	wrong := rep.OnPaper
	const least = 20 // of each kind, for a share to mean something
	switch {
	case min(rep.Plain.all+rep.Inked.all, wrong.all(), rep.Right.all(), rep.Height.all) < least:
		return "too few pictures to tell: draw more"
	case float64(rep.Plain.found+rep.Inked.found) < 0.95*float64(rep.Plain.all+rep.Inked.all):
		return "fewer than 95 % of the tips are found"
	case rep.Plain.RMS() > 0.5 || rep.Inked.RMS() > 1:
		return "tips are found too far off"
	case float64(wrong.Refused+wrong.Warned) < 0.97*float64(wrong.all()):
		return "fewer than 97 % of the wrong hours are caught where the tip is on the paper"
	case rep.OnPaper.Silent+rep.Beyond.Silent > 0:
		return "wrong hours pass without a word"
	case rep.Height.RMS() > 0.06 || rep.Nodus.RMS() > 0.6:
		return "rods' heights or nodi are found too far off"
	case max(rep.Plain.Ratio(), rep.Inked.Ratio(), rep.Height.Ratio(), rep.Nodus.Ratio()) > 1.5:
		return "what is found is farther off than its sigma says"
	case float64(rep.Accused) > 0.005*float64(rep.Right.all()):
		return "right hours are accused"
	}
	return ""
}
