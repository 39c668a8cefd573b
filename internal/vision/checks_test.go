package vision

import (
	"errors"
	"math"
	"testing"

	"shadowread/internal/angle"
	"shadowread/internal/sheet"
)

// withRod is the picture with a rod of 3 mm and 50 mm of height in it.
func (c canvas) withRod() canvas { return c.with(c.rodLayer(3, 50)) }

// Behind the foot the rod's own image may cover the line: what is even across and as dark
// as the strip is a wire's shadow going on, what is round is the rod.
func TestLineBehindTheRodsImage(t *testing.T) {
	c := canvas{tilt: 35 * deg, view: shadowDir, noise: 0.7} // the image runs away from the shadow
	k := sunCast()
	aside := c // the image runs beside the line, too near for the two to be told by their directions
	aside.view += 11 * deg
	down, up := k, k // a guy line's, from its stake 31 mm before the foot, to where it is high and its shadow soft
	down.width, down.to, down.blur, down.opens = 2, 31, 0.5, -0.008
	up.dir, up.width, up.blur, up.opens = shadowDir+180*deg, 2, 0.6, 0.012
	beyond, by := k, c // a stick's that stands behind, which comes out from behind the image
	beyond.from = -52
	by.view += 8 * deg
	for name, tt := range map[string]struct {
		c    canvas
		want bool
	}{
		"a guy line's beside a rod": {aside.withRod().with(down.layer(), up.layer()), true},
		"a stick's behind a rod":    {by.withRod().with(beyond.layer()), true},
		"a dark rod beside it":      {aside.withRod().withRod().with(down.layer()), false},
		"a wire's shadow":           {c.with(func() layer { w := k; w.from = -300; return w.layer() }()), true},
		"a dark round rod":          {c.withRod().withRod().with(k.layer()), false},
	} {
		s, st := tt.c.must(t, shadowDir)
		if got := s.hear(st).goesOn(); got != tt.want {
			t.Errorf("%s goes on behind the foot: %v", name, got)
		}
	}
}

// Where the rod's image covers the paper behind the foot, a dark line is believed to begin
// there if the paper beyond the image is bare, and a faint one is not; where another shadow
// covers it, a line that is as broad as the rod is thick.
func TestLineThatBeginsBehindTheRodsImage(t *testing.T) {
	c := canvas{tilt: 20 * deg, view: shadowDir, noise: 0.7}.withRod()
	dark, faint, wire := sunCast(), sunCast(), sunCast()
	faint.depth = darkerThanCrease - 0.1
	wire.dir, wire.from = wire.dir+180*deg, 15
	bar := casting{dir: shadowDir + 90*deg, offset: 10, width: 12, depth: 0.6, from: -90, to: 90, blur: 0.3}
	for name, tt := range map[string]struct {
		c       canvas
		asThick bool
		want    error
	}{
		"dark":                              {c.with(dark.layer()), false, nil},
		"faint":                             {c.with(faint.layer()), false, ErrRodHides},
		"dark, and on beyond":               {c.with(dark.layer(), wire.layer()), false, ErrRodHides},
		"seen to begin":                     {pictureOf(dark.layer()), false, nil},
		"behind a bar":                      {pictureOf(dark.layer(), bar.layer()), false, ErrFootShaded},
		"behind a bar, as broad as a rod":   {pictureOf(dark.layer(), bar.layer()), true, nil},
		"that, and on beyond the bar":       {pictureOf(dark.layer(), bar.layer(), wire.layer()), true, ErrFootShaded},
		"behind a bar, faint, as the rod":   {pictureOf(faint.layer(), bar.layer()), true, ErrFootShaded},
		"the rod's image hides the way, on": {c.with(dark.layer(), wire.layer()), true, ErrRodHides},
	} {
		s, st := tt.c.must(t, shadowDir)
		if err := s.hear(st).begins(false, tt.asThick); !errors.Is(err, tt.want) {
			t.Errorf("%s: %v, want %v", name, err, tt.want)
		}
	}
}

// The image of a rod as light as paper is no paper without a line: that may be seen farther out.
func TestLineBehindARodAsLightAsPaper(t *testing.T) {
	back := newFrame(shadowDir+180*deg, 0)
	for until, gone := range map[float64]bool{0: true, 300: false} { // where the line ends behind the foot
		line := sunCast()
		line.from, line.to = -until, 300
		ground := line.layer()
		c := canvas{tilt: 40 * deg, view: shadowDir, noise: 0.7}.with(func(p sheet.Point) float64 {
			if d, n := back.place(p); d > 0 && d < 75 && math.Abs(n) < 2.5 {
				return 0.97
			}
			return ground(p)
		})
		s, st := c.must(t, shadowDir)
		if got := s.hear(st).clearPast(); got != gone {
			t.Errorf("a line up to %v mm behind the foot is seen to be gone: %v", until, got)
		}
	}
}

