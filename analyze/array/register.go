package array

import (
	"fmt"
	"math"

	"rowen/analyze/sky"
	"rowen/analyze/stat"
	"rowen/analyze/sun"
)

// Rules of what the data say against the register, our choice unless the
// settings give them.
const (
	facingPoor    = 1.5 // cost of the register's plane below which nobody asks
	facingFits    = 1.5 // the fitted plane must cost this much less than the register's
	facingSure    = 12  // degrees of standard deviation at most
	facingTilt    = 8   // degrees: flatter arrays have no azimuth to speak of
	facingFactor  = 0.1 // a new facing may not make the factor stranger by more than this share
	maxTurned     = 3   // arrays
	capacityClear = 2   // standard deviations of the factors around
	blindSD       = 0.1 // of an array's factor where no fleet shows it: the brackets of section 4.3
	blindLimit    = 0.25
)

// findOrientation fits the facing of each array for which the register gives
// one, the others held as they are, where the days' shape does not go with the
// register. The array whose turn mends most is the one that is wrong.
func (s *study) findOrientation() {
	in := s.in
	if len(in.Site.Arrays) > maxTurned || s.clockOff != nil {
		return // of many planes on one meter the data cannot tell which is wrong
	}
	k := s.k
	if s.alone {
		k = nil // its own sky would agree with whatever facing it was read with: days that look clear must do
	}
	var best sky.FacingFit
	var bestWas sun.Plane
	least := math.Inf(1)
	for i := range in.Site.Arrays {
		plane, known := sky.FacingOf(in.Site, &in.Site.Arrays[i])
		if !known {
			return
		}
		fit := sky.NewFit(in.Site, in.Catalogue, in.Sun, s.wh, s.temp, s.days, k, []int{i})
		if fit == nil {
			return
		}
		early, late := fit.CostOf(plane)
		was := min(early, late)
		if was < facingPoor {
			return // a roof does not turn: what fits at one time and not at another is a shadow or a fault
		}
		if f := fit.Solve(); len(f) > 0 && f[0].Cost < was/facingFits && f[0].Cost < least {
			best, bestWas, least = f[0], plane, f[0].Cost
		}
	}
	if math.IsInf(least, 1) {
		return
	}
	turn := math.Abs(math.Remainder(best.Plane.AzimuthDeg-bestWas.AzimuthDeg, 360))
	if best.SDDeg > facingSure || turn-azimuthSD(best) < s.opt.AzimuthDeg || min(best.Plane.TiltDeg, bestWas.TiltDeg) < facingTilt {
		return
	}
	before, factor := s.levelSpread(), s.factor
	s.use([]sky.FacingFit{best})
	s.lookAlone()
	s.calibrate()
	if s.levelSpread() > before || s.unlikely(s.factor) > s.unlikely(factor)+facingFactor {
		s.use(nil) // the days' levels agree less than before: it was no better
		s.lookAlone()
		s.calibrate()
		return
	}
	s.out.Faults = append(s.out.Faults, Fault{Code: OrientationMismatch, Live: true, Confidence: 0.9,
		Says: fmt.Sprintf("the register says azimuth %.0f and tilt %.0f degrees for %s, bright days say azimuth %.0f and tilt %.0f, to about %.0f degrees",
			bestWas.AzimuthDeg, bestWas.TiltDeg, best.ArrayIDs[0], best.Plane.AzimuthDeg, best.Plane.TiltDeg, best.SDDeg)})
}

// unlikely is how far a factor lies from the usual one.
func (s *study) unlikely(factor float64) float64 { return math.Abs(math.Log(factor / s.usualFactor())) }

// azimuthSD is the standard deviation of a facing as one of its azimuth: on a
// flat roof a large turn is a small angle.
func azimuthSD(f sky.FacingFit) float64 {
	return f.SDDeg / math.Sin(max(facingTilt, f.Plane.TiltDeg)*math.Pi/180)
}

// levelSpread is how far the days' levels lie apart, robustly.
func (s *study) levelSpread() float64 {
	var x []float64
	for d := range s.day {
		if v := s.day[d].level(); v == v {
			x = append(x, v)
		}
	}
	return stat.MAD(x) / stat.Median(x)
}

// AngleDeg is the angle between the normals of two planes.
func AngleDeg(a, b sun.Plane) float64 {
	ae, an, au := a.Normal()
	be, bn, bu := b.Normal()
	return math.Acos(min(1, max(-1, ae*be+an*bn+au*bu))) * 180 / math.Pi
}

// findCapacity compares the healthy factor with what arrays around make of
// their registered watts.
func (s *study) findCapacity() {
	t, limit := s.in.Sky.Typical, s.opt.CapacityPct/100
	if t.Sites < minTypicalSites || !(t.Value > 0) {
		t = sky.Factor{Value: s.opt.UsualFactor, SD: blindSD * s.opt.UsualFactor}
		limit = max(limit, blindLimit)
	}
	if math.IsNaN(s.out.Factor) {
		return
	}
	ratio := s.out.Factor / t.Value
	off := math.Abs(ratio - 1)
	sd := math.Hypot(t.SD/t.Value, s.out.FactorSD/s.out.Factor)
	if off <= limit || off < capacityClear*sd {
		return
	}
	says := fmt.Sprintf("the register says %.1f kW, the output fits %.1f kW", s.out.CapacityKW, ratio*s.out.CapacityKW)
	if ratio < 1 {
		says += ": a wrong entry, or a part of the array that was down before the data begin"
	}
	s.out.Faults = append(s.out.Faults, Fault{Code: CapacityMismatch, Live: true, Confidence: min(0.95, 0.3+0.1*off/sd), Says: says})
}

// minTypicalSites is how many arrays make a usual factor: twice the five of a
// peer set (section 5.3), since nameplates differ more than skies (our choice).
const minTypicalSites = 10
