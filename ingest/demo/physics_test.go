package demo

import (
	"bufio"
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"

	"rowen/scripts/outside"
)

// The sun against rows computed with a library for solar positions.
func TestSunAgainstNOAARows(t *testing.T) {
	seen := 0
	for _, row := range outside.Rows(t, "01_solar_position_approx.csv") {
		if row["method"] != "noaa_meeus" {
			continue
		}
		at, err := time.Parse(time.RFC3339, row["utc"])
		if err != nil {
			t.Fatal(err)
		}
		d, h := sunPosition(float64(at.Unix()))
		tl := &timeline{}
		tl.sinD, tl.cosD = []float64{math.Sin(d)}, []float64{math.Cos(d)}
		tl.sinH, tl.cosH = []float64{math.Sin(h)}, []float64{math.Cos(h)}
		e, n, u := newPlace(row.Num(t, "lat_deg"), row.Num(t, "lon_deg_E")).sun(tl, 0)
		zenith, azimuth := math.Acos(u)/rad, math.Mod(math.Atan2(e, n)/rad+360, 360)
		if got, want := zenith, row.Num(t, "zenith_true_deg"); math.Abs(got-want) > 2e-6 {
			t.Errorf("%s at %s, %s: zenith %.7f, want %.7f", row["utc"], row["lat_deg"], row["lon_deg_E"], got, want)
		}
		if got, want := azimuth, row.Num(t, "azimuth_deg"); math.Abs(math.Remainder(got-want, 360))*math.Sin(zenith*rad) > 2e-6 {
			t.Errorf("%s at %s, %s: azimuth %.7f, want %.7f", row["utc"], row["lat_deg"], row["lon_deg_E"], got, want)
		}
		seen++
	}
	if seen == 0 {
		t.Fatal("no row of the method is in the file")
	}
}

// The clear sky against the published spreadsheet of the model's authors'
// institute, which rounds its constants: 1e-3, as the file says.
func TestBirdAgainstSpreadsheet(t *testing.T) {
	for _, row := range outside.Rows(t, "02_bird_spreadsheet.csv") {
		a := air{pressurePa: row.Num(t, "pressure_Pa"), tau380: row.Num(t, "aod380"), tau500: row.Num(t, "aod500"),
			waterCm: row.Num(t, "water_cm"), ozoneCm: row.Num(t, "ozone_cm"), albedo: row.Num(t, "albedo"), extraterrestrialWm: row.Num(t, "etr_W_m2")}
		z := row.Num(t, "zenith_deg")
		if z > 89 {
			continue // the generator has no light within half a degree of the horizon
		}
		dni, ghi := bird(a, math.Cos(z*rad))
		if want := row.Num(t, "dni_W_m2"); math.Abs(dni-want) > 1e-3*want+0.01 {
			t.Errorf("day %s hour %s: beam %.3f, want %.3f", row["doy"], row["hour"], dni, want)
		}
		if want := row.Num(t, "ghi_W_m2"); math.Abs(ghi-want) > 1e-3*want+0.01 {
			t.Errorf("day %s hour %s: global %.3f, want %.3f", row["doy"], row["hour"], ghi, want)
		}
	}
}

func TestPerezAgainstRows(t *testing.T) {
	seen := 0
	for _, row := range outside.Rows(t, "03_transposition.csv") {
		if row["model"] != "perez_1990" || row["cos_aoi"] == "" { // two rows leave the incidence to their own sun
			continue
		}
		z, tilt := row.Num(t, "apparent_zenith_deg")*rad, row.Num(t, "tilt_deg")*rad
		iso, circum, horizon := skyParts(row.Num(t, "dni_W_m2"), row.Num(t, "dhi_W_m2"), math.Cos(z), z, row.Num(t, "airmass_relative"), row.Num(t, "dni_extra_W_m2"))
		got := math.Max(0, iso*(1+math.Cos(tilt))+circum*math.Max(0, row.Num(t, "cos_aoi"))+horizon*math.Sin(tilt))
		if want := row.Num(t, "poa_sky_diffuse_W_m2"); math.Abs(got-want) > math.Max(row.Num(t, "abs_tol_W_m2"), 1e-3) {
			t.Errorf("tilt %s, zenith %s: sky %.4f, want %.4f", row["tilt_deg"], row["apparent_zenith_deg"], got, want)
		}
		seen++
	}
	if seen == 0 {
		t.Fatal("no row of the model is in the file")
	}
}

func TestFresnelAgainstRows(t *testing.T) {
	seen := 0
	for _, row := range outside.Rows(t, "03_iam.csv") {
		if row["model"] != "physical_n1.526_K4_L0.002" {
			continue
		}
		c := math.Max(0, math.Cos(row.Num(t, "angle_deg")*rad))
		want := row.Num(t, "iam")
		if got := fresnel(c); math.Abs(got-want) > 1e-7 && row.Num(t, "angle_deg") < 90 {
			t.Errorf("%s°: %.9f, want %.9f", row["angle_deg"], got, want)
		}
		if got := iam(c); math.Abs(got-want) > 2e-4 && row.Num(t, "angle_deg") < 90 {
			t.Errorf("table at %s°: %.6f, want %.6f", row["angle_deg"], got, want)
		}
		seen++
	}
	if seen == 0 {
		t.Fatal("no row of the model is in the file")
	}
}

