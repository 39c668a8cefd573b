// Package fault carries the errors a user sees: a stable code for machines, a
// sentence for people and what to do next.
package fault

import (
	"errors"
	"fmt"
)

// Error is a failure that is shown to the user. Message is lower case without a
// full stop; Hint says what to do next and may be empty.
type Error struct {
	Code    string // stable, snake_case
	Message string
	Hint    string
	Usage   bool // a slip in the command line: exit status 2
	Err     error
}

func (e *Error) Error() string {
	if e.Err != nil {
		return e.Message + ": " + e.Err.Error()
	}
	return e.Message
}

func (e *Error) Unwrap() error { return e.Err }

// New returns an Error with a formatted message.
func New(code, hint, format string, args ...any) *Error {
	return &Error{Code: code, Hint: hint, Message: fmt.Sprintf(format, args...)}
}

// Usage returns an Error for a slip in the command line.
func Usage(code, hint, format string, args ...any) *Error {
	e := New(code, hint, format, args...)
	e.Usage = true
	return e
}

// Wrap returns an Error that hides err behind a sentence for people; the cause
// stays reachable through errors.Is and errors.As.
func Wrap(err error, code, hint, format string, args ...any) *Error {
	e := New(code, hint, format, args...)
	e.Err = err
	return e
}

// Code returns the code of the first Error in err's chain, "error" for any
// other failure and "" for nil.
func Code(err error) string {
	if err == nil {
		return ""
	}
	var e *Error
	if errors.As(err, &e) {
		return e.Code
	}
	return "error"
}

// Hint returns the hint of the first Error in err's chain, "" where there is none.
func Hint(err error) string {
	var e *Error
	if errors.As(err, &e) {
		return e.Hint
	}
	return ""
}
