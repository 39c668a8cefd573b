package pagetest

import (
	"encoding/json"
	"image"
	"image/jpeg"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	protobrowser "github.com/chromedp/cdproto/browser"
	"github.com/chromedp/chromedp"
)

// drawn is what a demo photo was drawn from, which the page has nothing of.
type drawn struct {
	File    string  `json:"file"`
	Heading float64 `json:"strip_reader_heading_deg"`
}

func truths(t *testing.T) map[string]float64 {
	t.Helper()
	data, err := os.ReadFile(demo("truth.json"))
	if err != nil {
		t.Fatal(err)
	}
	var list []drawn
	if err := json.Unmarshal(data, &list); err != nil {
		t.Fatal(err)
	}
	out := map[string]float64{}
	for _, d := range list {
		out[d.File] = d.Heading
	}
	return out
}

func number(t *testing.T, text string) float64 {
	t.Helper()
	x, err := strconv.ParseFloat(strings.Trim(text, "±° "), 64)
	if err != nil {
		t.Fatalf("%q is no number", text)
	}
	return x
}

// The page's headings lie within their ± of what the photos were drawn from.
func TestReadsPhotos(t *testing.T) {
	want := truths(t)
	eachForm(t, func(b *tab, _ form) {
		b.run(`globalThis.later = 86400e3`) // both were taken before now
		for _, name := range []string{"01-leaving-camp.jpg", "02-second-truck.jpg"} {
			b.read(demo(name))
			got := b.heading()
			if got == "" {
				b.t.Fatalf("%s: refused, %s", name, b.refusal())
			}
			within := number(b.t, b.text("read-sigma"))
			if off := math.Remainder(number(b.t, got)-want[name], 360); math.Abs(off) > within {
				b.t.Errorf("%s: the page reads %s ± %v, drawn from %.3f", name, got, within, want[name])
			}
		}
		b.screen("kept")
		b.until(`document.querySelectorAll("#kept-list > li").length === 2`)
	})
}

// What is kept goes out as one file, with a row for each reading.
func TestHandsOver(t *testing.T) {
	eachForm(t, func(b *tab, _ form) {
		b.read(demo("01-leaving-camp.jpg"))
		to := b.t.TempDir()
		_, err := chromedp.CallBrowser(b.ctx, protobrowser.SetDownloadBehavior, protobrowser.SetDownloadBehaviorParams{
			Behavior: protobrowser.SetDownloadBehaviorBehaviorAllow, DownloadPath: to, BrowserContextID: chromedp.FromContext(b.ctx).BrowserContextID,
		})
		if err != nil {
			b.t.Fatal(err)
		}
		b.screen("kept")
		b.click("kept-save")
		b.until(`!document.getElementById("bar-trouble").hidden`) // a leg without a way
		b.click("trouble-seen")
		b.run(`const f = document.querySelector("#kept-list input"); f.value = "45210,4"; f.dispatchEvent(new Event("change"))`)
		b.click("kept-save")
		var text []byte
		for end := time.Now().Add(patience); len(text) == 0 && time.Now().Before(end); time.Sleep(50 * time.Millisecond) {
			if found, _ := filepath.Glob(filepath.Join(to, "*.csv")); len(found) == 1 {
				text, _ = os.ReadFile(found[0])
			}
		}
		if lines := strings.Split(strings.TrimSpace(string(text)), "\n"); len(lines) < 2 || !strings.Contains(lines[len(lines)-1], "01-leaving-camp.jpg") || !strings.Contains(lines[len(lines)-1], "45210.4") {
			b.t.Errorf("the file handed over has no row of the photo:\n%s", text)
		}
		b.run(`document.querySelector("#kept-list details").open = true; document.querySelector("#kept-list button").click()`)
		b.click("ask-yes")
		b.until(`document.querySelectorAll("#kept-list > li").length === 0`)
	})
}

