package array

import (
	"fmt"
	"math"

	"rowen/analyze/sky"
	"rowen/analyze/sun"
	"rowen/ingest"
	"rowen/ingest/samebits"
)

// candidateBasis is what ModuleOutput needs: the report year's sun, sky and
// air, and what the site's own array says of factors.
type candidateBasis struct {
	lived
	factor float64 // what a new array here would make of its watts
	sd     float64 // relative
	facing sun.Plane
	really map[string]sun.Plane // roof planes that the modules on them show to face otherwise than the register says
	source string
}

// ModuleOutput gives the AC energy that one new module on a plane would have
// made in each hour of the report year, behind an inverter of its own.
//
//	Wh = min( f eta P0 G/1000 (1 + gamma (T - 25)), Plim ),  beam less the plane's shading
//
// In:      the plane, the module, the inverter (kind micro: its limit is the module's; else no limit).
// Out:     Window.N hours; the relative standard deviation of the yearly sum.
// Refuses: a plane whose tilt or azimuth is not known: NaN deviation and no hours.
// Edges:   the factor of the healthy array carries over without its age, its shade and its clipping; where the register's watts are in doubt the usual factor of the arrays around stands in.
// Source:  section 4.3 (carry-over), 5.1 step 8.
// Cost:    one model hour a lit hour.
func (r *Result) ModuleOutput(plane ingest.Plane, m ingest.Module, inv ingest.Inverter) UnitOutput {
	c := &r.candidate
	out := UnitOutput{RelSD: math.NaN()}
	if c.sun == nil || math.IsNaN(plane.TiltDeg) || math.IsNaN(plane.AzimuthDeg) && plane.TiltDeg != 0 {
		return out
	}
	p := sun.Plane{TiltDeg: plane.TiltDeg, AzimuthDeg: plane.AzimuthDeg}
	if math.IsNaN(p.AzimuthDeg) {
		p.AzimuthDeg = 180
	}
	if fit, ok := c.really[plane.ID]; ok {
		out.Caveats = append(out.Caveats, ingest.Caveat{Code: "plane_faces_otherwise",
			Says: fmt.Sprintf("the modules on plane %s show that it faces %.0f degrees, not %.0f: that is what was used", plane.ID, fit.AzimuthDeg, p.AzimuthDeg)})
		p = fit
	}
	limit := math.Inf(1)
	if inv.Kind == "micro" && inv.ACWatts > 0 {
		limit = inv.ACWatts
	}
	model := sky.NewUnit(p, c.sun, m, inv, limit, plane.ShadingPct)
	out.Wh = make([]float64, c.sun.N)
	for j := range out.Wh {
		out.Wh[j] = model.Under(c.sun, j, c.k[j], c.more[j], c.temp[j], c.factor)
	}
	out.RelSD = c.relSD(p, plane.ShadingPct)
	return out
}

// relSD is how unsure the yearly sum is.
//
//	sd^2 = sd_f^2 + sd_turn^2 + sd_shade^2 + (8 % of the share of the year whose sky is not known)^2,  sd_turn = 0.5 % + 1.5 % angle/90 deg (sky of the fleet), three times that (sky of itself)
//
// The table of section 5.1 gives lower bounds of 0.4 to 2.7 % a year for
// carrying one array's light to another plane; many arrays around, facing all
// ways, are better than one. Half of a shading figure that nobody measured is
// in doubt. Our choice of the form.
func (c *candidateBasis) relSD(p sun.Plane, shadingPct float64) float64 {
	turn := 0.005 + 0.015*sun.AngleDeg(p, c.facing)/90
	if c.source == sky.FromSelf {
		turn *= 3
	}
	shade := 0.03 // not known
	if shadingPct == shadingPct {
		shade = shadingPct / 200
	}
	fill := 0.08 * c.filled
	return math.Sqrt(float64(c.sd*c.sd) + float64(turn*turn) + float64(shade*shade) + float64(fill*fill))
}

// carrySD is the relative standard deviation of what stays with the old array:
// its nameplate, its dirt, its mismatch (our choice from the brackets of
// section 4.3; invented fleets show 1.5 % in all).
const carrySD = 0.02

