package main

import (
	"cmp"
	"fmt"
	"slices"

	"rowen/config"
	"rowen/ingest"
)

// unlock is what a table or cell that is not there would allow.
type unlock struct {
	Table string `json:"table" text:"where it belongs"`
	Cells string `json:"cells" text:"which columns; empty: the whole table"`
	Sites int    `json:"sites" text:"how many sites lack it"`
	Says  string `json:"says" text:"what it would allow"`
}

// want is one thing that a site may lack. weight is what it is worth to one site
// (our choice): what decides whether there is an offer at all counts more than
// what makes it surer.
type want struct {
	table, cells string
	weight       float64
	lacks        func(site *ingest.Site, s *ingest.Series) bool
	says         string
}

var wants = []want{
	{"arrays", "", 12, func(s *ingest.Site, _ *ingest.Series) bool { return len(s.Arrays) == 0 },
		"nothing can be judged without the array on the roof"},
	{"readings", "consumption, or import and export", 10, lacksUse,
		"what the household uses, and so what more modules save; without it or bills there is no offer"},
	{"readings", "production", 8, func(_ *ingest.Site, s *ingest.Series) bool { return s == nil || !s.Has(ingest.Production) },
		"what the array makes and whether it is sick; without it a site is not judged"},
	{"tariffs", "sites.tariff_id", 6, func(s *ingest.Site, _ *ingest.Series) bool { return s.TariffID == "" || s.TariffDefaulted },
		"the household's own bill; until then the settings' tariff is used, and without one no saving is known"},
	{"planes", "", 5, func(s *ingest.Site, _ *ingest.Series) bool { return len(s.Planes) == 0 },
		"how many modules the roof takes, and which way they face"},
	{"services", "", 4, func(s *ingest.Site, _ *ingest.Series) bool { return s.Service == nil },
		"whether the panelboard takes them, and what must be done before"},
	{"planes", "width_m, slope_m", 3, func(s *ingest.Site, _ *ingest.Series) bool {
		return slices.ContainsFunc(s.Planes, func(p ingest.Plane) bool { return p.WidthM != p.WidthM || p.SlopeM != p.SlopeM })
	}, "how many modules fit on each plane"},
	{"gateways", "", 3, func(s *ingest.Site, _ *ingest.Series) bool { return s.Gateway == nil },
		"whether old and new inverters may share a gateway"},
	{"bills", "", 3, func(site *ingest.Site, s *ingest.Series) bool { return lacksUse(site, s) && len(site.Bills) == 0 },
		"what a household uses where no meter tells it"},
	{"arrays", "inverter_model", 2, func(s *ingest.Site, _ *ingest.Series) bool {
		return slices.ContainsFunc(s.Arrays, func(a ingest.Array) bool { return a.InverterModel == "" })
	}, "which new inverters may be mixed with the old ones; until then the newest of the catalogue are assumed"},
	{"sites", "permission_limit_kw", 1, func(s *ingest.Site, _ *ingest.Series) bool { return s.PermissionLimitKW != s.PermissionLimitKW },
		"whether a new permission to operate is needed"},
	{"arrays", "tilt_deg, azimuth_deg", 1, func(s *ingest.Site, _ *ingest.Series) bool {
		return slices.ContainsFunc(s.Arrays, func(a ingest.Array) bool {
			return a.PlaneID == "" && (a.TiltDeg != a.TiltDeg || a.AzimuthDeg != a.AzimuthDeg)
		})
	}, "which way the array faces; until then it is estimated from clear days"},
	{"sites", "commissioned_on", 0.5, func(s *ingest.Site, _ *ingest.Series) bool {
		return s.CommissionedOn.IsZero() && slices.ContainsFunc(s.Arrays, func(a ingest.Array) bool { return a.CommissionedOn.IsZero() })
	}, "how old the array is, and so what is aging and what is a fault"},
}

func lacksUse(_ *ingest.Site, s *ingest.Series) bool {
	return s == nil || !s.Has(ingest.Consumption) && !(s.Has(ingest.Import) && s.Has(ingest.Export))
}

// shopping counts what the sites of a fleet lack.
type shopping struct {
	lack  []int // beside wants
	whole []weighed
}

// weighed is a line with its place on the list.
type weighed struct {
	unlock
	weight float64 // of one site
}

func newShopping(fleet *ingest.Fleet, money config.Money) *shopping {
	n := &shopping{lack: make([]int, len(wants))}
	all := func(weight float64, table, cells, says string) {
		n.whole = append(n.whole, weighed{unlock{table, cells, fleet.Len(), says}, weight})
	}
	if fmt.Sprint(money.CostPerModule) == usual("money.cost_per_module") && fmt.Sprint(money.CostPerVisit) == usual("money.cost_per_visit") {
		all(4, config.FileName, "money.cost_per_module, money.cost_per_visit", "payback and net benefit at your own prices; until then the program's are used")
	}
	if len(fleet.Outcomes) == 0 {
		all(1, "outcomes", "", "who declined or bought is not called again too soon, and the list learns from earlier calls")
	}
	if len(fleet.Stations) == 0 {
		all(0.8, "weather", "temp_c", "heating and cooling separated from other loads; until then the fleet's seasons are used")
	}
	return n
}

// usual is the default of a setting, as the dictionary has it.
func usual(key string) string {
	for _, k := range config.Keys() {
		if k.Name == key {
			return k.Default
		}
	}
	return ""
}

func (n *shopping) site(site *ingest.Site, s *ingest.Series) {
	for i := range wants {
		if wants[i].lacks(site, s) {
			n.lack[i]++
		}
	}
}

// join adds what another one counted of other sites.
func (n *shopping) join(o *shopping) {
	for i, lack := range o.lack {
		n.lack[i] += lack
	}
}

// list is what is missing, by what it is worth to a site times how many lack it.
func (n *shopping) list() (out []unlock) {
	all := slices.Clone(n.whole)
	for i, w := range wants {
		if n.lack[i] > 0 {
			all = append(all, weighed{unlock{w.table, w.cells, n.lack[i], w.says}, w.weight})
		}
	}
	slices.SortStableFunc(all, func(a, b weighed) int {
		return cmp.Compare(b.weight*float64(b.Sites), a.weight*float64(a.Sites))
	})
	for _, w := range all {
		out = append(out, w.unlock)
	}
	return out
}

// String is one line of the list.
func (u unlock) String() string {
	where := u.Table
	if u.Cells != "" {
		where += " (" + u.Cells + ")"
	}
	return fmt.Sprintf("%s: %s: %s", where, count(u.Sites, "site"), u.Says)
}
