// Package boundedtoml reads TOML of people's making within bounds. The parser's time and
// memory grow with the square of how deep a file nests: 6 kB of a dotted key with 3,000
// parts take seconds, 60 kB more memory than there is. So a file is measured before it
// is parsed. The bounds are many times what a record of ours holds, and count in
// comments and strings too, which costs nobody anything and needs no second parser.
package boundedtoml

import (
	"fmt"
	"strings"

	"github.com/BurntSushi/toml"
)

const (
	maxBytes = 64 << 10
	// maxDots bounds the parts of a key; a whole covariance on one line has 25 dots.
	maxDots = 40 // a line
	// maxTables bounds the inline tables, whose keys go on from one another, and
	// maxBrackets arrays that stand in one another.
	maxTables   = 16  // a file
	maxBrackets = 500 // a file
)

// Decode decodes a file; what exceeds the bounds is a toml.ParseError too.
func Decode(data []byte, into any) (toml.MetaData, error) {
	if len(data) > maxBytes {
		return toml.MetaData{}, exceeded(1, "the file is longer than %d kB", maxBytes>>10)
	}
	text := string(data)
	n, tables, brackets := 0, 0, 0
	for line := range strings.Lines(text) {
		n++
		tables += strings.Count(line, "{")
		brackets += strings.Count(line, "[")
		switch {
		case strings.Count(line, ".") > maxDots:
			return toml.MetaData{}, exceeded(n, "the line has more than %d dots", maxDots)
		case tables > maxTables:
			return toml.MetaData{}, exceeded(n, "the file has more than %d inline tables", maxTables)
		case brackets > maxBrackets:
			return toml.MetaData{}, exceeded(n, "the file has more than %d brackets", maxBrackets)
		}
	}
	return toml.Decode(text, into)
}

func exceeded(line int, format string, args ...any) error {
	return toml.ParseError{Message: fmt.Sprintf(format, args...), Position: toml.Position{Line: line}}
}
