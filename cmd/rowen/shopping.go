package main

import (
	"fmt"
	"slices"

	"rowen/ingest"
)

// unlock is what a table or cell that is not there would allow.
type unlock struct {
	Table string `json:"table" text:"where it belongs"`
	Cells string `json:"cells" text:"which columns; empty: the whole table"`
	Sites int    `json:"sites" text:"how many sites lack it"`
	Says  string `json:"says" text:"what it would allow"`
}

// want is one thing that a site may lack, the best first: what decides whether
// there is an offer at all stands before what makes it surer (our choice).
type want struct {
	table, cells string
	lacks        func(site *ingest.Site, s *ingest.Series) bool
	says         string
}

var wants = []want{
	{"readings", "production", func(_ *ingest.Site, s *ingest.Series) bool { return s == nil || !s.Has(ingest.Production) },
		"the array's health and what it makes; without it the register's word stands in"},
	{"readings", "consumption, or import and export", lacksUse, "what the household uses and so what more modules save: without it, or bills, there is no offer"},
	{"arrays", "", func(s *ingest.Site, _ *ingest.Series) bool { return len(s.Arrays) == 0 }, "what stands on the roof: without it nothing can be judged"},
	{"tariffs", "sites.tariff_id", func(s *ingest.Site, _ *ingest.Series) bool { return s.TariffID == "" || s.TariffDefaulted }, "the household's own bill; the settings' tariff stands in, or there is no saving"},
	{"planes", "", func(s *ingest.Site, _ *ingest.Series) bool { return len(s.Planes) == 0 }, "how many modules the roof takes, and which way they face"},
	{"planes", "width_m, slope_m", func(s *ingest.Site, _ *ingest.Series) bool {
		return slices.ContainsFunc(s.Planes, func(p ingest.Plane) bool { return p.WidthM != p.WidthM || p.SlopeM != p.SlopeM })
	}, "how many modules fit on each plane, to the row"},
	{"services", "", func(s *ingest.Site, _ *ingest.Series) bool { return s.Service == nil }, "whether the panelboard takes them, and what must be done before"},
	{"gateways", "", func(s *ingest.Site, _ *ingest.Series) bool { return s.Gateway == nil }, "whether old and new inverters may share a gateway"},
	{"sites", "permission_limit_kw", func(s *ingest.Site, _ *ingest.Series) bool { return s.PermissionLimitKW != s.PermissionLimitKW }, "whether a new permission must be asked for"},
	{"bills", "", func(site *ingest.Site, s *ingest.Series) bool { return lacksUse(site, s) && len(site.Bills) == 0 }, "a household's use where no meter tells it"},
	{"arrays", "tilt_deg, azimuth_deg", func(s *ingest.Site, _ *ingest.Series) bool {
		return slices.ContainsFunc(s.Arrays, func(a ingest.Array) bool {
			return a.PlaneID == "" && (a.TiltDeg != a.TiltDeg || a.AzimuthDeg != a.AzimuthDeg)
		})
	}, "which way the array faces; it is read off clear days meanwhile"},
	{"sites", "commissioned_on", func(s *ingest.Site, _ *ingest.Series) bool {
		return s.CommissionedOn.IsZero() && slices.ContainsFunc(s.Arrays, func(a ingest.Array) bool { return a.CommissionedOn.IsZero() })
	}, "how old the array is, and so what is ageing and what is a fault"},
}

func lacksUse(_ *ingest.Site, s *ingest.Series) bool {
	return s == nil || !s.Has(ingest.Consumption) && !(s.Has(ingest.Import) && s.Has(ingest.Export))
}

// shopping counts what the sites of a fleet lack.
type shopping struct {
	lack  []int // beside wants
	whole []unlock
}

func newShopping(fleet *ingest.Fleet) *shopping {
	n := &shopping{lack: make([]int, len(wants))}
	if len(fleet.Stations) == 0 {
		n.whole = append(n.whole, unlock{"weather", "temp_c", len(fleet.Sites), "heating and cooling told apart from other loads; the seasons stand in"})
	}
	if len(fleet.Outcomes) == 0 {
		n.whole = append(n.whole, unlock{"outcomes", "", len(fleet.Sites), "customers who said no or bought are left in peace, and the list learns from what calls came to"})
	}
	return n
}

func (n *shopping) site(site *ingest.Site, s *ingest.Series) {
	for i := range wants {
		if wants[i].lacks(site, s) {
			n.lack[i]++
		}
	}
}

func (n *shopping) list() (out []unlock) {
	for i, w := range wants {
		if n.lack[i] > 0 {
			out = append(out, unlock{w.table, w.cells, n.lack[i], w.says})
		}
	}
	return append(out, n.whole...)
}

// String is one line of the list.
func (u unlock) String() string {
	where := u.Table
	if u.Cells != "" {
		where += " (" + u.Cells + ")"
	}
	return fmt.Sprintf("%s: %s: %s", where, count(u.Sites, "site"), u.Says)
}
