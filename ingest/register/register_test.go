package register

import (
	"math"
	"os"
	"path/filepath"
	"testing"
	"time"

	"rowen/ingest"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
)

// The catalogue and the tariff that the contract prints.
const (
	contractCatalogue = `modules:   [{model: TN-430, watts: 430, width_m: 1.134, height_m: 1.762, temp_coefficient_pct_per_c: -0.34}]
inverters:
  - {model: KV1-250, family: KV, generation: 1, kind: micro, ac_watts: 250, max_module_watts: 350, efficiency_pct: 96.5, per_branch: 16, branch_breaker_amps: 20}
  - {model: KV2-380, family: KV, generation: 2, kind: micro, ac_watts: 380, max_module_watts: 540, efficiency_pct: 97.0, per_branch: 10, branch_breaker_amps: 20}
gateways:  [{model: HG-2, max_inverters: 120, latest_software: 5.2.1180}, {model: HG-1, max_inverters: 50, latest_software: 3.9.40}]
mixing:
  - {family: KV, generations: [1, 2], gateways: [HG-2], min_software: 5.2.1180, grid_types: [grid_tied], blocked_by: [backup_controller, storage]}
profiles:
  - id: split-phase-200
    volts: 240
    phases: 2
    busbar_pct: 120             # PV and main breaker together against the busbar, feed at opposite ends
    continuous_factor: 1.25
    breaker_sizes_amps: [15, 20, 25, 30, 35, 40, 45, 50, 60, 70, 80, 90, 100]
    program_cap_pct_of_use: 0   # 0: none
    per_phase_limit_kw: 0       # 0: none
    source: "..."
    edition: "..."
`
	contractTariffs = `tariffs:
  - id: tou-a
    fixed_per_day: 0.35
    import:                     # first match wins; local clock; an hour belongs to the period that its start lies in
      - {name: peak, months: [6, 7, 8, 9], days: weekday, hours: "16-21", price: 0.42}
      - {name: base, price: 0.21}
    tiers: []                   # or [{up_to_kwh_per_month: 400, add: 0.0}, {add: 0.06}]
    export: {credit: rate, price: 0.07}      # credit: rate (price or periods) | retail (the import price of the hour)
    settlement: interval        # interval: every hour by itself | monthly | yearly: retail credits net out in money over that time
    surplus_price: 0.03         # what a kWh of net surplus earns when the settlement period closes
    legacy: {lost_when_added_pct: 10, successor: tou-b}   # optional: growing the array by more than this share moves the site to the successor
  - id: tou-b
    import: [{price: 0.25}]
`
)

var small = map[string]string{
	"catalogue.yaml": contractCatalogue,
	"tariffs.yaml":   contractTariffs,
	"sites.csv": "\ufeffsite_id,latitude,longitude,timezone,elevation_m,customer,contact,postcode,branch,grid_type,commissioned_on,tariff_id,permission_limit_kw,do_not_contact,last_contact_on\r\n" +
		"S2,52.5,13.4,Europe/Berlin,,\"Wen, \"\"Mo\"\"\",mo@example.org,10115,north,backup,2019-02-03,tou-b,6.5,yes,2026-01-02\r\n" +
		"S1,39.74,-105.18,,1830,,,,,,,,,,\r\n",
	"arrays.csv": `site_id,array_id,modules,module_watts,module_model,tilt_deg,azimuth_deg,plane_id,inverter_model,inverters,commissioned_on
S1,b,8,,TN-430,,,,KV2-380,8,2021-05-06
S1,a,12,320,,20,180,P1,KV1-250,,
`,
	"planes.csv": `site_id,plane_id,width_m,slope_m,tilt_deg,azimuth_deg,shading_pct,blocked_m2,roof_kind,roof_year,polygon_m,obstacles_m
S1,P1,10,4.5,20,180,3,1.2,shingle,2012,,"3.2,1.4,3.6,1.8; 5,0,6,1"
S1,P2,,,35,270,,,,,"0,0 10,0 10,4.5 0,4.5",
`,
	"services.csv": `site_id,phases,volts,busbar_amps,main_breaker_amps,pv_breaker_amps,other_supply_amps,free_spaces,branch_spare_amps,feed,profile,upstream_busbar_amps,upstream_main_breaker_amps,load_breakers_amps
S1,2,240,200,200,20,0,4,,end,,225,200,180
`,
	"gateways.csv": `site_id,gateway_model,software_version,reporting_inverters,last_seen_on,backup_controller,storage_kwh
S1,HG-2,5.2.1180,20,2026-10-31,no,0
`,
	"bills.csv": `site_id,from,to,import_kwh,export_kwh
S2,2026-02-01,2026-03-01,410.5,
S2,2026-01-01,2026-02-01,500,12
`,
	"outcomes.csv": `site_id,called_on,result,reason
S2,2026-01-02,declined,"thinks about it"
`,
}

var smallOptions = Options{Timezone: "America/Denver", TariffID: "tou-a", Profile: "split-phase-200"}

