package main

import (
	"fmt"
	"io"
	"math"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/parquet-go/parquet-go"

	"rowen/report"
)

// How a truth was judged. What cannot be known from the data is right only where
// the program says that it does not know.
const (
	right    = "right"
	missed   = "missed"
	mistaken = "false"
)

// truth is one thing that a data set's description says of a home.
type truth struct {
	set, says string
	hear      func(r *report.SiteRow) (said, verdict string)
}

// truths are those of the sets' own descriptions.
var truths = []truth{
	{"italy", "array begins on 2019-09-13", caveat("array_arrived")},
	{"italy", "array extended from 2023-04-11 to 16; only days are read", grewOrNoSky},
	{"italy", "second inverter from 2024-04-29; only days are read", grewOrNoSky},
	{"italy", "a step of mid July 2022 whose cause nobody knows", noSureCause("2022-07-15", 20)},
	{"italy", "car from 2023-05-14", load("ev_charging", "2023-05-14", 14)},
	{"italy", "heat pump from 2023-09-19, heating from 2023-11-01", load("heat_pump", "2023-10-10", 31)},
	{"italy", "12,546 kWh used in 2024", used(12546)},
	{"italy", "nothing else came or left", noOther("2022-07-15", "2023-05-14", "2023-10-10")},
	{"home_a", "no car and no heat pump", without("ev_charging", "heat_pump")},
	{"home_a", "4,336 kWh used and 3,659 made in 2022 (the report year ends in March 2023)", about(4336, 3659, 0.08)},
	{"home_a", "array west of south", facing(200, 300, 0, 90)},
	{"home_b", "array west of south", facing(200, 300, 0, 90)},
	{"home_b", "nothing came or left", noOther()},
	{"home_b", "its clock is right", clock(false)},
	{"home_c", "car from 2021-09-12; a net meter alone", load("ev_charging", "2021-09-12", 14)},
	{"home_c", "nothing else came; the array grew in February 2022, which a net meter does not show", noOther("2021-09-12")},
	{"home_d", "no readings from 2024-11-29 to 2025-01-15", caveat("gap")},
	{"home_d", "a larger array from January 2025", grew("2025-01-15", 31)},
	{"home_f", "summers rise in 2022, winters halve from December 2021: steps, no trend", caveat("step_change")},
	{"colorado_1", "stamps follow summer time, the file says a fixed zone", clock(true)},
	{"colorado_1", "facing 158, tilt 45: not told while the clock is off", withheld},
	{"colorado_1", "nothing wrong with the array", healthy},
	{"colorado_1_civil", "facing 158, tilt 45", faces(158, 45)},
	{"colorado_1_civil", "its clock is right", clock(false)},
	{"colorado_1_civil", "nothing wrong with the array", healthy},
	{"colorado_2", "facing 158, tilt 45; 104 days", faces(158, 45)},
	{"colorado_2", "its clock is right", clock(false)},
	{"colorado_2", "nothing wrong with the array", healthy},
	{"hidden_dst_fixed", "stamps follow summer time, the file says a fixed zone", clock(true)},
	{"hidden_dst", "its clock is right", clock(false)},
	{"sentinels", "three values of -1000000 kW are none", sane(7 * 8760)},
	{"sentinels", "nothing wrong with the array", healthy},
}

func date(text string) time.Time {
	t, err := time.Parse(time.DateOnly, text)
	if err != nil {
		panic(err)
	}
	return t
}

func stamp(days int32) time.Time { return time.Unix(int64(days)*86400, 0).UTC() }

func daysApart(days int32, text string) int {
	return int(math.Abs(math.Round(stamp(days).Sub(date(text)).Hours() / 24)))
}

func eventsOf(r *report.SiteRow) string {
	var all []string
	for _, e := range r.LoadEvents {
		all = append(all, fmt.Sprintf("%s %s %.0f kWh (%.2f)", stamp(e.On).Format(time.DateOnly), e.Kind, e.KWhYr, e.Score))
	}
	if len(all) == 0 {
		return "no event"
	}
	return strings.Join(all, "; ")
}

