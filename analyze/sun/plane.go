package sun

import (
	"math"

	"rowen/ingest/samebits"
)

// DefaultAlbedo is the usual share of light that the ground sends back (common
// practice; snow 0.6 to 0.8).
const DefaultAlbedo = 0.2

// Plane is the orientation of a surface.
type Plane struct {
	TiltDeg    float64 // 0 flat
	AzimuthDeg float64 // clockwise from north
}

// Normal is the unit vector out of the plane.
func (p Plane) Normal() (east, north, up float64) {
	sinB, cosB := samebits.Sincos(p.TiltDeg * rad)
	sinA, cosA := samebits.Sincos(p.AzimuthDeg * rad)
	return sinB * sinA, sinB * cosA, cosB
}

// AngleDeg is the angle between the normals of two planes.
func AngleDeg(a, b Plane) float64 {
	ae, an, au := a.Normal()
	be, bn, bu := b.Normal()
	return samebits.Acos(min(1, max(-1, float64(ae*be)+float64(an*bn)+float64(au*bu)))) * 180 / math.Pi
}

// Facet is a plane made ready: with it, light over all hours costs dot
// products and no trigonometry. Make one a plane and reuse it.
type Facet struct {
	Plane
	East, North, Up float64 // Normal
	SkyView         float64 // (1 + cos b)/2
	GroundView      float64 // (1 - cos b)/2
	Sine            float64 // sin b
	SkyIAM          float64 // Martin-Ruiz for diffuse light of the sky
	GroundIAM       float64 // and of the ground
}

// Facet makes the plane ready, with the glass of DefaultAR.
func (p Plane) Facet() Facet {
	f := Facet{Plane: p}
	f.East, f.North, f.Up = p.Normal()
	f.SkyView, f.GroundView = (1+f.Up)/2, (1-f.Up)/2
	f.Sine = math.Sqrt(max(0, 1-float64(f.Up*f.Up)))
	f.SkyIAM, f.GroundIAM = MartinRuizDiffuse(p.TiltDeg, DefaultAR)
	return f
}

// CosIncidence is the cosine of incidence in hour i: 0 where the sun is behind
// the plane.
func (f *Facet) CosIncidence(h *Hours, i int) float64 {
	return max(0, float64(f.East*h.East[i])+float64(f.North*h.North[i])+float64(f.Up*h.Up[i]))
}

// Effective is the light in the plane in hour i less what the glass sends back
// (Martin-Ruiz for the beam at its angle, and for sky and ground as a whole),
// W/m2.
//
//	beam = DNI max(cos th, 0);  ground = GHI albedo (1 - cos b)/2;  sky as Sky says
//
//	In:      light on the horizontal, means over the hour, its diffuse part by Parts.
//	Edges:   night gives 0; NaN in gives NaN out.
func (f *Facet) Effective(h *Hours, i int, ghi, dni float64, sky Sky, albedo float64) float64 {
	up := h.Up[i]
	if up <= 0 {
		return 0
	}
	c := max(0, float64(f.East*h.East[i])+float64(f.North*h.North[i])+float64(f.Up*up))
	return float64(dni*c*beamIAM(c)) + float64(f.ofSky(c, sky)*f.SkyIAM) + float64(ghi*albedo*f.GroundView*f.GroundIAM)
}

// ofSky is the diffuse light of the sky on the plane.
func (f *Facet) ofSky(cosIncidence float64, sky Sky) float64 {
	return max(0, float64(sky.Even*f.SkyView)+float64(sky.Around*cosIncidence)+float64(sky.Horizon*f.Sine))
}
