package main

import (
	"bytes"
	"context"
	"encoding/json"
	"path/filepath"
	"strings"
	"testing"
	"time"
	"unicode/utf8"
)

// Help, all but the examples, which are to be copied whole, fits 80 columns.
func TestHelpFitsATerminal(t *testing.T) {
	var out bytes.Buffer
	for _, c := range allCommands(newRoot(&streams{out: &out, err: &out})) {
		out.Reset()
		c.InitDefaultHelpFlag()
		if err := c.Help(); err != nil {
			t.Fatal(err)
		}
		if out.Len() == 0 {
			t.Fatalf("%s has no help", c.CommandPath())
		}
		for line := range strings.Lines(out.String()) {
			line = strings.TrimRight(line, "\n")
			if n := utf8.RuneCountInString(line); n > 80 && !strings.Contains(c.Example, line) {
				t.Errorf("%s: %d columns: %s", c.CommandPath(), n, line)
			}
		}
	}
}

// Each slip exits 2 with nothing on standard output, and names what is wrong.
// One table, however long: who adds a flag looks here for one like it.
func TestUsageErrors(t *testing.T) {
	for _, tt := range []struct {
		line string
		code string
		says string // part of the message or the hint
	}{
		{"frobnicate", "unknown_command", "frobnicate"},
		{"help tme", "unknown_command", "did you mean time?"},
		{"read", "no_photo", "name photos"},
		{"version now", "unexpected_argument", `"now"`},
		{"man", "no_folder", "folder"},
		{"completion tcsh", "bad_shell", "bash, fish or zsh"},
		{"sheet --paper a3", "bad_paper", "a4 or letter"},
		{"sheet --format doc", "bad_format", "pdf, svg or png"},
		{"sheet --dpi x", "bad_flag_value", "--dpi"},
		{"sheet --dpi 99 -o a.png", "bad_dpi", "from 100 to 1200"},

		{"sun --position", "missing_flag_value", "--position"},
		{"sun --position 95,10", "bad_position", "beyond 90"},
		{"sun --position 1,2 --step soon --date 2026-03-14", "bad_flag_value", "--step"},
		{"sun --position 1,2 --date 2026-03-14 --step -1h", "bad_step", "-1h"},
		{"sun --position 1,2 --date 2026-03-14 --step 1ns", "too_many_rows", "longer step"},
		{"sun --position 1,2 --date 2026-02-30", "bad_date", "2026-02-30"},
		{"sun --position 1,2 --time 1931-01-01T00:00:00Z", "time_out_of_range", ""},
		{"sun --position 1,2 --step 1h", "step_without_date", "--date"},
		{"sun --position 1,2 --elevation 99999", "out_of_range", "11000 m"},

		{"read --level-sigma -1 p.jpg", "out_of_range", "from 0 to 20 deg"},
		{"read --time-sigma NaN p.jpg", "out_of_range", "--time-sigma"},
		{"read --position-sigma 1e300 p.jpg", "out_of_range", "--position-sigma"},
		{"read --position-sigma -0.5 p.jpg", "out_of_range", "--position-sigma"},
		{"read --lubber-sigma Inf p.jpg", "out_of_range", "--lubber-sigma"},
		{"read --clock-error 1e9 p.jpg", "out_of_range", "--clock-error"},
		{"read --rod-height abc p.jpg", "bad_number", `"abc" is no number`},
		{"read --rod-diameter 0 p.jpg", "out_of_range", "--rod-diameter"},
		{"read --course 361 p.jpg", "out_of_range", "--course"},
		{"read --jobs 0 p.jpg", "out_of_range", "--jobs"},
		{"read --body mars p.jpg", "unknown_body", "auto, sun or moon"},
		{"read --print-scale 1.0 p.jpg", "bad_print_scale", "X,Y"},
		{"read --print-scale 176,175.1 p.jpg", "bad_print_scale", "divide what you measure"},
		{"read --print-scale 1,NaN p.jpg", "bad_print_scale", "NaN"},
		{"read --utc-offset 5.3 p.jpg", "bad_utc_offset", "quarter hours"},
		{"read --number -1", "out_of_range", "--number"},
		{"read --number 10 --number-sigma 0", "out_of_range", "--number-sigma"},
		{"read --number-sigma 1 p.jpg", "sigma_without_number", "--number"},
		{"read --number 55", "number_alone", "--time and --position"},

		{"steer --position 1,2", "no_course", "--course"},
		{"steer --course 58", "no_position", "--log"},
		{"steer --course 361 --position 1,2", "out_of_range", "--course"},
		{"steer --course 58 --position 1,2 now", "unexpected_argument", "now"},
		{"steer --course 58 --position 1,2 --time 2026-03-14T09:26:53", "no_utc_offset", "--utc-offset"},
		{"steer --course 58 --position 1,2 --stood", "flag_without_other", "--log"},
		{"steer --course 58 --log a.db --stood", "flag_without_other", "one moment"},
		{"steer --course 58 --log a.db --stood --odometer 3", "contradicting_flags", "--odometer and --stood"},
		{"steer --course 58 --position 1,2 --declination-sigma 1", "sigma_without_declination", "--declination"},

		{"read --declination 181 p.jpg", "out_of_range", "--declination"},
		{"read --declination-sigma 1 p.jpg", "sigma_without_declination", "--declination"},
		{"declination", "no_position", "--position"},
		{"declination --compass 400 p.jpg", "out_of_range", "from 0 to 360 deg"},
		{"declination --compass 90", "no_heading", "--true-heading"},
		{"declination --true-heading 90", "no_compass", "--compass"},
		{"declination p.jpg", "no_compass", "p.jpg"},
		{"declination --position 1,2 --time 2031-01-01T00:00:00Z", "time_out_of_range", "2025.0 to 2030.0"},
		{"declination --elevation 10 --compass 1 --true-heading 2", "elevation_without_position", "--position"},
		{"declination --compass 9 --number 1 --time 2026-01-01T00:00:00Z", "number_alone", "--position"},
		{"swing", "no_sightings", "--sightings"},
		{"swing --sightings a.csv --paper letter", "paper_without_output", "--pdf"},
		{"card --position 1,2 --course 1", "no_date", "--date"},
		{"card --date 2026-03-14 --course 1", "no_position", "--stop"},
		{"card --date 2026-03-14 --position 1,2", "no_course", "--course"},
		{"card --date 2026-03-32 --position 1,2 --course 1", "bad_date", "2026-03-32"},
		{"card --date 2026-03-14 --position 1,2 --course 128,5", "decimal_comma", "058,005"},
		{"card --date 2026-03-14 --position 1,2 --course 58,121,5", "decimal_comma", "121.5"},
		{"card --date 2026-03-14 --position 1,2 --course 58,121,45,5", "decimal_comma", "45.5"},
		{"card --date 2026-03-14 --position 1,2 --course 58,90,5x", "bad_number", "5x"},
		{"card --date 2026-03-14 --position 1,2 --course 1,400", "out_of_range", "from 0 to 360 deg"},
		{"card --date 2026-03-14 --position 1,2 --course 1 --days 1.5", "bad_days", "whole number"},
		{"card --date 2026-03-14 --position 1,2 --course 1 --days 32", "out_of_range", "--days"},
		{"card --date 2026-03-14 --position 1,2 --course 1 --window 20", "bad_window", "15 or 30"},
		{"card --date 2026-03-14 --position 1,2 --course 1 --rule-at 24:00", "bad_rule_time", "07:30"},
		{"card --date 2026-03-14 --position 1,2 --course 1 --paper letter", "paper_without_output", "-o FILE.pdf"},
		{"card --date 2026-03-14 --position 1,2 --course 1 --paper a3 -o a.pdf", "bad_paper", "pocket"},
		{"card --date 2026-03-14 --position 1,2 --course 1 --scale-radius 58", "bad_rod_height", "rod's height"},
		{"card --date 2026-03-14 --stop 1,95,3 --course 1", "bad_position", "--stop"},

		{"lens", "no_photo", "name photos"},
		{"lens -o a.toml --figure a.toml p.jpg", "contradicting_flags", "--output and --figure"},
		{"lens --check-print a.toml -o b.toml p.jpg", "contradicting_flags", "--check-print and --output"},
		{"align", "no_readings", "--readings FILE"},
		{"align --readings r.csv", "no_position", "--position"},
		{"align --readings r.csv --position 1,2 p.jpg", "readings_with_photo", "p.jpg"},
		{"align --readings r.csv --position 1,2 --turned", "contradicting_flags", "--readings and --turned"},
		{"align --time 2026-03-14T09:26:53Z p.jpg", "time_with_many_photos", "--utc-offset"},
		{"align --true-heading 361 p.jpg", "bad_true_heading", "64.0,0.2"},
		{"read --number 12 --position 1,2 --time=", "empty_value", "--time"},
		{"log halt 12 --log=", "empty_value", "--log"},
		{"log settings --photos=", "empty_value", "--photos"},
		{"log halt 12 --accept=", "empty_value", "--accept"},
		{"read --tilt -0,5 p.jpg", "decimal_comma", "1.5,0.0"},
		{"read --tilt 0,5 p.jpg", "decimal_comma", "1.5,0.0"},
		{"read --number 12,5", "bad_number", "decimal sign is a point"},
		{"align --true-heading 64,x p.jpg", "bad_true_heading", `"x"`},
		{"align --tolerance 0 p.jpg", "out_of_range", "--tolerance"},
		{"align --name board p.jpg", "record_not_saved", "--save"},
		{"align --radius 58 p.jpg", "dial_without_readings", "--radius"},
		{"align --save a --figure a p.jpg", "contradicting_flags", "--save and --figure"},
		{"read --number 55 --lens a.toml", "contradicting_flags", "--number and --lens"},

		{"read --stood a.jpg", "flag_without_other", "--log"},
		{"read --log a.db --stood --odometer 3 a.jpg", "contradicting_flags", "--odometer and --stood"},
		{"log frobnicate", "unknown_command", "frobnicate"},
		{"log haalt", "unknown_command", "did you mean halt?"},
		{"help log hlat", "unknown_command", "did you mean halt?"},
		{"log begin --error 5", "no_position", "--position"},
		{"log begin --position 1,2", "no_error", "--error METRES"},
		{"log begin --position 1.00000,2.00000 --error 5 --odometer 12", "no_unit", "--unit km"},
		{"log begin --position 1.00000,2.00000 --error 5 --unit in", "bad_unit", "km, mi"},
		{"log begin --position 1.00000,2.00000 --error 5 --unit km --stop well", "bad_stop", "NAME=LAT,LON"},
		{"log begin --position 1.00000,2.00000 --error 5 --unit km --clock-error 3", "flag_without_other", "--camera"},
		{"log begin --position 1,2 --error 0", "out_of_range", "--error"},
		{"log begin --position 1,2 --error 5 --odometer 12x", "bad_odometer", "km, mi"},
		{"log begin --position 1,2 --error 5 --odometer 12,5", "bad_odometer", "12,5"},
		{"log begin --position 1,2 --error 5 --steering-sigma 31", "out_of_range", "--steering-sigma"},
		{"log begin --position 1,2 --error 5 --speed-limit fast", "bad_number", "km/h, mph or kn"},
		{"log begin --position 1.00000,2.00000 --error 5 --unit km --time 2026-03-14T09:26:53", "no_utc_offset", "--utc-offset"},
		{"log leg --odometer 1 a.jpg b.jpg", "unexpected_argument", "one by one"},
		{"log leg --odometer 1 --heading 10", "no_heading_sigma", "--heading-sigma"},
		{"log leg --odometer 1 --heading-sigma 1 --number 3", "sigma_without_heading", "--heading"},
		{"log leg --odometer 1 --heading 361 --heading-sigma 1", "out_of_range", "--heading"},
		{"log leg --odometer 1 --heading 3 --heading-sigma 31", "out_of_range", "--heading-sigma"},
		{"log leg --odometer 1 --heading 3 --heading-sigma 1 a.jpg", "contradicting_flags", "the photo a.jpg"},
		{"log leg --odometer 1 --heading 3 --heading-sigma 1 --level-sigma 1", "contradicting_flags", "--heading and --level-sigma"},
		{"log leg --odometer 1 --heading 3 --heading-sigma 1 --number 4", "contradicting_flags", "--heading and --number"},
		{"log halt --speed 20 --stood", "contradicting_flags", "--speed and --stood"},
		{"log halt --speed 20 --distance 4", "contradicting_flags", "--speed and --distance"},
		{"log halt --speed 20parsec", "bad_number", "20parsec"},
		{"log halt --distance -4", "bad_number", "-4"},
		{"log halt --under-way 1h", "flag_without_other", "--speed"},
		{"log halt --rolled-over 6", "flag_without_other", "--odometer"},
		{"log halt --distance-sigma 6", "flag_without_other", "--distance"},
		{"log halt now", "unexpected_argument", "now"},
		{"log detour --odometer 1", "no_legs", "--leg"},
		{"log detour --odometer 1 --leg 90,1km", "no_heading_sigma", "--heading-sigma"},
		{"log detour --odometer 1 --heading-sigma 5 --leg 90", "bad_leg", "no length"},
		{"log detour --odometer 1 --heading-sigma 5 --leg 361,1km", "bad_leg", "361"},
		{"log detour --odometer 1 --heading-sigma 5 --leg 90,@x", "bad_leg", "odometer"},
		{"log new-odometer --odometer 1", "no_reading", "--reads"},
		{"log note", "no_note", "text"},
		{"log note a --note b", "contradicting_flags", "--note"},
		{"log fix --error 5 --odometer 1", "no_position", "--position"},
		{"log fix --confirm 3 --position 1,2", "contradicting_flags", "--confirm and --position"},
		{"log fix --confirm 3 --stood", "contradicting_flags", "--confirm and --stood"},
		{"log correct", "no_entry_given", "list"},
		{"log correct two --heading 1 --heading-sigma 1", "bad_entry", `"two"`},
		{"log correct 1.5 --heading 1 --heading-sigma 1", "bad_entry", `"1.5"`},
		{"log correct 2 --heading 1", "no_heading_sigma", "--heading-sigma"},
		{"log list --journey 0", "out_of_range", "--journey"},
		{"log list --journeys --superseded", "contradicting_flags", "--journeys and --superseded"},
		{"log where --to 95,3", "bad_position", "beyond 90"},
		{"log import", "nothing_to_import", "--entries"},
		{"log import photos", "no_odometers", "--odometers"},
		{"log import --odometers a.csv", "no_folder", "folder"},
		{"log import --odometers a.csv --entries b.csv", "contradicting_flags", "--odometers and --entries"},
		{"log import photos --entries b.csv", "contradicting_flags", "the folder photos"},
		{"log import photos --odometers a.csv --time 2026-03-14T09:26:53Z", "time_with_many_photos", "--utc-offset"},
		{"log copy", "missing_argument", "copy"},
		{"log chart", "no_output", ".svg, .png"},
		{"log chart -o a.pdf", "bad_format", ".svg, .png"},
		{"log report -o a.html --paper a4", "paper_without_output", "PDF"},
		{"log export -o a", "bad_format", ".gpx"},
		{"log compare", "missing_argument", ".gpx"},

		// Times that could be read two ways.
		{"declination --position 1,2 --time 2026-03-14T09:26:53", "no_utc_offset", "--utc-offset"},
		{"card --date 2026-03-14 --stop 1,2@2026-03-14T09:26:53 --course 1", "no_utc_offset", "--stop"},
		{"read --time 2026-03-14T09:26:53 --position 1,2 p.jpg", "no_utc_offset", "--utc-offset"},
		{"read --time 2026-03-14T09:26:53Z --utc-offset 2 p.jpg", "offset_conflict", "contradict"},
		{"read --time noon p.jpg", "bad_time", `"noon"`},

		// Flags that contradict each other are both named.
		{"sun --position 1,2 --time 2026-03-14T09:26:53Z --date 2026-03-14", "contradicting_flags", "--time and --date"},
		{"read --time 2026-03-14T09:26:53Z --clock-error 3 p.jpg", "contradicting_flags", "--time and --clock-error"},
		{"read --number 55 --overlay out", "contradicting_flags", "--number and --overlay"},
		{"read --number 55 --rod-height 50", "contradicting_flags", "--number and --rod-height"},
		{"read --number 55 p.jpg", "number_with_photo", "p.jpg"},
		{"declination --compass 9 --true-heading 8 p.jpg", "contradicting_flags", "--true-heading and the photo p.jpg"},
		{"declination --sightings a.csv --compass 9", "contradicting_flags", "--sightings and --compass"},
		{"declination --position 1,2 --time 2026-03-14T09:26:53Z --date 2026-03-14", "contradicting_flags", "--time and --date"},
		{"swing --sightings a.csv --card b --pdf b", "contradicting_flags", "one file"},
		{"card --date 2026-03-14 --position 1,2 --stop 1,2 --course 1", "contradicting_flags", "--position and --stop"},
		{"card --date 2026-03-14 --position 1,2 --course 1 --tolerance 2 --window 15", "contradicting_flags", "--tolerance and --window"},
		{"sheet --format png -o a.svg", "contradicting_flags", "--format png and --output a.svg"},
		{"sheet --dpi 300 -o a.pdf", "contradicting_flags", "--dpi"},
	} {
		t.Run(tt.line, func(t *testing.T) {
			t.Chdir(t.TempDir())
			var out, errs bytes.Buffer
			s := &streams{out: &out, err: &errs, json: true}
			if got := execute(context.Background(), strings.Fields(tt.line), s); got != exitUsage {
				t.Errorf("exit status %d, want %d", got, exitUsage)
			}
			if out.Len() > 0 {
				t.Errorf("standard output: %s", &out)
			}
			var m message
			if err := json.Unmarshal(errs.Bytes(), &m); err != nil {
				t.Fatalf("standard error is no single JSON object: %v\n%s", err, &errs)
			}
			if m.Level != "error" || m.Code != tt.code || !strings.Contains(m.Message+"\n"+m.Hint, tt.says) {
				t.Errorf("got %+v, want code %s with %q", m, tt.code, tt.says)
			}
			if !strings.Contains(m.Hint, "--help'") {
				t.Errorf("the hint %q names no help", m.Hint)
			}
		})
	}
}

