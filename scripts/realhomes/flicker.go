package main

import (
	"context"
	"fmt"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"rowen/analyze"
	"rowen/analyze/array"
	"rowen/analyze/headroom"
	"rowen/analyze/option"
	"rowen/analyze/rank"
	"rowen/analyze/sky"
	"rowen/analyze/sun"
	"rowen/config"
	"rowen/ingest"
	"rowen/ingest/ledger"
	"rowen/ingest/quality"
	"rowen/ingest/register"
)

// Rules of the measurement.
const (
	monthEnds = 10 // successive ones at which a series is judged
	sameDays  = 31 // a fault that moves by more is another
)

// series is a fleet that is judged at the month ends up to one.
type series struct {
	name  string // of the fleet's folder
	last  string // month as 2020-05; "": the last complete one
	days  bool   // only days are read
	wrong bool   // its clock is, and it is there with the right one too
}

// reruns are the series: every set with production, the five homes as one fleet,
// and the long records again at earlier years, as they were read then.
var reruns = []series{
	{name: "italy", days: true}, {name: "italy", last: "2021-12", days: true}, {name: "italy", last: "2023-09", days: true},
	{name: "home_a"}, {name: "home_a", last: "2019-12"}, {name: "home_a", last: "2021-04"}, {name: "home_a", last: "2022-06"},
	{name: "home_b"}, {name: "home_b", last: "2023-12"}, {name: "home_d"},
	{name: "home_f", days: true}, {name: "home_f", last: "2022-03", days: true}, {name: "home_f", last: "2023-12", days: true},
	{name: "colorado_1", wrong: true}, {name: "colorado_1", last: "2012-12", wrong: true}, {name: "colorado_1_civil"}, {name: "colorado_1_civil", last: "2012-12"},
	{name: "colorado_2"}, {name: "hidden_dst"}, {name: "hidden_dst_fixed", wrong: true}, {name: "sentinels"},
	{name: "fontana"}, {name: "konstanz"},
}

// harm is a fault that is set into a series at a day of its own.
type harm struct {
	name string
	code string // under which it ought to be found
	days int    // that it lasts; 0: to the end
	left func(day int, azimuthDeg, heightDeg float64) float64
}

// harms are faults of the size that a visit pays for. A shadow takes most of the
// light where it stands, as a beam's share of a clear hour.
var harms = []harm{
	{"half down", array.InvertersDown, 0, func(int, float64, float64) float64 { return 0.5 }},
	{"a third down for 120 days", array.InvertersDown, 120, func(int, float64, float64) float64 { return 2. / 3 }},
	{"off for 25 days", array.Outage, 25, func(int, float64, float64) float64 { return 0 }},
	{"sliding to 70 %", array.Decline, 0, func(day int, _, _ float64) float64 { return 1 - 0.3*math.Min(1, float64(day)/150) }},
	{"a new tree", array.Shading, 0, func(_ int, azimuth, height float64) float64 {
		if azimuth > 200 && azimuth < 275 && height < 35 {
			return 0.3
		}
		return 1
	}},
}

// harmedFrom is how long before the fourth of the month ends a harm begins, days.
const harmedFrom = 50

// put sets a harm into a series from an hour on.
func (h *harm) put(s *ingest.Series, site *ingest.Site, from ingest.Hour) {
	p := s.Wh[ingest.Production]
	if p == nil {
		return
	}
	sky := sun.NewHours(sun.Place{LatitudeDeg: site.LatitudeDeg, LongitudeDeg: site.LongitudeDeg, ElevationM: math.NaN()}, s.Start, s.Len(), sun.SkyModel{})
	for i := max(0, int(from-s.Start)); i < len(p); i++ {
		day := (i - int(from-s.Start)) / 24
		if h.days > 0 && day >= h.days {
			break
		}
		p[i] *= h.left(day, math.Mod(math.Atan2(sky.East[i], sky.North[i])*180/math.Pi+360, 360), math.Asin(math.Max(-1, math.Min(1, sky.Up[i])))*180/math.Pi)
	}
}

// until is a source whose readings end at an hour, checked anew as far as they go,
// with one site's array harmed.
type until struct {
	ingest.Source
	register *ingest.Fleet
	end      ingest.Hour
	harm     *harm // nil: as read
	harmed   string
	from     ingest.Hour
}

