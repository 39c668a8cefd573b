// Package onpage answers what the page in a browser asks for: requests and answers are JSON,
// photos and pictures bytes. It knows neither the browser nor a clock nor a file, so that it
// is tested like all else.
package onpage

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"time"

	"shadowread/internal/fault"
	"shadowread/internal/pixels"
	"shadowread/internal/telling"
)

// maxRequest bounds a request: kept readings by the thousand.
const maxRequest = 32 << 20

// Program is the program that answers. Calls come one after the other.
type Program struct {
	Version, Commit string
	steered         steered
}

// Call answers a call of the page. photo is the file that goes with it, picture what goes
// back; either may be nil. It answers whatever comes: what is wrong with a request, and a
// panic, is an object {"error":{"code","message","hint"}}.
//
// progress, if not nil, is told what begins in a long call; the stage "read" comes with the
// answer, before its picture is drawn.
func (p *Program) Call(name string, request, photo []byte, progress func(stage string, answer []byte)) (answer, picture []byte) {
	defer func() {
		if r := recover(); r != nil {
			answer, picture = failed(fault.New("internal_error", "load the page anew, and tell its makers what you did", "the program failed: %v", r)), nil
		}
	}()
	if progress == nil {
		progress = func(string, []byte) {}
	}
	out, picture, err := p.answer(name, request, photo, progress)
	if err != nil {
		return failed(err), nil
	}
	answer, err = json.Marshal(out)
	if err != nil {
		return failed(err), nil
	}
	return answer, picture
}

func (p *Program) answer(name string, request, photo []byte, progress func(string, []byte)) (out any, picture []byte, err error) {
	if len(request) > maxRequest {
		return nil, nil, badRequest(fmt.Errorf("it has %d MB", len(request)>>20))
	}
	switch name {
	case "version":
		return p.version(), nil, nil
	case "settings":
		out, err = decoded(request, showSettings)
	case "open_settings":
		out, err = decoded(request, openSettings)
	case "facts":
		out, err = decoded(request, func(r factsRequest) (any, error) { return r.answer(photo) })
	case "read":
		var r readRequest
		if err = decode(request, &r); err == nil {
			return r.answer(photo, progress)
		}
	case "place":
		out, err = decoded(request, placeRequest.answer)
	case "number":
		out, err = decoded(request, numberRequest.answer)
	case "steer":
		out, err = decoded(request, func(r steerRequest) (any, error) { return r.answer(&p.steered) })
	case "entries":
		out, err = decoded(request, entriesRequest.answer)
	default:
		err = fault.New("unknown_call", "load the page anew", "there is no call %.40q", name)
	}
	return out, nil, err
}

func (p *Program) version() any {
	return struct {
		Version  string   `json:"version"`
		Commit   string   `json:"commit"` // "" where not known
		Pixels   string   `json:"pixels"`
		Cautions []string `json:"cautions"`
	}{p.Version, p.Commit, pixels.Engines()[0], telling.Cautions}
}

func decoded[R any](request []byte, answer func(R) (any, error)) (any, error) {
	var r R
	if err := decode(request, &r); err != nil {
		return nil, err
	}
	return answer(r)
}

func decode(request []byte, into any) error {
	if err := json.Unmarshal(request, into); err != nil {
		return badRequest(err)
	}
	return nil
}

func badRequest(err error) error {
	return fault.Wrap(err, "bad_request", "load the page anew", "the page asked for something that is not understood")
}

// failure is an error as the page shows it.
type failure struct {
	Code    string `json:"code"`
	Message string `json:"message"`
	Hint    string `json:"hint"`
}

func failureOf(err error) failure {
	return failure{fault.Code(err), onPage(err.Error()), onPage(fault.Hint(err))}
}

func failed(err error) []byte {
	out, _ := json.Marshal(struct { // of strings: it cannot fail
		Error failure `json:"error"`
	}{failureOf(err)})
	return out
}

// device is what the page's device says of the present.
type device struct {
	NowMS     float64 `json:"device_now_ms"` // since 1970, UTC
	OffsetMin float64 `json:"device_utc_offset_min"`
}

// now fails with code bad_request for what no clock shows.
func (d device) now() (time.Time, error) {
	if !(d.NowMS > 0) {
		return time.Time{}, badRequest(errors.New("the device's clock shows nothing"))
	}
	return timeOf(d.NowMS)
}

// offset is how far the device's clock is ahead of UTC.
func (d device) offset() (time.Duration, error) {
	if !(math.Abs(d.OffsetMin) <= 18*60) { // as time zones are bounded
		return 0, badRequest(fmt.Errorf("the device's clock is %v minutes from UTC", d.OffsetMin))
	}
	return time.Duration(math.Round(d.OffsetMin)) * time.Minute, nil
}

// timeOf is a time that a browser counts in milliseconds.
func timeOf(ms float64) (time.Time, error) {
	const most = 8.64e15 // ECMA-262, time values
	if !(math.Abs(ms) <= most) {
		return time.Time{}, badRequest(fmt.Errorf("%v is no time", ms))
	}
	return time.UnixMilli(int64(math.Round(ms))).UTC(), nil
}
