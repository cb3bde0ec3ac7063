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
	"fmt"
	"sync"
	"time"

	"rowen/ingest"
)

// Tariff is a tariff that has been checked and may be asked for bills. It is
// safe for concurrent use.
type Tariff struct {
	ID    string
	Data  ingest.Tariff
	Notes []string // what stands in the tariff without effect

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
// Refuses: what Compile refuses, an ID that comes twice, a legacy tariff whose
// successor is not there or is itself. Every violation is in the error.
func CompileAll(tariffs []ingest.Tariff) (Set, error) {
	set := Set{}
	var errs violations
	for _, data := range tariffs {
		t, err := Compile(data)
		if err != nil {
			errs = append(errs, err)
			continue
		}
		if set[data.ID] != nil {
			errs.add("tariff %q: comes twice; give each its own id", data.ID)
		}
		set[data.ID] = t
	}
	for _, data := range tariffs {
		if l := data.Legacy; l != nil {
			switch {
			case l.Successor == data.ID:
				errs.add("tariff %q: legacy: successor is the tariff itself", data.ID)
			case ingest.FindTariff(tariffs, l.Successor) == nil:
				errs.add("tariff %q: legacy: successor %q is not among the tariffs; add it", data.ID, l.Successor)
			}
		}
	}
	return set, errs.err()
}

// Successor is the tariff that follows when t's legacy terms are lost; nil
// where t has none.
func (s Set) Successor(t *Tariff) *Tariff {
	if t == nil || t.Data.Legacy == nil {
		return nil
	}
	return s[t.Data.Legacy.Successor]
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
