//go:build cgo && !noopencv

package pixels

// Plain Go comes along, so that the two can be held against each other.
var engines = []engine{opencv{}, plain{}}
