// Package render makes photographs of the standard sheet with a gnomon, its
// shadow and the camera's faults, together with the truth about them. It serves
// property tests, soak runs and demonstrations; it is no part of a reading and
// shares nothing with the reader but the sheet's geometry.
//
// Plate frame: x to starboard, y forward, z up out of the sheet, millimetres,
// origin at the printed foot. Camera frame and lens model are OpenCV's (x right,
// y down, z ahead); the centre of the top-left pixel is (0, 0).
//
// Light is the body's disc, of uniform brightness, plus an even diffuse part.
// Left out: light bounced between objects, the diffuse light that the rod takes
// from the paper at its foot, limb darkening, the moon's phase, the sensor's
// colour mosaic, and a printed unit behind the "100" of the scale line.
package render

import (
	"math"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/sheet"
)

// Scene is all that a picture depends on. Render does not change it.
type Scene struct {
	Name string // for Truth.File
	Time time.Time
	Lat  angle.Angle
	Lon  angle.Angle

	Plate  Attitude
	Camera Camera
	Rods   []Rod   // none, one, or more for a trap
	Things []Thing // that lie on the sheet
	Light  Light
	Paper  Paper

	Shades    []Shade
	Blobs     []Blob
	Occluders []Occluder
	Another   *Another // sheet in the picture
	Country   *Country // about the board, to its horizon; nil for a ground without one

	Finish Finish
	Seed   uint64 // of noise, texture and dirt
}

// Attitude is how the plate stands: Heading is the azimuth of the forward axis'
// horizontal projection, Pitch lifts the forward edge, Roll (about the forward
// axis) lowers the starboard edge.
type Attitude struct {
	Heading, Pitch, Roll angle.Angle
}

// Rod is a round rod, straight but for its Bow. Height reaches its highest point, be it
// the upper face of a head or the end of a point.
type Rod struct {
	Foot     sheet.Point // where the axis meets the sheet
	Height   float64     // of the axis' tip above the sheet's plane, mm
	Diameter float64     // at the foot, mm
	Taper    float64     // part of it that is lost at the tip, as of a carved stick
	Lean     angle.Angle // of the axis from the plate's normal
	LeanDir  angle.Angle // clockwise from forward
	Cap      float64     // diameter of a ball whose top is the tip, mm; 0 for a flat end
	Material Material

	// Collars are what is thicker than the rod and turned about its axis: a nail's head,
	// a nut, a cork, a lump of clay at the foot, a bead.
	Collars []Collar
	Point   float64 // length over which it tapers to its tip, as a skewer does, mm
	// Bow is how far the axis stands off the straight line from foot to tip at its middle,
	// half a sine, towards BowDir (clockwise from forward), mm.
	Bow    float64
	BowDir angle.Angle
}

// Collar is a cylinder about a rod's axis between two heights along it, mm.
type Collar struct {
	From, To, Diameter float64
}

// Thing is a round stick that lies on the sheet: a fallen rod, a pencil, a twig, a cable.
type Thing struct {
	From, To sheet.Point
	Diameter float64 // mm
	Material Material
}

// Material is how a rod looks.
type Material struct {
	Name      string
	Albedo    [3]float64
	Specular  float64 // strength of the highlight against a white diffuser
	Sharpness float64 // exponent of the highlight
	Mirror    float64 // part of the rest that is mirrored, not scattered
}

// Materials a rod may be made of.
var (
	Steel = Material{"steel", [3]float64{0.60, 0.60, 0.61}, 1.2, 60, 0.8}
	Brass = Material{"brass", [3]float64{0.60, 0.47, 0.22}, 0.9, 50, 0.7}
	Dowel = Material{"dowel", [3]float64{0.62, 0.45, 0.27}, 0.03, 8, 0}
	Black = Material{"black", [3]float64{0.035, 0.035, 0.037}, 0.12, 25, 0}
	White = Material{"white", [3]float64{0.80, 0.80, 0.78}, 0.10, 20, 0}
)

// Kinds of body.
const (
	Sun    = "sun"
	Moon   = "moon"
	NoBody = "none" // overcast: diffuse light only
)

// Light is the body and the sky.
type Light struct {
	Body         string
	Azimuth      angle.Angle // true
	Altitude     angle.Angle // as seen, with refraction
	Disc         angle.Angle // angular diameter
	ShadowRatio  float64     // light left in a full shadow over the unshaded light
	HazeFraction float64     // of the direct light that comes from an aureole
	HazeDisc     angle.Angle // the aureole's angular diameter
	SunColour    [3]float64  // linear; only ratios count
	SkyColour    [3]float64
	Exposure     float64    // linear value of an unshaded white surface; 1 is full scale
	Gradient     [2]float64 // relative change of the light per 100 mm along x and y
}

