package array

import (
	"fmt"
	"math"

	"rowen/analyze/sky"
	"rowen/analyze/stat"
	"rowen/analyze/sun"
	"rowen/ingest/samebits"
)

// Rules of what the data say against the register's facing, our choice unless
// the settings give them.
const (
	facingPoor   = 1.5 // cost of the register's plane below which nobody asks
	facingFits   = 1.5 // the fitted plane must cost this much less than the register's
	facingSure   = 12  // degrees of standard deviation at most
	facingTilt   = 8   // degrees: flatter arrays have no azimuth to speak of
	facingFactor = 0.1 // a new facing may not make the factor stranger by more than this share
	maxTurned    = 3   // arrays
	facingNone   = 10  // cost a day of fitted planes above which no plane explains the days
	withheldSD   = 45  // of a facing that is not told
)

// facings settles which way every array faces, from the register or, where it
// is blank, from the data.
func (v view) facings() (view, said) {
	var say said
	if v.Series.StepMinutes > 60 {
		return v.facing(nil), say
	}
	data := v.hourly(v.k)
	if !v.clock.Right() {
		data.Wh = append([]float64(nil), v.wh...)
		for _, s := range v.clock.Stretches {
			for i := v.first(s.From); i < v.first(s.To+1); i++ {
				data.Wh[i] = math.NaN()
			}
		}
	}
	fits := sky.Facings(data, v.Site, v.Catalogue)
	for i := range fits {
		v.unexplained = v.unexplained || fits[i].Cost > facingNone
		if v.unexplained || v.clock.Late != 0 || v.clock.Summer != 0 { // the azimuth stands and falls with the clock
			fits[i].SDDeg = withheldSD
		}
	}
	if v.unexplained {
		say.caveat("shape_unexplained", "no plane explains the curve of the clear days: perhaps a shadow, perhaps planes that the register does not know; the facing is not told")
	}
	return v.facing(fits), say
}

// hourly is the readings as something is read off them under a sky.
func (v *view) hourly(k []float64) sky.Hourly {
	return sky.Hourly{Sun: v.Sun, Calendar: v.Calendar, Wh: v.wh, TempC: v.tempC, K: k}
}

// facing is the view with the model built on the register and the fits.
func (v view) facing(fits []sky.FacingFit) view {
	fitted := map[string]bool{}
	v.planes = nil
	for _, f := range fits {
		for _, id := range f.ArrayIDs {
			fitted[id] = true
		}
		v.planes = append(v.planes, PlaneFit{ArrayIDs: f.ArrayIDs, TiltDeg: f.Plane.TiltDeg, AzimuthDeg: f.Plane.AzimuthDeg,
			SDDeg: f.SDDeg, Estimated: true})
	}
	if v.model = sky.NewModel(v.Site, v.Catalogue, v.Sun, fits); v.model != nil && v.begins > 0 {
		v.model = v.model.From(v.begins)
	}
	for i := range v.Site.Arrays {
		a := &v.Site.Arrays[i]
		p, known := sky.FacingOf(v.Site, a)
		if known && !fitted[a.ID] {
			v.planes = append(v.planes, PlaneFit{ArrayIDs: []string{a.ID}, TiltDeg: p.TiltDeg, AzimuthDeg: p.AzimuthDeg,
				SDDeg: math.NaN()})
		}
	}
	return v
}

// findOrientation fits the facing of each array for which the register gives
// one, the others held as they are, where the days' shape does not go with the
// register. The array whose turn mends most is the one that is wrong.
func findOrientation(v view) (view, said) {
	best, was := turned(&v)
	if best == nil {
		return v, said{}
	}
	turn := math.Abs(math.Remainder(best.Plane.AzimuthDeg-was.AzimuthDeg, 360))
	if best.SDDeg > facingSure || turn-azimuthSD(best) < v.Options.AzimuthDeg || min(best.Plane.TiltDeg, was.TiltDeg) < facingTilt {
		return v, said{}
	}
	as := func(fits []sky.FacingFit) (view, said) {
		w, _ := lookAlone(v.facing(fits))
		return calibrate(w)
	}
	turnedView, say := as([]sky.FacingFit{*best})
	if levelSpread(&turnedView) > levelSpread(&v) || unlikely(&turnedView) > unlikely(&v)+facingFactor {
		return as(nil) // the days' levels agree less than before: it was no better
	}
	say.faults = append(say.faults, Fault{Code: OrientationMismatch, Live: true, Confidence: 0.9,
		Says: fmt.Sprintf("the register says azimuth %.0f and tilt %.0f degrees for %s, bright days say azimuth %.0f and tilt %.0f, to about %.0f degrees",
			was.AzimuthDeg, was.TiltDeg, best.ArrayIDs[0], best.Plane.AzimuthDeg, best.Plane.TiltDeg, best.SDDeg)})
	return turnedView, say
}

// turned is the fit that mends most against the register, and the plane that
// the register gives; nil: the register fits, or nothing fits better.
func turned(v *view) (best *sky.FacingFit, was sun.Plane) {
	if len(v.Site.Arrays) > maxTurned || !v.clock.Right() {
		return nil, was // of many planes on one meter the data cannot tell which is wrong
	}
	k := v.k
	if v.alone {
		k = nil // its own sky would agree with whatever facing it was read with: days that look clear must do
	}
	for i := range v.Site.Arrays {
		plane, known := sky.FacingOf(v.Site, &v.Site.Arrays[i])
		if !known {
			return nil, was
		}
		fit := sky.NewFit(v.hourly(k), v.Site, v.Catalogue, []int{i})
		if fit == nil {
			return nil, was
		}
		early, late := fit.CostOf(plane)
		cost := min(early, late)
		if cost < facingPoor {
			return nil, was // a roof does not turn: what fits at one time and not at another is a shadow or a fault
		}
		if f := fit.Solve(); len(f) > 0 && f[0].Cost < cost/facingFits && (best == nil || f[0].Cost < best.Cost) {
			best, was = &f[0], plane
		}
	}
	return best, was
}

// unlikely is how far the factor lies from the usual one.
func unlikely(v *view) float64 { return math.Abs(samebits.Log(v.factor / v.usualFactor())) }

// azimuthSD is the standard deviation of a facing as one of its azimuth: on a
// flat roof a large turn is a small angle.
func azimuthSD(f *sky.FacingFit) float64 {
	return f.SDDeg / samebits.Sin(max(facingTilt, f.Plane.TiltDeg)*math.Pi/180)
}

// levelSpread is how far the days' levels lie apart, robustly.
func levelSpread(v *view) float64 {
	var x []float64
	for d := range v.day {
		if level := v.day[d].level(); level == level {
			x = append(x, level)
		}
	}
	return stat.MAD(x) / stat.Median(x)
}
