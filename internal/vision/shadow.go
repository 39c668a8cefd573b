package vision

import (
	"errors"
	"fmt"
	"math"

	"shadowread/internal/angle"
	"shadowread/internal/sheet"
)

// What keeps a shadow from being read.
var (
	ErrNoShadow  = errors.New("no shadow of the rod")
	ErrAmbiguous = errors.New("more than one line may be the rod's shadow")
	ErrRodHides  = errors.New("the rod's image covers its shadow")
	// ErrStands reports a rod that was said to be a plumb line.
	ErrStands = errors.New("the gnomon ends above the paper: it stands and does not hang")
	ErrBowed  = errors.New("the shadow is bowed by too much to say where its tip points")
	// ErrFootShaded is an ErrNoShadow whose cause is known.
	ErrFootShaded = fmt.Errorf("%w: the foot stands in another shadow", ErrNoShadow)
	// ErrLies is an ErrNoShadow, too.
	ErrLies = fmt.Errorf("%w: the line is a thing that lies on the sheet", ErrNoShadow)
	// ErrTapers is an ErrNoShadow, too: nothing but its edges speaks against the line.
	ErrTapers = fmt.Errorf("%w: its edges are not parallel", ErrNoShadow)
)

// Rod is what is known of the gnomon; zero means unknown.
type Rod struct {
	HeightMM, DiameterMM float64
	// NodusMM is the height of the middle of a bead or a ring of tape on the rod.
	NodusMM float64
	// ShadowRatio is how long its shadow should be by the clock, over its height.
	ShadowRatio float64
	// Moonlit tells that the moon casts the shadow, of which a narrow part may be lit: its
	// penumbra may be as narrow.
	Moonlit bool
	// Hangs tells a plumb line, whose thread may pass the paper up to a centimetre from
	// the printed foot and need not stand square to it.
	Hangs bool
}

// What the search as a whole goes by.
const (
	leastStrip  = 5.0 // mm of clear strip, below which no direction is given
	shadowStart = 6.0 // mm: outside the foot's cross, which ends at 5
	footMost    = 2.5 // mm by which a rod may stand off the foot, and its shadow miss it
	// A strip whose sigma is above vagueMost (four of them make a degree) for another cause
	// than noise, its edges taper, bow or jump: two shadows in one. Texture and ticks of
	// the light raise a straight strip's sigma to some ten times the noise's.
	vagueMost  = 0.25 * angle.Degree
	vagueNoise = 20
	// mostLines is how many dark lines are measured, strongest first: one that is fainter is
	// missed, and each costs the time of the first.
	mostLines = 6
	// A second line that passes for a shadow and lies more than rivalTurn off makes the photo ambiguous where
	// it has rivalScore of the first one's score: less refuses photos for a faint line. Or where it ends and
	// the light's disc is in its edges: a short rod's, beside what something longer casts.
	rivalScore = 0.35
	rivalTurn  = 1 * angle.Degree

	// A line within besideImage of the rod's image, and no more than pastImage, mm, longer,
	// may be the rod itself: it is no witness that another line goes on.
	besideImage = 12 * angle.Degree
	pastImage   = 8.0
	// behindScore is the part of a line's score that one behind the foot must have to be more
	// of the same: less takes dirt behind a shadow for it, more misses a wire that fades.
	// One that begins with less than behindBegins of its depth is another thing farther out.
	behindScore, behindBegins = 0.4, 0.25
	// Such a line goes on through the foot if it turns by less than throughTurn and the two
	// miss each other by less than throughMiss, mm, there; it runs into the strip if it turns
	// by less than joinTurn and misses it by as little at joinAt, mm from the foot.
	throughTurn, joinTurn = 6 * angle.Degree, 8 * angle.Degree
	throughMiss           = 1.5
	joinAt                = 20.0
	// oneLine is the part of its depth by which a strip's may differ on the other side of the foot.
	oneLine = 0.15
	// broadRod, mm, is as thick as any rod whose shadow the lines with wider flanks tell.
	broadRod = 10.0
)

// FindShadow measures the strip of shadow that the rod casts on the dial.
//
// Candidates are dark two-sided lines from near the foot (dialImage.rays). The rod
// itself is such a line; its image is predicted from the camera's place and
// masked. Each candidate is then measured edge by edge and must look like a
// shadow: two parallel edges, a rod's width, and no witness against it (castByRod).
func FindShadow(g *Gray, p *FoundSheet, s *sheet.Sheet, rod Rod) (*Strip, error) {
	q := newSearch(g, &p.Plate, p.ghost, s, rod)
	q.curlSigma = p.CurlSigma
	return q.find()
}

func (q *search) find() (*Strip, error) {
	if q.rod.Hangs {
		return q.findHanging()
	}
	st, err := q.findStanding()
	if err == nil || errors.Is(err, ErrAmbiguous) || q.dial == nil {
		return st, err
	}
	if st, again := q.findBroad(); again == nil || errors.Is(again, ErrAmbiguous) {
		return st, again
	}
	// What lies by another shadow's rim may have spoilt it.
	q.steady = true
	if st, again := q.amongRays(); again == nil || errors.Is(again, ErrAmbiguous) {
		return st, again
	}
	if among := *q; q.rod.DiameterMM > 0 {
		among.steady, among.among = false, true
		if st, again := among.amongRays(); again == nil {
			return st, nil
		}
	}
	// What a rod that may be high hides is seen of one that is seen to be short.
	if st := q.findByShort(); st != nil {
		return st, nil
	}
	return nil, err
}

