package analyze

import (
	"fmt"
	"math"
	"time"

	"rowen/analyze/rank"
	"rowen/analyze/tariff"
	"rowen/ingest"
	"rowen/ingest/samebits"
)

// Expansion is what became of modules that an earlier call sold: what was
// predicted of them against what they did. NaN: not known.
type Expansion struct {
	SoldOn, BuiltOn time.Time
	Modules         int
	Months          float64 // with readings since
	Refusal         string  // why nothing is said yet; "": the figures stand

	PredictedKWhYr                           float64 // of the modules that were built
	RealizedKWhYr, RealizedLow, RealizedHigh float64 // a year's output at what was seen, with a 90 % interval
	PredictedSaving                          float64 // first year
	RealizedSaving, SavedLow, SavedHigh      float64
}

const (
	// earliestMonths is how long new modules must have been read before anything
	// is said of them (our choice).
	earliestMonths = 3
	// splitSD is how well the modelled share of the new modules parts one meter's
	// reading: nameplates, dirt and ageing of old and new differ by about this much
	// (our choice, from the brackets of a factor's carry-over).
	splitSD = 0.03
	// seasonSD is how much a model's shape over the year errs from what was seen to
	// what was not (our choice: monthly yields of a year differ by about this much
	// from a model that knows the sky).
	seasonSD = 0.05
	// sickSD takes the place of splitSD where a live fault of unknown place is in
	// the same reading (our choice).
	sickSD = 0.12
)

// judgeExpansion holds what a sale predicted against what the new modules made
// and saved.
//
// One meter reads old and new modules together. Each hour's reading is parted by
// the share that the model gives either under the sky of that hour:
//
//	realized = sum of read(h) · new(h) / (new(h) + old(h)) over the hours since,
//	a year's = realized / (sum of new(h) since / sum of new(h) of the report year)
//
// with an interval for the split and for the part of the year that was not seen.
func (j *judge) judgeExpansion(f *Finding, s *ingest.Series) {
	last, built := lastSale(f)
	if last == nil || built.IsZero() || f.Array.Refusal != "" || s.Wh[ingest.Production] == nil || s.Refused(ingest.Production) {
		return
	}
	x := &Expansion{SoldOn: last.CalledOn, BuiltOn: built}
	f.Expansion = x
	parts := j.partArray(f, last.CalledOn)
	x.Modules = parts.modules
	x.predict(last)
	made := parts.read(f, s, built)
	x.Months = float64(made.hours) / (24 * 365.25 / 12)
	switch {
	case made.newSince <= 0 || made.read <= 0:
		x.Refusal = "nothing was read since the new modules were commissioned"
		return
	case x.Months < earliestMonths:
		x.Refusal = fmt.Sprintf("%.0f months of readings since the new modules were commissioned; something is said after %d", math.Floor(x.Months), earliestMonths)
		return
	}
	seen := made.newSince / parts.newYear
	sd := splitSD
	if f.Array.ShortfallKWhYr > 0 {
		sd = sickSD
	}
	sd = samebits.Hypot(sd, seasonSD*math.Sqrt(math.Max(0, 1-seen)/seen))
	ratio := made.read / made.newSince
	x.RealizedKWhYr = ratio * parts.newYear / 1000
	x.RealizedLow, x.RealizedHigh = x.RealizedKWhYr*(1-float64(tornado90*sd)), x.RealizedKWhYr*(1+float64(tornado90*sd))
	j.saved(f, s, x, parts, ratio, made.oldRatio)
}

// tornado90 is the 95 % point of the standard normal distribution.
const tornado90 = 1.6449

// lastSale is the latest call that sold and the day its modules were commissioned
// by arrays.csv.
func lastSale(f *Finding) (sale *ingest.Outcome, built time.Time) {
	for i := range f.Past {
		if f.Past[i].Result == rank.Sold {
			sale = &f.Past[i]
		}
	}
	if sale == nil {
		return nil, built
	}
	for _, a := range f.Site.Arrays {
		if added(&a, sale.CalledOn) && (built.IsZero() || a.CommissionedOn.Before(built)) {
			built = a.CommissionedOn
		}
	}
	return sale, built
}

func added(a *ingest.Array, soldOn time.Time) bool {
	return !a.CommissionedOn.IsZero() && !a.CommissionedOn.Before(soldOn)
}

// predict scales what was offered to what was built.
func (x *Expansion) predict(sale *ingest.Outcome) {
	l, nan := &sale.Listed, math.NaN()
	x.PredictedKWhYr, x.PredictedSaving, x.RealizedKWhYr, x.RealizedSaving = nan, nan, nan, nan
	x.RealizedLow, x.RealizedHigh, x.SavedLow, x.SavedHigh = nan, nan, nan, nan
	offered := l.Modules.Or(sale.ModulesSold.V)
	if offered > 0 {
		part := float64(x.Modules) / float64(offered)
		x.PredictedKWhYr, x.PredictedSaving = part*l.AddedKWhYr, part*l.Saving
	}
}

