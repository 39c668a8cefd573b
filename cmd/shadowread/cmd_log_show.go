package main

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"shadowread/internal/angle"
	"shadowread/internal/fault"
	"shadowread/internal/geo"
	"shadowread/internal/logbook"
	"shadowread/internal/wording"
	"shadowread/internal/workup"
)

func newLogList(s *streams) *cobra.Command {
	var (
		log                  logFlag
		journey              = newJourneyFlag()
		superseded, journeys bool
	)
	cmd := &cobra.Command{
		Use:   "list",
		Short: "list the entries of a journey, with where the work-up puts each",
		Long: `List the entries of a journey in their order, each with its position as adjusted
by all fixes and the 95 % ellipse. Entries that wait for a heading, and fixes
that are not used, stand out. With --superseded what was corrected or withdrawn
stands there too.` +
			exits(exitOK, exitError, exitUsage),
		Example: `  shadowread log list
  shadowread log list --superseded --json
  shadowread log list --journeys`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			for _, name := range []string{"journey", "superseded"} {
				if err := exclusive(cmd, "journeys", name); err != nil {
					return err
				}
			}
			return log.with(cmd.Context(), s, false, func(book *logbook.Log) error {
				if journeys {
					return listJourneys(cmd, s, book)
				}
				return listEntries(cmd, s, book, int(journey.value), superseded)
			})
		},
	}
	f := cmd.Flags()
	f.SortFlags = false
	f.Var(&journey, "journey", journeyUsage)
	f.BoolVar(&superseded, "superseded", false, "entries that were corrected or withdrawn too")
	f.BoolVar(&journeys, "journeys", false, "the journeys in the log instead")
	log.add(cmd)
	addJSON(cmd, s)
	return cmd
}

func listEntries(cmd *cobra.Command, s *streams, book *logbook.Log, journey int, superseded bool) error {
	now, err := book.Snapshot(cmd.Context(), journey)
	if err != nil {
		return err
	}
	at := map[int]*workup.Point{}
	for _, p := range now.Track.Points {
		at[p.Entry.Number] = p.At
	}
	var list []listed
	for i := range now.Entries {
		if e := &now.Entries[i]; superseded || e.Stands() {
			list = append(list, listed{e, at[e.Number]})
		}
	}
	if err := printList(s, list); err != nil {
		return err
	}
	for _, l := range now.Track.Lost {
		s.note("position_lost", "there was no estimated position from there on: %s", l.Error())
	}
	return nil
}

type journeyJSON struct {
	Journey int      `json:"journey"`
	Began   string   `json:"began_utc"`
	From    spotJSON `json:"from"`
	Entries int      `json:"entries"`
	Note    string   `json:"note"`
}

func listJourneys(cmd *cobra.Command, s *streams, book *logbook.Log) error {
	journeys, err := book.Journeys(cmd.Context())
	if err != nil {
		return err
	}
	t := table{s: s, columns: []column{{head: "journey", right: true}, {head: "began UTC", width: 19}, {head: "from", width: 21}, {head: "entries", right: true}, {head: "notes"}}}
	for _, j := range journeys {
		d := j.Departure.Content.(*logbook.Departure)
		if s.json {
			if err := s.printJSON(journeyJSON{j.Number, j.Departure.Time.UTC().Format(time.RFC3339Nano), *spotOf(d.Position, d.Sigma), j.Entries, j.Departure.Note}); err != nil {
				return err
			}
			continue
		}
		cells := []string{strconv.Itoa(j.Number), j.Departure.Time.UTC().Format(time.RFC3339Nano), d.Position.String(), strconv.Itoa(j.Entries), plain(j.Departure.Note)}
		if s.outTTY {
			cells[1] = j.Departure.Time.UTC().Format(time.DateTime)
		}
		if err := t.row("", cells...); err != nil {
			return err
		}
	}
	return nil
}

type whereOptions struct {
	log     logFlag
	journey quantity
	to      parsed[geo.Position]
}