// findStanding measures the strip of a rod that stands on the origin of the plate's
// frame.
func (q *search) findStanding() (*Strip, error) {
	if !q.lookAtDial(q.img.hides) {
		return nil, ErrNoShadow
	}
	q.rays = q.dial.rays(q.rod.DiameterMM, offsetMost)
	return q.amongRays()
}

// findBroad measures the lines whose flanks lie clear of a dowel's or a pencil's shadow, which fills
// those of a thin rod's, and returns one that is too broad for these.
func (q *search) findBroad() (*Strip, error) {
	if q.rod.DiameterMM > 0 || q.rod.Hangs {
		return nil, ErrNoShadow // the flanks lie clear of what was stated
	}
	broad := *q
	broad.rays = q.dial.rays(broadRod, offsetMost)
	st, err := broad.amongRays()
	if err == nil && st.Width < 2*lineFlank-2*lineCore {
		return nil, ErrNoShadow
	}
	return st, err
}

// amongRays measures the lines on the dial and returns the one that is the rod's shadow.
func (q *search) amongRays() (*Strip, error) {
	var strips, refused []*Strip
	var scores []float64
	hidden, shaded, bowed, lies, tapers := false, false, false, false, false
	for i, r := range q.rays {
		if i >= mostLines {
			break
		}
		through, joined := q.img.throughFoot(q.rays, r)
		strip, err := q.measureStrip(r)
		if through && !(strip != nil && q.hear(strip).headSeen() != nil) {
			continue // a head's image may pass for a line, and no wire's shadow ends in one
		}
		if strip != nil && q.lengthOpen(strip) {
			strip, err = q.measureByTop(r, strip, err)
		}
		if err == nil {
			err = q.castByRod(strip)
		} else if errors.Is(err, ErrTapers) {
			err = q.narrows(strip)
		}
		if err != nil && strip != nil {
			refused = append(refused, strip)
		}
		hidden = hidden || errors.Is(err, ErrRodHides)
		shaded = shaded || errors.Is(err, ErrFootShaded)
		lies = lies || errors.Is(err, ErrLies)
		tapers = tapers || errors.Is(err, ErrTapers)
		bowed = bowed || errors.Is(err, ErrBowed)
		if err == nil && joined && !strip.asBroadAs(q.rod) {
			return nil, ErrAmbiguous
		}
		if err == nil {
			strips, scores = append(strips, strip), append(scores, r.score)
		}
	}
	switch {
	case len(strips) == 0 && bowed:
		return nil, ErrBowed
	case len(strips) == 0 && tapers:
		return nil, ErrTapers
	case len(strips) == 0 && lies:
		return nil, ErrLies
	case len(strips) == 0 && shaded:
		return nil, ErrFootShaded
	case len(strips) == 0 && !q.absent() && (hidden || q.shadowBeside() || q.shadowBeyond()):
		return nil, ErrRodHides
	case len(strips) == 0:
		return nil, ErrNoShadow
	}
	best := strips[0]
	for i, o := range strips[1:] {
		between := (o.Direction - best.Direction).Signed().Abs()
		if between > rivalTurn && (scores[i+1] > rivalScore*scores[0] || q.hear(o).castWhole()) {
			return nil, ErrAmbiguous
		}
	}
	for _, o := range refused { // on the other side, beyond the rod's image
		if (o.Direction-best.Direction-math.Pi).Signed().Abs() < throughTurn && math.Abs(o.Depth-best.Depth) < oneLine*best.Depth && q.hear(o).goesOn() {
			return nil, ErrAmbiguous
		}
	}
	best.tellTip()
	best.fit = nil // large
	best.RodAxis = q.rodAxis(best)
	if at, sigma, ok := q.rodTop(best); ok {
		tip := q.topAt(best, at)
		best.RodTop, best.RodTopSigma = &tip, sigma
	}
	return best, nil
}

// throughFoot reports whether a line goes on beyond the foot: the shadow of a rod
// begins there, a wire's or a crease's does not. What lies along the rod's image may
// be the rod; castByRod looks there more closely. joined tells a line from behind that
// misses the foot and runs into the strip farther out, so that the two pass for one.
func (r *rodImage) throughFoot(rays []ray, line ray) (through, joined bool) {
	for _, o := range rays {
		beside := besideImage
		if math.IsNaN(o.begins) { // it comes out from behind the rod, or is a cork's flank
			beside = behindImage
		}
		if (o.dir-r.direction()).Signed().Abs() < beside && o.length < r.length()+pastImage {
			continue
		}
		turn := (o.dir - line.dir - math.Pi).Signed()
		if o.score < behindScore*line.score || turn.Abs() > joinTurn || o.begins < behindBegins*line.depth {
			continue // what begins far behind the foot does not go through it
		}
		through = through || turn.Abs() < throughTurn && math.Abs(o.offset+line.offset) < throughMiss
		joined = joined || math.Abs(o.offset+line.offset-joinAt*turn.Tan()) < throughMiss
	}
	return through, joined
}