// From above a white head hides where the shadow begins, and looks like bare paper. What is sure to be cast from the
// foot begins there all the same; a stick does not.
func TestWhiteHeadIsNoBarePaper(t *testing.T) {
	for opens, lies := range map[float64]bool{sunDisc / 4 * 1.15: false, 0: true} {
		k := sunCast()
		k.width, k.from, k.to, k.blur, k.opens = 2.8, 12.5, 52, 0.1, opens
		c := pictureOf(k.layer(), func(p sheet.Point) float64 { return 1 - 0.85*footRing(p, 0.15) }).withRod()
		c.scale, c.rod.ShadowRatio = 5, 1.73
		s, st := c.must(t, shadowDir)
		if !st.fit.apartFromFoot(st.fit.axis()) {
			t.Error("no bare paper is seen")
		}
		if got := s.hear(st).lies(true); got != lies {
			t.Errorf("opens by %v: it lies there: %v, disc %.1f", opens, got, s.hear(st).discSays())
		}
	}
}

// Bare paper between the foot and a line is none where the foot's printed ring does not show: a nut
// lies there, as white as paper.
func TestWhiteNutIsNoBarePaper(t *testing.T) {
	k := sunCast()
	k.from, k.to = 7, 45
	ring := func(p sheet.Point) float64 { return 1 - 0.85*footRing(p, 0.15) }
	nut := func(p sheet.Point) float64 {
		if math.Hypot(p.X, p.Y) < 6.5 {
			return 0.95
		}
		return 1
	}
	stepped := func(p sheet.Point) float64 { // whose upper part is dark on a side, about where the ring is printed
		if r := math.Hypot(p.X, p.Y); r > 2.7 && r < 3.6 && p.X > 0 {
			return 0.3
		}
		return nut(p)
	}
	hollow := func(p sheet.Point) float64 { // whose inside is dark, up to about where the ring is printed
		if r := math.Hypot(p.X, p.Y); r > 1.2 && r < 3.4 {
			return 0.3
		}
		return nut(p)
	}
	for name, tt := range map[string]struct {
		on    layer
		apart bool
	}{"paper": {ring, true}, "a nut": {nut, false}, "a stepped nut": {stepped, false}, "a hollow nut": {hollow, false}} {
		s, st := pictureOf(k.layer(), tt.on).withRod().must(t, shadowDir)
		if apart := st.fit.apartFromFoot(st.fit.axis()); apart != tt.apart {
			t.Errorf("%s: the line lies apart from the foot: %v", name, apart)
		}
		if lies := s.hear(st).lies(true); lies != tt.apart {
			t.Errorf("%s: it lies there: %v", name, lies)
		}
	}
}

// footRing is the part of a place that the foot's ring covers.
func footRing(p sheet.Point, blur float64) float64 {
	r, half := math.Hypot(p.X, p.Y)-sheet.Standard.FootRing, sheet.Standard.FootLine/2
	return normal((r+half)/blur) - normal((r-half)/blur)
}

// Where a strip comes into view from behind the rod's image, that lies before it.
func TestImageBeforeALateStrip(t *testing.T) {
	k := sunCast()
	k.blur = 0.35 // of an edge half of which may be hidden
	for turn := 8.0; turn < 16; turn++ {
		c := canvas{tilt: 40 * deg, view: shadowDir + 180*deg + angle.FromDegrees(turn), noise: 0.7}
		s, st := c.with(k.layer()).withRod().must(t, shadowDir)
		if !s.hear(st).imageBefore() {
			t.Errorf("%v° off the rod's image the strip begins at %.1f mm, and nothing hides it before", turn, st.From)
		}
	}
	s, st := pictureOf(sunCast().layer()).withRod().must(t, shadowDir)
	st.From = 30
	if s.hear(st).imageBefore() {
		t.Error("a rod's image is far off")
	}
}

