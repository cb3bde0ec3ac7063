// Package register reads the fleet's register: its tables, its catalogue and
// its tariffs, to the types of package ingest.
//
// A row is used whole or set aside whole, with file, line, column and reason.
// A cell that names something unknown (a module model, a tariff) is another
// matter: the row stands as written and the reject says Kept, for a site whose
// old inverter is in no catalogue can still be judged by its readings.
package register

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"
	_ "time/tzdata" // zones are known on machines without a zone database

	"rowen/ingest"
	"rowen/ingest/nearest"
)

// Options stand in where the register is blank.
type Options struct {
	Timezone string // IANA zone of sites whose timezone is blank
	TariffID string
	Profile  string

	// TariffsFile is read in place of the folder's tariffs.yaml; "": that.
	TariffsFile string
}

// Read reads the register of the fleet in dir: sites.csv and the other tables,
// catalogue.yaml and tariffs.yaml, but no readings and no weather.
//
// Out:     the Fleet, sorted by ID whatever the order of rows and columns;
// what could not be used in Fleet.Rejects, and in Site.Problems where the site
// is known.
// Refuses: a folder without sites.csv, a table without its required columns,
// a catalogue or tariffs file that is not as the contract says, a default that
// they do not hold; all of them at once.
// Edges:   the other files may be absent: a note says so.
func Read(dir string, opts Options) (*ingest.Fleet, error) {
	b := &book{}
	f := &ingest.Fleet{}
	var bad []error
	keep := func(err error) {
		if err != nil {
			bad = append(bad, err)
		}
	}
	var err error
	f.Catalogue, err = readCatalogue(dir, b)
	keep(err)
	f.Tariffs, err = readTariffs(dir, opts.TariffsFile, b)
	keep(err)
	if err == nil && len(bad) == 0 {
		keep(opts.check(f, b))
	}
	a := assembly{fleet: f, book: b, opts: opts}
	siteRows, err := sites.read(dir, b)
	if keep(err); len(bad) == 0 {
		a.sites(siteRows)
	}
	siteRows = nil // the tables of a large fleet are not in memory all at once
	arrayRows, err := arrays.read(dir, b)
	keep(err)
	join(&a, planes, dir, a.plane, keep)
	attach(&a, arrays, arrayRows, a.array)
	arrayRows = nil
	join(&a, services, dir, a.service, keep)
	join(&a, gateways, dir, a.gateway, keep)
	billRows, err := bills.read(dir, b)
	keep(err)
	attach(&a, bills, withoutOverlaps(billRows, b), a.bill)
	join(&a, outcomes, dir, a.outcome, keep)
	if len(bad) > 0 {
		return nil, errors.Join(bad...)
	}
	a.close()
	return f, nil
}

// join reads a table and gives each row to its site.
func join[R any](a *assembly, t table[R], dir string, put func(*ingest.Site, *row[R]), keep func(error)) {
	rows, err := t.read(dir, a.book)
	keep(err)
	attach(a, t, rows, put)
}

// check tells whether the defaults are held by what they name.
func (o Options) check(f *ingest.Fleet, b *book) error {
	var bad []error
	if _, err := zone(o.Timezone); o.Timezone != "" && err != nil {
		bad = append(bad, fmt.Errorf("reading the settings: defaults.timezone %q must be an IANA zone as America/Denver", o.Timezone))
	}
	// A default that was set aside is said there: its sites have no bill.
	setAside := slices.ContainsFunc(b.rejects, func(r ingest.Reject) bool {
		return strings.HasPrefix(r.Reason, fmt.Sprintf("tariffs %q", o.TariffID))
	})
	if o.TariffID != "" && ingest.FindTariff(f.Tariffs, o.TariffID) == nil && !setAside {
		bad = append(bad, fmt.Errorf("reading the settings: defaults.tariff_id %q must be in tariffs.yaml%s", o.TariffID, nearest.Hint(o.TariffID, tariffIDs(f))))
	}
	if o.Profile != "" && f.Catalogue.Profile(o.Profile) == nil {
		bad = append(bad, fmt.Errorf("reading the settings: defaults.profile %q must be in catalogue.yaml%s", o.Profile, nearest.Hint(o.Profile, profileIDs(f))))
	}
	return errors.Join(bad...)
}

