package sky

import (
	"errors"
	"fmt"
	"math"

	"rowen/analyze/sun"
	"rowen/ingest"
	"rowen/ingest/samebits"
)

// Gate and fill of section 5.1.
const (
	gateFacing   = 0.2    // cos of incidence, 78.5 deg
	gateToFlat   = 0.8    // cos of incidence over cos of zenith: below it more sky can mean less output, and one output two skies (measured on the model: see TestInvertReturnsTheSky)
	gateUp       = 0.0523 // sun at least 3 deg above the horizon
	gateK        = 1.3    // brighter is a cloud's edge or a wrong model
	darkK        = 0.03   // darker than any cloud: snow, an outage, a dead meter
	fillWeight   = 1.0 / 15
	trustSD      = 0.05 // spread of clear-day ratios at which a site counts half (our choice)
	trustLocal   = 0.06 // distance of the local level from the factor at which an hour counts half (our choice)
	ownLevel     = 0.08 // a level further off than its neighbours' is the array's own, not haze (our choice)
	aloneLevel   = 0.12 // the same for a site that has none
	offMost      = 1.2
	offUnknown   = 127
	unsureWeight = 0.5  // of a day whose level is not known, or is not the usual one
	localReach   = 20   // days either side that make the local level
	noFactor     = 0.86 // factor of an ordinary array: the loss stack of section 4.3 (common practice)
	lowTrust     = 0.2  // of a site without clear days of its own
	minDayShareK = 0.1  // share of a day's clear light that must be seen directly before the rest is filled
)

// Reasons why a site cannot be a light sensor: the batch goes on without it.
var (
	ErrNoProduction = errors.New("no hourly production")
	ErrNoArray      = errors.New("no array with watts and facing")
)

// FromSite turns one site's production into its idea of the sky.
//
//	find K with  WattHours(K, f) = P ;  keep cos th > 0.2 and > 0.6 cos z, z < 87 deg, K < 1.3, P below the limit
//	fill the rest of the day with  k = sum GHI / sum GHIclear  over the kept hours
//
// In:      the register's arrays, hourly production, the sun's hours.
// Out:     K and weight an hour; missing production stays unknown.
// Refuses: no production channel, or no array whose watts are known: ErrNoProduction, ErrNoArray.
// Edges:   an hour darker than any cloud is kept as K = 0, so that snow which most arrays share is seen, and one broken array cannot say so alone.
// Source:  section 5.1 steps 1 to 7 (Driesse et al. 2024 and others, published).
// Cost:    about five model hours a lit hour.
func FromSite(in Input) (Estimate, error) {
	wh := in.Series.Wh[ingest.Production]
	if wh == nil || in.Series.Refused(ingest.Production) || in.Series.StepMinutes > 60 || !in.Series.Has(ingest.Production) {
		return Estimate{}, ErrNoProduction
	}
	place := sun.Place{LatitudeDeg: in.Site.LatitudeDeg, LongitudeDeg: in.Site.LongitudeDeg, ElevationM: in.Site.ElevationM}
	temp := Temperature(in.TempC, in.Sun)
	data := Hourly{Sun: in.Sun, Calendar: in.Calendar, Wh: wh, TempC: temp}
	clock := FindClock(data, in.Site, in.Catalogue)
	wh = clock.Aligned(wh, in.Calendar)
	data.Wh = wh
	e := Estimate{SiteID: in.Site.ID, Clock: &clock, Place: place, Start: in.Series.Start, Factor: math.NaN()}

	var fits []FacingFit
	if f := NewFit(data, in.Site, in.Catalogue, blanks(in.Site, in.Catalogue)); f != nil {
		fits = f.rough()
	}
	for _, f := range fits {
		e.Caveats = append(e.Caveats, ingest.Caveat{Code: "facing_estimated",
			Says: fmt.Sprintf("tilt %.0f and azimuth %.0f degrees were read off clear days", f.Plane.TiltDeg, f.Plane.AzimuthDeg)})
	}
	m := NewModel(in.Site, in.Catalogue, in.Sun, fits)
	if m == nil {
		return Estimate{}, ErrNoArray
	}
	cal := Calibrate(m, data)
	e.Factor, e.FactorN = cal.Factor, cal.N
	e.Age = m.AgeAt(in.Series.Start + ingest.Hour(len(wh)/2))
	factor := cal.Factor
	e.Weight = 1 / (1 + sq(cal.SD/trustSD))
	if math.IsNaN(factor) {
		factor, e.Weight = noFactor, lowTrust
		e.Caveats = append(e.Caveats, ingest.Caveat{Code: "no_clear_days",
			Says: fmt.Sprintf("%d clear days are too few to calibrate the array: a usual factor of %.2f is used instead", cal.N, noFactor)})
	}
	e.Used = factor
	e.KW, e.Told = make([]uint16, len(wh)), make([]Told, len(wh))
	for i := range e.Told {
		e.Told[i].Lean = leanUnknown
	}
	local := cal.Local(localReach)
	e.Off = make([]int8, (len(wh)+23)/24)
	for i := range e.Off {
		e.Off[i] = offUnknown
	}
	for d := range local {
		lo, _ := in.Calendar.Day(d)
		off := samebits.Log(local[d] / factor)
		if off == off {
			e.Off[lo/24] = int8(math.Round(100 * min(offMost, max(-offMost, off))))
		}
		data.skyOfDay(m, e.Weight*trust(off), d, &e)
	}
	return e, nil
}

