//go:build !cgo || noopencv

package pixels

var engines = []engine{plain{}}
