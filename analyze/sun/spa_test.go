package sun

import (
	"math"
	"strconv"
	"sync"
	"testing"
	"time"

	"rowen/scripts/outside"
)

// spa is the Solar Position Algorithm of Reda and Andreas (Solar Energy 76
// (2004) 577; NREL/TP-560-34302), the reference that the fast forms are held
// against. Its tables are check files.
type spa struct {
	jd, jc, jde, jce, jme            float64
	l, b, r                          float64 // heliocentric [deg], [AU]
	theta, beta                      float64
	x                                [5]float64
	dPsi, dEps, eps0, eps            float64
	dTau, lambda, nu0                float64
	nu, alpha, delta, h, xi          float64
	dAlpha, deltaPrime, hPrime       float64
	e0, dE, zenith, azimuth, eotMins float64
}

type spaTables struct {
	periodic map[string][6][][3]float64
	nutation [][9]float64
}

var loadSPA = sync.OnceValue(func() func(t testing.TB) *spaTables {
	var tables *spaTables
	return func(t testing.TB) *spaTables {
		if tables != nil {
			return tables
		}
		tab := &spaTables{periodic: map[string][6][][3]float64{}}
		for _, r := range outside.Rows(t, "01_table_spa_periodic_terms.csv") {
			orders := tab.periodic[r["series"]]
			o := int(r.Num(t, "order"))
			orders[o] = append(orders[o], [3]float64{r.Num(t, "A_1e-8"), r.Num(t, "B_rad"), r.Num(t, "C_rad_per_millennium")})
			tab.periodic[r["series"]] = orders
		}
		for _, r := range outside.Rows(t, "01_table_spa_nutation.csv") {
			var row [9]float64
			for i, c := range []string{"Y0", "Y1", "Y2", "Y3", "Y4", "a_0.0001arcsec", "b_0.0001arcsec_per_century", "c_0.0001arcsec", "d_0.0001arcsec_per_century"} {
				row[i] = r.Num(t, c)
			}
			tab.nutation = append(tab.nutation, row)
		}
		tables = tab
		return tables
	}
})

type spaInput struct {
	unix, deltaT, lat, lon, elevM, pressurePa, tempC float64
}

func (tab *spaTables) at(in spaInput) spa {
	var s spa
	s.jd = in.unix/86400 + 2440587.5
	s.jde = s.jd + in.deltaT/86400
	s.jc, s.jce = (s.jd-2451545)/36525, (s.jde-2451545)/36525
	s.jme = s.jce / 10
	series := func(name string) float64 {
		sum, power := 0.0, 1.0
		for _, terms := range tab.periodic[name] {
			for _, a := range terms {
				sum += power * a[0] * math.Cos(a[1]+a[2]*s.jme)
			}
			power *= s.jme
		}
		return sum / 1e8
	}
	s.l, s.b, s.r = mod(series("L")*deg, 360), series("B")*deg, series("R")
	s.theta, s.beta = mod(s.l+180, 360), -s.b
	t := s.jce
	s.x = [5]float64{
		297.85036 + 445267.111480*t - 0.0019142*t*t + t*t*t/189474,
		357.52772 + 35999.050340*t - 0.0001603*t*t - t*t*t/300000,
		134.96298 + 477198.867398*t + 0.0086972*t*t + t*t*t/56250,
		93.27191 + 483202.017538*t - 0.0036825*t*t + t*t*t/327270,
		125.04452 - 1934.136261*t + 0.0020708*t*t + t*t*t/450000,
	}
	for _, row := range tab.nutation {
		arg := 0.0
		for j := range s.x {
			arg += s.x[j] * row[j]
		}
		s.dPsi += (row[5] + row[6]*t) * math.Sin(arg*rad) / 36e6
		s.dEps += (row[7] + row[8]*t) * math.Cos(arg*rad) / 36e6
	}
	u := s.jme / 10
	s.eps0 = 84381.448 + u*(-4680.93+u*(-1.55+u*(1999.25+u*(-51.38+u*(-249.67+u*(-39.05+u*(7.12+u*(27.87+u*(5.79+u*2.45)))))))))
	s.eps = s.eps0/3600 + s.dEps
	s.dTau = -20.4898 / (3600 * s.r)
	s.lambda = s.theta + s.dPsi + s.dTau
	s.nu0 = mod(280.46061837+360.98564736629*(s.jd-2451545)+0.000387933*s.jc*s.jc-s.jc*s.jc*s.jc/38710000, 360)
	s.nu = s.nu0 + s.dPsi*math.Cos(s.eps*rad)
	sinL, cosL := math.Sincos(s.lambda * rad)
	sinE, cosE := math.Sincos(s.eps * rad)
	sinB, cosB := math.Sincos(s.beta * rad)
	s.alpha = mod(math.Atan2(sinL*cosE-sinB/cosB*sinE, cosL)*deg, 360)
	s.delta = math.Asin(sinB*cosE+cosB*sinE*sinL) * deg
	s.h = mod(s.nu+in.lon-s.alpha, 360)
	s.xi = 8.794 / (3600 * s.r)
	phi := in.lat * rad
	uu := math.Atan(0.99664719 * math.Tan(phi))
	x := math.Cos(uu) + in.elevM/6378140*math.Cos(phi)
	y := 0.99664719*math.Sin(uu) + in.elevM/6378140*math.Sin(phi)
	sinXi, sinH, cosH := math.Sin(s.xi*rad), math.Sin(s.h*rad), math.Cos(s.h*rad)
	sinD, cosD := math.Sincos(s.delta * rad)
	s.dAlpha = math.Atan2(-x*sinXi*sinH, cosD-x*sinXi*cosH) * deg
	s.deltaPrime = math.Atan2((sinD-y*sinXi)*math.Cos(s.dAlpha*rad), cosD-x*sinXi*cosH) * deg
	s.hPrime = s.h - s.dAlpha
	dp, hp := s.deltaPrime*rad, s.hPrime*rad
	s.e0 = math.Asin(math.Sin(phi)*math.Sin(dp)+math.Cos(phi)*math.Cos(dp)*math.Cos(hp)) * deg
	s.dE = Refraction(s.e0, in.pressurePa, in.tempC)
	s.zenith = 90 - s.e0 - s.dE
	s.azimuth = mod(math.Atan2(math.Sin(hp), math.Cos(hp)*math.Sin(phi)-math.Tan(dp)*math.Cos(phi))*deg+180, 360)
	j := s.jme
	m := 280.4664567 + j*(360007.6982779+j*(0.03032028+j*(1.0/49931+j*(-1.0/15300-j/2000000))))
	s.eotMins = 4 * math.Remainder(m-0.0057183-s.alpha+s.dPsi*cosE, 360)
	return s
}

