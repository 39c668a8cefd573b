//go:build cgo && !noopencv

package reading_test

import (
	"context"
	"os"
	"testing"
	"time"

	"gocv.io/x/gocv"

	"shadowread/internal/photofile"
	"shadowread/internal/pixels"
	"shadowread/internal/reading"
)

// BenchmarkReading reads the photo from file to result and decodes the same file in
// full colour by OpenCV, in turn, and reports the ratio of the medians. For one
// thread run it on one processor: make bench does (taskset).
func BenchmarkReading(b *testing.B) {
	data, err := os.ReadFile(benchPhoto)
	if err != nil {
		b.Fatal(err)
	}
	var reads, decodes []time.Duration
	for b.Loop() {
		reads = append(reads, timed(func() {
			if r := reading.Read(context.Background(), photofile.At(benchPhoto), reading.Defaults()); !r.OK() {
				b.Fatal(r.Reason, r.Message)
			}
		}))
		decodes = append(decodes, timed(func() {
			m, err := gocv.IMDecode(data, gocv.IMReadColor)
			if err != nil || m.Empty() {
				b.Fatal("not decoded")
			}
			m.Close()
		}))
	}
	b.ReportMetric(float64(median(reads))/float64(median(decodes)), "reads/decode")
	b.ReportMetric(float64(median(decodes).Microseconds())/1000, "decode-ms")
}

// BenchmarkWithoutOpenCV says how much longer a reading takes in plain Go: the ratio of the
// medians, in turn.
func BenchmarkWithoutOpenCV(b *testing.B) {
	engines := pixels.Engines()
	defer pixels.Use(engines[0])
	took := map[string][]time.Duration{}
	for b.Loop() {
		for _, name := range engines {
			pixels.Use(name)
			took[name] = append(took[name], timed(func() {
				if r := reading.Read(context.Background(), photofile.At(benchPhoto), reading.Defaults()); !r.OK() {
					b.Fatal(r.Reason, r.Message)
				}
			}))
		}
	}
	with := median(took[engines[0]])
	b.ReportMetric(float64(median(took[pixels.PlainGo]))/float64(with), "plain/opencv")
	b.ReportMetric(float64(with.Microseconds())/1000, "opencv-ms")
}