// trust is the weight of a day by how far the level of the clear days around
// it lies off the factor, as ln; NaN: no clear days.
func trust(off float64) float64 {
	if off != off || math.Abs(off) > ownLevel {
		return unsureWeight
	}
	return 1 / (1 + sq(off/trustLocal))
}

// skyOfDay inverts one day and fills its gated hours.
func (data *Hourly) skyOfDay(m *Model, weight float64, d int, e *Estimate) {
	h, wh := data.Sun, data.Wh
	lo, hi := data.Calendar.Day(d)
	var kept, clear, lit float64
	for i := lo; i < hi; i++ {
		if h.ClearGHI[i] <= 0 {
			continue
		}
		lit += h.ClearGHI[i]
		facing := m.Facing(h, i)
		if facing < gateFacing || facing < gateToFlat*h.Up[i] {
			continue
		}
		k := data.own(m, i, e.Used)
		if k != k {
			continue
		}
		if k < darkK {
			e.KW[i] = pack(0, weight*facing)
			continue
		}
		e.KW[i], e.Told[i] = pack(k, weight*facing), told(m.leanOf(h, i, k, data.TempC[i], e.Used), k, k)
		kept += float64(k * h.ClearGHI[i])
		clear += h.ClearGHI[i]
	}
	if clear < minDayShareK*lit {
		return
	}
	fill := kept / clear
	for i := lo; i < hi; i++ {
		if h.ClearGHI[i] <= 0 || e.KW[i] != 0 || wh[i] != wh[i] {
			continue
		}
		k := fill
		if wh[i] >= clippedShare*m.LimitW(h.Start+ingest.Hour(i)) {
			k = max(k, 1) // at the limit: at least nearly clear
		}
		e.KW[i] = pack(k, min(weight, fillWeight))
		if own := data.own(m, i, e.Used); own > darkK { // turned from the sun: poor of K, good of what is diffuse
			e.Told[i] = told(m.leanOf(h, i, own, data.TempC[i], e.Used), own, k)
		}
	}
}

// own is the K of an hour that a site's output says; NaN where it says none: not read,
// at the limit, the sun too low, or more light than there can be.
func (data *Hourly) own(m *Model, i int, factor float64) float64 {
	h, p := data.Sun, data.Wh[i]
	if p != p || h.Up[i] < gateUp || p >= clippedShare*m.LimitW(h.Start+ingest.Hour(i)) {
		return math.NaN()
	}
	if k := m.Invert(h, i, p, data.TempC[i], factor); k <= gateK {
		return k
	}
	return math.NaN()
}

// Invert finds K for which the model makes the measured energy.
//
// In:      the hour, measured energy below the limit, factor > 0.
// Out:     K in [0, 1.6]; NaN where no K makes that much.
// Edges:   0 Wh gives 0.
// Source:  section 5.1 step 5; false position with the Illinois rule in place of bisection, to 1/2000 of K.
// Cost:    four to six model hours.
func (m *Model) Invert(h *sun.Hours, i int, wh, tempC, factor float64) float64 {
	if wh <= 0 {
		return 0
	}
	lo, flo := 0.0, -wh
	one := m.WattHours(h, i, 1, tempC, factor)
	if one <= 0 {
		return math.NaN()
	}
	hi, fhi := 1.0, one-wh
	if fhi < 0 {
		lo, flo = 1, fhi
		hi = maxK
		if fhi = m.WattHours(h, i, hi, tempC, factor) - wh; fhi < 0 {
			return math.NaN()
		}
	}
	side := 0
	for n := 0; n < 40; n++ {
		k := (float64(lo*fhi) - float64(hi*flo)) / (fhi - flo)
		f := m.WattHours(h, i, k, tempC, factor) - wh
		if math.Abs(f) < 5e-4*one || hi-lo < 2e-4 {
			return k
		}
		if f < 0 {
			lo, flo = k, f
			if side == -1 {
				fhi /= 2
			}
			side = -1
		} else {
			hi, fhi = k, f
			if side == 1 {
				flo /= 2
			}
			side = 1
		}
	}
	return (lo + hi) / 2
}

func sq(x float64) float64 { return float64(x * x) }

// Temperature gives measured air temperature with its holes filled by what is
// typical for the latitude, the season and the hour; tempC may be nil.
//
// sun.TypicalTempC is a season plus a day's swing: the swing is taken from the
// first day and the season once a day, to 0.2 degrees of it.
func Temperature(tempC []float64, h *sun.Hours) []float64 {
	out := make([]float64, h.N)
	typical := func(i int) float64 {
		return sun.TypicalTempC(h.Place.LatitudeDeg, h.Place.LongitudeDeg, h.Start+ingest.Hour(i))
	}
	var swing [24]float64
	for i := range swing {
		swing[i] = typical(i) - typical(0)
	}
	season := 0.0
	for i := range out {
		if i%24 == 0 {
			season = typical(i)
		}
		if tempC != nil && tempC[i] == tempC[i] {
			out[i] = tempC[i]
		} else {
			out[i] = season + swing[i%24]
		}
	}
	return out
}
