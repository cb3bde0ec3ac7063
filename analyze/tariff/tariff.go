// Package tariff turns a tariff, which is data, into prices by the hour and a
// year of hours into a bill.
//
// Everything a bill needs is known once the kWh bought and sold are known by
// slot: the hours of one month that share one import period, one export period
// and the same demand windows. Compile checks a tariff, Year lays it over the
// hours of a window in a zone, Settle prices the sums of the slots. A size of
// array thus costs a few dozen sums, not a year of prices.
package tariff

import (
	"cmp"
	"fmt"
	"slices"
	"sync"
	"time"

	"rowen/ingest"
)

// Tariff is a tariff that has been checked and may be asked for bills. It is
// safe for concurrent use.
type Tariff struct {
	ID    string
	Data  ingest.Tariff
	Notes []string  // what stands in the tariff without effect
	Later []*Tariff // entries of the same id that come into force later, by day

	imports, exports, exportsNew []rule // first match wins
	demand                       []demandCharge
	ladders                      [][]ingest.TariffTier // the different ones; an empty one: no tiers
	ladderOf                     []int                 // by import period
	buckets                      []string              // names of the import buckets
	bucketOf                     []int                 // by import period
	noCarry                      []bool                // by bucket: its kWh are not banked
	holidays                     holidays

	mu    sync.Mutex
	years map[yearKey]*Year
}

// demandCharge is one charge on the highest power of the hours that any of its
// rules matches.
type demandCharge struct {
	name  string
	price float64 // per kW and month
	rules []rule
}

func (c *demandCharge) matches(at civil) bool {
	for i := range c.rules {
		if c.rules[i].matches(at) {
			return true
		}
	}
	return false
}

type yearKey struct {
	zone   string
	window ingest.Window
}

// maxYears bounds the years a tariff keeps: zones times windows of one run are
// few; beyond this the cache starts again (our choice).
const maxYears = 64

// maxSuccessors bounds the tariffs that a legacy tariff may be followed by: each
// costs a walk over the hours (our choice).
const maxSuccessors = 4

// Set is all tariffs of a fleet by ID.
type Set map[string]*Tariff

// CompileAll compiles the tariffs of a fleet.
//
// In:      the tariffs as written. An id may come several times, each entry with
// a later valid_from.
// Out:     the tariffs that can be used; the later entries of an id stand in the
// first one's Later.
// Refuses: what Compile refuses, an id that comes twice from the same day, a
// legacy tariff whose successor is not there or is itself. Every violation is in
// the error, one a line and each its own error (errors.Join); the other tariffs
// are returned all the same.
func CompileAll(tariffs []ingest.Tariff) (Set, error) {
	set := Set{}
	var errs violations
	for _, data := range tariffs {
		t, err := Compile(data)
		if err != nil {
			errs = append(errs, err)
			continue
		}
		if first := set[data.ID]; first != nil {
			set[data.ID] = first.with(t, &errs)
			continue
		}
		set[data.ID] = t
	}
	for _, data := range tariffs {
		l := data.Legacy
		if l == nil {
			continue
		}
		for _, id := range append([]string{l.Successor}, l.OtherSuccessors...) {
			switch {
			case id == data.ID:
				errs.add("tariff %q: legacy: successor is the tariff itself", data.ID)
			case ingest.FindTariff(tariffs, id) == nil:
				errs.add("tariff %q: legacy: successor %q is not among the tariffs; add it", data.ID, id)
			}
		}
	}
	return set, errs.err()
}

// with adds an entry of the same id, by the day from which it is in force; it
// gives the first of them.
func (t *Tariff) with(other *Tariff, errs *violations) *Tariff {
	all := append(append([]*Tariff{t}, t.Later...), other)
	slices.SortStableFunc(all, func(a, b *Tariff) int { return cmp.Compare(a.Data.ValidFrom, b.Data.ValidFrom) })
	for i := 1; i < len(all); i++ {
		if all[i].Data.ValidFrom == all[i-1].Data.ValidFrom {
			errs.add("tariff %q: comes twice; give each its own id, or the later one another valid_from", t.ID)
		}
		all[i].Later = nil
	}
	all[0].Later = all[1:]
	return all[0]
}

// At is the entry of the tariff's id that is in force on a day; before the first
// of them, the first.
func (t *Tariff) At(day time.Time) *Tariff {
	now := t
	for _, later := range t.Later {
		if from, ok := Day(later.Data.ValidFrom); ok && !from.After(day) {
			now = later
		}
	}
	return now
}

// Successor is the tariff that follows when t's legacy terms are lost; nil
// where t has none.
func (s Set) Successor(t *Tariff) *Tariff {
	if t == nil || t.Data.Legacy == nil {
		return nil
	}
	return s[t.Data.Legacy.Successor]
}

// Successors are the tariffs that the customer may choose among when t's legacy
// terms are lost, the one that holds without a choice first; those that cannot
// be used are left out.
func (s Set) Successors(t *Tariff) []*Tariff {
	next := s.Successor(t)
	if next == nil {
		return nil
	}
	all := []*Tariff{next}
	for _, id := range t.Data.Legacy.OtherSuccessors {
		if other := s[id]; other != nil && !slices.Contains(all, other) {
			all = append(all, other)
		}
	}
	return all
}

// Keeps tells whether adding addedKW to an array of existingKW leaves t's terms
// as they are: true without legacy terms, and where the growth is not more than
// the share (or the kW) that the tariff's text allows.
func (t *Tariff) Keeps(addedKW, existingKW float64) bool {
	l := t.Data.Legacy
	if l == nil {
		return true
	}
	const rounding = 1e-9 // 10 % of 4.3 kW is 0.43 kW, whatever the binary digits say
	return addedKW <= existingKW*l.LostWhenAddedPct/100+rounding || addedKW <= l.LostWhenAddedKW+rounding
}

// Year lays the tariff over the hours of a window, by the civil clock of loc.
// It is shared: the same tariff, zone and window give the same *Year.
func (t *Tariff) Year(window ingest.Window, loc *time.Location) *Year {
	key := yearKey{loc.String(), window}
	t.mu.Lock()
	defer t.mu.Unlock()
	if y := t.years[key]; y != nil {
		return y
	}
	if t.years == nil || len(t.years) >= maxYears {
		t.years = map[yearKey]*Year{}
	}
	y := newYear(t, window, loc)
	t.years[key] = y
	return y
}

// violations collects what is wrong, so that all is reported at once.
type violations []error

func (v *violations) add(format string, args ...any) { *v = append(*v, fmt.Errorf(format, args...)) }
