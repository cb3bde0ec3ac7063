package register

import (
	"errors"
	"fmt"
	"math"
	"time"

	"rowen/ingest"
)

// The tables of the register: each column is defined here and nowhere else;
// the reader and the data dictionary both come from it.

var inf = math.Inf(1)

type siteRow struct {
	ingest.Site
	doNotContact ingest.Opt[bool]
}

var sites = table[siteRow]{
	name: "sites", required: true, text: "one row per customer site",
	site: func(r *siteRow) string { return r.ID },
	key:  func(r *siteRow) string { return r.ID },
	columns: []column[siteRow]{
		id("site_id", "the site's ID in every table", func(r *siteRow) *string { return &r.ID }).required(),
		number("latitude", "deg", -90, 90, "north positive", func(r *siteRow) *float64 { return &r.LatitudeDeg }).required(),
		number("longitude", "deg", -180, 180, "east positive", func(r *siteRow) *float64 { return &r.LongitudeDeg }).required(),
		text("timezone", "IANA zone as America/Denver; blank: defaults.timezone", func(r *siteRow) *string { return &r.Timezone }),
		number("elevation_m", "m", -500, 9000, "above the sea", func(r *siteRow) *float64 { return &r.ElevationM }),
		text("customer", "personal data: reaches the call list and the briefs only", func(r *siteRow) *string { return &r.Customer }).hidden(),
		text("contact", "personal data: reaches the call list and the briefs only", func(r *siteRow) *string { return &r.Contact }).hidden(),
		text("postcode", "where the site is, for grouping", func(r *siteRow) *string { return &r.Postcode }).hidden(),
		text("branch", "the branch that looks after the site", func(r *siteRow) *string { return &r.Branch }),
		choice("grid_type", "how the site meets the grid", []string{"grid_tied", "backup", "off_grid"}, func(r *siteRow) *string { return &r.GridType }),
		date("commissioned_on", "first day of operation", func(r *siteRow) *time.Time { return &r.CommissionedOn }),
		id("tariff_id", "a tariff of tariffs.yaml; blank: defaults.tariff_id", func(r *siteRow) *string { return &r.TariffID }),
		number("permission_limit_kw", "kW", 0, inf, "AC export or size limit in the permission to operate", func(r *siteRow) *float64 { return &r.PermissionLimitKW }),
		number("roof_plan_m2", "m2", 1, 100_000, "plan area of the whole roof seen from above, every plane counted, where somebody knows it", func(r *siteRow) *float64 { return &r.RoofPlanM2 }),
		flag("do_not_contact", "the customer does not want to be called", func(r *siteRow) *ingest.Opt[bool] { return &r.doNotContact }).
			countsAsYes(func(r *siteRow) *ingest.Opt[bool] { return &r.doNotContact }),
		date("last_contact_on", "the last call", func(r *siteRow) *time.Time { return &r.LastContactOn }),
	},
}

type arrayRow struct {
	siteID  string
	modules ingest.Opt[int]
	ingest.Array
}

