package analyze

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"rowen/analyze/rank"
	"rowen/analyze/visit"
	"rowen/ingest"
	"rowen/ingest/demo"
)

// notSafety are the steps by which nobody can be hurt. Every other step has its
// source in testdata/visit/sources.csv.
var notSafety = []string{"gateway_reports", "array_map", "customer_present", "software", "permission", "full_day", "map_updated", "register", "tariff_told",
	"permission_paper", "tariff_paper", "plane_measure", "plane_check", "roof_plan", "obstacles", "shade", "service_read", "spaces_read", "service_check", "panel_photos",
	"array_count", "array_verify", "inverter_models", "gateway_read", "storage_ask", "promise_nothing", "device_list", "supply_there", "shade_ask", "limit_settings", "meter_comms"}

func sources(t *testing.T) map[string]bool {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "testdata", "visit", "sources.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	out := map[string]bool{}
	for _, r := range rows[1:] {
		if r[1] == "" || r[2] == "" || !slices.Contains([]string{"published", "secondary", "common practice", "from memory"}, r[3]) {
			t.Errorf("sources.csv: %q lacks its rule, its source or its tag", r)
		}
		out[r[0]] = true
	}
	return out
}

// Every sheet of a demo fleet, by what a crew leader and an electrician would
// look for.
func TestEverySheetOfTheDemo(t *testing.T) {
	o := demo.Default()
	o.Sites, o.Months = 160, 18
	m := demo.Make(o)
	findings := judgeAll(t, m.Fleet(), m.Source(), 2)
	known, kinds := sources(t), map[visit.Kind]int{}
	for _, f := range findings {
		s := f.Visit
		wanted := f.Verdict.Lane.Ranked() || f.Verdict.Lane == rank.Repair
		if (s != nil) != wanted {
			t.Errorf("%s in lane %s: sheet %v", f.Site.ID, f.Verdict.Lane, s != nil)
		}
		if s == nil {
			continue
		}
		kinds[s.Kind]++
		bad := func(format string, a ...any) {
			t.Errorf("%s, %s sheet: %s", f.Site.ID, s.Kind, fmt.Sprintf(format, a...))
		}
		checkSteps(f, s, known, bad)
		switch s.Kind {
		case visit.Survey:
			checkSurvey(s, bad)
		case visit.Work:
			checkWork(f, s, bad)
		case visit.Repair:
			checkRepair(f, s, bad)
		}
	}
	for _, k := range []visit.Kind{visit.Survey, visit.Work, visit.Repair} {
		if kinds[k] < 3 {
			t.Errorf("only %d %s sheets: the fleet does not show what it should", kinds[k], k)
		}
	}
}

// words that must not reach a person: the program's own names, unknown values
// printed as numbers, another country's code.
var (
	inner   = regexp.MustCompile(`as_array|NaN|Inf|1048576|%!|\b-1\b|<nil>`)
	foreign = regexp.MustCompile(`BS 7671|EREC|AS/NZS|VDE|DGUV|TRGS|Regulations`)
	live    = regexp.MustCompile(`(?i)energi[sz]|switch(ed)? on|scan`)
	install = regexp.MustCompile(`(?i)\b(install|fit|mount|add) (the |[0-9])`)
)

func checkSteps(f *Finding, s *visit.Sheet, known map[string]bool, bad func(string, ...any)) {
	number, inspected := 0, false
	for _, p := range s.Parts {
		if len(p.Steps) == 0 || p.Head == "" {
			bad("part %s is empty", p.Code)
		}
		for _, st := range p.Steps {
			number++
			if st.Number != number {
				bad("step %d stands where %d should", st.Number, number)
			}
			if !slices.Contains([]visit.Who{visit.Anyone, visit.Crew, visit.Electrician, visit.Utility}, st.Who) {
				bad("step %d: who may do it is %q", number, st.Who)
			}
			if known[st.Code] == slices.Contains(notSafety, st.Code) {
				bad("step %s must have a source, or be none of safety", st.Code)
			}
			if inner.MatchString(st.Says) || foreign.MatchString(st.Says) || strings.Contains(st.Says, "..") {
				bad("step %d says %q", number, st.Says)
			}
			inspected = inspected || st.Code == "inspection"
			if s.Kind != visit.Repair && !inspected && st.Code != "keep_off" && live.MatchString(st.Says) {
				bad("step %d before the inspection says %q", number, st.Says)
			}
		}
	}
	for _, u := range s.Unknown {
		if inner.MatchString(u) {
			bad("not known: %q", u)
		}
	}
	for _, private := range []string{f.Site.Customer, f.Site.Contact} {
		if text := fmt.Sprintf("%+v", *s); private != "" && strings.Contains(text, private) {
			bad("personal data")
		}
	}
}

