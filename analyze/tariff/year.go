package tariff

import (
	"cmp"
	"slices"
	"time"

	"rowen/ingest"
)

// Year is a tariff laid over the hours of a window. It is shared: nobody
// changes it.
type Year struct {
	Tariff   *Tariff
	Window   ingest.Window
	Location *time.Location

	ImportPrice []float64 // per kWh, by hour, tiers and non-bypassable charges apart
	ExportPrice []float64 // per kWh, by hour; under retail credit the import price
	Period      []uint8   // by hour, index into the tariff's import periods
	Month       []uint8   // by hour, index into Months

	Months []YearMonth // in the order of the settlement year: from the anniversary month on
	Slots  []Slot
	// Order lists the hours slot by slot: those of slot s are
	// Order[SlotStart[s]:SlotStart[s+1]], in time's order.
	Order     []int32
	SlotStart []int32
}

// YearMonth is one calendar month of the window.
type YearMonth struct {
	Year  int
	Month time.Month
	Days  int // days whose noon lies in the window
}

// Slot is the hours that one month's bill does not tell apart.
type Slot struct {
	Month       int // index into Year.Months
	Period      int // import period
	Bucket      int
	Ladder      int // of tiers
	ImportPrice float64
	ExportPrice float64
	NewPrice    float64 // export price of modules added from now on
	Demand      uint16  // bits of the demand charges that look at these hours
}

type slotKey struct {
	month, period, export, exportNew int
	demand                           uint16
}

// newYear lays t over the window.
//
// An hour belongs to the period that its start lies in, by the civil clock of
// loc: the repeated hour when clocks go back is two hours of the same period.
// A day is charged to the month that its noon lies in, so that a window which
// begins within a day counts whole days.
//
// Cost: one walk over the hours; the result is shared by all sites of a zone.
func newYear(t *Tariff, window ingest.Window, loc *time.Location) *Year {
	y := &Year{Tariff: t, Window: window, Location: loc,
		ImportPrice: make([]float64, window.N), ExportPrice: make([]float64, window.N),
		Period: make([]uint8, window.N), Month: make([]uint8, window.N)}
	l := laying{y, make([]slotKey, window.N)}
	cal := ingest.NewCalendar(loc, window.Start, window.N)
	for d := range cal.Days() {
		date := cal.Date(d)
		at := len(y.Months) - 1
		if at < 0 || y.Months[at].Month != date.Month() || y.Months[at].Year != date.Year() {
			at++
			y.Months = append(y.Months, YearMonth{Year: date.Year(), Month: date.Month()})
		}
		c := civil{month: date.Month(), days: t.holidays.dayBits(date)}
		lo, hi := cal.Day(d)
		for i := lo; i < hi; i++ {
			c.minute = cal.MinuteOfDay(i)
			if c.minute/60 == 12 {
				y.Months[at].Days++
			}
			l.keys[i] = l.place(i, at, c)
		}
	}
	l.sortMonths()
	l.sortSlots()
	return y
}

// laying is a year in the making, with the slot that each hour belongs to.
type laying struct {
	*Year
	keys []slotKey
}

// place prices hour i and says which slot it belongs to.
func (l *laying) place(i, month int, c civil) slotKey {
	t := l.Tariff
	k := slotKey{month: month, period: first(t.imports, c), export: first(t.exports, c), exportNew: -1}
	if t.exportsNew != nil {
		k.exportNew = first(t.exportsNew, c)
	}
	for d := range t.demand {
		if t.demand[d].matches(c) {
			k.demand |= 1 << d
		}
	}
	l.Period[i] = uint8(k.period)
	l.ImportPrice[i] = t.imports[k.period].price
	l.ExportPrice[i] = t.exports[k.export].price
	if t.retail() {
		l.ExportPrice[i] = l.ImportPrice[i]
	}
	return k
}

// sortMonths puts the months in the order of the settlement year.
func (l *laying) sortMonths() {
	anniversary := max(1, l.Tariff.Data.AnniversaryMonth)
	rank := func(m YearMonth) int { return (int(m.Month) - anniversary + 12) % 12 }
	order := make([]int, len(l.Months))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(rank(l.Months[a]), rank(l.Months[b])) })
	place := make([]int, len(order))
	months := make([]YearMonth, len(order))
	for at, from := range order {
		place[from], months[at] = at, l.Months[from]
	}
	l.Months = months
	for i := range l.keys {
		l.keys[i].month = place[l.keys[i].month]
		l.Month[i] = uint8(l.keys[i].month)
	}
}

func (l *laying) sortSlots() {
	l.Order = make([]int32, len(l.keys))
	for i := range l.Order {
		l.Order[i] = int32(i)
	}
	slices.SortStableFunc(l.Order, func(a, b int32) int { return compareSlots(l.keys[a], l.keys[b]) })
	for at, i := range l.Order {
		if at > 0 && l.keys[i] == l.keys[l.Order[at-1]] {
			continue
		}
		k, t := l.keys[i], l.Tariff
		s := Slot{Month: k.month, Period: k.period, Bucket: t.bucketOf[k.period], Ladder: t.ladderOf[k.period], Demand: k.demand,
			ImportPrice: l.ImportPrice[i], ExportPrice: l.ExportPrice[i], NewPrice: l.ExportPrice[i]}
		if k.exportNew >= 0 {
			s.NewPrice = t.exportsNew[k.exportNew].price
		}
		l.Slots = append(l.Slots, s)
		l.SlotStart = append(l.SlotStart, int32(at))
	}
	l.SlotStart = append(l.SlotStart, int32(len(l.keys)))
}

func compareSlots(a, b slotKey) int {
	return cmp.Or(cmp.Compare(a.month, b.month), cmp.Compare(a.period, b.period),
		cmp.Compare(a.export, b.export), cmp.Compare(a.exportNew, b.exportNew), cmp.Compare(a.demand, b.demand))
}
