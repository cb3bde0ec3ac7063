package array

import (
	"math"
	"time"
)

// monthSum gathers one month.
type monthSum struct {
	Month
	p, e, lit, have float64
}

// months sums the data by month of the site's calendar.
func months(v *view) (out []Month) {
	var at monthSum
	for d := range v.day {
		m := v.midnight(d)
		if at.First.IsZero() || m.Month() != at.First.Month() {
			out = at.closed(out)
			at = monthSum{Month: Month{First: time.Date(m.Year(), m.Month(), 1, 0, 0, 0, 0, m.Location())}}
		}
		for i, hi := v.Calendar.Day(d); i < hi; i++ {
			at.add(v.wh[i], v.expected[i], v.Sun.Up[i] > 0)
		}
	}
	return at.closed(out)
}

func (m *monthSum) add(wh, expected float64, up bool) {
	if expected > 0 {
		m.ExpectedKWh += expected / 1000
	}
	if up {
		m.lit++
		if wh == wh {
			m.have++
		}
	}
	if wh == wh {
		m.MeasuredKWh += wh / 1000
		if expected > 0 {
			m.p, m.e = m.p+wh, m.e+expected
		}
	}
}

// closed puts the month to those before it, if there is one.
func (m *monthSum) closed(out []Month) []Month {
	if m.First.IsZero() {
		return out
	}
	if m.have == 0 {
		m.MeasuredKWh = math.NaN()
	}
	m.ProductionIndex = math.NaN()
	if m.e > 0.2*m.ExpectedKWh*1000 {
		m.ProductionIndex = m.p / m.e
	}
	if m.lit > 0 {
		m.CoveragePct = 100 * m.have / m.lit
	}
	return append(out, m.Month)
}