func TestRefusesPhoto(t *testing.T) {
	eachForm(t, func(b *tab, _ form) {
		b.read(demo("01-leaving-camp.jpg"))
		b.read(demo("07-rod-hides-shadow.jpg"))
		if got := b.refusal(); got != "rod_hides_shadow" {
			b.t.Errorf("refused with %q", got)
		}
		if b.heading() != "" {
			b.t.Error("the old heading still stands beside a refusal")
		}
		if b.text("refused-todo") == "" {
			b.t.Error("the refusal does not say what to do")
		}
	})
}

// A damaged file is refused, and the page reads on.
func TestDamagedFiles(t *testing.T) {
	good, err := os.ReadFile(demo("01-leaving-camp.jpg"))
	if err != nil {
		t.Fatal(err)
	}
	files, err := filepath.Glob(fixture("damaged/*.*"))
	if err != nil || len(files) < 5 {
		t.Fatal("no damaged files", err)
	}
	dir := t.TempDir()
	for name, data := range map[string][]byte{
		"cut-short.jpg": good[:len(good)/3], "head-only.jpg": good[:200], "empty.jpg": {}, "text.jpg": []byte("no picture"),
		// The head of a HEIC file and nothing behind it (ISO/IEC 23008-12, the brands).
		"head.heic": []byte("\x00\x00\x00\x18ftypheic\x00\x00\x00\x00mif1heic"),
	} {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, data, 0o644); err != nil {
			t.Fatal(err)
		}
		files = append(files, path)
	}
	eachForm(t, func(b *tab, f form) {
		for i, path := range files {
			if strings.HasSuffix(path, ".md") || f.single && i%2 == 0 { // the reader is the same in both
				continue
			}
			b.read(path)
			code := b.refusal()
			if code == "" || code == "internal_error" {
				b.t.Errorf("%s: code %q, heading %q", filepath.Base(path), code, b.heading())
			}
		}
		b.read(demo("01-leaving-camp.jpg"))
		if b.heading() != "058.4" {
			b.t.Errorf("after the damaged files the page reads %q", b.heading())
		}
	})
}

// A time stated by hand reads the photo that was refused for want of one, and is forgotten
// then: the next photo has its own.
func TestStatedTime(t *testing.T) {
	path := bare(t, campTime.Add(-time.Hour))
	inFolder(t, func(b *tab, _ form) {
		b.place("22", "54.0", "S", "22", "18.0", "E")
		b.read(path)
		if got := b.refusal(); got != "no_time" {
			b.t.Fatalf("code %q, heading %q", got, b.heading())
		}
		b.fill("stated-date", "2026-08-29")
		b.click("stated-again")
		b.until(`!document.getElementById("stated-fault").hidden`) // a day without an hour
		b.fill("stated-time", "08:12:31")
		b.fill("stated-offset", "+02:00")
		b.click("stated-again")
		b.until(`!document.getElementById("read-plate").hidden`)
		if b.heading() != "058.4" {
			b.t.Errorf("by the stated time the page reads %q", b.heading())
		}
		b.read(path)
		if got := b.refusal(); got != "no_time" {
			b.t.Errorf("the next photo was read by the time stated for the one before: %q, heading %q", got, b.heading())
		}
		b.fill("stated-date", "2026-08-29")
		b.fill("stated-time", "08:12:31")
		b.run(`globalThis.later = 700e3`)
		b.until(`document.getElementById("stated-date").value === ""`)
	})
}