func (u until) Load(id string, s *ingest.Series) error {
	if err := u.Source.Load(id, s); err != nil {
		return err
	}
	site := u.register.Site(id)
	if u.harm != nil && u.harmed == id {
		u.harm.put(s, site, u.from)
	}
	n := max(0, min(s.Len(), int(u.end-s.Start)))
	if n == 0 {
		return ingest.ErrNoReadings
	}
	for c := range s.Wh {
		if s.Wh[c] != nil {
			s.Wh[c] = s.Wh[c][:n:n]
		}
	}
	if s.Estimated != nil {
		s.Estimated = s.Estimated[:n]
	}
	s.Fine = nil // the array is judged by hours
	s.Quality = quality.Check(s, quality.Site{LatitudeDeg: site.LatitudeDeg, LongitudeDeg: site.LongitudeDeg, Location: site.Location})
	quality.Apply(s, s.Quality)
	return nil
}

// defaults are the product's own; the prices do not reach the array.
func defaults() analyze.Options {
	return analyze.Options{Workers: 2, DefaultModule: "TN-430", DefaultInverter: "KV2-380", DefaultTariff: "flat-feed-in", WeatherMaxKM: 60,
		Sky: sky.Defaults(), Array: array.Defaults(), Headroom: headroom.DefaultOptions(), Rank: rank.Defaults(),
		Money: option.Money{DiscountRatePct: 5, HorizonYears: 25, CostPerModule: 780, CostPerVisit: 1400, Doubt: option.DefaultDoubt()}}
}

