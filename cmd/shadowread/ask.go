package main

import (
	"fmt"
	"io"
	"strings"

	"shadowread/internal/fault"
	"shadowread/internal/reading"
)

// confirm asks a person on the terminal. asked is false where nobody sits there.
func (s *streams) confirm(question string) (yes, asked bool, err error) {
	if s.json || !s.inTTY {
		return false, false, nil
	}
	fmt.Fprintf(s.err, "%s [y/N] ", plain(question))
	line, err := answerLine(s.in)
	if err != nil {
		return false, true, err
	}
	answer := strings.ToLower(strings.TrimSpace(line))
	return answer == "y" || answer == "yes", true, nil
}

// ask has a person on the terminal answer in words. asked is false where nobody sits there.
func (s *streams) ask(question string) (answer string, asked bool, err error) {
	if s.json || !s.inTTY {
		return "", false, nil
	}
	fmt.Fprintf(s.err, "%s ", plain(question))
	line, err := answerLine(s.in)
	return strings.TrimSpace(line), true, err
}

// answerLine reads a line and nothing behind it, which the next question waits for. A line
// longer than any answer is cut.
func answerLine(in io.Reader) (string, error) {
	var line []byte
	for b := make([]byte, 1); len(line) < 100; {
		n, err := in.Read(b)
		if n == 1 && b[0] != '\n' {
			line = append(line, b[0])
		}
		switch {
		case n == 1 && b[0] == '\n', err == io.EOF:
			return string(line), nil
		case err != nil:
			return "", err
		}
	}
	return string(line), nil
}

// confirmHour asks about an hour that was typed and that the shadow does not check: it
// turns the heading by 15 degrees.
func (s *streams) confirmHour(r *reading.Result, typed bool) error {
	unchecked := false
	for _, w := range r.Warnings {
		unchecked = unchecked || w.Code == "clock_not_checked"
	}
	if !typed || !unchecked || !r.OK() {
		return nil
	}
	yes, asked, err := s.confirm(fmt.Sprintf("The hour is not checked by the shadow. By it the %s stands %.0f° high at %03.0f° true: is that so?",
		r.Sky.Body, r.Sky.Altitude.Degrees(), r.Sky.Azimuth.Bearing().Degrees()))
	if err != nil || !asked || yes {
		return err
	}
	return fault.New("hour_not_confirmed", "give the right --time, or the rod's height with the shadow's tip in the photo, which checks it",
		"the hour was not confirmed, and nothing is logged")
}
