package page

import (
	"fmt"
	"math"
	"strings"
)

// The chart's drawing, in its own units.
const (
	chartWidth  = 480.0
	chartHeight = 180.0
	chartLeft   = 40.0
	chartTop    = 10.0
	chartFoot   = 30.0 // below the axis: month and year
	chartMonths = 24   // the most that are shown
)

// chart is two years of a site, month by month: what the array made, what it
// should have made and what the household used.
type chart struct {
	Width, Height float64
	Base          float64 // the axis
	Ticks         []tick
	Bars          []bar
	Use           string // path of the use
	UseDots       []dot
	Months        []Month
}

type tick struct {
	Y    float64
	Says string
}

type bar struct {
	X, Y, Width, Height float64
	Made                bool // there is a measured output
	ExpectedY           float64
	Expected            bool
	Middle              float64
	Letter              string
	Year                string // only under the first month and each January
}

type dot struct{ X, Y float64 }

// chartOf lays the last months out; no month gives an empty chart.
func chartOf(months []Month) chart {
	c := chart{Width: chartWidth, Height: chartHeight, Base: chartHeight - chartFoot}
	if len(months) > chartMonths {
		months = months[len(months)-chartMonths:]
	}
	c.Months = months
	most := 0.0
	for _, m := range months {
		for _, v := range []float64{m.ProductionKWh, m.ConsumptionKWh, m.ExpectedKWh} {
			if v > most && !math.IsInf(v, 0) { // false for NaN
				most = v
			}
		}
	}
	if most == 0 {
		return chart{}
	}
	step := niceStep(most / 4)
	top := float64(step * math.Ceil(most/step))
	y := func(v float64) float64 { return round1(c.Base - (c.Base-chartTop)*min(max(v, 0), top)/top) }
	for v := 0.0; v <= top+float64(step/2); v += step {
		c.Ticks = append(c.Ticks, tick{y(v), whole(v)})
	}
	slot := (chartWidth - chartLeft) / float64(len(months))
	var use strings.Builder
	down := false // the pen
	for i, m := range months {
		left := chartLeft + float64(slot*float64(i))
		b := bar{X: round1(left + float64(slot*0.14)), Width: round1(slot * 0.72), Middle: round1(left + float64(slot/2))}
		if !math.IsNaN(m.ProductionKWh) {
			b.Made, b.Y = true, y(m.ProductionKWh)
			b.Height = round1(c.Base - b.Y)
		}
		if !math.IsNaN(m.ExpectedKWh) {
			b.Expected, b.ExpectedY = true, y(m.ExpectedKWh)
		}
		if m.Month >= 1 && m.Month <= 12 {
			b.Letter = "JFMAMJJASOND"[m.Month-1 : m.Month]
		}
		if i == 0 || m.Month == 1 {
			b.Year = fmt.Sprint(m.Year)
		}
		c.Bars = append(c.Bars, b)
		if math.IsNaN(m.ConsumptionKWh) {
			down = false
			continue
		}
		pen := "M"
		if down {
			pen = "L"
		}
		down = true
		d := dot{b.Middle, y(m.ConsumptionKWh)}
		fmt.Fprintf(&use, "%s%g %g", pen, d.X, d.Y)
		c.UseDots = append(c.UseDots, d)
	}
	c.Use = use.String()
	return c
}

// niceStep is the least of 1, 2, 2.5 and 5 times a power of ten that is not
// below x.
func niceStep(x float64) float64 {
	power := math.Pow(10, math.Floor(math.Log10(x)))
	for _, m := range []float64{1, 2, 2.5, 5} {
		if m*power >= x {
			return m * power
		}
	}
	return 10 * power
}

func round1(x float64) float64 { return math.Round(x*10) / 10 }
