package option

import (
	"fmt"
	"math"
	"slices"
	"time"

	"rowen/analyze/tariff"
	"rowen/ingest"
	"rowen/ingest/samebits"
)

// stretch is a tariff that is in force from so many years on.
type stretch struct {
	tariff *tariff.Tariff
	from   float64
}

// path is what a site is billed on over the years to come, if nothing is built:
// its tariff, what is announced in its place, and the successor once legacy
// terms end.
type path []stretch

// daysPerYear turns a date into years from now.
const daysPerYear = 365.25

func (in *Input) yearsTo(day time.Time) float64 {
	return max(0, day.Sub(in.AsOf).Hours()/24/daysPerYear)
}

// pathOf is a tariff with its announced entries.
func (in *Input) pathOf(t *tariff.Tariff) path {
	if in.AsOf.IsZero() {
		return path{{t, 0}}
	}
	p := path{{t.At(in.AsOf), 0}}
	for _, later := range t.Later {
		if from, ok := tariff.Day(later.Data.ValidFrom); ok && from.After(in.AsOf) {
			p = append(p, stretch{later, in.yearsTo(from)})
		}
	}
	return p
}

// sitePath is the site's own: its legacy terms last until they end.
func (in *Input) sitePath() path {
	p := in.pathOf(in.Tariff)
	end := in.legacyEnds(p[0].tariff)
	if math.IsInf(end, 1) || in.Successor == nil {
		return p
	}
	p = slices.DeleteFunc(p, func(s stretch) bool { return s.from >= end })
	next := in.pathOf(in.Successor)
	p = append(p, stretch{next.at(end), end})
	for _, s := range next {
		if s.from > end {
			p = append(p, s)
		}
	}
	return p
}

// legacyEnds is in how many years legacy terms end by themselves: on their last
// day, or when the house is expected to change hands; +Inf: never.
func (in *Input) legacyEnds(t *tariff.Tariff) float64 {
	end, l := math.Inf(1), t.Data.Legacy
	if l == nil || in.AsOf.IsZero() {
		return end
	}
	if last, ok := tariff.Day(l.EndsOn); ok {
		end = in.yearsTo(last.AddDate(0, 0, 1))
	}
	if l.OwnerStaysYears > 0 {
		end = min(end, l.OwnerStaysYears)
	}
	return end
}

// at is the tariff in force after so many years.
func (p path) at(years float64) *tariff.Tariff {
	now := p[0].tariff
	for _, s := range p {
		if s.from <= years {
			now = s.tariff
		}
	}
	return now
}

// changes says what will not stay as it is.
func (in *Input) changes() []ingest.Caveat {
	var out []ingest.Caveat
	add := func(code, format string, args ...any) {
		out = append(out, ingest.Caveat{Code: code, Says: fmt.Sprintf(format, args...)})
	}
	if in.AsOf.IsZero() {
		return nil
	}
	for _, later := range in.Tariff.Later {
		if from, ok := tariff.Day(later.Data.ValidFrom); ok && from.After(in.AsOf) {
			add("tariff_changes", "tariff %s changes on %s; the later years are counted on what is announced", in.Tariff.ID, later.Data.ValidFrom)
		}
	}
	l := in.Tariff.Data.Legacy
	if l == nil {
		return out
	}
	if l.EndsOn != "" {
		add("legacy_ends", "the terms of tariff %s end on %s, with or without more modules; from then on %s is counted", in.Tariff.ID, l.EndsOn, l.Successor)
	}
	switch {
	case l.OwnerStaysYears > 0:
		add("legacy_ends_with_owner", "the terms of tariff %s end when the house changes hands; %s is counted after %g years", in.Tariff.ID, l.Successor, l.OwnerStaysYears)
	case l.EndsWithOwner:
		add("legacy_ends_with_owner", "the terms of tariff %s end when the house changes hands; they are counted for all years", in.Tariff.ID)
	}
	return out
}

// beginAfresh drops legacy terms that have ended already: the site is on the
// successor then.
func (in *Input) beginAfresh() {
	if !in.AsOf.IsZero() && in.Tariff != nil {
		in.Tariff = in.Tariff.At(in.AsOf)
	}
	if in.Tariff != nil && in.Successor != nil && in.legacyEnds(in.Tariff.At(in.AsOf)) == 0 {
		in.Tariff, in.Successor, in.OtherSuccessors = in.Successor, nil, nil
	}
}

