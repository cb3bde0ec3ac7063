package sun

import (
	"math"
	"strconv"
	"strings"
	"testing"

	"rowen/scripts/outside"
)

func TestPositionChecks(t *testing.T) {
	n := 0
	for _, r := range outside.Rows(t, "01_solar_position_approx.csv") {
		if r["method"] != "psa_2020" {
			continue
		}
		n++
		z, a := Position(unixOf(t, r["utc"]), r.Num(t, "lat_deg"), r.Num(t, "lon_deg_E"))
		near(t, r["utc"]+" zenith", z, r.Num(t, "zenith_true_deg"), r.Num(t, "abs_tol_deg"))
		near(t, r["utc"]+" azimuth", a, r.Num(t, "azimuth_deg"), r.Num(t, "abs_tol_deg"))
	}
	if n < 5 {
		t.Fatalf("only %d rows of psa_2020", n)
	}
}

func TestAtmosphereChecks(t *testing.T) {
	for _, r := range outside.Rows(t, "01_extraterrestrial_airmass.csv") {
		x := r.Num(t, "x")
		var got float64
		switch q := r["quantity"]; {
		case strings.HasPrefix(q, "dni_extra_spencer_sc"):
			got = extraterrestrial(x, num(t, strings.TrimPrefix(q, "dni_extra_spencer_sc")))
		case q == "declination_spencer":
			got = spencerDeclination(x)
		case q == "eot_spencer":
			got = spencerEoT(x)
		case strings.HasPrefix(q, "airmass_kasten_young"):
			got = AirMass(x)
		case q == "pressure_from_altitude":
			got = PressurePa(x)
		default:
			t.Errorf("no code for %s", q)
		}
		near(t, r["quantity"]+" "+r["x"], got, r.Num(t, "value"), r.Num(t, "abs_tol"))
	}
}

// The daily forms of Spencer 1971 (methods 1.6), which only tests need: they
// are half a degree off.
func spencerDeclination(doy float64) float64 {
	b := 2 * math.Pi * (doy - 1) / 365
	return deg * (0.006918 - 0.399912*math.Cos(b) + 0.070257*math.Sin(b) - 0.006758*math.Cos(2*b) +
		0.000907*math.Sin(2*b) - 0.002697*math.Cos(3*b) + 0.00148*math.Sin(3*b))
}

func spencerEoT(doy float64) float64 {
	b := 2 * math.Pi * (doy - 1) / 365
	// 1440/(2 pi): the check values carry more digits than Spencer's 229.18.
	return 720 / math.Pi * (0.0000075 + 0.001868*math.Cos(b) - 0.032077*math.Sin(b) - 0.014615*math.Cos(2*b) - 0.040849*math.Sin(2*b))
}

func TestClearSkyChecks(t *testing.T) {
	for _, r := range outside.Rows(t, "02_clearsky_irradiance.csv") {
		z := r.Num(t, "apparent_zenith_deg")
		var got Light
		switch r["model"] {
		case "haurwitz":
			got = Light{GHI: Haurwitz(z)}
		case "ineichen_perez_2002_no_enhancement":
			got = IneichenPerez(z, r.Num(t, "airmass"), r.Num(t, "linke_turbidity"), r.Num(t, "altitude_m"), r.Num(t, "dni_extra_W_m2"))
		case "bird_hulstrom_1981":
			continue // not used here
		default:
			t.Errorf("no code for %s", r["model"])
		}
		tol := r.Num(t, "abs_tol_W_m2")
		what := r["model"] + " at " + r["apparent_zenith_deg"]
		near(t, what+" GHI", got.GHI, r.Num(t, "ghi_W_m2"), tol)
		if r["dni_W_m2"] != "" {
			near(t, what+" DNI", got.DNI, r.Num(t, "dni_W_m2"), tol)
			near(t, what+" DHI", got.DHI, r.Num(t, "dhi_W_m2"), tol)
		}
	}
}