func zone(name string) (*time.Location, error) {
	if name == "" || name == "Local" {
		return nil, errors.New("no zone")
	}
	return time.LoadLocation(name)
}

// assembly puts the rows of the tables together to sites.
type assembly struct {
	fleet *ingest.Fleet
	book  *book
	opts  Options
	lost  map[string]int // sites whose own row was set aside, with its line
}

func (a *assembly) sites(rows []row[siteRow]) {
	zones := map[string]*time.Location{}
	for _, r := range bySite(sites, rows) {
		s := r.value.Site
		if s.Timezone == "" {
			s.Timezone = a.opts.Timezone
		}
		location, seen := zones[s.Timezone]
		if !seen {
			location, _ = zone(s.Timezone)
			zones[s.Timezone] = location
		}
		if location == nil {
			reason := "must be an IANA zone as America/Denver"
			if s.Timezone == "" {
				reason = "must not be blank where defaults.timezone is not set: set one of them"
			}
			a.book.setAside(ingest.Reject{File: sites.file(), Line: r.line, Column: "timezone", Value: short(s.Timezone), Reason: reason, SiteID: s.ID})
			continue
		}
		s.Location = location
		s.DoNotContact = r.value.doNotContact.Or(false)
		if s.TariffID == "" && a.opts.TariffID != "" {
			s.TariffID, s.TariffDefaulted = a.opts.TariffID, true
		}
		if s.TariffID != "" && ingest.FindTariff(a.fleet.Tariffs, s.TariffID) == nil {
			a.unknown(ingest.Reject{File: sites.file(), Line: r.line, Column: "tariff_id", Value: s.TariffID, SiteID: s.ID}, "tariffs.yaml", tariffIDs(a.fleet))
		}
		a.fleet.Keep(&s)
	}

	a.lost = map[string]int{}
	for _, r := range a.book.rejects {
		if r.File != sites.file() || r.SiteID == "" || r.Kept {
			continue
		}
		if _, there := a.fleet.Find(r.SiteID); !there {
			a.lost[r.SiteID] = r.Line
		}
	}
	for id := range a.lost {
		a.fleet.SitesSetAside = append(a.fleet.SitesSetAside, id)
	}
	slices.Sort(a.fleet.SitesSetAside)
}

// bySite gives the rows by site, those of one site in the order of the file.
func bySite[R any](t table[R], rows []row[R]) []*row[R] {
	order := make([]*row[R], len(rows))
	for i := range rows {
		order[i] = &rows[i]
	}
	slices.SortFunc(order, func(x, y *row[R]) int {
		return cmp.Or(cmp.Compare(t.site(&x.value), t.site(&y.value)), x.line-y.line)
	})
	return order
}

// unknown says of a row that stands that one of its cells names nothing known.
func (a *assembly) unknown(cell ingest.Reject, where string, known []string) {
	cell.Reason = fmt.Sprintf("must be in %s%s; the row is kept", where, nearest.Hint(cell.Value, known))
	cell.Value, cell.Kept = short(cell.Value), true
	a.book.setAside(cell)
}

// attach gives each row to its site; rows of no site are set aside.
func attach[R any](a *assembly, t table[R], rows []row[R], put func(*ingest.Site, *row[R])) {
	if len(rows) == 0 {
		return
	}
	order := bySite(t, rows)
	until := func(id string) { // those that stand before a site are of none
		for len(order) > 0 && t.site(&order[0].value) < id {
			a.homeless(t.file(), t.site(&order[0].value), order[0].line)
			order = order[1:]
		}
	}
	a.fleet.Change(func(s *ingest.Site) (changed bool) {
		for until(s.ID); len(order) > 0 && t.site(&order[0].value) == s.ID; order = order[1:] {
			put(s, order[0])
			changed = true
		}
		return changed
	})
	for _, r := range order {
		a.homeless(t.file(), t.site(&r.value), r.line)
	}
}

