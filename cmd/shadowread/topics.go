package main

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"shadowread/internal/bearing"
	"shadowread/internal/telling"
)

// cautions go with every reading in some form: the sheet prints them too.
var cautions = "- " + strings.Join(telling.Cautions, "\n- ")

// helpTopics are pages of help without a command.
func helpTopics() []*cobra.Command {
	return []*cobra.Command{exitCodesTopic(), environmentTopic(), timeTopic(), cautionsTopic()}
}

func exitCodesTopic() *cobra.Command {
	return &cobra.Command{
		Use:   "exit-codes",
		Short: "what the exit statuses mean",
		Long: "shadowread ends with one of these statuses." + exits(exitOK, exitError, exitUsage, exitRefused, exitOutside, exitInterrupted) + `

A photo that cannot be opened or decoded is refused, not an error: the others
are still read. With --json each refusal has its reason in the photo's object.

A first interrupt (Ctrl-C) lets running work end, prints no further result and
leaves no half-written file. A second one ends the program at once.`,
	}
}

func environmentTopic() *cobra.Command {
	return &cobra.Command{
		Use:   "environment",
		Short: "environment variables, terminals and pipes",
		Long: `Four variables of this program are looked at. XDG_DATA_HOME says where its data
are: without it .local/share at home, on macOS Library/Application Support, on
Windows AppData\Local.

    SHADOWREAD_LOG        the log of shadowread log, and where shadowread read
                          takes a position from that is not known otherwise;
                          --log goes before it
    NO_COLOR              set to anything: no colour
    TERM                  "dumb": no colour, and steer writes anew each minute
                          in place of drawing over
    SHADOWREAD_FORCE_TTY  set to anything: lay results out as on a terminal even
                          in a pipe

The machine's time zone and language are not looked at. Times are UTC unless
they carry an offset.

On a terminal results are laid out for people. In a pipe each record is one line
of values parted by tabs, below a line led by "# " that names them, mostly by
their keys in JSON; grep -v '^# ' leaves the records alone.

Of lens, align, swing and log check the records are of several kinds, each named
by its first value and led by a line of its own. Values that want a word:

    come_deg         the turn to --course, right positive; of steer turn_deg
    number_deg       of steer: the number to hold; next_number_deg is the whole
                     number that is the nearest from next_time_utc on
    largest_term     what makes up most of the uncertainty
    notes            codes, parted by commas; of a refused photo, which has no
                     heading, the first is the reason
    determined       "determined" or "open"; rests_on is what half of the sigma
                     or more rests on
    how              where a leg's heading is from: photo, number or hand
    semi_major_m     half the length of the 95 % ellipse; major_bearing_deg is
                     how it lies

Angles are degrees, lengths millimetres; what is not known is empty. Scripts do
better with --json, where each value has a name.`,
	}
}

func timeTopic() *cobra.Command {
	return &cobra.Command{
		Use:   "time",
		Short: "where the time of a photo comes from",
		Long: `A minute of time is worth about a quarter of a degree of heading, several times
as much when the sun is high. The time of a photo is taken from the first of
these:

    option                --time, RFC 3339: 2026-03-14T09:26:53+02:00, or
                          without the offset and with --utc-offset; one photo
                          only
    camera_option_offset  the camera's clock, with --utc-offset, or with that
                          of the log's journey where the photo has none
    camera_exif_offset    the camera's clock, with the offset that the camera
                          wrote
    camera_gps_offset     the camera's clock, with the offset to the photo's GPS
                          stamp, where that is the civil offset at the position
    camera_zone_map       the camera's clock, with the civil offset at the
                          position, from a map of time zones; it warns

If none is there, or the clock, the GPS stamp and the zone disagree, the photo
is refused. The source is the key time_source of --json.

--utc-offset is how far the clock is ahead of UTC: +02:00, -03:30, Z or decimal
hours to the quarter (2, -3.5). East of Greenwich is positive. An offset that no
place within 300 km kept on that day, given or written by the camera, is warned
of (offset_not_local): a sign or a digit is wrong, or the longitude.

--clock-error is how many seconds the camera's clock is fast; a slow one is
negative. It is taken off camera times only. To find it, take a photo of a clock
that is right. A known error, 0 included, makes the clock a checked one: its
sigma falls from 30 s to 2 s. The sigma of --time is 5 s, or 17.3 s without
seconds (2026-03-14T09:26+02:00; 09:26 alone is today's). --time-sigma overrides
these.

Times lie in the years ` + fmt.Sprintf("%d to %d", bearing.FirstYear, bearing.LastYear) + `, for which the sky is computed.`,
	}
}

func cautionsTopic() *cobra.Command {
	return &cobra.Command{
		Use:   "cautions",
		Short: "what to mind, for your eyes and your way",
		Long: cautions + `

What limits a heading most is the rod from plumb: a degree across the shadow
turns it by a degree times the tangent of the sun's altitude. Level the board
with a bubble (--level-sigma 0.5, the default); by eye it is 2 degrees. A parked
vehicle stands on a slope: level the board, not the vehicle.

The heading is that of the sheet's forward axis. How well that lies along the
vehicle's is --lubber-sigma; its default 0 speaks of the sheet alone.

The print may be stretched: measure the outer edges of the corner marks, 176 mm
both ways, and give --print-scale where they differ.`,
	}
}