// TestSPASteps holds the reference itself against the worked example of
// NREL/TP-560-34302, every intermediate value.
func TestSPASteps(t *testing.T) {
	var in struct {
		UTC  string  `json:"utc"`
		DT   float64 `json:"delta_t_s"`
		Lat  float64 `json:"latitude_deg"`
		Lon  float64 `json:"longitude_deg_E"`
		Elev float64 `json:"elevation_m"`
		Mbar float64 `json:"pressure_mbar"`
		Temp float64 `json:"temperature_C"`
		Inc  float64 `json:"expected_incidence_deg"`
		Tilt float64 `json:"surface_slope_deg"`
		Az   float64 `json:"surface_azimuth_from_north_deg"`
	}
	outside.JSON(t, "01_spa_steps_inputs.json", &in)
	s := loadSPA()(t).at(spaInput{unixOf(t, in.UTC), in.DT, in.Lat, in.Lon, in.Elev, in.Mbar * 100, in.Temp})
	got := map[string]float64{
		"JD": s.jd, "JC": s.jc, "JDE": s.jde, "JCE": s.jce, "JME": s.jme,
		"L": s.l, "B": s.b, "R": s.r, "Theta": s.theta, "beta": s.beta,
		"X0": s.x[0], "X1": s.x[1], "X2": s.x[2], "X3": s.x[3], "X4": s.x[4],
		"dPsi": s.dPsi, "dEpsilon": s.dEps, "epsilon0": s.eps0, "epsilon": s.eps, "dTau": s.dTau, "lambda": s.lambda,
		"nu0": s.nu0, "nu": s.nu, "alpha": s.alpha, "delta": s.delta, "H": s.h, "xi": s.xi,
		"dAlpha": s.dAlpha, "alpha_prime": s.alpha + s.dAlpha, "delta_prime": s.deltaPrime, "H_prime": s.hPrime,
		"e0": s.e0, "de": s.dE, "e": s.e0 + s.dE, "zenith_apparent": s.zenith,
		"Gamma": mod(s.azimuth+180, 360), "azimuth_N_eastward": s.azimuth, "eot": s.eotMins,
	}
	for _, r := range outside.Rows(t, "01_spa_steps.csv") {
		v, ok := got[r["quantity"]]
		if !ok {
			t.Errorf("no such intermediate here: %s = %s", r["quantity"], r["value"])
			continue
		}
		near(t, r["quantity"], v, r.Num(t, "value"), r.Num(t, "abs_tol"))
	}
	inc := math.Acos(CosIncidence(Plane{in.Tilt, in.Az}, s.zenith, s.azimuth)) * deg
	near(t, "incidence", inc, in.Inc, 1e-5)
}

func TestSPAPositions(t *testing.T) {
	for _, r := range outside.Rows(t, "01_solar_position.csv") {
		s := loadSPA()(t).at(spaInput{unixOf(t, r["utc"]), r.Num(t, "delta_t_s"), r.Num(t, "lat_deg"), r.Num(t, "lon_deg_E"),
			r.Num(t, "elev_m"), r.Num(t, "pressure_Pa"), r.Num(t, "temp_C")})
		tol := r.Num(t, "abs_tol_deg")
		near(t, r["utc"]+" zenith", 90-s.e0, r.Num(t, "zenith_true_deg"), tol)
		near(t, r["utc"]+" apparent", s.zenith, r.Num(t, "zenith_apparent_deg"), tol)
		near(t, r["utc"]+" azimuth", s.azimuth, r.Num(t, "azimuth_deg"), tol)
		near(t, r["utc"]+" eot", s.eotMins, r.Num(t, "eot_min"), tol)
		near(t, r["utc"]+" AU", s.r, r.Num(t, "earth_sun_AU"), tol)
	}
}

// deltaT is the NASA polynomial for 2005-2050 (methods 1.4).
func deltaT(unix float64) float64 {
	y := 1970 + unix/86400/365.2425 - 2000
	return 62.92 + 0.32217*y + 0.005589*y*y
}

func unixOf(t testing.TB, stamp string) float64 {
	t.Helper()
	for _, layout := range []string{time.RFC3339, "2006-01-02T15:04Z"} {
		if at, err := time.Parse(layout, stamp); err == nil {
			return float64(at.Unix())
		}
	}
	t.Fatalf("not a time: %q", stamp)
	return 0
}

func num(t testing.TB, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func near(t testing.TB, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: got %.10g, want %.10g within %g", what, got, want, tol)
	}
}