// A penumbra that surely grows as the sun's disc makes it vouches for a strip, and so does
// a stated diameter; where that is stated and another, nothing does.
func TestWhatVouchesForAStrip(t *testing.T) {
	_, sun := pictureOf(sunCast().layer()).must(t, shadowDir)
	_, weak := pictureOf(weakCast().layer()).must(t, shadowDir)
	unsure := *sun
	unsure.GrowthSigma = sun.Growth[0]
	for _, tt := range []struct {
		name string
		st   *Strip
		rod  Rod
		want bool
	}{
		{"the sun's penumbra", sun, Rod{}, true},
		{"too little of it", weak, Rod{}, false},
		{"a penumbra that may be none", &unsure, Rod{}, false},
		{"the stated breadth", weak, Rod{DiameterMM: 3.1}, true},
		{"another breadth", sun, Rod{DiameterMM: 3.4}, false},
	} {
		if got := tt.st.vouched(tt.rod); got != tt.want {
			t.Errorf("%s vouches: %v", tt.name, got)
		}
	}
}

// The rod is seen where the camera's place puts it, with its breadth; bare paper there is
// told to be bare, and from above nothing is told.
func TestRodIsLookedFor(t *testing.T) {
	for name, tt := range map[string]struct {
		c          canvas
		seen, told bool
	}{
		"a rod":      {pictureOf().withRod(), true, true},
		"bare paper": {pictureOf(), false, true},
		"from above": {canvas{tilt: 2 * deg, view: 0, noise: 0.7}.withRod(), false, false},
		"a shadow over all of it": {pictureOf(func(p sheet.Point) float64 {
			_, n := newFrame(rodDir, 0).place(p)
			return 1 - 0.4*normal((20-math.Abs(n))/0.3)
		}), false, true},
	} {
		s := tt.c.with(sunCast().layer()).search(t)
		look := s.hear(&Strip{Direction: shadowDir, Width: 3}).look()
		thick, saw, told := look.thick, look.seen, look.told
		if saw != tt.seen || told != tt.told {
			t.Errorf("%s: seen %v told %v", name, saw, told)
		}
		if saw && math.Abs(thick-3) > 0.3 {
			t.Errorf("%s: %.2f mm thick", name, thick)
		}
		if s.absent() != (told && !saw) {
			t.Errorf("%s: absent %v", name, s.absent())
		}
	}
}

// A shadow behind the rod's image looks out beside it, or goes on beyond its end.
func TestShadowHiddenByTheRod(t *testing.T) {
	c := canvas{tilt: 35 * deg, view: rodDir + 180*deg, noise: 0.7}
	broad, beyond := sunCast(), sunCast()
	broad.dir, broad.width, broad.to = rodDir, 9, 60
	beyond.dir = rodDir
	short := c
	short.tilt = 15 * deg // the image of a rod of 75 mm ends 29 mm off
	for name, tt := range map[string]struct {
		c            canvas
		beside, past bool
	}{
		"beside":  {c.withRod().with(broad.layer()), true, false},
		"beyond":  {short.withRod().with(beyond.layer()), false, true},
		"neither": {short.withRod(), false, false},
		"no rod":  {c, false, false},
	} {
		s := tt.c.search(t)
		if a, b := s.shadowBeside(), s.shadowBeyond(); a != tt.beside || b != tt.past {
			t.Errorf("%s: beside %v, beyond %v", name, a, b)
		}
	}
}

// A line from behind the foot is the same one going on, or one that runs into the strip
// farther out, or neither; the rod's own image is no witness.
func TestLinesBehindTheFoot(t *testing.T) {
	s := pictureOf().search(t)
	line := ray{dir: shadowDir, score: 4, length: 50}
	back := func(turn angle.Angle, offset, score float64) ray {
		return ray{dir: shadowDir + 180*deg + turn, offset: offset, score: score, length: 50}
	}
	for name, tt := range map[string]struct {
		line, other     ray
		through, joined bool
	}{
		"in line":               {line, back(0, 0, 4), true, true},
		"3 degrees off":         {line, back(3*deg, 0, 4), true, true},
		"turned away":           {line, back(9*deg, 0, 4), false, false},
		"beside it":             {line, back(0, throughMiss+0.1, 4), false, false},
		"runs in farther out":   {line, back(6.5*deg, 2, 4), false, true},
		"too faint":             {line, back(0, 0, behindScore*4-0.1), false, false},
		"the rod's own image":   {ray{dir: rodDir + 180*deg, score: 4, length: 50}, ray{dir: rodDir, score: 4, length: 60}, false, false},
		"longer than the image": {ray{dir: rodDir + 180*deg, score: 4, length: 50}, ray{dir: rodDir, score: 4, length: 90}, true, true},
	} {
		through, joined := s.img.throughFoot([]ray{tt.line, tt.other}, tt.line)
		if through != tt.through || joined != tt.joined {
			t.Errorf("%s: through %v, joined %v", name, through, joined)
		}
	}
}