// A picture larger than a telephone holds is shrunk by the browser first, and said to be.
func TestShrinksLargePicture(t *testing.T) {
	needsBrowser(t)
	f, err := os.Open(demo("01-leaving-camp.jpg"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	small, err := jpeg.Decode(f)
	if err != nil {
		t.Fatal(err)
	}
	const by = 6
	from := small.(*image.YCbCr)
	size := from.Bounds().Size()
	large := image.NewGray(image.Rect(0, 0, by*size.X, by*size.Y))
	for y := range by * size.Y {
		row := from.Y[(y/by)*from.YStride:]
		for x := range by * size.X {
			large.Pix[y*large.Stride+x] = row[x/by]
		}
	}
	path := filepath.Join(t.TempDir(), "large.jpg")
	out, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := jpeg.Encode(out, large, &jpeg.Options{Quality: 80}); err != nil {
		t.Fatal(err)
	}
	out.Close()
	if n := large.Rect.Dx() * large.Rect.Dy(); n < 50e6 {
		t.Fatalf("the picture has %d pixels: no more than a telephone holds", n)
	}
	s := newSite(t) // closed after the window
	b := begun(t, s.address)
	b.fill("stated-date", "2026-08-29")
	b.fill("stated-time", "08:12:31")
	b.place("22", "54.0", "S", "22", "18.0", "E")
	b.read(path)
	if got, want := b.heading(), truths(t)["01-leaving-camp.jpg"]; got == "" || math.Abs(number(t, got)-want) > number(t, b.text("read-sigma")) {
		t.Errorf("reads %q (%s), drawn from %.2f", got, b.refusal(), want)
	}
	if said := eval[string](b, `document.getElementById("read-facts").textContent`); !strings.Contains(said, "shrank") {
		t.Errorf("the page does not say that the picture was shrunk: %s", said)
	}
}

// A HEIC picture is refused by name where the browser, as Chromium, does not decode it.
func TestHEIC(t *testing.T) {
	encoder, err := exec.LookPath("heif-enc")
	if err != nil {
		t.Skip("no heif-enc, of libheif-examples")
	}
	path := filepath.Join(t.TempDir(), "photo.heic")
	if out, err := exec.Command(encoder, "-o", path, demo("01-leaving-camp.jpg")).CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	inFolder(t, func(b *tab, _ form) {
		b.read(path)
		if got := b.refusal(); got != "heic_not_decoded" {
			b.t.Errorf("code %q, heading %q", got, b.heading())
		}
		if text := b.text("refused-why"); !strings.Contains(text, "HEIC") {
			b.t.Errorf("refused with %q", text)
		}
	})
}

// bare is the first demo photo without its Exif segment (JPEG: marker FFE1, length), as
// messaging programs send it, with the time of its file.
func bare(t *testing.T, at time.Time) string {
	t.Helper()
	f, err := os.ReadFile(demo("01-leaving-camp.jpg"))
	if err != nil {
		t.Fatal(err)
	}
	out := append([]byte{}, f[:2]...)
	for i := 2; i+4 < len(f) && f[i] == 0xff; {
		if f[i+1] == 0xda {
			out = append(out, f[i:]...)
			break
		}
		n := 2 + int(f[i+2])<<8 + int(f[i+3])
		if f[i+1] != 0xe1 {
			out = append(out, f[i:i+n]...)
		}
		i += n
	}
	path := filepath.Join(t.TempDir(), "bare.jpg")
	if err := os.WriteFile(path, out, 0o644); err != nil {
		t.Fatal(err)
	}
	if err := os.Chtimes(path, at, at); err != nil {
		t.Fatal(err)
	}
	return path
}

// A photo taken for the page just now has its file's time, whatever it says of itself.
func TestTakenNow(t *testing.T) {
	path := bare(t, campTime.Add(time.Second))
	inFolder(t, func(b *tab, _ form) {
		b.place("22", "54.0", "S", "22", "18.0", "E")
		b.run(`HTMLInputElement.prototype.click = () => {}`) // no camera comes up
		b.click("take")
		b.upload("take-file", path)
		b.until(answered)
		// A quarter of a minute after the shadow fell it comes to 0.06 degrees less.
		if got := b.heading(); got == "" || math.Abs(number(b.t, got)-58.35) > 0.11 {
			b.t.Errorf("the page reads %q (%s)", got, b.refusal())
		}
		if said := eval[string](b, `document.getElementById("read-facts").textContent`); !strings.Contains(said, "time by the file") {
			b.t.Errorf("it does not say by what the time is known: %s", said)
		}
	})
}

// Where photo and hand name different places it is refused, and read by the one that the
// person says is right.
func TestPlaceByThePerson(t *testing.T) {
	inFolder(t, func(b *tab, _ form) {
		b.place("22", "54.0", "S", "12", "18.0", "E")
		b.read(demo("01-leaving-camp.jpg"))
		if got := b.refusal(); got != "position_conflict" {
			b.t.Fatalf("code %q, heading %q", got, b.heading())
		}
		b.run(`[...document.querySelectorAll("#refused-acts button")].find((e) => e.innerText.includes("by hand")).click()`)
		b.until(`!document.getElementById("read-plate").hidden`)
		if got := number(b.t, b.heading()); math.Abs(got-58.4) < 2 {
			b.t.Errorf("by the place of the hand, ten degrees west, it reads %v as by the photo's", got)
		}
		b.read(demo("01-leaving-camp.jpg")) // that was said of one photo
		if got := b.refusal(); got != "position_conflict" {
			b.t.Fatalf("code %q, heading %q", got, b.heading())
		}
		b.run(`[...document.querySelectorAll("#refused-acts button")].find((e) => e.innerText.includes("photo's")).click()`)
		b.until(`!document.getElementById("read-plate").hidden`)
		if b.heading() != "058.4" {
			b.t.Errorf("by the photo's place it reads %q", b.heading())
		}
	})
}

// A photo that does not say its time is refused, and read by the file's where the person says
// that it is right.
func TestTimeByThePerson(t *testing.T) {
	path := bare(t, time.Date(2026, 8, 29, 6, 12, 31, 0, time.UTC))
	inFolder(t, func(b *tab, _ form) {
		b.read(path)
		if got := b.refusal(); got != "no_time" {
			b.t.Fatalf("code %q, heading %q", got, b.heading())
		}
		b.run(`document.querySelector("#refused-acts button").click()`)
		// Now the place is wanting, and asked for; then the photo is read by itself.
		b.until(`document.querySelector("#refused-acts button")?.innerText === "Give the place"`)
		b.run(`document.querySelector("#refused-acts button").click()`)
		b.until(`document.getElementById("place-dialog").open`)
		b.placeFields("22", "54.0", "S", "22", "18.0", "E")
		b.until(`!document.getElementById("read-plate").hidden || document.getElementById("refused-code").innerText === "no_time"`)
		if b.heading() != "058.4" {
			b.t.Errorf("by the file's time the page reads %q (%s)", b.heading(), b.refusal())
		}
	})
}

// burdened makes each reading a long one on any machine: its worker reads the photo twelve times
// before the one that was asked for. A quick machine reads 12 megapixels in the third of a second
// after which the page says that it reads.
const burdened = `
	const There = globalThis.Worker;
	globalThis.burden = 12;
	globalThis.took = 0; // ms, by the first of them
	globalThis.Worker = class extends There {
		postMessage(data, ...more) {
			const posted = performance.now();
			if (data.call === "read") this.addEventListener("message", (e) => { if (e.data.id === 0 && e.data.json) took ||= performance.now() - posted });
			if (data.call === "read") for (let i = 0; i < burden; i++) super.postMessage({...data, id: 0, bytes: data.bytes.slice(0)});
			super.postMessage(data, ...more);
		}
	}`

// readsLong has the page read a photo for long, and returns while it does.
func (b *tab) readsLong() {
	b.t.Helper()
	b.upload("choose-file", fixture("bench/bench-12mp.jpg"))
	b.until(`!document.getElementById("working").hidden`)
}

// While it reads, the page stays responsive, says after 0.3 s that it reads, and can be told
// to stop.
func TestCancels(t *testing.T) {
	needsBrowser(t)
	s := newSite(t) // closed after the window
	b := begun(t, s.address, burdened)
	b.run(`globalThis.beats = []; globalThis.beat = setInterval(() => beats.push(performance.now()), 10)`)
	b.readsLong()
	b.until(`took > 0`)
	b.click("cancel")
	b.until(`document.getElementById("working").hidden`)
	gap := eval[float64](b, `(() => { clearInterval(beat); let most = 0; for (let i = 1; i < beats.length; i++) most = Math.max(most, beats[i] - beats[i - 1]); return most })()`)
	// A page that read by itself would stand still for all of a reading, which takes the longer
	// the more else the machine has to do.
	if took := eval[float64](b, `took`); gap > took/2 {
		t.Errorf("the page stood still for %.0f ms, and a reading takes %.0f", gap, took)
	}
	time.Sleep(300 * time.Millisecond)
	if eval[bool](b, answered) {
		t.Error("what was cancelled still answers")
	}
	b.run(`globalThis.burden = 0`)
	b.read(demo("01-leaving-camp.jpg"))
	if b.heading() != "058.4" {
		t.Errorf("after cancelling the page reads %q", b.heading())
	}
	b.calm()
}

// A heading of before is grey and says its age.
func TestOldHeading(t *testing.T) {
	inFolder(t, func(b *tab, _ form) {
		b.read(demo("01-leaving-camp.jpg"))
		if old := eval[bool](b, `document.getElementById("read-plate").classList.contains("old")`); old {
			b.t.Error("a heading of now passes for old")
		}
		b.run(`globalThis.later = 12 * 60000`)
		b.until(`document.getElementById("read-plate").classList.contains("old")`)
		if age := b.text("read-age"); !strings.Contains(age, "OLD") || !strings.Contains(age, "12 min ago") {
			b.t.Errorf("its age is said as %q", age)
		}
	})
}

func TestByNumber(t *testing.T) {
	inFolder(t, func(b *tab, _ form) {
		b.place("22", "54.0", "S", "22", "18.0", "E")
		b.fill("number-deg", "347,7") // a comma, as keyboards have it
		b.run(`document.getElementById("number-form").requestSubmit()`)
		b.until(answered)
		// number + azimuth of the sun (fixtures/demo/truth.json, JPL's by internal/bearing's tests)
		if got := number(b.t, b.heading()); math.Abs(got-(347.7+70.70+0.02-360)) > 0.1 {
			b.t.Errorf("347.7 under the shadow comes to %v", got)
		}
		b.fill("number-deg", "north")
		b.run(`document.getElementById("by-number").open = true; document.getElementById("number-form").requestSubmit()`)
		b.until(`!document.getElementById("number-fault").hidden`)
	})
}

// The picture is enlarged by keys and by fingers.
func TestPicture(t *testing.T) {
	inFolder(t, func(b *tab, _ form) {
		b.read(demo("01-leaving-camp.jpg"))
		b.click("check-picture")
		b.until(`document.getElementById("picture-dialog").open && document.getElementById("picture").naturalWidth > 300`)
		scale := func() float64 {
			return eval[float64](b, `new DOMMatrix(getComputedStyle(document.getElementById("picture")).transform).a`)
		}
		b.run(`document.getElementById("picture-view").focus()`)
		b.do("keys", chromedp.KeyEvent("+"), chromedp.KeyEvent("+"))
		if s := scale(); math.Abs(s-2.25) > 0.01 {
			b.t.Errorf("two + enlarge to %v", s)
		}
		b.do("keys", chromedp.KeyEvent("0"))
		// Two fingers from 100 to 200 px apart.
		b.run(`const v = document.getElementById("picture-view"), r = v.getBoundingClientRect();
			v.setPointerCapture = () => {};
			const at = (kind, id, x, y) => v.dispatchEvent(new PointerEvent(kind, {pointerId: id, clientX: r.left + x, clientY: r.top + y, bubbles: true}));
			at("pointerdown", 1, 100, 200); at("pointerdown", 2, 200, 200); at("pointermove", 2, 300, 200); at("pointerup", 1, 100, 200); at("pointerup", 2, 300, 200)`)
		if s := scale(); math.Abs(s-2) > 0.01 {
			b.t.Errorf("fingers that part from 100 to 200 px enlarge to %v", s)
		}
		b.run(`document.querySelector("#picture-dialog [data-close]").click()`)
	})
}