var arrays = table[arrayRow]{
	name: "arrays", text: "one row per group of like modules on one plane",
	site: func(r *arrayRow) string { return r.siteID },
	key:  func(r *arrayRow) string { return r.siteID + " " + r.ID },
	columns: []column[arrayRow]{
		id("site_id", "a site of sites.csv", func(r *arrayRow) *string { return &r.siteID }).required(),
		id("array_id", "once a site", func(r *arrayRow) *string { return &r.ID }).required(),
		count("modules", "modules", 1, 1_000_000, "how many", func(r *arrayRow) *ingest.Opt[int] { return &r.modules }).required(),
		// 30 W keeps out modules given in kW, 1000 W whole arrays given as one: our choice.
		number("module_watts", "W", 30, 1000, "of one module at standard test conditions; or module_model", func(r *arrayRow) *float64 { return &r.ModuleWatts }),
		text("module_model", "a module of catalogue.yaml; or module_watts", func(r *arrayRow) *string { return &r.ModuleModel }),
		number("tilt_deg", "deg", 0, 90, "0 is flat; blank: estimated from clear days", func(r *arrayRow) *float64 { return &r.TiltDeg }),
		number("azimuth_deg", "deg", 0, 360, "clockwise from north, 180 is south; blank: estimated from clear days", func(r *arrayRow) *float64 { return &r.AzimuthDeg }),
		id("plane_id", "a plane of planes.csv", func(r *arrayRow) *string { return &r.PlaneID }),
		text("inverter_model", "an inverter of catalogue.yaml", func(r *arrayRow) *string { return &r.InverterModel }),
		count("inverters", "inverters", 1, 1_000_000, "how many", func(r *arrayRow) *ingest.Opt[int] { return &r.Inverters }),
		date("commissioned_on", "first day of operation", func(r *arrayRow) *time.Time { return &r.CommissionedOn }),
	},
	check: func(r *arrayRow) (string, error) {
		if math.IsNaN(r.ModuleWatts) && r.ModuleModel == "" {
			return "module_watts", errors.New("must be given, or module_model")
		}
		return "", nil
	},
}

type planeRow struct {
	siteID string
	ingest.Plane
}

var planes = table[planeRow]{
	name: "planes", text: "one row per roof plane or ground plot",
	site: func(r *planeRow) string { return r.siteID },
	key:  func(r *planeRow) string { return r.siteID + " " + r.ID },
	columns: []column[planeRow]{
		id("site_id", "a site of sites.csv", func(r *planeRow) *string { return &r.siteID }).required(),
		id("plane_id", "once a site", func(r *planeRow) *string { return &r.ID }).required(),
		number("width_m", "m", 0.1, 1000, "along the eave; blank: not measured", func(r *planeRow) *float64 { return &r.WidthM }).required().mayBeBlank(),
		number("slope_m", "m", 0.1, 1000, "eave to ridge, along the slope; blank: not measured", func(r *planeRow) *float64 { return &r.SlopeM }).required().mayBeBlank(),
		number("tilt_deg", "deg", 0, 90, "0 is flat", func(r *planeRow) *float64 { return &r.TiltDeg }).required(),
		number("azimuth_deg", "deg", 0, 360, "clockwise from north, 180 is south", func(r *planeRow) *float64 { return &r.AzimuthDeg }).required(),
		number("shading_pct", "%", 0, 100, "yearly loss of beam light", func(r *planeRow) *float64 { return &r.ShadingPct }),
		number("blocked_m2", "m2", 0, inf, "vents, skylights", func(r *planeRow) *float64 { return &r.BlockedM2 }),
		choice("roof_kind", "what the plane is covered with", []string{"shingle", "tile", "metal", "flat", "ground"}, func(r *planeRow) *string { return &r.RoofKind }),
		count("roof_year", "year", 1500, 2200, "when it was covered", func(r *planeRow) *ingest.Opt[int] { return &r.RoofYear }),
		{Column: Column{Name: "polygon_m", Type: "corners x,y", Unit: "m", Text: "the outline where it is no rectangle, x along the eave and y up the slope, as 0,0 10,0 10,4.5 0,4.5"}, set: func(r *planeRow, cell string) (err error) {
			r.PolygonM = nil
			if cell != "" {
				r.PolygonM, err = parseOutline(cell)
			}
			return err
		}},
		{Column: Column{Name: "obstacles_m", Type: "boxes x0,y0,x1,y1", Unit: "m", Text: "what stands on the plane, as 3.2,1.4,3.6,1.8; 5,0,6,1"}, set: func(r *planeRow, cell string) (err error) {
			r.ObstaclesM = nil
			if cell != "" {
				r.ObstaclesM, err = parseBoxes(cell)
			}
			return err
		}},
	},
}

type serviceRow struct {
	siteID string
	ingest.Service
}