// Paper is the printed page: a flat or curled A4 sheet.
type Paper struct {
	// Curl is the height in mm at 150 mm from the foot along CurlDir: the paper
	// is the parabolic cylinder z = Curl (u/150)^2, u along CurlDir.
	Curl           float64
	CurlDir        angle.Angle // clockwise from forward
	ScaleX, ScaleY float64     // printed over nominal length, athwart and fore-and-aft; 0 means 1
	Dirt           float64     // 0 none to 1 filthy
	Creases        []Crease
	Waves          []Wave
	Folds          []Fold
	Pencil         []Pencil
	Streaks        []Streak
	Stains, Grains int     // dried drops with a dark rim; grains of sand, about the face
	Ink            float64 // its reflectance; 0 means InkAlbedo
	Toner          float64 // roughness of the ink: 0 even, 1 half worn away in speckles
	Gloss          float64 // strength of a laminate's glint of the sun over the light of white paper
}

// Fold is paper that was folded and laid flat again: a ridge that falls off to both sides.
type Fold struct {
	Offset        float64     // of the line from the foot, to the right of Dir, mm
	Dir           angle.Angle // clockwise from forward
	Height, Reach float64     // of the ridge, and over which it falls to a third, mm
}

// Pencil is a line that a user drew.
type Pencil struct{ From, To sheet.Point }

// Another is a second sheet, which lies beside the board's: its foot, which way its forward
// axis points (clockwise from this one's) and its size over the standard's.
type Another struct {
	Foot  sheet.Point
	Turn  angle.Angle
	Scale float64
}

// Wave is a ripple of the paper: Amplitude sin(2 pi u / Length + Phase), u along Dir,
// less its value at the foot, which stays where it is. Ripples this low shorten the
// page by less than a tenth of a millimetre, which is left out, as it is of Curl.
type Wave struct {
	Amplitude, Length float64 // mm
	Dir, Phase        angle.Angle
}

// Crease is a fold seen as a line of other brightness.
type Crease struct {
	Offset   float64     // of the line from the foot, to the right of Dir, mm
	Dir      angle.Angle // clockwise from forward
	Width    float64     // one sigma of its bell-shaped profile, mm
	Strength float64     // relative brightness, negative for dark
}

// Streak is a stripe of other brightness with round ends, such as what was dragged through dust or ran down
// wet, a strip of tape, a crack of the board under thin paper.
type Streak struct {
	From, To sheet.Point
	Width    float64 // between where it is half as strong, mm
	Soft     float64 // full width of its rim, mm
	Strength float64 // relative brightness, negative for dark
}

// Shade is the shadow of a straight bar, or of a half-plane where Width is
// infinite (it then covers the side to the right of Dir).
type Shade struct {
	Offset   float64     // of the centre line (the edge of a half-plane) from the foot, to the right of Dir, mm
	Dir      angle.Angle // clockwise from forward
	Width    float64     // between the half-lit lines, mm
	Penumbra float64     // full width of each edge's penumbra, mm
}

// Blob is an elliptic shadow, such as the photographer's head.
type Blob struct {
	Centre   sheet.Point
	RX, RY   float64 // mm
	Penumbra float64 // mm
}

// Occluder is a finger: a capsule that lies over the sheet and hides it.
type Occluder struct {
	From, To sheet.Point
	Radius   float64 // mm
}

// Finish is what lens, sensor and file do to the light.
type Finish struct {
	Defocus       float64     // one sigma of a Gaussian blur, px, over and above the pixel's own width
	Motion        float64     // length of a straight smear, px
	MotionDir     angle.Angle // from the raster's x axis towards its y axis
	Vignetting    float64     // relative loss in the corner
	LateralColour float64     // magnification of red over green; blue has half as much
	ReadNoise     float64     // one sigma, part of linear full scale
	ShotNoise     float64     // one sigma at full scale, growing with the root of the signal
	ISO           int         // for the truth file only
	Quality       int         // JPEG, 1 to 100
	Phone         Phone
}

// NoiseAtISO returns read and shot noise of a small-sensor camera, as parts of
// full scale: a full well of about 6000 electrons at ISO 100 and three electrons
// of read noise, the order of magnitude of a phone (common practice).
func NoiseAtISO(iso int) (read, shot float64) {
	electrons := 6000 * 100 / float64(max(iso, 1))
	return 3 / electrons, 1 / math.Sqrt(electrons)
}

// PaperAlbedo and InkAlbedo are the reflectances of the page and its print.
const (
	PaperAlbedo = 0.90
	InkAlbedo   = 0.05
)

