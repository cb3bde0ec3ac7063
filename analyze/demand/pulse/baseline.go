package pulse

import "math"

// The baseline is the 30th percentile of the same interval of the day over 14
// days on either side: a car that charges at the same hour two nights in three
// must not become baseline, a home's quiet hours must not either (measured on
// real homes: 20 % and 50 % find fewer).
const (
	baseHalfDays = 14
	baseShare    = 0.30
	baseLeast    = 7                // days read
	baseRank     = 9                // the 30th percentile of 29 values is the ninth smallest
	baseAhead    = 4 + baseHalfDays // days from the first of a week that its baseline looks at
)

// baseline is a home's usual power by interval of the day, a week at a time: only
// where an interval of the week may be a pulse, which is one interval of the day in
// four or so. Elsewhere it is +Inf, or NaN where too few days were read; nothing
// stands above either.
type baseline struct {
	v       *Intervals
	kw      []float64 // by interval of the day
	ceiling []float64 // what the baseline may be for the week's highest interval to be a pulse
	read    []uint32  // days read
	under   []uint32  // of them, days not above the ceiling
}

func newBaseline(v *Intervals) *baseline {
	return &baseline{v, make([]float64, v.PerDay), make([]float64, v.PerDay), make([]uint32, v.PerDay), make([]uint32, v.PerDay)}
}

// of works the baseline of a week out. A day's intervals lie one after the other,
// and so they are gone over day by day; the values are sorted only where as many lie
// under the ceiling as the baseline needs.
func (b *baseline) of(week int) {
	v := b.v
	lo, hi := max(0, week*7+3-baseHalfDays), min(v.Days(), week*7+baseAhead)
	b.ceilings(week)
	clear(b.read)
	clear(b.under)
	for d := lo; d < hi; d++ {
		day := v.KW[d*v.PerDay : (d+1)*v.PerDay]
		ceiling, read, under := b.ceiling[:len(day)], b.read[:len(day)], b.under[:len(day)]
		for s, x := range day {
			var is, low uint32
			if x == x {
				is = 1
			}
			if x <= ceiling[s] {
				low = 1
			}
			read[s] += is
			under[s] += low
		}
	}
	for s := range b.kw {
		m := int(b.read[s])
		rank := int(baseShare * float64(m-1))
		switch {
		case m < baseLeast:
			b.kw[s] = math.NaN()
		case int(b.under[s]) <= rank:
			b.kw[s] = math.Inf(1)
		default:
			b.kw[s] = b.smallest(s, lo, hi, rank)
		}
	}
}

// ceilings sets, for each interval of the day, the highest of the week less pulseKW,
// with room for the rounding of that difference.
func (b *baseline) ceilings(week int) {
	v := b.v
	for s := range b.ceiling {
		b.ceiling[s] = math.Inf(-1)
	}
	for d := 7 * week; d < min(7*week+7, v.Days()); d++ {
		for s, x := range v.KW[d*v.PerDay : (d+1)*v.PerDay] {
			if x > b.ceiling[s] {
				b.ceiling[s] = x
			}
		}
	}
	for s, x := range b.ceiling {
		b.ceiling[s] = x - pulseKW + float64(1e-9*(math.Abs(x)+pulseKW))
	}
}

// smallest is the value of the days lo to hi with rank others below it. What lies
// above the ceiling is left out: enough lie under it.
func (b *baseline) smallest(s, lo, hi, rank int) float64 {
	var low [baseRank]float64 // the smallest so far, rising
	m, ceiling, perDay := 0, b.ceiling[s], b.v.PerDay
	for d := lo; d < hi; d++ {
		x := b.v.KW[d*perDay+s]
		if !(x <= ceiling) {
			continue
		}
		k := min(m, baseRank)
		m++
		if k == baseRank {
			if x >= low[k-1] {
				continue
			}
			k--
		}
		for ; k > 0 && low[k-1] > x; k-- {
			low[k] = low[k-1]
		}
		low[k] = x
	}
	return low[rank]
}