// The search as a whole: two shadows are ambiguous, so is a line that runs into one; a
// second that is faint, or a first that no rod casts, is not.
func TestSearchForAShadow(t *testing.T) {
	k, second, into := sunCast(), sunCast(), sunCast()
	second.dir += 50 * deg
	faint := second
	faint.depth, faint.to = 0.25, 30
	short := second
	short.to = 18
	into.dir, into.offset, into.width = k.dir+180*deg+6.5*deg, 2, 2
	into.from, into.to = -30, 60
	bowed := k
	bowed.bow = 2.5
	for name, tt := range map[string]struct {
		c    canvas
		want error
	}{
		"one":                        {pictureOf(k.layer()).withRod(), nil},
		"two":                        {pictureOf(k.layer(), second.layer()).withRod(), ErrAmbiguous},
		"one and a short one":        {pictureOf(k.layer(), short.layer()).withRod(), ErrAmbiguous},
		"one and a faint one":        {pictureOf(k.layer(), faint.layer()).withRod(), nil},
		"a line runs into it":        {pictureOf(k.layer(), into.layer()).withRod(), ErrAmbiguous},
		"none":                       {pictureOf().withRod(), ErrNoShadow},
		"none, and no rod":           {pictureOf(), ErrNoShadow},
		"a bowed one":                {pictureOf(bowed.layer()).withRod(), ErrBowed},
		"covered by the rod's image": {canvas{tilt: 22 * deg, view: shadowDir + 180*deg, noise: 0.7}.withRod().with(k.layer()), ErrRodHides},
	} {
		s := tt.c.search(t)
		if st, err := s.find(); !errors.Is(err, tt.want) {
			t.Errorf("%s: %v, want %v: %+v", name, err, tt.want, st)
		}
	}
}

// What holds the foot is left out of the strip and told, a point too; of a rod's own
// breadth all is kept.
func TestOnlyTheRodsOwnBreadth(t *testing.T) {
	k := sunCast()
	nut := casting{dir: k.dir, width: 8, depth: k.depth, to: 12, blur: k.blur, opens: k.opens}
	point := func(p sheet.Point) float64 { // the last 12 mm of 40 taper to nothing
		f := newFrame(k.dir, 0)
		s, n := f.place(p)
		half := 1.5 * max(0, min(1, (40-s)/12))
		return 1 - k.depth*normal((n+half)/0.2)*normal((half-n)/0.2)*normal(s/0.3)
	}
	for name, tt := range map[string]struct {
		l        layer
		from, to [2]float64
		held     bool
	}{
		"bare":           {k.layer(), [2]float64{6, 6.1}, [2]float64{56, 57}, false},
		"a nut":          {onEachOther(k.layer(), nut.layer()), [2]float64{12.5, 14.5}, [2]float64{56, 57}, true},
		"a skewer point": {point, [2]float64{6, 6.1}, [2]float64{26, 30}, false},
	} {
		_, st := pictureOf(tt.l).must(t, shadowDir)
		if st.From < tt.from[0] || st.From > tt.from[1] || st.To < tt.to[0] || st.To > tt.to[1] || st.Held != tt.held {
			t.Errorf("%s: from %.1f to %.1f mm, held %v", name, st.From, st.To, st.Held)
		}
	}
}

// Where the strip ends the rows before are left out, and where it broadens to a cap's
// shadow; a strip that is crossed goes on behind.
func TestStripEnds(t *testing.T) {
	k := sunCast()
	k.to = 33
	sharp := k // its cap is so little broader that it passes for the rod
	sharp.width, sharp.blur, sharp.opens, sharp.to = 6, 0.08, 0.0006, 34
	top := sharp
	top.width, top.from = 7.7, 26
	crossing := casting{dir: k.dir + 90*deg, offset: -20, width: 4, depth: 0.7, from: -80, to: 80, blur: 0.3}
	for name, tt := range map[string]struct {
		l                  layer
		diameter, from, to float64
	}{
		"on plain paper":            {k.layer(), 3, 28, 31.5},
		"in a cap":                  {onEachOther(sharp.layer(), top.layer()), 6, 23, 25.8},
		"crossed by another shadow": {onEachOther(k.layer(), crossing.layer()), 3, 28, 31.5},
	} {
		c := pictureOf(tt.l)
		c.rod.DiameterMM, c.scale = tt.diameter, 7
		_, st := c.must(t, shadowDir)
		if st.To < tt.from || st.To > tt.to {
			t.Errorf("%s: ends %.1f mm off, want %.1f to %.1f", name, st.To, tt.from, tt.to)
		}
	}
}