// Packing of plain rectangles against an exhaustive search.
func TestPackAgainstRows(t *testing.T) {
	seen := 0
	for _, row := range outside.Rows(t, "10_roof_packing.csv") {
		name, ok := strings.CutPrefix(row["case"], "rect_")
		if !ok || row["obstacle_boxes_x0,y0,x1,y1_m"] != "" || row.Num(t, "gap_m") != gapM {
			continue
		}
		ws, ds, _ := strings.Cut(name, "x")
		w, err1 := strconv.ParseFloat(ws, 64)
		d, err2 := strconv.ParseFloat(ds, 64)
		if err1 != nil || err2 != nil {
			t.Fatalf("case %q is no rectangle", row["case"])
		}
		m := catalogue().Modules[0]
		m.WidthM, m.HeightM = row.Num(t, "module_short_m"), row.Num(t, "module_long_m")
		if got := pack(w, d, &m); float64(got) != row.Num(t, "best_count") {
			t.Errorf("%s: %d modules, want %s", row["case"], got, row["best_count"])
		}
		seen++
	}
	if seen == 0 {
		t.Fatal("no rectangle is in the file")
	}
}

// tmyHour is one hour of a weather file.
type tmyHour struct {
	month              int
	etr, ghi, dni, dhi float64
	at                 time.Time // middle of the hour, in some year
}

