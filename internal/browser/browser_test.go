package browser

import (
	"errors"
	"math"
	"os"
	"path/filepath"
	goruntime "runtime"
	"strings"
	"testing"
	"time"

	"shadowread/internal/fault"
	"shadowread/internal/page"
	"shadowread/internal/photo"
	"shadowread/internal/pixels"
	"shadowread/internal/proof"
	read "shadowread/internal/reading"
)

// started is the program in a browser. Where there is none, or the build carries no page, the
// test is skipped aloud, but fails in CI.
func started(t testing.TB) *Program {
	t.Helper()
	p, err := page.New("0")
	if err == nil {
		var run *Program
		if run, err = Start(t.Context(), p); err == nil {
			t.Cleanup(run.Close)
			return run
		}
	}
	if os.Getenv("CI") == "true" || !errors.Is(err, ErrNone) && fault.Code(err) != "no_page_in_this_build" {
		t.Fatal(err)
	}
	t.Skip("NOT TESTED: the page in a browser:", err)
	return nil
}

// The page reads what the program reads, to the same headings and refusals, and steers by the
// same numbers.
func TestPageIsTheProgram(t *testing.T) {
	run := started(t)
	var out strings.Builder
	few := t.TempDir()
	for _, name := range []string{"demo/05-low-sun.jpg", "demo/06-moonlight.jpg", "demo/07-rod-hides-shadow.jpg"} {
		link(t, few, name)
	}
	damaged, err := filepath.Glob(filepath.Join("..", "..", "fixtures", "damaged", "*.jpg"))
	if err != nil || len(damaged) == 0 {
		t.Fatal("no damaged photos", err)
	}
	for _, path := range damaged {
		link(t, few, filepath.Join("damaged", filepath.Base(path)))
	}
	sums, err := proof.Page(t.Context(), &out, run, few)
	if err == nil {
		err = proof.PageSteer(t.Context(), &out, run, &sums)
	}
	t.Log("\n" + out.String())
	if err != nil || len(sums.Wrong) > 0 {
		t.Errorf("%v, unlike: %v", err, sums.Wrong)
	}
	if sums.Photos < 5 || sums.Read < 2 || sums.Steered < 100 {
		t.Errorf("only %d photos, %d read, %d courses", sums.Photos, sums.Read, sums.Steered)
	}
}

func link(t *testing.T, dir, name string) {
	t.Helper()
	data, err := os.ReadFile(filepath.Join("..", "..", "fixtures", name))
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, strings.ReplaceAll(name, "/", "-")), data, 0o600); err != nil {
		t.Fatal(err)
	}
}

// After a failure of the program the page is told, and starts it anew.
func TestEndedCallIsTold(t *testing.T) {
	run := started(t)
	data, err := os.ReadFile(filepath.Join("..", "..", "fixtures", "demo", "01-leaving-camp.jpg"))
	if err != nil {
		t.Fatal(err)
	}
	// What runs is cancelled, and another worker answers.
	got, err := Evaluate[string](run, `(async () => {
  const { start, module } = globalThis.proof;
  const reader = await start(module);
  const call = reader.call("read", { device_now_ms: Date.now(), chosen: "album" }, new Uint8Array([`+bytesOf(data)+`]).buffer, () => reader.end());
  const first = await call.then(() => "answered", (error) => error.message);
  const again = await start(module);
  const answer = await again.call("version", {});
  again.end();
  return first + " " + JSON.parse(answer.json).pixels;
})()`)
	if err != nil || got != "cancelled plain Go" {
		t.Errorf("%v: %q", err, got)
	}
}

// bytesOf writes bytes as numbers.
func bytesOf(data []byte) string {
	var b strings.Builder
	for i, x := range data {
		if i > 0 {
			b.WriteByte(',')
		}
		b.WriteString(digits[x])
	}
	return b.String()
}

var digits = func() (d [256]string) {
	for i := range d {
		d[i] = strings.TrimLeft(string([]byte{'0' + byte(i/100), '0' + byte(i/10%10), '0' + byte(i%10)}), "0")
		if d[i] == "" {
			d[i] = "0"
		}
	}
	return d
}()

// A worker's memory at 12 megapixels, which a phone must have.
func TestMemory(t *testing.T) {
	const most = 120 << 20
	run := started(t)
	data, err := os.ReadFile(filepath.Join("..", "..", "fixtures", "bench", "bench-12mp.jpg"))
	if err != nil {
		t.Fatal(err)
	}
	for i := range 4 { // garbage of the one before must not add up
		a, err := run.Call("read", map[string]any{"chosen": "album", "overlay": true, "device_now_ms": time.Now().UnixMilli()}, data)
		if err != nil || !strings.Contains(a.JSON, `"status":"ok"`) {
			t.Fatalf("%v %s", err, a.JSON)
		}
		memory, err := run.Memory()
		if err != nil {
			t.Fatal(err)
		}
		t.Logf("reading %d: %.0f ms, %d MiB", i+1, a.MS, memory>>20)
		if memory > most {
			t.Errorf("reading %d takes %d MiB, more than %d", i+1, memory>>20, most>>20)
		}
	}
}

// BenchmarkPage measures the page as its user meets it, and over the program's plain Go in the
// same run: the first start, the start from the browser's cache, the first reading of a photo of
// 12 megapixels and later ones, in milliseconds, the least of all rounds; the ratio of the later
// ones to the program's own, on one processor each.
func BenchmarkPage(b *testing.B) {
	path := filepath.Join("..", "..", "fixtures", "bench", "bench-12mp.jpg")
	data, err := os.ReadFile(path)
	if err != nil {
		b.Fatal(err)
	}
	engines := pixels.Engines()
	pixels.Use(pixels.PlainGo)
	defer pixels.Use(engines[0])
	defer goruntime.GOMAXPROCS(goruntime.GOMAXPROCS(1))
	most := math.Inf(1)
	first, cached, reading, later, native := most, most, most, most, most
	for b.Loop() {
		run := started(b)
		// A browser that knows nothing of the page, then one that holds it.
		tab, end, err := Open(b.Context())
		if err != nil {
			b.Fatal(err)
		}
		for _, least := range []*float64{&first, &cached} {
			ms, err := Opened(tab, run.Address())
			if err != nil {
				b.Fatal(err)
			}
			*least = min(*least, ms)
		}
		end()
		for i := range 12 { // the browser compiles better what runs often
			a, err := run.Call("read", map[string]any{"chosen": "album", "device_now_ms": time.Now().UnixMilli()}, data)
			if err != nil {
				b.Fatal(err)
			}
			if i == 0 {
				reading = min(reading, a.MS)
			} else {
				later = min(later, a.MS)
			}
			began := time.Now()
			if r := read.Read(b.Context(), photo.InMemory(path, data), read.Defaults()); !r.OK() {
				b.Fatal(r.Message)
			}
			native = min(native, float64(time.Since(began))/1e6)
		}
		run.Close()
	}
	b.ReportMetric(first, "ms/first-start")
	b.ReportMetric(cached, "ms/cached-start")
	b.ReportMetric(reading, "ms/first-reading")
	b.ReportMetric(later, "ms/later-reading")
	b.ReportMetric(native, "ms/native-reading")
	b.ReportMetric(later/native, "wasm/native")
}
