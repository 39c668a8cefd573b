package report

import (
	"bytes"
	_ "embed"
	"encoding/base64"
	"html/template"
	"io"
	"strings"
	"unicode"
	"unicode/utf8"

	"shadowread/internal/chart"
)

//go:embed report.html
var page string

var pageTemplate = template.Must(template.New("report").Funcs(template.FuncMap{
	"svg":     svg,
	"dataURI": dataURI,
}).Parse(page))

// WriteHTML writes the report as one file that needs no other: styles, chart and
// pictures are in it, and no script. What users wrote is escaped; of controls in it, which drive
// a terminal that the file is shown on, U+FFFD is left. It fails as Overlay and w do.
func WriteHTML(w io.Writer, in Input) error {
	d, err := compose(in)
	if err != nil {
		return err
	}
	var b bytes.Buffer
	if err := pageTemplate.Execute(&b, d); err != nil {
		return err
	}
	_, err = w.Write(bytes.Map(printed, b.Bytes()))
	return err
}

// printed is a character as the page may hold it (HTML Standard, 13.2.3.5, Preprocessing the input
// stream: no controls but white space).
func printed(r rune) rune {
	if unicode.IsControl(r) && r != '\n' && r != '\t' {
		return utf8.RuneError
	}
	return r
}

// svg returns the chart for the page. The chart escapes its own words.
func svg(c *chart.Chart) (template.HTML, error) {
	var b strings.Builder
	err := c.WriteSVG(&b)
	return template.HTML(b.String()), err
}

func dataURI(jpeg []byte) template.URL {
	return template.URL("data:image/jpeg;base64," + base64.StdEncoding.EncodeToString(jpeg))
}