// homeless sets a row of no site aside.
func (a *assembly) homeless(file, id string, line int) {
	reason := "must be in sites.csv: add the site or leave the row out"
	if at, lost := a.lost[id]; lost {
		reason = fmt.Sprintf("must be in sites.csv, whose line %d was set aside: mend that line", at)
	}
	a.book.setAside(ingest.Reject{File: file, Line: line, Column: "site_id", Value: id, Reason: reason, SiteID: id})
}

func (a *assembly) plane(s *ingest.Site, r *row[planeRow]) {
	s.Planes = append(s.Planes, r.value.Plane)
}

func (a *assembly) array(s *ingest.Site, r *row[arrayRow]) {
	v := r.value.Array
	v.Modules = r.value.modules.V
	c := &a.fleet.Catalogue
	if v.ModuleModel != "" && c.Module(v.ModuleModel) == nil {
		if v.ModuleWatts != v.ModuleWatts { // NaN: the model alone would have told them
			a.book.setAside(ingest.Reject{
				File: arrays.file(), Line: r.line, Column: "module_model", Value: short(v.ModuleModel), SiteID: s.ID,
				Reason: "must be in catalogue.yaml where module_watts is blank" + nearest.Hint(v.ModuleModel, moduleModels(a.fleet)),
			})
			return
		}
		a.unknown(ingest.Reject{File: arrays.file(), Line: r.line, Column: "module_model", Value: v.ModuleModel, SiteID: s.ID}, "catalogue.yaml", moduleModels(a.fleet))
	}
	if v.InverterModel != "" && c.Inverter(v.InverterModel) == nil {
		a.unknown(ingest.Reject{File: arrays.file(), Line: r.line, Column: "inverter_model", Value: v.InverterModel, SiteID: s.ID}, "catalogue.yaml", inverterModels(a.fleet))
	}
	if v.PlaneID != "" && !slices.ContainsFunc(s.Planes, func(p ingest.Plane) bool { return p.ID == v.PlaneID }) {
		a.unknown(ingest.Reject{File: arrays.file(), Line: r.line, Column: "plane_id", Value: v.PlaneID, SiteID: s.ID}, "planes.csv", planeIDs(s))
	}
	s.Arrays = append(s.Arrays, v)
}

func (a *assembly) service(s *ingest.Site, r *row[serviceRow]) {
	v := r.value.Service
	if v.Profile == "" && a.opts.Profile != "" {
		v.Profile, v.ProfileDefaulted = a.opts.Profile, true
	}
	if v.Profile != "" && a.fleet.Catalogue.Profile(v.Profile) == nil {
		a.unknown(ingest.Reject{File: services.file(), Line: r.line, Column: "profile", Value: v.Profile, SiteID: s.ID}, "catalogue.yaml", profileIDs(a.fleet))
	}
	s.Service = &v
}

func (a *assembly) gateway(s *ingest.Site, r *row[gatewayRow]) {
	v := r.value.Gateway
	if a.fleet.Catalogue.Gateway(v.Model) == nil {
		a.unknown(ingest.Reject{File: gateways.file(), Line: r.line, Column: "gateway_model", Value: v.Model, SiteID: s.ID}, "catalogue.yaml", gatewayModels(a.fleet))
	}
	s.Gateway = &v
}

func (a *assembly) bill(s *ingest.Site, r *row[billRow]) {
	s.Bills = append(s.Bills, r.value.Bill)
}