func TestDecomposeChecks(t *testing.T) {
	for _, r := range outside.Rows(t, "03_decomposition.csv") {
		ghi, z := r.Num(t, "ghi_W_m2"), r.Num(t, "zenith_true_deg")
		extra := Extraterrestrial(r.Num(t, "day_of_year"))
		if r["dni_extra_W_m2"] != "" {
			extra = r.Num(t, "dni_extra_W_m2")
		}
		cosZ := math.Cos(z * rad)
		tol := r.Num(t, "abs_tol")
		if !strings.HasPrefix(r["model"], "erbs_driesse") {
			continue // not used here
		}
		got := ErbsDriesse(ghi, cosZ, extra)
		what := r["model"] + " " + r["ghi_W_m2"] + " at " + r["zenith_true_deg"]
		near(t, what+" kt", Clearness(ghi, cosZ, extra), r.Num(t, "kt"), tol)
		near(t, what+" DHI", got.DHI, r.Num(t, "dhi_W_m2"), tol)
		near(t, what+" DNI", got.DNI, r.Num(t, "dni_W_m2"), tol)
		if r["diffuse_fraction"] != "" && ghi > 0 && got.DNI > 0 {
			near(t, what+" kd", got.DHI/ghi, r.Num(t, "diffuse_fraction"), tol)
		}
	}
}

func TestTranspositionChecks(t *testing.T) {
	opt := func(r outside.Row, c string, or float64) float64 {
		if r[c] == "" {
			return or
		}
		return r.Num(t, c)
	}
	for i, r := range outside.Rows(t, "03_transposition.csv") {
		if r["model"] != "perez_driesse_2024" {
			continue // not used here
		}
		p := Plane{r.Num(t, "tilt_deg"), opt(r, "surface_azimuth_deg", 0)}
		f := p.Facet()
		z := opt(r, "apparent_zenith_deg", 0)
		m := MomentAt(p, z, z, opt(r, "solar_azimuth_deg", 0), opt(r, "dni_extra_W_m2", math.NaN()))
		m.AirMass = opt(r, "airmass_relative", m.AirMass)
		l := Light{opt(r, "ghi_W_m2", math.NaN()), opt(r, "dni_W_m2", math.NaN()), opt(r, "dhi_W_m2", math.NaN())}
		beam, sky, ground := Tilted(&f, m, l, opt(r, "albedo", 0.2))
		tol := r.Num(t, "abs_tol_W_m2")
		what := r["model"] + " row " + strconv.Itoa(i+2)
		near(t, what+" sky", sky, r.Num(t, "poa_sky_diffuse_W_m2"), tol)
		if r["cos_aoi"] != "" {
			near(t, what+" cos", m.CosIncidence, r.Num(t, "cos_aoi"), 1e-8)
		}
		if r["poa_beam_W_m2"] != "" {
			near(t, what+" beam", beam, r.Num(t, "poa_beam_W_m2"), tol)
			near(t, what+" ground", ground, r.Num(t, "poa_ground_W_m2"), tol)
			near(t, what+" total", beam+sky+ground, r.Num(t, "poa_global_W_m2"), tol)
		}
	}
}

func TestIAMChecks(t *testing.T) {
	for _, r := range outside.Rows(t, "03_iam.csv") {
		angle := r.Num(t, "angle_deg")
		c := math.Cos(angle * rad)
		if angle >= 90 {
			c = 0
		}
		var got float64
		switch r["model"] {
		case "martin_ruiz_ar0.16":
			got = MartinRuiz(c, 0.16)
		case "martin_ruiz_diffuse_sky_ar0.16_tilt":
			got, _ = MartinRuizDiffuse(angle, 0.16)
		case "martin_ruiz_diffuse_ground_ar0.16_tilt":
			_, got = MartinRuizDiffuse(angle, 0.16)
		default: // not used here
			continue
		}
		near(t, r["model"]+" at "+r["angle_deg"], got, r.Num(t, "iam"), r.Num(t, "abs_tol"))
	}
}

func TestBeamTable(t *testing.T) {
	for i := range 100_000 {
		c := float64(i) / 99_999
		near(t, "table", beamIAM(c), MartinRuiz(c, DefaultAR), 5e-6)
	}
	for _, c := range []float64{-0.1, 0, 1, 1.1} {
		near(t, "edge", beamIAM(c), clamp(MartinRuiz(min(c, 1), DefaultAR), 0, 1), 1e-12)
	}
	if v := beamIAM(math.NaN()); v == v {
		t.Errorf("NaN gave %v", v)
	}
}