// candidate decides which factor new modules get: what the site's own array says
// and what is usual around, each as new, weighted by their doubt.
func candidate(v *view, level healthyLevel, r *Result, notes *said) candidateBasis {
	c := candidateBasis{source: v.Sky.Source, facing: v.model.Groups[0].Plane}
	if notes.has(OrientationMismatch) {
		c.really = turnedPlanes(v)
	}
	usual := v.usualFactor()
	usualSD := 0.08 // of an array that nobody has seen (our choice: the brackets of section 4.3)
	if t := v.Sky.Typical; t.Sites >= minTypicalSites {
		usualSD = max(0.03, t.SD/t.Value)
		if t.AgeYears == t.AgeYears {
			usual *= samebits.Exp(-v.Sky.Ageing.Gain * t.AgeYears)
		}
	}
	if math.IsNaN(level.factor) || notes.has(CapacityMismatch) || notes.has(UnregisteredModules) {
		c.factor, c.sd = usual, usualSD
		return c
	}
	anew, agedSD := asNew(v, r)
	own, ownSD := level.factor*anew, math.Sqrt(sq(level.factorSD/level.factor)+sq(carrySD)+sq(agedSD))
	a, b := 1/(ownSD*ownSD), 1/(usualSD*usualSD)
	c.factor, c.sd = (float64(own*a)+float64(usual*b))/(a+b), 1/math.Sqrt(a+b)
	return c
}

const (
	// rateSD is how far healthy arrays' yearly losses lie from the fleet's, per
	// cent (our choice: half of section 6.2's 0.5, which holds sick arrays too).
	rateSD = 0.25
	// sickRate is how far off the fleet's loss a trend is a fault or a change and
	// no ageing, per cent a year (section 6.2: outside -3 to +1 %).
	sickRate = 2
	// undatedYears is the doubt of the age of an array that the register does not
	// date (our choice: the spread of installations over a decade).
	undatedYears = 3
)

// asNew is what an array's factor must be multiplied with to be that of new
// modules, and the doubt of it. The level rests on AgeingPrior; the array's own
// loss a year is the fleet's, drawn towards its own trend as far as that is sure.
//
//	new = level exp(-(AgeingPrior - loss) age)
//
// Edges:   not dated: the age of the arrays around, none of which the level was granted; none known: 1.
// Source:  shrinking by the variances, section 6.2.
func asNew(v *view, r *Result) (ratio, sd float64) {
	fleet := v.Sky.Ageing
	age := v.model.AgeAt(v.Series.Start + ingest.Hour(len(v.wh)/2))
	if age != age {
		read := float64(len(v.wh)) / 2 / (24 * 365.25)
		if age = v.Sky.Typical.AgeYears - read; !(age > 0) {
			return 1, 0
		}
		return samebits.Exp((sky.AgeingPrior - fleet.Gain) * age), sky.AgeingPrior * undatedYears
	}
	gain, own := fleet.Gain, samebits.Hypot(rateSD/100, fleet.SD)
	drift := (r.TrendPctYr + ageing) / 100 // beyond what the fleet's sky is granted
	if trendSD := (r.TrendHigh - r.TrendLow) / (2 * 1.645 * 100); trendSD > 0 && math.Abs(drift) < sickRate/100. {
		a, b := 1/(trendSD*trendSD), 1/sq(rateSD/100)
		gain += drift * a / (a + b)
		own = math.Sqrt(1/(a+b) + sq(fleet.SD))
	}
	return samebits.Exp(-gain * age), own * age
}

// turnedPlanes are the roof planes under arrays that face otherwise than the
// register says.
func turnedPlanes(v *view) map[string]sun.Plane {
	out := map[string]sun.Plane{}
	for _, f := range v.planes {
		if !f.Estimated {
			continue
		}
		for i := range v.Site.Arrays {
			if a := &v.Site.Arrays[i]; a.ID == f.ArrayIDs[0] && a.PlaneID != "" {
				out[a.PlaneID] = sun.Plane{TiltDeg: f.TiltDeg, AzimuthDeg: f.AzimuthDeg}
			}
		}
	}
	return out
}
