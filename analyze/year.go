package analyze

import (
	"math"

	"rowen/analyze/array"
	"rowen/analyze/demand"
	"rowen/ingest"
)

// YearFigures are what the meters counted in the report year: what a customer
// compares with a bill. NaN: not known.
type YearFigures struct {
	ProductionKWh, ConsumptionKWh float64
	// The shares of these kWh that no meter read and the model filled in, in
	// percent.
	ProductionFilledPct, ConsumptionFilledPct float64
	CoveragePct                               float64 // production / consumption; NaN where consumption is net of own use
}

func unknownYear() YearFigures {
	nan := math.NaN()
	return YearFigures{nan, nan, nan, nan, nan}
}

// yearFigures adds up the report year.
func (f *Finding) yearFigures(s *ingest.Series, use *ingest.ConsumptionHours) {
	y := &f.Year
	var made, used []float64
	if f.Array.Refusal == "" {
		made = f.Array.YearWh
	}
	if f.Demand.Refusal == "" {
		used = f.Demand.NextYearWh
	}
	if !s.Refused(ingest.Production) {
		read := inWindow(s.Wh[ingest.Production], s.Start, f.Window)
		withoutDeadMeter(read, f.Window, f.Array.Faults)
		y.ProductionKWh, y.ProductionFilledPct = yearOf(read, made)
	}
	switch {
	case f.Demand.Refusal == "" && f.Demand.Basis == demand.BasisBills:
		y.ConsumptionKWh, y.ConsumptionFilledPct = billedYear(f)
	case use.Basis != "":
		y.ConsumptionKWh, y.ConsumptionFilledPct = yearOf(inWindow(use.Wh, s.Start, f.Window), used)
	}
	if y.ConsumptionKWh > 0 && (use.Gross || f.Demand.Basis == demand.BasisBills) {
		y.CoveragePct = 100 * y.ProductionKWh / y.ConsumptionKWh
	}
}

// inWindow cuts hours to a window; NaN outside of them.
func inWindow(wh []float64, start ingest.Hour, w ingest.Window) []float64 {
	out := make([]float64, w.N)
	for j := range out {
		out[j] = math.NaN()
		if i := int(w.Start-start) + j; i >= 0 && i < len(wh) {
			out[j] = wh[i]
		}
	}
	return out
}

// withoutDeadMeter takes out the zeros of a meter that was dead while its array
// may have run: they are holes.
func withoutDeadMeter(wh []float64, w ingest.Window, faults []array.Fault) {
	for _, fault := range faults {
		if fault.Code != array.MeterDead {
			continue
		}
		from, to := 0, len(wh)
		if !fault.On.IsZero() {
			from = max(0, int(ingest.HourFrom(fault.On)-w.Start))
		}
		if !fault.Until.IsZero() {
			to = min(to, int(ingest.HourFrom(fault.Until)-w.Start))
		}
		for j := from; j < to; j++ {
			wh[j] = math.NaN()
		}
	}
}

// Holes are filled by the model times what the readings around them were to it:
// over blockHours on each side and the block itself, where at least nearShare of
// the model's energy there was read, else over the year. Without a model holes up
// to unmodelledShare of the hours are filled with the mean of the hours read. Our
// choices.
const (
	blockHours      = 15 * 24
	nearShare       = 0.2
	unmodelledShare = 0.1
)

// yearOf adds up a year's hours and fills what is missing.
//
// In:     hours of the window in Wh, NaN missing; the model's, without NaN, or nil.
// Out:    kWh, and the share of them that was filled.
// Refuses: nothing read; holes that nothing can fill.
func yearOf(read, model []float64) (kWh, filledPct float64) {
	known, n := 0.0, 0
	for _, x := range read {
		if x == x {
			known, n = known+x, n+1
		}
	}
	filled := 0.0
	switch {
	case n == 0:
		return math.NaN(), math.NaN()
	case n == len(read):
	case len(model) == len(read):
		filled = fillFrom(read, model)
	case float64(len(read)-n) <= unmodelledShare*float64(len(read)):
		filled = known / float64(n) * float64(len(read)-n)
	default:
		filled = math.NaN()
	}
	total := known + filled
	if filled == 0 || total == 0 {
		return total / 1000, 0
	}
	return total / 1000, 100 * filled / total
}

// fillFrom is the energy of the holes, in Wh.
func fillFrom(read, model []float64) float64 {
	// By block: what was read, the model over the same hours, and over all.
	type sums struct{ read, same, all float64 }
	blocks := make([]sums, (len(read)+blockHours-1)/blockHours)
	var year sums
	for j, x := range read {
		b := &blocks[j/blockHours]
		b.all += model[j]
		if x == x {
			b.read, b.same = b.read+x, b.same+model[j]
		}
	}
	for _, b := range blocks {
		year = sums{year.read + b.read, year.same + b.same, year.all + b.all}
	}
	filled := 0.0
	for k := range blocks {
		var near sums
		for i := max(0, k-1); i <= min(len(blocks)-1, k+1); i++ {
			near = sums{near.read + blocks[i].read, near.same + blocks[i].same, near.all + blocks[i].all}
		}
		if near.same < nearShare*near.all {
			near = year
		}
		if hole := blocks[k].all - blocks[k].same; hole > 0 {
			filled += float64(hole * near.read / near.same) // not a number where the model has nothing to compare
		}
	}
	return filled
}

// billedYear adds up the months that bills tell, and fills the others by the
// coming year's shape.
func billedYear(f *Finding) (kWh, filledPct float64) {
	known, filled := 0.0, 0.0
	var read, same float64
	cal := ingest.NewCalendar(f.Location, f.Window.Start, f.Window.N)
	missing := 0.0
	for _, m := range cal.Months() {
		model := sum(f.Demand.NextYearWh[m.Lo:m.Hi]) / 1000
		at := Month{m.First.Year(), m.First.Month()}
		billed := false
		for _, b := range f.Demand.Months {
			if (Month{b.First.Year(), b.First.Month()}) == at && b.ConsumptionKWh == b.ConsumptionKWh {
				part := float64(b.ConsumptionKWh * min(1, b.DataPct/100))
				known, filled = known+part, filled+b.ConsumptionKWh-part
				read, same, billed = read+b.ConsumptionKWh, same+model, true
			}
		}
		if !billed {
			missing += model
		}
	}
	if same <= 0 {
		return math.NaN(), math.NaN()
	}
	filled += missing * read / same
	return known + filled, 100 * filled / (known + filled)
}
