package array

import (
	"fmt"
	"math"

	"rowen/analyze/sky"
	"rowen/analyze/sun"
)

// Rules of what the data say against the register, our choice unless the
// settings give them.
const (
	facingFits    = 1.5 // the fitted plane must cost this much less than the register's
	facingSure    = 10  // degrees of standard deviation at most
	capacityClear = 2   // standard deviations of the fleet's factors beyond the limit's half
)

// findOrientation fits the facing where the register gives one and the days'
// shape does not go with it.
func (s *study) findOrientation() {
	in := s.in
	var known []int
	for i := range in.Site.Arrays {
		if _, ok := sky.FacingOf(in.Site, &in.Site.Arrays[i]); ok {
			known = append(known, i)
		}
	}
	if len(known) != 1 || len(in.Site.Arrays) != 1 {
		return // more than one plane on the meter: the register says so, and the fit could trade one for the other
	}
	set := sky.NewFit(in.Site, in.Catalogue, in.Sun, s.wh, s.temp, s.days, in.Sky.K, known)
	if set == nil {
		return
	}
	plane, _ := sky.FacingOf(in.Site, &in.Site.Arrays[known[0]])
	asRegistered := set.CostOf(plane)
	if asRegistered < facingFits {
		return
	}
	fit := set.Solve()[0]
	if math.IsInf(fit.Cost, 1) || asRegistered < facingFits*fit.Cost {
		return
	}
	s.out.Planes[0].FitTiltDeg, s.out.Planes[0].FitAzimuthDeg, s.out.Planes[0].SDDeg = fit.Plane.TiltDeg, fit.Plane.AzimuthDeg, fit.SDDeg
	turn := math.Abs(math.Remainder(fit.Plane.AzimuthDeg-plane.AzimuthDeg, 360))
	if fit.SDDeg > facingSure || turn < s.opt.AzimuthDeg || min(fit.Plane.TiltDeg, plane.TiltDeg) < 8 {
		return
	}
	s.out.Faults = append(s.out.Faults, Fault{Code: OrientationMismatch, Live: true, Confidence: min(0.95, 0.5+0.1*asRegistered/fit.Cost),
		Says: fmt.Sprintf("the register says azimuth %.0f and tilt %.0f degrees, bright days say azimuth %.0f and tilt %.0f, to about %.0f degrees",
			plane.AzimuthDeg, plane.TiltDeg, fit.Plane.AzimuthDeg, fit.Plane.TiltDeg, fit.SDDeg)})
	s.use([]sky.FacingFit{fit})
	s.out.Planes[0].Estimated = true
	s.calibrate()
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
	t := s.in.Sky.Typical
	if math.IsNaN(s.out.Factor) || t.Sites < minTypicalSites || !(t.Value > 0) {
		return
	}
	ratio := s.out.Factor / t.Value
	off := math.Abs(ratio - 1)
	sd := math.Hypot(t.SD/t.Value, s.out.FactorSD/s.out.Factor)
	if off <= s.opt.CapacityPct/100 || off < capacityClear*sd {
		return
	}
	says := fmt.Sprintf("the register says %.1f kW, the output fits %.1f kW", s.out.CapacityKW, ratio*s.out.CapacityKW)
	if ratio < 1 {
		says += ": a wrong entry, or a part of the array that was down before the data begin"
	}
	f := Fault{Code: CapacityMismatch, Live: true, Confidence: min(0.95, 0.5+off-s.opt.CapacityPct/100+0.1*off/max(sd, 0.02)), Says: says}
	if ratio < 1 {
		f.LossPct = 100 * off
	}
	s.out.Faults = append(s.out.Faults, f)
}

// minTypicalSites is how many arrays make a usual factor (section 5.3: five).
const minTypicalSites = 5