var services = table[serviceRow]{
	name: "services", text: "one row per electrical service of a site",
	site: func(r *serviceRow) string { return r.siteID },
	key:  func(r *serviceRow) string { return r.siteID },
	columns: []column[serviceRow]{
		id("site_id", "a site of sites.csv", func(r *serviceRow) *string { return &r.siteID }).required(),
		count("phases", "", 1, 3, "1, 2 (split) or 3", func(r *serviceRow) *ingest.Opt[int] { return &r.Phases }),
		number("volts", "V", 50, 1000, "between the lines that the array feeds", func(r *serviceRow) *float64 { return &r.Volts }),
		number("busbar_amps", "A", 1, 10_000, "rating of the panelboard's busbar", func(r *serviceRow) *float64 { return &r.BusbarAmps }),
		number("main_breaker_amps", "A", 1, 10_000, "the main breaker", func(r *serviceRow) *float64 { return &r.MainBreakerAmps }),
		number("pv_breaker_amps", "A", 0, 10_000, "sum of the PV breakers now", func(r *serviceRow) *float64 { return &r.PVBreakerAmps }),
		number("other_supply_amps", "A", 0, 10_000, "other sources on the busbar, such as storage", func(r *serviceRow) *float64 { return &r.OtherSupplyAmps }),
		count("free_spaces", "spaces", 0, 1000, "free breaker spaces", func(r *serviceRow) *ingest.Opt[int] { return &r.FreeSpaces }),
		number("branch_spare_amps", "A", 0, 10_000, "room on the existing PV branches", func(r *serviceRow) *float64 { return &r.BranchSpareAmps }),
		choice("feed", "where the busbar is fed", []string{"end", "center"}, func(r *serviceRow) *string { return &r.Feed }),
		id("profile", "a service profile of catalogue.yaml; blank: defaults.profile", func(r *serviceRow) *string { return &r.Profile }),
		number("upstream_busbar_amps", "A", 1, 10_000, "busbar of a panelboard that the new source must pass too", func(r *serviceRow) *float64 { return &r.UpstreamBusbarAmps }),
		number("upstream_main_breaker_amps", "A", 1, 10_000, "its main breaker", func(r *serviceRow) *float64 { return &r.UpstreamMainBreakerAmps }),
		number("load_breakers_amps", "A", 0, 100_000, "sum of the load breakers, for the sum rule", func(r *serviceRow) *float64 { return &r.LoadBreakersAmps }),
	},
}

type gatewayRow struct {
	siteID string
	ingest.Gateway
}

var gateways = table[gatewayRow]{
	name: "gateways", text: "one row per monitoring gateway of a site",
	site: func(r *gatewayRow) string { return r.siteID },
	key:  func(r *gatewayRow) string { return r.siteID },
	columns: []column[gatewayRow]{
		id("site_id", "a site of sites.csv", func(r *gatewayRow) *string { return &r.siteID }).required(),
		text("gateway_model", "a gateway of catalogue.yaml", func(r *gatewayRow) *string { return &r.Model }).required(),
		software("software_version", "numbers with points, compared part by part", func(r *gatewayRow) *string { return &r.SoftwareVersion }),
		count("reporting_inverters", "inverters", 0, 1_000_000, "inverters that report to it", func(r *gatewayRow) *ingest.Opt[int] { return &r.ReportingInverters }),
		date("last_seen_on", "when it last reported", func(r *gatewayRow) *time.Time { return &r.LastSeenOn }),
		flag("backup_controller", "whether a backup controller is installed", func(r *gatewayRow) *ingest.Opt[bool] { return &r.BackupController }).
			countsAsYes(func(r *gatewayRow) *ingest.Opt[bool] { return &r.BackupController }),
		number("storage_kwh", "kWh", 0, inf, "storage installed, 0 for none", func(r *gatewayRow) *float64 { return &r.StorageKWh }),
	},
}

type billRow struct {
	siteID string
	ingest.Bill
}

// maxBillDays keeps a mistyped year from becoming a bill; a bill of a year and
// its reading's slack is the longest that is known: our choice.
const maxBillDays = 400