// withoutOverlaps keeps the bills that share no day with another of their site:
// which of two is right is not ours to guess.
func withoutOverlaps(rows []row[billRow], b *book) []row[billRow] {
	order := make([]int, len(rows))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(i, j int) int {
		x, y := &rows[i].value, &rows[j].value
		return cmp.Or(cmp.Compare(x.siteID, y.siteID), x.From.Compare(y.From), x.To.Compare(y.To), cmp.Compare(i, j))
	})
	other := make([]int, len(rows)) // a row that it shares a day with, plus 1
	last := -1                      // of the rows so far the site's one that reaches farthest
	for _, i := range order {
		x := &rows[i].value
		if last >= 0 && rows[last].value.siteID == x.siteID {
			if x.From.Before(rows[last].value.To) {
				other[i], other[last] = last+1, i+1
			}
			if !x.To.After(rows[last].value.To) {
				continue
			}
		}
		last = i
	}
	var kept []row[billRow]
	for i, r := range rows {
		if other[i] == 0 {
			kept = append(kept, r)
			continue
		}
		b.setAside(ingest.Reject{
			File: bills.file(), Line: r.line, Column: "from", Value: r.value.From.Format(time.DateOnly), SiteID: r.value.siteID,
			Reason: fmt.Sprintf("overlaps line %d: keep the right one", rows[other[i]-1].line),
		})
	}
	return kept
}

func (a *assembly) outcome(_ *ingest.Site, r *row[ingest.Outcome]) {
	a.fleet.Outcomes = append(a.fleet.Outcomes, r.value)
}

// close sorts everything, so that the order of rows does not matter, and gives
// each site its problems.
func (a *assembly) close() {
	f := a.fleet
	slices.SortFunc(f.Outcomes, func(x, y ingest.Outcome) int {
		return cmp.Or(cmp.Compare(x.SiteID, y.SiteID), x.CalledOn.Compare(y.CalledOn), cmp.Compare(x.Result, y.Result), cmp.Compare(x.Reason, y.Reason))
	})
	f.Rejects, f.Notes, f.RowsRead = a.book.rejects, a.book.notes, a.book.rows
	order := map[string]int{}
	for i, t := range Tables() {
		order[t.File] = i
	}
	slices.SortStableFunc(f.Rejects, func(x, y ingest.Reject) int {
		return cmp.Or(cmp.Compare(order[x.File], order[y.File]), cmp.Compare(x.Line, y.Line), cmp.Compare(x.Column, y.Column))
	})
	problems := map[string][]ingest.Reject{}
	for _, r := range f.Rejects {
		if r.SiteID != "" {
			problems[r.SiteID] = append(problems[r.SiteID], r)
		}
	}
	f.Change(func(s *ingest.Site) bool {
		byArray := func(x, y ingest.Array) int { return cmp.Compare(x.ID, y.ID) }
		byPlane := func(x, y ingest.Plane) int { return cmp.Compare(x.ID, y.ID) }
		byStart := func(x, y ingest.Bill) int { return x.From.Compare(y.From) }
		s.Problems = problems[s.ID]
		if s.Problems == nil && slices.IsSortedFunc(s.Arrays, byArray) && slices.IsSortedFunc(s.Planes, byPlane) && slices.IsSortedFunc(s.Bills, byStart) {
			return false
		}
		slices.SortFunc(s.Arrays, byArray)
		slices.SortFunc(s.Planes, byPlane)
		slices.SortFunc(s.Bills, byStart)
		return true
	})
}

func tariffIDs(f *ingest.Fleet) []string {
	return names(f.Tariffs, func(t ingest.Tariff) string { return t.ID })
}
func profileIDs(f *ingest.Fleet) []string {
	return names(f.Catalogue.Profiles, func(p ingest.ServiceProfile) string { return p.ID })
}
func moduleModels(f *ingest.Fleet) []string {
	return names(f.Catalogue.Modules, func(m ingest.Module) string { return m.Model })
}
func inverterModels(f *ingest.Fleet) []string {
	return names(f.Catalogue.Inverters, func(m ingest.Inverter) string { return m.Model })
}
func gatewayModels(f *ingest.Fleet) []string {
	return names(f.Catalogue.Gateways, func(m ingest.GatewayModel) string { return m.Model })
}
func planeIDs(s *ingest.Site) []string {
	return names(s.Planes, func(p ingest.Plane) string { return p.ID })
}

func names[E any](es []E, name func(E) string) []string {
	ns := make([]string, len(es))
	for i, e := range es {
		ns[i] = name(e)
	}
	return ns
}