func newLogWhere(s *streams) *cobra.Command {
	o := whereOptions{journey: newJourneyFlag(), to: parsed[geo.Position]{name: "LAT,LON", parse: geo.ParsePosition}}
	cmd := &cobra.Command{
		Use:   "where",
		Short: "tell where you are, how sure that is, and how to go on",
		Long: `Tell the estimated position after the last entry, with its 95 % ellipse, the
last fix, and what is known of the instrument. With --to: course and distance to
go, as the rhumb line, which one true heading follows, and as the shortest way,
and how to turn.` +
			exits(exitOK, exitError, exitUsage),
		Example: `  shadowread log where
  shadowread log where --to -20.7,25.9 --json`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return o.log.with(cmd.Context(), s, false, func(book *logbook.Log) error {
				w, err := book.Where(cmd.Context(), int(o.journey.value))
				if err != nil {
					return err
				}
				var way *workup.ToGo
				if o.to.set {
					g, err := workup.Courses(w.Estimate.Position, w.Estimate.Cov, o.to.value, w.Estimate.Heading)
					if err != nil {
						return err
					}
					way = &g
				}
				return printWhere(s, w, o.to.given(), way)
			})
		},
	}
	f := cmd.Flags()
	f.SortFlags = false
	f.Var(&o.to, "to", "the destination, as -20.6142,25.4310 or \"20 36.852 S, 25 25.860 E\"")
	f.Var(&o.journey, "journey", journeyUsage)
	o.log.add(cmd)
	addJSON(cmd, s)
	return cmd
}

type (
	whereJSON struct {
		Journey          int             `json:"journey"`
		Time             time.Time       `json:"time_utc"`
		Estimate         *spotJSON       `json:"estimate"`
		Heading          *float64        `json:"heading_true_deg"` // of the leg in hand, with what is known of the instrument
		Since            time.Time       `json:"since_utc"`        // the last fix used, or the departure
		Run              float64         `json:"run_m"`            // as logged since then
		Closing          *closingJSON    `json:"closing"`          // the last fix's
		Instruments      instrumentsJSON `json:"instruments"`
		NeedHeading      []int           `json:"need_heading"`
		NeedConfirmation []int           `json:"need_confirmation"`
		ToGo             *toGoJSON       `json:"to_go"`
	}
	instrumentsJSON struct {
		Mount         float64 `json:"mount_deg"` // is added to headings by the dial
		MountSigma    float64 `json:"mount_sigma_deg"`
		LeanStarboard float64 `json:"lean_starboard_deg"`
		LeanStarbSig  float64 `json:"lean_starboard_sigma_deg"`
		LeanForward   float64 `json:"lean_forward_deg"`
		LeanForwSigma float64 `json:"lean_forward_sigma_deg"`
		Scale         float64 `json:"odometer_scale"` // true = odometer x (1 + scale)
		ScaleSigma    float64 `json:"odometer_scale_sigma"`
		DriftNorth    float64 `json:"drift_north_mps"`
		DriftNSigma   float64 `json:"drift_north_sigma_mps"`
		DriftEast     float64 `json:"drift_east_mps"`
		DriftESigma   float64 `json:"drift_east_sigma_mps"`
	}
	toGoJSON struct {
		To               *spotJSON `json:"to"`
		Course           float64   `json:"course_deg"` // rhumb line
		CourseSigma      float64   `json:"course_sigma_deg"`
		Distance         float64   `json:"distance_m"`
		DistanceSigma    float64   `json:"distance_sigma_m"`
		GeodesicCourse   float64   `json:"geodesic_course_deg"` // on setting out
		GeodesicDistance float64   `json:"geodesic_distance_m"`
		Turn             *float64  `json:"turn_deg"` // right positive; null without a heading in hand
		Within           bool      `json:"within_ellipse"`
	}
)

func whereOf(w *logbook.Whereabouts, to *geo.Position, g *workup.ToGo) whereJSON {
	e, sh := &w.Estimate, w.Shared
	out := whereJSON{
		Journey: w.Journey, Time: e.Time.UTC(), Estimate: workedSpot(e.Position, e.Cov), Since: e.Since.UTC(), Run: metres(e.Run),
		Closing: closingOf(w.Closing), NeedHeading: append([]int{}, w.NeedHeading...), NeedConfirmation: append([]int{}, w.NeedConfirmation...),
		Instruments: instrumentsJSON{
			wording.Degrees(sh.Mount, 4), wording.Degrees(sh.MountSigma, 4), wording.Degrees(sh.LeanX, 4), wording.Degrees(sh.LeanXSigma, 4), wording.Degrees(sh.LeanY, 4), wording.Degrees(sh.LeanYSigma, 4),
			wording.Round(sh.Scale, 6), wording.Round(sh.ScaleSigma, 6),
			wording.Round(float64(sh.DriftN), 5), wording.Round(float64(sh.DriftNSigma), 5), wording.Round(float64(sh.DriftE), 5), wording.Round(float64(sh.DriftESigma), 5),
		},
	}
	if e.Steered {
		out.Heading = new(wording.BearingDegrees(e.Heading, 4))
	}
	if g != nil {
		spot := spotOf(*to, 0)
		spot.Sigma = nil
		out.ToGo = &toGoJSON{spot, wording.BearingDegrees(g.Course, 4), wording.Degrees(g.CourseSigma, 4), metres(g.Distance), metres(g.DistanceSigma),
			wording.BearingDegrees(g.GeodesicCourse, 4), metres(g.GeodesicDistance), nil, g.Within}
		if e.Steered {
			out.ToGo.Turn = new(wording.Degrees(g.Turn, 4))
		}
	}
	return out
}