var bills = table[billRow]{
	name: "bills", text: "utility bills, for sites without a consumption meter",
	site: func(r *billRow) string { return r.siteID },
	key:  func(r *billRow) string { return r.siteID + " " + r.From.Format(time.DateOnly) },
	columns: []column[billRow]{
		id("site_id", "a site of sites.csv", func(r *billRow) *string { return &r.siteID }).required(),
		date("from", "first day", func(r *billRow) *time.Time { return &r.From }).required(),
		date("to", "the day after the last", func(r *billRow) *time.Time { return &r.To }).required(),
		number("import_kwh", "kWh", 0, inf, "from the grid", func(r *billRow) *float64 { return &r.ImportKWh }).required(),
		number("export_kwh", "kWh", 0, inf, "to the grid", func(r *billRow) *float64 { return &r.ExportKWh }),
	},
	check: func(r *billRow) (string, error) {
		switch days := r.To.Sub(r.From).Hours() / 24; {
		case days <= 0:
			return "to", errors.New("must be later than from: it is the day after the last")
		case days > maxBillDays:
			return "to", fmt.Errorf("must be at most %d days after from, is %g", maxBillDays, days)
		}
		return "", nil
	},
}

var outcomes = table[ingest.Outcome]{
	name: "outcomes", text: "what came of earlier calls",
	site: func(r *ingest.Outcome) string { return r.SiteID },
	columns: []column[ingest.Outcome]{
		id("site_id", "a site of sites.csv", func(r *ingest.Outcome) *string { return &r.SiteID }).required(),
		date("called_on", "the day of the call", func(r *ingest.Outcome) *time.Time { return &r.CalledOn }).required(),
		choice("result", "what came of it", []string{"sold", "declined", "no_answer", "not_suitable"}, func(r *ingest.Outcome) *string { return &r.Result }).required(),
		text("reason", "in the caller's words; a common word such as roof, shade, price or moving is counted, anything else stays in this file", func(r *ingest.Outcome) *string { return &r.Reason }).hidden(),
		count("modules_sold", "modules", 1, 1_000_000, "how many were sold", func(r *ingest.Outcome) *ingest.Opt[int] { return &r.ModulesSold }),
		number("price", "currency", 0, inf, "what was agreed", func(r *ingest.Outcome) *float64 { return &r.Price }),
		date("installed_on", "when the modules were put in", func(r *ingest.Outcome) *time.Time { return &r.InstalledOn }),
		text("list_month", "the month of the call list that proposed the call, as 2026-10; written by rowen outcomes, as the columns after it", func(r *ingest.Outcome) *string { return &r.Listed.Month }),
		count("list_rank", "", 1, 100_000_000, "the rank on it", func(r *ingest.Outcome) *ingest.Opt[int] { return &r.Listed.Rank }),
		count("list_tenth", "", 1, 10, "the tenth of it: 1 is the first", func(r *ingest.Outcome) *ingest.Opt[int] { return &r.Listed.Tenth }),
		text("list_reason", "code of the main reason on it", func(r *ingest.Outcome) *string { return &r.Listed.Reason }),
		count("offered_modules", "modules", 1, 1_000_000, "the size that it proposed", func(r *ingest.Outcome) *ingest.Opt[int] { return &r.Listed.Modules }),
		number("offered_kwh_yr", "kWh/yr", 0, inf, "what that size was predicted to make", func(r *ingest.Outcome) *float64 { return &r.Listed.AddedKWhYr }),
		number("offered_saving", "currency/yr", -inf, inf, "what that size was predicted to save in the first year", func(r *ingest.Outcome) *float64 { return &r.Listed.Saving }),
		number("offered_saving_low", "currency/yr", -inf, inf, "lower end of its 90 % interval", func(r *ingest.Outcome) *float64 { return &r.Listed.SavingLow }),
		number("offered_saving_high", "currency/yr", -inf, inf, "upper end of its 90 % interval", func(r *ingest.Outcome) *float64 { return &r.Listed.SavingHigh }),
		text("register_digest", "what the site's register rows were then", func(r *ingest.Outcome) *string { return &r.Listed.Register }),
	},
}
