package sky

import (
	"math"
	"slices"

	"rowen/analyze/sun"
	"rowen/ingest"
)

// planesOf are the planes of an array: what was fitted, else the register's.
func planesOf(site *ingest.Site, a *ingest.Array, fits []FacingFit) (out []FacingFit) {
	for _, f := range fits {
		if slices.Contains(f.ArrayIDs, a.ID) {
			out = append(out, f)
		}
	}
	if p, known := FacingOf(site, a); out == nil && known {
		out = []FacingFit{{Plane: p, Share: 1}}
	}
	return out
}

// groupOf reads an array's parts from the register and the catalogue.
func groupOf(site *ingest.Site, cat *ingest.Catalogue, a *ingest.Array) Group {
	g := Group{ArrayIDs: []string{a.ID}, LimitW: math.Inf(1), Eta: DefaultEta, GammaPerC: DefaultGammaPerC}
	each := a.ModuleWatts
	if mod := cat.Module(a.ModuleModel); mod != nil {
		if math.IsNaN(each) {
			each = mod.Watts
		}
		if mod.TempCoefficientPctPC < 0 {
			g.GammaPerC = mod.TempCoefficientPctPC / 100
		}
	}
	g.Watts = float64(a.Modules) * each
	if inv := cat.Inverter(a.InverterModel); inv != nil {
		if inv.EfficiencyPct > 0 {
			g.Eta = inv.EfficiencyPct / 100
		}
		if n := cat.InverterCount(a); n.V > 0 && inv.ACWatts > 0 {
			g.LimitW = float64(n.V) * inv.ACWatts
		}
	}
	if on := a.CommissionedOn; !on.IsZero() {
		g.From = ingest.HourOf(on)
	} else if !site.CommissionedOn.IsZero() {
		g.From = ingest.HourOf(site.CommissionedOn)
	}
	return g
}

// FacingOf is the plane that the register gives an array: its own tilt and
// azimuth, else those of the roof plane that it lies on.
func FacingOf(site *ingest.Site, a *ingest.Array) (sun.Plane, bool) {
	tilt, azimuth := a.TiltDeg, a.AzimuthDeg
	for i := range site.Planes {
		if p := &site.Planes[i]; p.ID == a.PlaneID && a.PlaneID != "" {
			if math.IsNaN(tilt) {
				tilt = p.TiltDeg
			}
			if math.IsNaN(azimuth) {
				azimuth = p.AzimuthDeg
			}
		}
	}
	if tilt == 0 && math.IsNaN(azimuth) {
		azimuth = 180 // flat: it faces up whatever its azimuth
	}
	return sun.Plane{TiltDeg: tilt, AzimuthDeg: azimuth}, !math.IsNaN(tilt) && !math.IsNaN(azimuth)
}

// shadingOf is what the register says of the roof plane that an array lies on.
func shadingOf(site *ingest.Site, a *ingest.Array) float64 {
	for i := range site.Planes {
		if p := &site.Planes[i]; p.ID == a.PlaneID && a.PlaneID != "" {
			return p.ShadingPct
		}
	}
	return math.NaN()
}