// golden reads an hourly file in TMY3 layout: hour-ending labels in standard
// time, irradiances of the hour.
func golden(t *testing.T, name string) []tmyHour {
	f, err := os.Open(outside.Data(t, "weather-us", name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(bufio.NewReader(f))
	r.FieldsPerRecord = -1
	all, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var out []tmyHour
	for _, rec := range all[2:] {
		num := func(i int) float64 {
			v, err := strconv.ParseFloat(rec[i], 64)
			if err != nil {
				return math.NaN()
			}
			return v
		}
		md := strings.Split(rec[0], "/")
		mo, _ := strconv.Atoi(md[0])
		da, _ := strconv.Atoi(md[1])
		h, _ := strconv.Atoi(strings.Split(rec[1], ":")[0])
		out = append(out, tmyHour{month: mo, etr: num(2), ghi: num(4), dni: num(7), dhi: num(10),
			at: time.Date(2025, time.Month(mo), da, h-1, 30, 0, 0, time.FixedZone("", -7*3600))})
	}
	return out
}

// skyTable is the share of hours by clearness index (tenths), the mean diffuse
// share in each, and the totals in kWh/m² a year, of hours with at least 200
// W/m² outside the atmosphere.
type skyTable struct {
	share, kd     [10]float64
	ghi, dni, dhi float64
}

func (s *skyTable) add(etr, ghi, diffuse float64) {
	if etr < 200 || !(ghi > 0) {
		return
	}
	b := int(math.Min(ghi/etr, 0.999) * 10)
	s.share[b]++
	s.kd[b] += diffuse / ghi
}

func (s *skyTable) close() {
	n := sum(s.share[:])
	for b := range s.share {
		s.kd[b] /= s.share[b]
		s.share[b] /= n
	}
}

// made is the sky table of the generator's first region over whole years.
func generatedSky(m *Made, r *region) skyTable {
	var s *site
	for _, x := range m.sites {
		if x.region == r {
			s = x
		}
	}
	var q rays
	q.cast(r, s, stream(s.seed, 30))
	var out skyTable
	per := m.tl.perHour
	for j := 0; j < len(r.lit); {
		h := int(r.lit[j]) / per
		var etr, ghi, beam, dni float64
		for ; j < len(r.lit) && int(r.lit[j])/per == h; j++ {
			etr += float64(r.i0[j]) * q.u[j] / float64(per)
			ghi += q.ghi[j] / float64(per)
			beam += q.dni[j] * q.u[j] / float64(per)
			dni += q.dni[j] / float64(per)
		}
		out.add(etr, ghi, ghi-beam)
		out.ghi, out.dni, out.dhi = out.ghi+ghi/1000, out.dni+dni/1000, out.dhi+(ghi-beam)/1000
	}
	years := float64(m.tl.n) / float64(per) / 8766
	out.ghi, out.dni, out.dhi = out.ghi/years, out.dni/years, out.dhi/years
	out.close()
	return out
}

// The cloud makes the light of a real place: the year's sums of Golden CO
// (typical year) and San Francisco, and the mix of beam and diffuse light by
// clearness as in the typical and the measured hours of Golden.
func TestSkyAgainstWeatherFiles(t *testing.T) {
	o := Default()
	o.Months = 36
	m := Make(o)
	tmy := golden(t, "724666TY.csv")
	var want skyTable
	for _, h := range tmy {
		want.add(h.etr, h.ghi, h.dhi)
		want.ghi, want.dni, want.dhi = want.ghi+h.ghi/1000, want.dni+h.dni/1000, want.dhi+h.dhi/1000
	}
	want.close()
	got := generatedSky(m, m.regions[0])
	t.Logf("foothills: GHI %.0f DNI %.0f DHI %.0f; the typical year: %.0f %.0f %.0f", got.ghi, got.dni, got.dhi, want.ghi, want.dni, want.dhi)
	within := func(what string, got, want, pct float64) {
		t.Helper()
		if math.Abs(got-want) > pct/100*want {
			t.Errorf("%s: %.0f kWh/m² a year, the typical year has %.0f: more than %.0f %% apart", what, got, want, pct)
		}
	}
	within("global", got.ghi, want.ghi, 8)
	within("beam", got.dni, want.dni, 12)
	within("diffuse", got.dhi, want.dhi, 12)
	for b := 1; b < 8; b++ {
		if math.Abs(got.kd[b]-want.kd[b]) > 0.13 {
			t.Errorf("clearness %.1f: diffuse share %.2f, the typical year has %.2f", float64(b)/10, got.kd[b], want.kd[b])
		}
		if math.Abs(got.share[b]-want.share[b]) > 0.06 {
			t.Errorf("clearness %.1f: %.3f of the hours, the typical year has %.3f", float64(b)/10, got.share[b], want.share[b])
		}
	}
	// San Francisco's airport has 1716, 1771 and 630 (its SOURCE.txt); the
	// valley lies inland of it and is sunnier by a tenth or so.
	valley := generatedSky(m, m.regions[1])
	t.Logf("valley: GHI %.0f DNI %.0f DHI %.0f", valley.ghi, valley.dni, valley.dhi)
	if valley.ghi < 1716 || valley.ghi > 1716*1.15 {
		t.Errorf("valley: global %.0f kWh/m² a year, want 1716 to 1973", valley.ghi)
	}
}

// The array's loop against a plain twin that goes by angles, hour by hour, and
// shares nothing with it but the light.
func TestArrayAgainstPlainTwin(t *testing.T) {
	o := Default()
	o.Sites, o.Months, o.PlainHomes, o.Faults, o.Events = 10, 13, true, 0, 0
	m := Make(o)
	checked := 0
	for _, s := range m.sites {
		r := s.region
		var q rays
		q.cast(r, s, stream(s.seed, 30))
		q.generate(r, s, nil, nil)
		if len(s.roof.arrays) > 1 || s.roof.arrays[0].shadingPct > 0 {
			continue
		}
		a := s.roof.arrays[0]
		iamSky, iamGround := diffuseIAM(a.tiltDeg)
		for j := 100; j < len(r.lit); j += 97 {
			zenith, azimuth := math.Acos(q.u[j]), math.Atan2(q.e[j], q.n[j])
			b, g := a.tiltDeg*rad, a.azimuthDeg*rad
			cosT := math.Cos(b)*math.Cos(zenith) + math.Sin(b)*math.Sin(zenith)*math.Cos(azimuth-g)
			seen := math.Max(cosT, 0)
			light := (q.dni[j]*seen + q.circum[j]*seen) * fresnel(seen)
			diffuse := q.iso[j]*(1+math.Cos(b)) + q.horizon[j]*math.Sin(b)
			poa := math.Max(0, light-q.dni[j]*seen*fresnel(seen)+iamSky*diffuse) + q.dni[j]*seen*fresnel(seen) + iamGround*0.2*q.ghi[j]*(1-math.Cos(b))/2
			poa *= q.keep[j]
			step := float64(r.lit[j])
			cell := float64(r.tempC[r.lit[j]]) + (s.roof.noctC-20)*poa/800*9.5/(5.7+3.8*float64(r.wind[j])/2)*(1-0.19/0.9)
			years := s.roof.ageYears + step/(365.25*24*float64(m.tl.perHour))
			dc := a.watts * poa / 1000 * (1 + a.gammaPctPC/100*(cell-25)) * 1.005 * poa / (poa + 5) * s.roof.siteFactor * s.roof.arrayFactor * (1 + s.roof.ageingPctYr/100*years)
			want := float64(a.modules) * math.Max(0, math.Min(a.efficiency*dc-0.004*math.Min(a.moduleACWatts, a.watts), a.moduleACWatts))
			if math.Abs(q.out[j]-want) > 0.3+1e-3*want { // the loop's glass is a table
				t.Fatalf("%s step %d: %.3f W, the twin has %.3f", s.reg.ID, j, q.out[j], want)
			}
			checked++
		}
	}
	if checked < 500 {
		t.Errorf("only %d steps looked at", checked)
	}
}