// folder writes a fleet's folder; changed files replace those of small, ""
// leaves one out.
func folder(t testing.TB, changed map[string]string) string {
	t.Helper()
	dir := t.TempDir()
	for name, text := range small {
		if c, ok := changed[name]; ok {
			text = c
		}
		if text == "" {
			continue
		}
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

// sameFleet compares zones by name.
var sameFleet = cmp.Options{
	cmpopts.EquateNaNs(),
	cmp.Comparer(func(a, b *time.Location) bool { return a == b || a != nil && b != nil && a.String() == b.String() }),
}

// listed are the sites of a fleet.
func listed(f *ingest.Fleet) (sites []ingest.Site) {
	for _, s := range f.All() {
		sites = append(sites, *s)
	}
	return sites
}

func day(y, m, d int) time.Time { return time.Date(y, time.Month(m), d, 0, 0, 0, 0, time.UTC) }

// TestRead reads the small fleet, whose every cell is written out here again
// by hand as what it must become.
func TestRead(t *testing.T) {
	got, err := Read(folder(t, nil), smallOptions)
	if err != nil {
		t.Fatal(err)
	}
	denver, _ := time.LoadLocation("America/Denver")
	berlin, _ := time.LoadLocation("Europe/Berlin")
	nan := math.NaN()
	want := []ingest.Site{
		{
			ID: "S1", LatitudeDeg: 39.74, LongitudeDeg: -105.18, ElevationM: 1830, Location: denver, Timezone: "America/Denver",
			TariffID: "tou-a", TariffDefaulted: true, PermissionLimitKW: nan, RoofPlanM2: nan,
			Arrays: []ingest.Array{
				{ID: "a", Modules: 12, ModuleWatts: 320, TiltDeg: 20, AzimuthDeg: 180, PlaneID: "P1", InverterModel: "KV1-250"},
				{ID: "b", Modules: 8, ModuleWatts: nan, ModuleModel: "TN-430", TiltDeg: nan, AzimuthDeg: nan, InverterModel: "KV2-380", Inverters: ingest.Some(8), CommissionedOn: day(2021, 5, 6)},
			},
			Planes: []ingest.Plane{
				{ID: "P1", WidthM: 10, SlopeM: 4.5, TiltDeg: 20, AzimuthDeg: 180, ShadingPct: 3, BlockedM2: 1.2, RoofKind: "shingle", RoofYear: ingest.Some(2012), ObstaclesM: [][4]float64{{3.2, 1.4, 3.6, 1.8}, {5, 0, 6, 1}}},
				{ID: "P2", WidthM: nan, SlopeM: nan, TiltDeg: 35, AzimuthDeg: 270, ShadingPct: nan, BlockedM2: nan, PolygonM: [][2]float64{{0, 0}, {10, 0}, {10, 4.5}, {0, 4.5}}},
			},
			Service: &ingest.Service{
				Phases: ingest.Some(2), Volts: 240, BusbarAmps: 200, MainBreakerAmps: 200, PVBreakerAmps: 20, OtherSupplyAmps: 0,
				FreeSpaces: ingest.Some(4), BranchSpareAmps: nan, Feed: "end", Profile: "split-phase-200", ProfileDefaulted: true,
				UpstreamBusbarAmps: 225, UpstreamMainBreakerAmps: 200, LoadBreakersAmps: 180,
			},
			Gateway: &ingest.Gateway{Model: "HG-2", SoftwareVersion: "5.2.1180", ReportingInverters: ingest.Some(20), LastSeenOn: day(2026, 10, 31), BackupController: ingest.Some(false)},
		},
		{
			ID: "S2", LatitudeDeg: 52.5, LongitudeDeg: 13.4, ElevationM: nan, Location: berlin, Timezone: "Europe/Berlin",
			Customer: `Wen, "Mo"`, Contact: "mo@example.org", Postcode: "10115", Branch: "north", GridType: "backup", CommissionedOn: day(2019, 2, 3),
			TariffID: "tou-b", RoofPlanM2: nan, PermissionLimitKW: 6.5, DoNotContact: true, LastContactOn: day(2026, 1, 2),
			Bills: []ingest.Bill{
				{From: day(2026, 1, 1), To: day(2026, 2, 1), ImportKWh: 500, ExportKWh: 12},
				{From: day(2026, 2, 1), To: day(2026, 3, 1), ImportKWh: 410.5, ExportKWh: nan},
			},
		},
	}
	if diff := cmp.Diff(want, listed(got), sameFleet); diff != "" {
		t.Errorf("sites: -want +got\n%s", diff)
	}
	wantOutcomes := []ingest.Outcome{{SiteID: "S2", CalledOn: day(2026, 1, 2), Result: "declined", Reason: "thinks about it", Price: nan,
		Listed: ingest.Listed{AddedKWhYr: nan, Saving: nan, SavingLow: nan, SavingHigh: nan}}}
	if diff := cmp.Diff(wantOutcomes, got.Outcomes, sameFleet); diff != "" {
		t.Errorf("outcomes: -want +got\n%s", diff)
	}
	if len(got.Rejects) != 0 || len(got.Notes) != 0 || got.RowsRead != 11 {
		t.Errorf("rejects %v, notes %v, rows read %d", got.Rejects, got.Notes, got.RowsRead)
	}
	if v := got.Catalogue.Inverter("KV2-380"); v == nil || v.ACWatts != 380 || v.PerBranch != 10 {
		t.Errorf("inverter %+v", v)
	}
	if g := got.Catalogue.Gateway("HG-2"); g == nil || g.LatestSoftware != "5.2.1180" {
		t.Errorf("gateway %+v", g)
	}
	if a := ingest.FindTariff(got.Tariffs, "tou-a"); a == nil || a.Import[0].Price != 0.42 || a.Legacy.Successor != "tou-b" {
		t.Errorf("tariff %+v", a)
	}
}