func printWhere(s *streams, w *logbook.Whereabouts, to *geo.Position, g *workup.ToGo) error {
	j := whereOf(w, to, g)
	if s.json {
		return s.printJSON(j)
	}
	if !s.outTTY {
		cells := append([]string{j.Time.Format(time.RFC3339Nano)}, spotCells(w.Estimate.Position, w.Estimate.Cov)...)
		cells = append(cells, j.Since.Format(time.RFC3339Nano), fmt.Sprintf("%.1f", j.Run), decimal(j.Heading, 4))
		if t := j.ToGo; t != nil {
			cells = append(cells, decimal(&t.Course, 4), decimal(&t.CourseSigma, 4), decimal(&t.Distance, 1), decimal(&t.DistanceSigma, 1), decimal(t.Turn, 4))
		} else {
			cells = append(cells, "", "", "", "", "")
		}
		return (&table{s: s}).row("", cells...)
	}
	whereForPeople(s, w, to, g)
	return nil
}

func whereForPeople(s *streams, w *logbook.Whereabouts, to *geo.Position, g *workup.ToGo) {
	e := &w.Estimate
	fmt.Fprintf(s.out, "%s\n", s.paint(bold, fmt.Sprintf("%s at %s", e.Position, utcText(e.Time))))
	labelled(s, "95 % within", "%s", ellipseText(w.Ellipse))
	since := "the departure, "
	switch c := w.Closing; {
	case c == nil:
	case c.Used:
		since = "the fix, "
	default: // a fix before that one, or the departure
		since = ""
	}
	labelled(s, "since", "%s%s, %s run", since, utcText(e.Since), wording.Length(e.Run))
	if e.Steered {
		labelled(s, "heading", "%s° true, of the leg in hand", wording.Bearing(e.Heading, 1))
	}
	if c := w.Closing; c != nil {
		labelled(s, "last fix", "%s", closingText(c))
	}
	if g != nil {
		toGoForPeople(s, w, *to, g)
	}
	fmt.Fprintln(s.out)
	learnt(s, w.Shared)
	for _, n := range w.NeedHeading {
		fmt.Fprintln(s.out, s.paint(red, fmt.Sprintf("entry %d needs a heading: %s", n, waitsFor(n))))
	}
	for _, n := range w.NeedConfirmation {
		fmt.Fprintln(s.out, s.paint(red, fmt.Sprintf("the fix of entry %d is not used; if it is right: shadowread log fix --confirm %d", n, n)))
	}
	fmt.Fprintf(s.out, "%s\n", s.paint(dim, "± is one sigma; never the sole means of navigation; see shadowread help cautions"))
}

func toGoForPeople(s *streams, w *logbook.Whereabouts, to geo.Position, g *workup.ToGo) {
	fmt.Fprintln(s.out)
	labelled(s, "to go", "to %s", to)
	if g.Within {
		fmt.Fprintln(s.out, s.paint(yellow, s.wrap(13, "it lies within the ellipse: look round before you go on, the course says little")))
	}
	// Nobody steers by hundredths of a degree, whatever the position is good for.
	labelled(s, "course", "%s° ± %s° true, %s ± %s by the rhumb line: come to this heading and hold it",
		wording.Bearing(g.Course, 1), wording.Fixed(max(g.CourseSigma, angle.Degree/10), 1), wording.Length(g.Distance), wording.Length(g.DistanceSigma))
	labelled(s, "shortest way", "%s, setting out on %s°", wording.Length(g.GeodesicDistance), wording.Bearing(g.GeodesicCourse, 1))
	if w.Estimate.Steered {
		labelled(s, "turn", "%s", wording.Come(g.Turn, 1))
	}
}

// learnt says what is known of the instruments.
func learnt(s *streams, sh workup.Shared) {
	labelled(s, "mount", "%s is added to headings by the dial", wording.SignedWith(sh.Mount, sh.MountSigma))
	labelled(s, "lean", "%s to starboard, %s forward, of the rod from plumb", wording.SignedWith(sh.LeanX, sh.LeanXSigma), wording.SignedWith(sh.LeanY, sh.LeanYSigma))
	labelled(s, "odometer", "%+.2f ± %.2f %% is added to its distances", 100*sh.Scale, 100*sh.ScaleSigma)
	if sh.DriftNSigma > 0 || sh.DriftESigma > 0 {
		labelled(s, "drift", "%+.3f ± %.3f m/s north, %+.3f ± %.3f m/s east", float64(sh.DriftN), float64(sh.DriftNSigma), float64(sh.DriftE), float64(sh.DriftESigma))
	}
}