// phase is the years in which the tariffs before and after stay the same.
type phase struct {
	before, after int       // indices of what they are priced on
	share         []float64 // of each year
	worth, flat   parts     // of the years after the first, against the phase lasting all the time
	parts         []parts   // first-year saving, point by point, size by size
	was           float64   // bill of today's array at the expected hours
	bills         []float64 // by size at the expected hours
}

// phases cuts the horizon where either path changes. A year in which it does is
// shared by days (our choice: not by seasons).
func (w *work) phases(in *Input, before, after path) []phase {
	years := in.Money.HorizonYears
	cuts := []float64{0}
	for _, s := range append(slices.Clone(before), after...) {
		if s.from < float64(years) {
			cuts = append(cuts, s.from)
		}
	}
	slices.Sort(cuts)
	cuts = slices.Compact(cuts)
	var out []phase
	for i, from := range cuts {
		to := float64(years)
		if i+1 < len(cuts) {
			to = cuts[i+1]
		}
		b, a := w.pricedOn(in, before.at(from)), w.pricedOn(in, after.at(from))
		at := slices.IndexFunc(out, func(p phase) bool { return p.before == b && p.after == a })
		if at < 0 {
			at = len(out)
			out = append(out, phase{before: b, after: a, share: make([]float64, years)})
		}
		for y := range years {
			out[at].share[y] += max(0, min(to, float64(y+1))-max(from, float64(y)))
		}
	}
	in.Money.weigh(out, in.Tariff)
	return out
}

// weigh fills what a phase is worth of the years after the first.
func (m *Money) weigh(phases []phase, t *tariff.Tariff) {
	terms := m.terms(t, 0, 0)
	r := 1 / (1 + m.DiscountRatePct/100)
	for i := range phases {
		p := &phases[i]
		p.worth, p.flat = parts{1, 1, 1}, parts{1, 1, 1}
		if len(phases) == 1 {
			continue
		}
		for k, g := range terms.growth {
			p.worth[k] = later(p.share, g*r, m.HorizonYears)
			p.flat[k] = later(p.share, g, m.within())
		}
	}
}

// later is the share of the years from the second on that fall to a phase, each
// weighed by q to its power; 0 where there are none.
func later(share []float64, q float64, years int) float64 {
	in, all, v := 0.0, 0.0, 1.0
	for y := 1; y < min(years, len(share)); y++ {
		v = float64(v * q)
		in += float64(share[y] * v)
		all += v
	}
	if !(all > 0) {
		return 0
	}
	return in / all
}

// account is a tariff that some year is billed on, with the site's sums on it.
type account struct {
	tariff *tariff.Tariff
	kernel *kernel
	exact  []sums
	sums   sums
	before tariff.Bill   // of today's array at the point in hand
	try    tariff.Totals // for what is neither
	price  parts         // of an announced tariff's money in today's
}

// pricedOn gives the index of a tariff among those that are billed on.
func (w *work) pricedOn(in *Input, t *tariff.Tariff) int {
	if at := slices.IndexFunc(w.priced, func(p *account) bool { return p.tariff == t }); at >= 0 {
		return at
	}
	p := w.open(t, nil)
	p.kernel.fill(t.Year(in.Window, in.Location), in)
	if from, ok := tariff.Day(t.Data.ValidFrom); ok && !in.AsOf.IsZero() {
		years := math.Floor(in.yearsTo(from))
		for k, pct := range in.Money.escalation(in.Tariff) {
			p.price[k] = samebits.Pow(1+pct/100, -years)
		}
	}
	return len(w.priced) - 1
}

// open adds an account; the memory of an earlier site's is used again.
func (w *work) open(t *tariff.Tariff, k *kernel) *account {
	p := &account{}
	if n := len(w.spare); n > 0 {
		p, w.spare = w.spare[n-1], w.spare[:n-1]
	}
	switch {
	case k != nil:
		p.kernel = k
	case p.kernel == nil || p.kernel == &w.main:
		p.kernel = new(kernel)
	}
	p.tariff, p.price, p.try = t, parts{1, 1, 1}, tariff.Totals{}
	w.priced = append(w.priced, p)
	return p
}

// by scales each part.
func (p parts) by(f parts) parts {
	return parts{float64(p[0] * f[0]), float64(p[1] * f[1]), float64(p[2] * f[2])}
}