// arrayParts is the model's output of the old and the new modules over the
// report year, hour by hour.
type arrayParts struct {
	oldWh, newWh []float64
	newYear      float64
	modules      int // new ones
}

func (j *judge) partArray(f *Finding, soldOn time.Time) arrayParts {
	p := arrayParts{oldWh: make([]float64, f.Window.N), newWh: make([]float64, f.Window.N)}
	for i := range f.Site.Arrays {
		a := &f.Site.Arrays[i]
		plane := ingest.Plane{ID: a.PlaneID, TiltDeg: a.TiltDeg, AzimuthDeg: a.AzimuthDeg, ShadingPct: math.NaN()}
		for _, of := range f.Site.Planes {
			if of.ID == a.PlaneID {
				plane = of
			}
		}
		module, inverter := f.Module, f.Inverter
		if m := j.Register.Catalogue.Module(a.ModuleModel); m != nil {
			module = *m
		} else if a.ModuleWatts > 0 {
			module.Watts = a.ModuleWatts
		}
		if inv := j.Register.Catalogue.Inverter(a.InverterModel); inv != nil {
			inverter = *inv
		}
		into := p.oldWh
		if added(a, soldOn) {
			into = p.newWh
			p.modules += a.Modules
		}
		for h, wh := range f.Array.ModuleOutput(plane, module, inverter).Wh {
			into[h] += float64(float64(a.Modules) * wh)
		}
	}
	p.newYear = sum(p.newWh)
	return p
}

// reading is what was read since the new modules were commissioned.
type reading struct {
	hours    int
	read     float64 // Wh of the new modules
	newSince float64 // what the model gives them in the same hours
	oldRatio float64 // what the old ones made against their model
}

func (p *arrayParts) read(f *Finding, s *ingest.Series, built time.Time) reading {
	from := ingest.HourOf(time.Date(built.Year(), built.Month(), built.Day()+1, 0, 0, 0, 0, f.Location)) // the first whole day
	var r reading
	old, oldModel := 0.0, 0.0
	for h := range p.newWh {
		at := f.Window.Start + ingest.Hour(h)
		i := int(at - s.Start)
		if at < from || i < 0 || i >= s.Len() || math.IsNaN(s.Wh[ingest.Production][i]) {
			continue
		}
		r.hours++
		wh, model := s.Wh[ingest.Production][i], p.newWh[h]+p.oldWh[h]
		if model <= 0 {
			continue
		}
		r.read += wh * p.newWh[h] / model
		r.newSince += p.newWh[h]
		old += wh * p.oldWh[h] / model
		oldModel += p.oldWh[h]
	}
	r.oldRatio = 1
	if oldModel > 0 {
		r.oldRatio = old / oldModel
	}
	return r
}

// saved is what the new modules take off a year's bill: the bill on the report
// year's consumption with the old modules alone, less that with the new ones as
// they were seen to do.
func (j *judge) saved(f *Finding, s *ingest.Series, x *Expansion, p arrayParts, ratio, oldRatio float64) {
	t := j.tariffs[f.TariffID]
	if t == nil || f.Demand.Refusal != "" || len(f.Demand.NextYearWh) != f.Window.N {
		return
	}
	year := t.Year(f.Window, f.Location)
	use := usedWh(f, s)
	without := make([]float64, f.Window.N)
	for h := range without {
		without[h] = oldRatio * p.oldWh[h]
	}
	before := billWith(year, use, without, p.newWh, 0)
	x.RealizedSaving = before - billWith(year, use, without, p.newWh, ratio)
	x.SavedLow = before - billWith(year, use, without, p.newWh, ratio*x.RealizedLow/x.RealizedKWhYr)
	x.SavedHigh = before - billWith(year, use, without, p.newWh, ratio*x.RealizedHigh/x.RealizedKWhYr)
}

func billWith(year *tariff.Year, use, old, more []float64, ratio float64) float64 {
	made := make([]float64, len(old))
	for h := range made {
		made[h] = old[h] + float64(ratio*more[h])
	}
	return year.BillOf(use, made).Total
}

// usedWh is the report year's consumption by hour as read; hours without a
// reading are as next year's are expected to be.
func usedWh(f *Finding, s *ingest.Series) []float64 {
	use := make([]float64, f.Window.N)
	copy(use, f.Demand.NextYearWh)
	at := func(c ingest.Channel, i int) float64 {
		if s.Wh[c] == nil {
			return math.NaN()
		}
		return s.Wh[c][i]
	}
	for h := range use {
		i := int(f.Window.Start + ingest.Hour(h) - s.Start)
		if i < 0 || i >= s.Len() {
			continue
		}
		wh := at(ingest.Consumption, i)
		if math.IsNaN(wh) {
			wh = at(ingest.Production, i) + at(ingest.Import, i) - at(ingest.Export, i)
		}
		if wh >= 0 {
			use[h] = wh
		}
	}
	return use
}