type hearing = func(r *report.SiteRow) (said, verdict string)

// load: a load of a kind came, dated to within days.
func load(kind, on string, days int) hearing {
	return func(r *report.SiteRow) (string, string) {
		for _, e := range r.LoadEvents {
			if e.Kind == kind && e.KWhYr > 0 && daysApart(e.On, on) <= days {
				return fmt.Sprintf("%s %s", stamp(e.On).Format(time.DateOnly), kind), right
			}
		}
		return eventsOf(r), missed
	}
}

// noSureCause: something changed, dated to within days, and no cause is sure.
func noSureCause(on string, days int) hearing {
	return func(r *report.SiteRow) (string, string) {
		for _, e := range r.LoadEvents {
			if daysApart(e.On, on) > days {
				continue
			}
			said := fmt.Sprintf("%s %s (%.2f)", stamp(e.On).Format(time.DateOnly), e.Kind, e.Score)
			if e.Kind == "other" || e.Score <= 0.6 {
				return said, right
			}
			return said, mistaken
		}
		return eventsOf(r), missed
	}
}

// noOther: no event but those near these dates.
func noOther(near ...string) hearing {
	return func(r *report.SiteRow) (string, string) {
		for _, e := range r.LoadEvents {
			if !slices.ContainsFunc(near, func(on string) bool { return daysApart(e.On, on) <= 31 }) {
				return eventsOf(r), mistaken
			}
		}
		return "none", right
	}
}

func without(kinds ...string) hearing {
	return func(r *report.SiteRow) (string, string) {
		for _, e := range r.LoadEvents {
			if slices.Contains(kinds, e.Kind) {
				return eventsOf(r), mistaken
			}
		}
		return "none", right
	}
}

func caveat(code string) hearing {
	return func(r *report.SiteRow) (string, string) {
		if slices.Contains(r.Caveats, code) {
			return code, right
		}
		return strings.Join(r.Caveats, " "), missed
	}
}

// grew: an array that grew, dated to within days.
func grew(on string, days int) hearing {
	return func(r *report.SiteRow) (string, string) {
		for _, f := range r.FaultDetails {
			if f.Code == "array_grew" && f.On != nil && daysApart(*f.On, on) <= days {
				return f.Code + " " + stamp(*f.On).Format(time.DateOnly), right
			}
		}
		if slices.Contains(r.Caveats, "array_grew") {
			return "array_grew", right
		}
		return strings.Join(r.Caveats, " "), missed
	}
}

// grewOrNoSky: days alone show no sky, and the program says so.
func grewOrNoSky(r *report.SiteRow) (string, string) {
	if slices.Contains(r.Caveats, "no_sky") {
		return "no_sky: the array is not judged", right
	}
	return strings.Join(r.Caveats, " "), missed
}

func used(kWh float64) hearing {
	return func(r *report.SiteRow) (string, string) {
		if r.ConsumptionKWhYr == nil {
			return "not known", missed
		}
		said := fmt.Sprintf("%.0f kWh in the report year", *r.ConsumptionKWhYr)
		if math.Abs(*r.ConsumptionKWhYr-kWh) > 0.03*kWh {
			return said, mistaken
		}
		return said, right
	}
}

func about(use, made, rel float64) hearing {
	return func(r *report.SiteRow) (string, string) {
		if r.ConsumptionKWhYr == nil || r.ProductionKWhYr == nil {
			return "not known", missed
		}
		said := fmt.Sprintf("%.0f and %.0f kWh", *r.ConsumptionKWhYr, *r.ProductionKWhYr)
		if math.Abs(*r.ConsumptionKWhYr-use) > rel*use || math.Abs(*r.ProductionKWhYr-made) > rel*made {
			return said, mistaken
		}
		return said, right
	}
}

func planeOf(r *report.SiteRow) (p report.PlaneRow, sd float64, said string) {
	if len(r.Planes) != 1 || r.Planes[0].SDDeg == nil {
		return p, 0, fmt.Sprintf("%d planes", len(r.Planes))
	}
	p, sd = r.Planes[0], *r.Planes[0].SDDeg
	return p, sd, fmt.Sprintf("%.0f° / %.0f°, give or take %.0f°", p.AzimuthDeg, p.TiltDeg, 1.645*sd)
}