// Rows with another shadow along one flank, or in a larger one, take no part.
func TestRowsBesideOtherShadowsAreLeftOut(t *testing.T) {
	k := sunCast()
	f := newFrame(k.dir, 0)
	part := func(light float64, over func(n float64) bool) layer { // from 30 to 42 mm
		return func(p sheet.Point) float64 {
			if s, n := f.place(p); s > 30 && s < 42 && over(n) {
				return light
			}
			return 1
		}
	}
	for name, tt := range map[string]struct {
		l    layer
		kept bool
	}{
		"one flank":         {part(0.6, func(n float64) bool { return n > 2.3 }), false},
		"one, a little":     {part(0.85, func(n float64) bool { return n > 2.3 }), true},
		"both flanks":       {part(0.5, func(float64) bool { return true }), false},
		"both, a little":    {part(0.85, func(float64) bool { return true }), true},
		"nothing at all":    {part(1, func(float64) bool { return true }), true},
		"far from the axis": {part(0.5, func(n float64) bool { return n > 8 }), true},
	} {
		s := pictureOf(k.layer(), tt.l).search(t)
		fit := &stripFit{search: s, frame: f}
		fit.sampleRows(shadowStart, 55, 4.5, 0, 1)
		fit.normalise(2.7)
		in, kept := 0, 0
		for _, row := range fit.rows {
			if row.s > 33 && row.s < 39 {
				in++
				if row.ok {
					kept++
				}
			}
		}
		if tt.kept && kept < in || !tt.kept && kept > 0 {
			t.Errorf("%s: %d of %d rows kept", name, kept, in)
		}
	}
}

// By another shadow's rim rows are left out where they spoil the strip.
func TestRowsByARim(t *testing.T) {
	k := sunCast()
	f := newFrame(k.dir, 0)
	for name, tt := range map[string]struct {
		from, to float64
		light    float64
		steady   bool
		kept     bool
	}{
		"spoilt": {30, 42, 0.85, true, false}, "not spoilt": {30, 42, 0.85, false, true}, "hardly a rim": {30, 42, 0.95, true, true},
		"spoilt from the middle on": {28, 60, 0.85, true, false}, "spoilt all but all along": {20, 60, 0.85, true, true},
	} {
		rim := func(p sheet.Point) float64 {
			if s, n := f.place(p); s > tt.from && s < tt.to && n > 2.3 {
				return tt.light
			}
			return 1
		}
		s := pictureOf(k.layer(), rim).search(t)
		s.steady = tt.steady
		fit := &stripFit{search: s, frame: f}
		fit.sampleRows(shadowStart, 55, 4.5, 0, 1)
		fit.normalise(2.7)
		for _, row := range fit.rows {
			if row.s > 33 && row.s < 39 && row.ok != tt.kept {
				t.Fatalf("%s: at %.1f mm kept: %v", name, row.s, row.ok)
			}
		}
	}
}

// A point narrows over its length, and its end keeps the breadth of its blur: the rod's own
// breadth is that before it.
func TestPointedRod(t *testing.T) {
	k := sunCast()
	k.to = 30
	f := newFrame(k.dir, 0)
	const point, end = 26.0, 50.0 // of its shadow, mm from the foot
	pointed := func(p sheet.Point) float64 {
		s, n := f.place(p)
		half := k.width / 2 * min(1, (end-s)/(end-point))
		if s < 0 || half < 0 {
			return 1
		}
		sd := 0.3
		return 1 - k.depth*(normal((n+half)/sd)-normal((n-half)/sd))
	}
	_, st := pictureOf(pointed).must(t, shadowDir)
	if off := (st.Direction - shadowDir).Signed().Abs(); math.Abs(st.Width-k.width) > 0.1 || st.From > shadowStart+1 || st.To > point+8 || off > 3*st.Sigma {
		t.Errorf("breadth %.2f mm from %.1f to %.1f mm, %.3f off, sigma %.3f", st.Width, st.From, st.To, off.Degrees(), st.Sigma.Degrees())
	}
}