func checkSurvey(s *visit.Sheet, bad func(string, ...any)) {
	if len(s.Unknown) == 0 {
		bad("nothing is unknown")
	}
	if len(s.Materials)+len(s.Sums) > 0 {
		bad("lists material %v %v", s.Materials, s.Sums)
	}
	for _, p := range s.Parts {
		for _, st := range p.Steps {
			if install.MatchString(st.Says) || st.Code == "energize" || st.Code == "breakers" {
				bad("an install line: %q", st.Says)
			}
		}
	}
}

// checkWork counts again, from the offer, the register and the catalogue.
func checkWork(f *Finding, s *visit.Sheet, bad func(string, ...any)) {
	for _, l := range f.Room.Limits() {
		if l.Unknown() && l.Low < f.Chosen.Modules {
			bad("the %s limit is not known", l.Name)
		}
	}
	modules, inverters, breakers := 0, 0, 0
	for _, m := range s.Materials {
		switch {
		case strings.HasPrefix(m.What, "module"):
			modules += m.Count
		case strings.HasPrefix(m.What, "inverter"):
			inverters += m.Count
		case strings.Contains(m.What, "-pole breaker"):
			breakers += m.Count
			if f.Site.Service.Phases.V == 2 && !strings.HasPrefix(m.What, "two-pole") {
				bad("split phase with %s", m.What)
			}
		}
	}
	if modules != f.Chosen.Modules {
		bad("%d modules for an offer of %d", modules, f.Chosen.Modules)
	}
	if f.Inverter.Kind == "micro" {
		// 80 % of the breaker at the service's volts, or the maker's limit.
		per := min(f.Inverter.PerBranch, int(0.8*f.Inverter.BranchBreakerAmps/(f.Inverter.ACWatts/240)+1e-9))
		if inverters != modules || breakers != int(math.Ceil(float64(inverters)/float64(per))) {
			bad("%d inverters on %d branches for %d modules, %d a branch", inverters, breakers, modules, per)
		}
		before := 0
		for i := range f.Site.Arrays {
			before += f.Site.Arrays[i].Inverters.V
		}
		if g := f.Site.Gateway; g != nil {
			before = max(before, g.ReportingInverters.V)
		}
		if want := fmt.Sprintf("%d before + %d added = %d after", before, inverters, before+inverters); !strings.Contains(fmt.Sprint(s.Parts), want) {
			bad("does not say %q", want)
		}
	}
	added := 0
	for _, r := range s.Register {
		for _, line := range r.Lines {
			var n int
			cells := strings.Split(line, ",")
			fmt.Sscan(cells[2], &n)
			added += n
			if len(cells) != len(strings.Split(r.Header, ",")) || slices.ContainsFunc(f.Site.Arrays, func(a ingest.Array) bool { return a.ID == cells[1] }) {
				bad("register row %q under %q", line, r.Header)
			}
		}
	}
	if added != modules {
		bad("the register rows add %d of %d modules", added, modules)
	}
}

// checkRepair holds the losses against the year.
func checkRepair(f *Finding, s *visit.Sheet, bad func(string, ...any)) {
	if len(s.Findings) == 0 || len(s.Materials) > 0 {
		bad("%d findings, %d materials", len(s.Findings), len(s.Materials))
	}
	lost := 0.0
	for _, x := range f.Array.Faults {
		if x.Code != "clipping" {
			lost += x.KWhYr
		}
	}
	if gap := f.Array.ExpectedKWhYr - f.Array.MeasuredKWhYr; lost > max(0, gap)+1 {
		bad("faults cost %.0f kWh, expected less made is %.0f", lost, gap)
	}
	ahead := 0.0
	for _, x := range s.Findings {
		ahead += x.AheadKWhYr
		if x.Since == "" || x.Where == "" {
			bad("finding %+v", x)
		}
		if x.Code == "shading" && strings.Contains(fmt.Sprint(s.Parts), "mend the shade") {
			bad("mends a shadow")
		}
	}
	if ahead > f.Array.ExpectedKWhYr+float64(len(s.Findings)) {
		bad("costs %.0f kWh a year of %.0f", ahead, f.Array.ExpectedKWhYr)
	}
}
