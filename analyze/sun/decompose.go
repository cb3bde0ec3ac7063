package sun

// Clearness is global irradiance over what would arrive without an atmosphere.
//
//	kt = GHI/(I0n max(cos z, 0.065)), within 0..1;  z true
func Clearness(ghi, cosZenith, extraWm2 float64) float64 {
	return clamp(ghi/(extraWm2*max(cosZenith, 0.065)), 0, 1)
}

// ErbsDriesse is Erbs without steps, which inversion needs.
//
//	kt <= 0.216 and kt > 0.792 as Erbs below 0.22 and above 0.8; between them
//	kd = 12.26911439571261 kt^4 - 16.4705084246973 kt^3 + 4.246926715218317 kt^2
//	     - 0.11390583806313881 kt + 0.946296633571001
//
//	In, Edges: as Erbs, from which it differs by less than 0.0005 in kd.
//	Source:    Driesse, Jensen, Perez, Solar Energy 267 (2024) 112093 (published).
func ErbsDriesse(ghi, cosZenith, extraWm2 float64) Light {
	kt := Clearness(ghi, cosZenith, extraWm2)
	return split(ghi, diffuseFraction(kt), cosZenith)
}

func diffuseFraction(kt float64) float64 {
	switch {
	case kt <= 0.216:
		return 1 - float64(0.09*kt)
	case kt <= 0.792:
		return 0.946296633571001 + float64(kt*(-0.11390583806313881+float64(kt*(4.246926715218317+
			float64(kt*(-16.4705084246973+float64(kt*12.26911439571261)))))))
	}
	return 0.165
}

// cos87 is where the split gives up: beam from a sun that low is noise.
const cos87 = 0.05233595624294384

func split(ghi, kd, cosZenith float64) Light {
	dhi := float64(kd * ghi)
	dni := (ghi - dhi) / cosZenith
	if cosZenith < cos87 || dni < 0 {
		return Light{GHI: ghi, DHI: ghi}
	}
	return Light{GHI: ghi, DNI: dni, DHI: dhi}
}
