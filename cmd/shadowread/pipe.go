package main

import (
	"fmt"
	"strings"
)

// pipeHeadings name the values of each kind of record in a pipe, by the keys of JSON where
// there is one. Where a result has records of several kinds, each is named by its first
// value.
var pipeHeadings = map[string]string{
	"read": `photo time_utc body body_altitude_deg heading_true_deg heading_sigma_deg come_deg largest_term
		heading_magnetic_deg heading_magnetic_sigma_deg heading_compass_deg heading_compass_sigma_deg
		course_compass_deg course_compass_sigma_deg heading_grid_deg heading_grid_sigma_deg notes`,
	"steer": `time_utc course_deg number_deg heading_sigma_deg body body_altitude_deg next_number_deg next_time_utc
		usable_until_utc usable_from_utc turn_deg course_compass_deg course_compass_sigma_deg course_grid_deg course_grid_sigma_deg notes`,
	"sky":               "time_utc azimuth_deg altitude_deg altitude_airless_deg azimuth_rate_deg_per_hour shadow_direction_deg shadow_length_mm",
	"lens lens":         "lens parameter value sigma unit",
	"lens view":         "view photo marks off_vertical_deg rms_px share",
	"lens skipped":      "skipped photo reason",
	"check print":       "print stretch sigma curl_mm",
	"check view":        "view photo stretch sigma",
	"check skipped":     "skipped photo reason",
	"align value":       "value name value sigma unit determined rests_on",
	"align reading":     "reading name time_utc residual_deg sigma_deg set_aside",
	"align verdict":     "verdict text",
	"declination":       "observed_deg observed_sigma_deg readings model_deg model_sigma_deg model_change_deg_per_year zone difference_deg difference_sigmas",
	"swing coefficient": "coefficient name value_deg sigma_deg handbook_deg meaningless",
	"swing reading":     "reading line compass_deg magnetic_deg deviation_deg residual_deg outlier",
	"swing steer":       "steer magnetic_deg compass_deg deviation_deg sigma_deg",
	"swing read":        "read compass_deg magnetic_deg deviation_deg sigma_deg",
	"card":              "from until azimuth_deg greatest_error_deg level_cost_deg rule_error_deg number_deg...",
	"added":             "entry kind time_utc odometer heading_true_deg heading_sigma_deg how latitude_deg longitude_deg semi_major_m semi_minor_m major_bearing_deg note",
	"list":              "entry kind time_utc odometer heading_true_deg heading_sigma_deg how latitude_deg longitude_deg semi_major_m semi_minor_m major_bearing_deg supersedes superseded_by note",
	"journeys":          "journey began_utc from entries note",
	"where": `time_utc latitude_deg longitude_deg semi_major_m semi_minor_m major_bearing_deg since_utc run_m heading_true_deg
		course_deg course_sigma_deg distance_m distance_sigma_m turn_deg`,
	"compare": `entry time_utc receiver estimated_distance_m estimated_bearing_deg estimated_sigmas
		adjusted_distance_m adjusted_bearing_deg adjusted_sigmas`,
	"settings":    "setting value",
	"log log":     "log entries journeys schema last_hash",
	"log problem": "problem entry code message",
}

// pipeLead begins a line of headings, as it begins a comment in the CSV files that the
// program reads: what wants records alone passes over such lines.
const pipeLead = "# "

// pipeHeading prints the line that names the values of a record, before the first of its
// kind.
func (t *table) pipeHeading(cells []string) error {
	kind := t.pipe
	names, ok := pipeHeadings[kind]
	if !ok && len(cells) > 0 {
		kind += " " + cells[0]
		names = pipeHeadings[kind]
	}
	if t.headed[kind] || names == "" {
		return nil
	}
	if t.headed == nil {
		t.headed = map[string]bool{}
	}
	t.headed[kind] = true
	heads := strings.Fields(names)
	if last := len(heads) - 1; strings.HasSuffix(heads[last], "...") { // one for each of the rest
		heads[last] = strings.TrimSuffix(heads[last], "...")
		for len(heads) < len(cells) {
			heads = append(heads, heads[last])
		}
	}
	_, err := fmt.Fprintln(t.s.out, pipeLead+strings.Join(heads, "\t"))
	return err
}