// facing: within a range.
func facing(azFrom, azTo, tiltFrom, tiltTo float64) hearing {
	return func(r *report.SiteRow) (string, string) {
		p, sd, said := planeOf(r)
		switch {
		case sd == 0:
			return said, missed
		case p.AzimuthDeg < azFrom || p.AzimuthDeg > azTo || p.TiltDeg < tiltFrom || p.TiltDeg > tiltTo:
			return said, mistaken
		}
		return said, right
	}
}

// faces: the truth lies in the 90 % interval that is told, an angle between normals:
// the azimuth turns by as much over the sine of the tilt.
func faces(azimuth, tilt float64) hearing {
	return func(r *report.SiteRow) (string, string) {
		p, sd, said := planeOf(r)
		switch {
		case sd == 0:
			return said, missed
		case math.Abs(p.AzimuthDeg-azimuth)*math.Sin(tilt*math.Pi/180) > 1.645*sd || math.Abs(p.TiltDeg-tilt) > 1.645*sd:
			return said, mistaken
		}
		return said, right
	}
}

// withheld: a facing so doubtful that nobody goes by it.
func withheld(r *report.SiteRow) (string, string) {
	_, sd, said := planeOf(r)
	if sd >= 30 || len(r.Planes) == 0 {
		return said, right
	}
	return said, mistaken
}

func clock(off bool) hearing {
	return func(r *report.SiteRow) (string, string) {
		is := slices.Contains(r.Caveats, "clock_off")
		said := map[bool]string{true: "clock_off", false: "nothing"}[is]
		switch {
		case is == off:
			return said, right
		case off:
			return said, missed
		}
		return said, mistaken
	}
}

func healthy(r *report.SiteRow) (string, string) {
	if len(r.FaultDetails) == 0 {
		return "no fault", right
	}
	return strings.Join(r.ArrayFaults, " "), mistaken
}

func sane(mostKWh float64) hearing {
	return func(r *report.SiteRow) (string, string) {
		if r.ProductionKWhYr == nil {
			return "not known", missed
		}
		said := fmt.Sprintf("%.0f kWh a year", *r.ProductionKWhYr)
		if *r.ProductionKWhYr < 0 || *r.ProductionKWhYr > mostKWh {
			return said, mistaken
		}
		return said, right
	}
}

// line is one truth with what the program says.
type line struct {
	truth
	said, verdict string
}

// judgeAll runs the job on every set and holds what it says against the truths.
func judgeAll(data, dir, binary string) ([]line, error) {
	rows := map[string]*report.SiteRow{}
	for i := range sets {
		s := &sets[i]
		fleet := filepath.Join(dir, s.name)
		if err := s.plant(data, fleet); err != nil {
			return nil, err
		}
		run := filepath.Join(fleet, "run")
		if out, err := exec.Command(binary, "run", fleet, "--out", run).CombinedOutput(); err != nil {
			return nil, fmt.Errorf("running %s: %w\n%s", s.name, err, out)
		}
		sites, err := parquet.ReadFile[report.SiteRow](filepath.Join(run, "sites.parquet"))
		if err != nil {
			return nil, err
		}
		rows[s.name] = &sites[0]
	}
	lines := make([]line, len(truths))
	for i, t := range truths {
		said, verdict := t.hear(rows[t.set])
		lines[i] = line{t, said, verdict}
	}
	return lines, nil
}

// table prints the truths as a table of Markdown, and the totals.
func table(w io.Writer, lines []line) {
	count := map[string]int{}
	fmt.Fprintln(w, "| set | truth | said | |\n| --- | --- | --- | --- |")
	for _, l := range lines {
		count[l.verdict]++
		fmt.Fprintf(w, "| %s | %s | %s | %s |\n", l.set, l.says, l.said, l.verdict)
	}
	fmt.Fprintf(w, "\n%d truths: %d right, %d missed, %d false\n", len(lines), count[right], count[missed], count[mistaken])
}
