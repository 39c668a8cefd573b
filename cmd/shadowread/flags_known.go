package main

import (
	"cmp"

	"github.com/spf13/cobra"

	"shadowread/internal/camera"
	"shadowread/internal/fault"
	"shadowread/internal/instrument"
	"shadowread/internal/logbook"
	"shadowread/internal/reading"
	"shadowread/internal/recordfile"
)

// knownFlags is what was found out of the camera and of the instrument beforehand.
type knownFlags struct {
	lens, instrument string
	record           *logbook.Record // the instrument's, as used; nil for none
	stays            *logbook.Record // of an entry that is corrected
}

func (k *knownFlags) add(cmd *cobra.Command) {
	cmd.Flags().StringVar(&k.lens, "lens", "", "the camera's lens record `FILE` (default from the store of lenses, see shadowread lens)")
	cmd.Flags().StringVar(&k.instrument, "instrument", "", "the instrument's record `FILE`, of shadowread align: corrects the heading")
}

// use has headings corrected by the instrument and photos read through the lens.
func (k *knownFlags) use(cmd *cobra.Command, o *reading.Options) error {
	lensFile := k.lens
	if k.instrument != "" {
		proved, err := useInstrument(cmd, o, k.instrument)
		if err != nil {
			return err
		}
		if k.record, err = keptFile(k.instrument); err != nil {
			return err
		}
		lensFile = cmp.Or(lensFile, proved)
	} else if k.stays != nil {
		record, err := instrument.Decode([]byte(k.stays.Text), k.stays.File)
		if err != nil {
			return err
		}
		if err := useRecord(cmd, o, record, k.stays.File); err != nil {
			return err
		}
		k.record = k.stays
	}
	if number := cmd.Flags().Lookup("number"); number != nil && number.Changed {
		return exclusive(cmd, "number", "lens") // no photo, no lens
	}
	return useLenses(o, lensFile)
}

// useLenses has photos read through the lens of a record; where none is named, through
// one of the user's store that matches.
func useLenses(o *reading.Options, file string) error {
	if file == "" {
		dir, err := recordfile.DefaultDir()
		if fault.Code(err) == "no_home" {
			return nil // nobody's store
		}
		if err != nil {
			return err
		}
		o.Lenses = &recordfile.Store{Dir: dir}
		return nil
	}
	record, err := loadLens(file)
	if err != nil {
		return err
	}
	o.Lens = &camera.Match{Record: record, Path: file}
	return nil
}

// loadLens reads a lens record; errors name its file.
func loadLens(file string) (camera.LensRecord, error) {
	record, err := recordfile.Lens(file)
	if fault.Code(err) == "bad_lens_record" {
		return record, fault.New(fault.Code(err), fault.Hint(err), "%s: %s", file, err)
	}
	return record, err
}

// useInstrument has headings corrected by an instrument's record. What flags say of the
// rod, of level and of the lubber line goes before it. It returns the file of the record's
// lens, "" for none.
func useInstrument(cmd *cobra.Command, o *reading.Options, file string) (lensFile string, err error) {
	record, err := recordfile.Instrument(file)
	if err != nil {
		return "", err
	}
	return record.LensFile(file), useRecord(cmd, o, record, file)
}

// useRecord is useInstrument for a record that is read already.
func useRecord(cmd *cobra.Command, o *reading.Options, record instrument.Record, file string) error {
	given := cmd.Flags().Changed
	if given("plumb-line") && record.Gnomon != instrument.PlumbLine {
		return fault.Usage("contradicting_flags", "leave --plumb-line out, or name the record of the plumb line", "%s is the record of a %s", file, record.Gnomon)
	}
	if !given("rod-height") {
		o.Rod.HeightMM = record.HeightMM
	}
	if !given("nodus-height") {
		o.Rod.NodusMM = record.NodusMM
	}
	if !given("rod-diameter") {
		o.Rod.DiameterMM = record.DiameterMM
	}
	if given("level-sigma") {
		record.LevelSigma = o.Level
	}
	if given("lubber-sigma") {
		record.AlignmentSigma = o.Alignment
	}
	o.Instrument = &record
	return nil
}