// scales returns the print stretch with its default filled in.
func (p *Paper) scales() (x, y float64) {
	x, y = p.ScaleX, p.ScaleY
	if x == 0 {
		x = 1
	}
	if y == 0 {
		y = 1
	}
	return x, y
}

// point returns the place in the plate frame of the printed point p.
func (p *Paper) point(at sheet.Point) Vec {
	sx, sy := p.scales()
	x, y := at.X*sx, at.Y*sy
	return Vec{x, y, p.height(x, y)}
}

const curlArm = 150 // mm, where Curl is stated

func (p *Paper) height(x, y float64) float64 {
	u := x*p.CurlDir.Sin() + y*p.CurlDir.Cos()
	z := p.Curl * u * u / (curlArm * curlArm)
	for i := range p.Waves {
		w := &p.Waves[i]
		z += w.Amplitude * (w.at(x, y).Sin() - w.Phase.Sin())
	}
	for i := range p.Folds {
		f := &p.Folds[i]
		z += f.height(x*f.Dir.Cos()-y*f.Dir.Sin()) - f.height(0)
	}
	return z
}

// ridge is half the breadth, mm, over which a fold's line is round.
const ridge = 0.7

func (f *Fold) height(u float64) float64 {
	return f.Height * math.Exp(-(math.Hypot(u-f.Offset, ridge)-ridge)/f.Reach)
}

// at is the phase of the ripple at a place.
func (w *Wave) at(x, y float64) angle.Angle {
	return w.Phase + angle.Angle(2*math.Pi*(x*w.Dir.Sin()+y*w.Dir.Cos())/w.Length)
}

// slope is the gradient of height.
func (p *Paper) slope(x, y float64) (gx, gy float64) {
	sx, sy := p.CurlDir.Sin(), p.CurlDir.Cos()
	g := 2 * p.Curl / (curlArm * curlArm) * (x*sx + y*sy)
	gx, gy = g*sx, g*sy
	for i := range p.Waves {
		w := &p.Waves[i]
		g := 2 * math.Pi / w.Length * w.Amplitude * w.at(x, y).Cos()
		gx, gy = gx+g*w.Dir.Sin(), gy+g*w.Dir.Cos()
	}
	for i := range p.Folds {
		f := &p.Folds[i]
		u := x*f.Dir.Cos() - y*f.Dir.Sin()
		g := -f.height(u) / f.Reach * (u - f.Offset) / math.Hypot(u-f.Offset, ridge)
		gx, gy = gx+g*f.Dir.Cos(), gy-g*f.Dir.Sin()
	}
	return gx, gy
}

func (p *Paper) bent() bool { return p.Curl != 0 || len(p.Waves)+len(p.Folds) > 0 }

// axis returns the rod's unit axis, foot to tip, and its length.
func (r *Rod) axis() (Vec, float64) {
	s, c := r.Lean.Sin(), r.Lean.Cos()
	return Vec{s * r.LeanDir.Sin(), s * r.LeanDir.Cos(), c}, r.Height / c
}

// foot and tip are the ends of the rod's axis.
func (r *Rod) foot() Vec { return Vec{r.Foot.X, r.Foot.Y, 0} }

func (r *Rod) tip() Vec {
	a, length := r.axis()
	return r.foot().add(a.mul(length))
}

// BodyVector returns the unit vector in the plate frame to a body at the given
// true azimuth and altitude.
func (p Attitude) BodyVector(azimuth, altitude angle.Angle) Vec {
	up := Vec{0, 0, 1} // east, north, up from here on
	forward := Vec{p.Heading.Sin(), p.Heading.Cos(), 0}
	right := forward.cross(up)
	forward, up = forward.mul(p.Pitch.Cos()).add(up.mul(p.Pitch.Sin())),
		up.mul(p.Pitch.Cos()).sub(forward.mul(p.Pitch.Sin()))
	right, up = right.mul(p.Roll.Cos()).sub(up.mul(p.Roll.Sin())),
		up.mul(p.Roll.Cos()).add(right.mul(p.Roll.Sin()))
	b := Vec{azimuth.Sin() * altitude.Cos(), azimuth.Cos() * altitude.Cos(), altitude.Sin()}
	return Vec{b.dot(right), b.dot(forward), b.dot(up)}
}

// body returns the unit vector to the body in the plate frame; ok is false when
// there is no direct light on the plate.
func (s *Scene) body() (v Vec, ok bool) {
	if s.Light.Body == NoBody {
		return Vec{0, 0, 1}, false
	}
	v = s.Plate.BodyVector(s.Light.Azimuth, s.Light.Altitude)
	return v, v.Z > 0
}