// A telephone's sharpening darkens the rims of what is dark: of a broad shadow the darkest
// places lie by an edge, where the paper's light is uneven all by one.
func TestBroadShadowWithDarkRims(t *testing.T) {
	broad := sunCast()
	broad.width = 4.6
	f := newFrame(broad.dir, 0)
	rim := func(p sheet.Point) float64 {
		s, n := f.place(p)
		if s < 0 {
			return 1
		}
		return 1 - 0.1*math.Exp(-sq((n-1.7)/0.5)/2)
	}
	_, st := pictureOf(broad.layer(), rim).must(t, shadowDir)
	if off := (st.Direction - shadowDir).Signed().Abs(); off > 0.1*deg || math.Abs(st.Width-broad.width) > 0.2 {
		t.Errorf("%.3f degrees off, %.2f mm broad", off.Degrees(), st.Width)
	}
}

// A smudge of a tenth of the light beside one edge, fading over three millimetres, turns the axis
// by more than the noise does, and the sigma tells it.
func TestStainBesideTheStrip(t *testing.T) {
	k := sunCast()
	f := newFrame(k.dir, 0)
	smudge := func(p sheet.Point) float64 {
		s, n := f.place(p)
		return 1 - 0.1*normal((s-38)/3)*normal((n-1)/1.5)*normal((6-n)/2)
	}
	_, clean := pictureOf(k.layer()).must(t, shadowDir)
	_, st := pictureOf(k.layer(), smudge).must(t, shadowDir)
	off := (st.Direction - shadowDir).Signed().Abs()
	if off < 4*clean.Sigma || off > 2*st.Sigma || st.Sigma > 0.2*deg {
		t.Errorf("%.4f off, sigma %.4f; %.4f where clean", off.Degrees(), st.Sigma.Degrees(), clean.Sigma.Degrees())
	}
}

// By the definition of both: a shadow takes a part of the light, a thing that lies there has one
// light of its own, whatever is about it.
func TestShadowsDarkenOtherGroundAlike(t *testing.T) {
	run := func(step, paper, beyond, ground float64) (all []looked) {
		for s := 50.0; s < 110; s += step {
			switch {
			case s < 80:
				all = append(all, looked{s, paper, 0.7})
			default:
				all = append(all, looked{s, beyond, ground})
			}
		}
		return all
	}
	for name, tt := range map[string]struct {
		run  []looked
		want bool
	}{
		"shadow":                       {run(0.4, 0.30, 0.30, 0.35), true},
		"shadow, its tones changed":    {run(0.4, 0.30, 0.36, 0.35), true},
		"black thing":                  {run(0.4, 0.04/0.7, 0.04/0.35, 0.35), false},
		"gray thing":                   {run(0.4, 0.2/0.7, 0.2/0.35, 0.35), false},
		"as light beyond":              {run(0.4, 0.30, 0.30, 0.65), false},
		"too little is seen of either": {run(9, 0.30, 0.30, 0.35), false},
	} {
		if got := castOn(tt.run, 70, 105); got != tt.want {
			t.Errorf("%s: %v", name, got)
		}
	}
}

// A second gnomon stands opposite to where the rod's shadow falls, and its own runs through the foot, a little aside:
// beyond the rod's image both make one, broader than the rod, and on the other side it alone is seen, as broad as that.
func TestAnothersShadowThroughTheFoot(t *testing.T) {
	c := canvas{tilt: 45 * deg, view: shadowDir + 183*deg, noise: 0.7, rod: Rod{HeightMM: 30, DiameterMM: 3}}
	own, others := sunCast(), sunCast()
	own.to, others.to = 47, 47
	others.from, others.offset = -26, 0.9
	rod := c.rodLayer(3, 30)
	with := func(shadows ...layer) canvas {
		all := onEachOther(shadows...)
		return c.with(func(p sheet.Point) float64 {
			if v := rod(p); v < 1 {
				return v + 0.3 // before the shadows
			}
			return all(p)
		})
	}
	for name, tt := range map[string]struct {
		c    canvas
		want error
	}{"alone": {with(own.layer()), nil},
		"with another's": {with(own.layer(), others.layer()), ErrAmbiguous}} {
		if st, err := tt.c.search(t).find(); !errors.Is(err, tt.want) {
			t.Errorf("%s: %v, %+v", name, err, st)
		}
	}
}
