package report

import (
	"bytes"
	_ "embed"
	"encoding/base64"
	"html/template"
	"io"
	"strings"

	"shadowread/internal/chart"
	"shadowread/internal/wording"
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
	_, err = w.Write(bytes.Map(wording.Printed, b.Bytes()))
	return err
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