// flicker runs the judgement of arrays on real series at successive month ends
// and counts the faults that a month later are gone, have another name or have
// moved.
func flicker(w io.Writer, data string) error {
	dir, err := os.MkdirTemp("", "rowen-flicker-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	binary := filepath.Join(dir, "rowen")
	if out, err := exec.Command("go", "build", "-o", binary, "./cmd/rowen").CombinedOutput(); err != nil {
		return fmt.Errorf("building the program: %w\n%s", err, out)
	}
	if err := makeFleets(data, dir); err != nil {
		return err
	}
	for i := range sets {
		if err := sets[i].plant(data, filepath.Join(dir, sets[i].name)); err != nil {
			return err
		}
	}
	asRead, harmed := steadiness{w: w}, steadiness{w: w}
	read := map[string]bool{}
	for i, r := range reruns {
		fleet := filepath.Join(dir, r.name)
		if !read[r.name] {
			if out, err := exec.Command(binary, "check", fleet).CombinedOutput(); err != nil {
				return fmt.Errorf("reading %s: %w\n%s", r.name, err, out)
			}
			read[r.name] = true
		}
		if err := asRead.rerun(fleet, r, nil, i); err != nil {
			return err
		}
		for k := range harms {
			if r.days || r.wrong {
				break // an array that is not judged, or a series that is there twice
			}
			if err := harmed.rerun(fleet, r, &harms[k], i+k); err != nil {
				return err
			}
		}
	}
	fmt.Fprintln(w)
	asRead.print("as read")
	harmed.print("with a fault set in")
	return nil
}

// steadiness counts what becomes of faults.
type steadiness struct {
	w                                  io.Writer
	series, said, gone, renamed, moved int
	harmed, found                      int // judged series with a fault set in, and where it is said at the last month end
	missed                             []string
}

func (t *steadiness) print(what string) {
	bad := t.gone + t.renamed + t.moved
	fmt.Fprintf(t.w, "%s: %d series at up to %d month ends: %d faults with a month after; gone %d, renamed %d, moved by more than %d days %d: %d (%.1f %%)\n",
		what, t.series, monthEnds, t.said, t.gone, t.renamed, sameDays, t.moved, bad, 100*float64(bad)/float64(max(1, t.said)))
	if t.harmed > 0 {
		fmt.Fprintf(t.w, "of %d faults set in, found at the last month end: %d; missed: %s\n", t.harmed, t.found, strings.Join(t.missed, "; "))
	}
}

// rerun judges one fleet at its month ends, one of its sites harmed.
func (t *steadiness) rerun(dir string, r series, h *harm, turn int) error {
	set, err := config.Load(dir, nil, nil)
	if err != nil {
		return err
	}
	fleet, err := register.Read(dir, register.Options{TariffID: set.Defaults.TariffID})
	if err != nil {
		return err
	}
	book, err := ledger.Open(context.Background(), dir, ledger.Sites(fleet))
	if err != nil {
		return err
	}
	defer book.Close()
	last := analyze.Month{}
	if r.last != "" {
		if last, err = analyze.ParseMonth(r.last); err != nil {
			return err
		}
	} else {
		survey, err := analyze.NewFleet(fleet, book, defaults()).Survey(context.Background())
		if err != nil {
			return err
		}
		last = survey.Month
	}
	month := func(k int) analyze.Month {
		at := time.Date(last.Year, last.Month, 1, 0, 0, 0, 0, time.UTC).AddDate(0, k-monthEnds+1, 0)
		return analyze.Month{Year: at.Year(), Month: at.Month()}
	}
	zone := fleet.At(0).Location
	cut := until{Source: book, register: fleet, harm: h}
	if h != nil {
		cut.harmed, cut.from = fleet.At(turn%fleet.Len()).ID, ingest.HourOf(month(3).End(zone))-24*harmedFrom
	}
	ends := make([]map[string]judged, monthEnds) // oldest first
	for k := range ends {
		o := defaults()
		o.Month = month(k)
		cut.end = ingest.HourOf(o.Month.End(zone))
		fl := analyze.NewFleet(fleet, cut, o)
		survey, err := fl.Survey(context.Background())
		if err != nil {
			return err
		}
		ends[k] = map[string]judged{}
		if survey.Read == 0 {
			continue // too early
		}
		if err := fl.Judge(context.Background(), survey, analyze.Whole, func(f *analyze.Finding) error {
			ends[k][f.Site.ID] = judged{slices.Clone(f.Array.Faults), f.Array.Start.Time(), f.Array.Refusal == ""}
			return nil
		}); err != nil {
			return err
		}
	}
	for _, site := range fleet.All() {
		id := site.ID
		if h != nil && id != cut.harmed {
			continue
		}
		t.series++
		name := id + " to " + last.String()
		if h != nil {
			name += " " + h.name
		}
		for k := range monthEnds - 1 {
			t.compare(fmt.Sprintf("%s, end %d of %d", name, k+1, monthEnds), ends[k][id], ends[k+1][id])
		}
		if at := ends[monthEnds-1][id]; h != nil && at.judged && at.start.Before(cut.from.Time()) {
			t.harmed++
			if at.tells(h, cut.from.Time()) {
				t.found++
			} else {
				t.missed = append(t.missed, name)
			}
		}
	}
	return nil
}

// judged is what a month end says of a site.
type judged struct {
	faults []array.Fault
	start  time.Time
	judged bool
}

// tells asks whether a fault is said of what was set in: by whatever name that a
// loss has, from some weeks about its day on.
func (j *judged) tells(h *harm, from time.Time) bool {
	return slices.ContainsFunc(j.faults, func(f array.Fault) bool {
		switch f.Code {
		case array.InvertersDown, array.Outage, array.Decline, array.Shading, array.MeterDead:
			return f.Code == h.code || f.On.Sub(from).Abs() <= 2*sameDays*24*time.Hour
		}
		return false
	})
}

// compare holds the faults of one month end against those of the next.
func (t *steadiness) compare(where string, before, after judged) {
	now, next := before.faults, after.faults
	date := func(f *array.Fault) time.Time {
		if f.On.IsZero() {
			return before.start
		}
		return f.On
	}
	for i := range now {
		f := &now[i]
		t.said++
		same := func(g *array.Fault) bool { return date(f).Sub(date(g)).Abs() <= sameDays*24*time.Hour }
		what := ""
		switch {
		case slices.ContainsFunc(next, func(g array.Fault) bool { return g.Code == f.Code && same(&g) }):
			continue
		case slices.ContainsFunc(next, func(g array.Fault) bool { return g.Code == f.Code }):
			t.moved++
			what = "moved"
		case slices.ContainsFunc(next, func(g array.Fault) bool { return same(&g) }):
			t.renamed++
			what = "renamed"
		default:
			t.gone++
			what = "gone"
		}
		fmt.Fprintf(t.w, "%s: %s: %s; then %s\n", where, what, tell(f), tellAll(next))
	}
}

func tell(f *array.Fault) string {
	on, until := "before", ""
	if !f.On.IsZero() {
		on = f.On.Format(time.DateOnly)
	}
	if !f.Until.IsZero() {
		until = " until " + f.Until.Format(time.DateOnly)
	}
	return fmt.Sprintf("%s since %s%s, %.0f %% (%.2f)", f.Code, on, until, f.LossPct, f.Confidence)
}

func tellAll(all []array.Fault) string {
	if len(all) == 0 {
		return "nothing"
	}
	text := ""
	for i := range all {
		if i > 0 {
			text += ", "
		}
		text += tell(&all[i])
	}
	return text
}