// A machine whose battery is empty says a time long past: nothing is taken for now by it, and a
// time that is given counts.
func TestAClockLongPast(t *testing.T) {
	was := timeNow
	t.Cleanup(func() { timeNow = was })
	timeNow = func() time.Time { return time.Date(2000, 1, 1, 0, 3, 0, 0, time.UTC) }
	log := filepath.Join(t.TempDir(), "day.db")
	for _, tt := range []struct {
		line string
		want int
	}{
		{"read --number 82 --position -22.9,22.3", exitError},
		{"read --number 82 --position -22.9,22.3 --time 09:26 --utc-offset 2", exitError},
		{"read --number 82 --position -22.9,22.3 --time 2026-08-29T09:26:00+02:00", exitOK},
		{"log begin --position -22.90000,22.30000 --error 15 --odometer 1km", exitError},
		{"log begin --position -22.90000,22.30000 --error 15 --odometer 1km --time 2026-08-29T09:26:00+02:00 --accept time_ahead", exitOK},
		{"log leg 1 --heading 80 --heading-sigma 2", exitError},
		{"log leg 1 --number 82", exitError},
		{"log leg 1 --number 82 --time 2026-08-29T09:26:00+02:00 --accept time_ahead", exitOK},
		{"log where --stood", exitError},
		{"log where", exitOK},
	} {
		var out, errs bytes.Buffer
		s := newStreams(&out, &errs, func(name string) string { return map[string]string{logVariable: log}[name] })
		status := execute(t.Context(), append(strings.Fields(tt.line), "--json"), s)
		if said := strings.Contains(errs.String(), `"code":"clock_behind"`); status != tt.want || said != (tt.want != exitOK) {
			t.Errorf("%s: exit status %d, %s", tt.line, status, &errs)
		}
	}
}
