package table

import (
	"regexp"
	"strings"

	"shadowread/internal/wording"
)

// A spreadsheet works out a cell that begins with one of these as a formula, quoted in
// the CSV file or not (OWASP, "CSV Injection"), unless an apostrophe leads it. Numbers
// are harmless. Apostrophes that were there before get another, so that none is lost.
var (
	formula = regexp.MustCompile("^'*[=+\\-@\t\r\n]")
	signed  = regexp.MustCompile(`^[+-][0-9]{1,99}(\.[0-9]{1,99})?$`) // what a spreadsheet can take for a number
)

// SafeCell returns a text as a cell of a CSV file that no spreadsheet takes for a formula, and
// no terminal for a command.
func SafeCell(text string) string {
	text = strings.Map(wording.Printed, text)
	if formula.MatchString(text) && !signed.MatchString(text) {
		return "'" + text
	}
	return text
}

// BareCell returns the text of which SafeCell made a cell, but for controls.
func BareCell(cell string) string {
	if strings.HasPrefix(cell, "'") && formula.MatchString(cell) {
		return cell[1:]
	}
	return cell
}