type checkJSON struct {
	OK       bool              `json:"ok"`
	Entries  int               `json:"entries"`
	Journeys int               `json:"journeys"`
	Schema   int               `json:"schema_version"`
	Head     string            `json:"head_sha256"`
	Problems []logbook.Problem `json:"problems"`
}

func newLogCheck(s *streams) *cobra.Command {
	var (
		log     logFlag
		rebuild bool
	)
	cmd := &cobra.Command{
		Use:   "check",
		Short: "check the whole log: file, hashes, chain, and what follows of it",
		Long: `Check the whole log: the file, its schema, the hash of every entry and its tie
to the one before, what is kept beside entries, and that every entry follows
from those before it.

The chain does not show the loss of the last entries, nor one that was
recomputed whole. For that, note the last hash elsewhere: on paper, in a
message.` + exits(exitOK, exitError, exitUsage),
		Example: `  shadowread log check`,
		Args:    noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if rebuild {
				s.note("nothing_to_rebuild", "--rebuild does nothing any more: positions are worked up from the entries each time")
			}
			return log.with(cmd.Context(), s, false, func(book *logbook.Log) error {
				r, err := book.Check(cmd.Context())
				if err != nil {
					return err
				}
				if err := printCheckOfLog(s, r); err != nil || r.OK() {
					return err
				}
				return fault.New("log_damaged", "keep a copy of the file as it is; what stands before the first problem may be trusted", "the log has %s", wording.Count(len(r.Problems), "problem"))
			})
		},
	}
	cmd.Flags().SortFlags = false
	// Older versions kept what the work-up came to; who has this in a script may keep it.
	cmd.Flags().BoolVar(&rebuild, "rebuild", false, "does nothing any more")
	cmd.Flags().MarkHidden("rebuild")
	log.add(cmd)
	addJSON(cmd, s)
	return cmd
}

func printCheckOfLog(s *streams, r *logbook.Report) error {
	if s.json {
		return s.printJSON(checkJSON{r.OK(), r.Entries, r.Journeys, r.Schema, r.Head, append([]logbook.Problem{}, r.Problems...)})
	}
	if !s.outTTY {
		t := &table{s: s}
		if err := t.row("", "log", strconv.Itoa(r.Entries), strconv.Itoa(r.Journeys), strconv.Itoa(r.Schema), r.Head); err != nil {
			return err
		}
		for _, p := range r.Problems {
			entry := ""
			if p.Entry != 0 {
				entry = strconv.Itoa(p.Entry)
			}
			if err := t.row("", "problem", entry, p.Code, plain(p.Message)); err != nil {
				return err
			}
		}
		return nil
	}
	verdict := s.paint(bold, "nothing is wrong")
	if !r.OK() {
		verdict = s.paint(red, wording.Count(len(r.Problems), "problem"))
	}
	fmt.Fprintf(s.out, "%s: %s in %s\n", verdict, entriesText(r.Entries), wording.Count(r.Journeys, "journey"))
	labelled(s, "last hash", "%s", r.Head)
	for _, p := range r.Problems {
		where := "the log"
		if p.Entry != 0 {
			where = fmt.Sprintf("entry %d", p.Entry)
		}
		fmt.Fprintf(s.out, "%s: %s (%s)\n", where, plain(p.Message), p.Code)
	}
	return nil
}

func entriesText(n int) string {
	return strings.Replace(wording.Count(n, "entry"), "entrys", "entries", 1)
}

func newLogCopy(s *streams) *cobra.Command {
	var log logFlag
	cmd := &cobra.Command{
		Use:   "copy FILE",
		Short: "copy the log to one file, while it may be in use",
		Long: `Copy the log to one file, as it stands at this moment, while others may be
writing to it. The copy is whole or not there. A plain copy of the file may miss
its last entries, which can stand in another file beside it.` + exits(exitOK, exitError, exitUsage),
		Example: `  shadowread log copy evening.db`,
		Args:    oneArg("file", "name the file to write, as shadowread log copy evening.db"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return log.with(cmd.Context(), s, false, func(book *logbook.Log) error {
				if err := book.CopyTo(cmd.Context(), args[0]); err != nil {
					return err
				}
				s.note("wrote", "wrote %s", args[0])
				return nil
			})
		},
	}
	cmd.Flags().SortFlags = false
	log.add(cmd)
	addJSON(cmd, s)
	return cmd
}
