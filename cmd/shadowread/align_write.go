package main

import (
	"bytes"
	"io"

	"shadowread/internal/align"
	"shadowread/internal/instrument"
)

// write writes the figure and the record. Both are composed before either is written.
func (o *alignOptions) write(s *streams, r *align.Result) error {
	var figure, record bytes.Buffer
	if o.figure != "" {
		if err := r.WriteSVG(&figure); err != nil {
			return err
		}
	}
	if o.save != "" {
		if err := o.record(s, r, &record); err != nil {
			return err
		}
	}
	return writeComposed(s, o.force, composed{o.figure, &figure}, composed{o.save, &record})
}

func (o *alignOptions) record(s *streams, r *align.Result, w io.Writer) error {
	base := instrument.Record{
		Name: o.name, Gnomon: instrument.Rod,
		HeightMM: o.photo.rodHeight.value, DiameterMM: o.photo.rodDiameter.value, NodusMM: o.photo.nodusHeight.value,
		LevelSigma: o.photo.level.angle(), AlignmentSigma: o.photo.lubber.angle(),
	}
	if o.lens != "" {
		base.NameLens(o.save, o.lens)
	}
	record, err := r.Record(base)
	if err != nil {
		return err
	}
	if o.photo.plumbLine {
		if r.Leans() {
			tilt, _, sigma := r.Lean()
			s.note("plumb_line_leans", "the readings show a lean of %.2f° ± %.2g°, which a plumb line cannot have: it touches something, or the wind stood on it", tilt.Degrees(), sigma.Degrees())
		}
		record = record.Hung()
	}
	return record.Write(w)
}
