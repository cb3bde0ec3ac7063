package sun

import "rowen/ingest/samebits"

// Haze gives the clear sky of a place under another turbidity than the one
// that its hours were made with.
//
//	DNI' = DNI exp(-0.09 AM dTL);  GHI' = GHI exp(-cg2 fh2 AM dTL);  AM absolute
//
//	Source: the exponents of Ineichen and Perez 2002 (see skyAt); that the cap of
//	        the beam moves with it is left out, which matters below 2 of turbidity only.
type Haze struct {
	h          *Hours
	beam, glow float64 // exponent for 1 of turbidity and 1 of relative air mass
}

// Haze makes the place's exponents ready.
func (h *Hours) Haze() Haze {
	up := h.Place.ElevationM
	if up != up {
		up = 0
	}
	m, absolute := newIneichen(up), PressurePa(up)/101325
	return Haze{h, 0.09 * absolute, m.cg2 * m.fh2 * absolute}
}

// Clear is the clear sky of hour i with a turbidity that is higher by more.
func (z Haze) Clear(i int, more float64) Light {
	h := z.h
	l := Light{GHI: h.ClearGHI[i], DNI: h.ClearDNI[i], DHI: h.ClearDHI[i]}
	if am := h.AirMass[i]; more != 0 && am == am {
		l.GHI = float64(l.GHI * samebits.Exp(-z.glow*am*more))
		l.DNI = min(l.DNI*samebits.Exp(-z.beam*am*more), l.GHI/h.Up[i])
		l.DHI = l.GHI - float64(l.DNI*h.Up[i])
	}
	return l
}
