package demo

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"time"

	"go.yaml.in/yaml/v3"

	"rowen/ingest"
)

// writeRegister writes everything but the readings.
func (m *Made) writeRegister(dir string) error {
	f := m.fleet
	if err := os.WriteFile(filepath.Join(dir, "rowen.yaml"), []byte(m.settings()), 0o644); err != nil {
		return err
	}
	own := f.Catalogue
	own.Profiles = nil // they come with the program
	if err := writeYAML(filepath.Join(dir, "catalogue.yaml"), own); err != nil {
		return err
	}
	if err := writeYAML(filepath.Join(dir, "tariffs.yaml"), map[string]any{"tariffs": f.Tariffs}); err != nil {
		return err
	}
	for _, t := range tablesOf(f) {
		if len(t.rows) == 0 {
			continue
		}
		if err := writeCSV(filepath.Join(dir, t.file), t.header, t.rows); err != nil {
			return err
		}
	}
	if len(f.Stations) == 0 {
		return nil
	}
	return writeWeather(filepath.Join(dir, "weather"), f.Stations)
}

// settings is the fleet's rowen.yaml.
func (m *Made) settings() string {
	y, mo, _ := m.opts.End.Date()
	month := time.Date(y, mo-1, 1, 0, 0, 0, 0, time.UTC).Format("2006-01")
	return fmt.Sprintf(`# %s: an invented installer, made by the demo from seed %d.
name: `+installer+`
currency: USD
month: %s
defaults: {timezone: America/Denver, tariff_id: %s, profile: split-phase-200, module: TN-430, inverter: KV2-410}
money:
  discount_rate_pct: 5
  price_escalation_pct_yr: 2.5
  horizon_years: 25
  module_degradation_pct_yr: 0.5
  cost_per_module: 780
  cost_per_visit: 1400
  cost_of: {software_update: 0, panelboard_upgrade: 2800, new_permission: 450, gateway_swap: 900}
roof: {ridge_setback_m: %g, eave_setback_m: %g, side_setback_m: %g, module_gap_m: %g}
rank: {calls_per_branch: 40, cool_down_months: 6, max_payback_years: 15, min_modules: 2}
limits: {max_rejected_pct: 2}
`, installer, m.opts.Seed, month, tariffFlat, ridgeSetbackM, eaveSetbackM, sideSetbackM, gapM)
}

// table is one file of the register.
type table struct {
	file   string
	header []string
	rows   [][]string
}

func tablesOf(f *ingest.Fleet) []table {
	return []table{
		{"sites.csv", []string{"site_id", "latitude", "longitude", "timezone", "elevation_m", "customer", "contact", "postcode", "branch", "grid_type", "commissioned_on", "tariff_id", "permission_limit_kw", "roof_plan_m2", "do_not_contact", "last_contact_on"}, siteRows(f)},
		{"arrays.csv", []string{"site_id", "array_id", "modules", "module_watts", "module_model", "tilt_deg", "azimuth_deg", "plane_id", "inverter_model", "inverters", "commissioned_on"}, arrayRows(f)},
		{"planes.csv", []string{"site_id", "plane_id", "width_m", "slope_m", "tilt_deg", "azimuth_deg", "shading_pct", "blocked_m2", "roof_kind", "roof_year"}, planeRows(f)},
		{"services.csv", []string{"site_id", "phases", "volts", "busbar_amps", "main_breaker_amps", "pv_breaker_amps", "other_supply_amps", "free_spaces", "branch_spare_amps", "feed", "profile"}, serviceRows(f)},
		{"gateways.csv", []string{"site_id", "gateway_model", "software_version", "reporting_inverters", "last_seen_on", "backup_controller", "storage_kwh"}, gatewayRows(f)},
		{"bills.csv", []string{"site_id", "from", "to", "import_kwh", "export_kwh"}, billRows(f)},
		{"outcomes.csv", []string{"site_id", "called_on", "result", "reason", "modules_sold", "price", "installed_on", "list_month", "list_rank", "list_tenth",
			"list_reason", "offered_modules", "offered_kwh_yr", "offered_saving", "offered_saving_low", "offered_saving_high", "register_digest"}, outcomeRows(f)},
	}
}

func writeWeather(weather string, all []ingest.Station) error {
	if err := os.MkdirAll(weather, 0o755); err != nil {
		return err
	}
	var stations, hours [][]string
	for _, st := range all {
		stations = append(stations, []string{st.ID, num(st.LatitudeDeg), num(st.LongitudeDeg)})
		for i, c := range st.TempC {
			hours = append(hours, []string{st.ID, (st.Start + ingest.Hour(i)).Time().Format(time.RFC3339), num(c)})
		}
	}
	if err := writeCSV(filepath.Join(weather, "stations.csv"), []string{"station_id", "latitude", "longitude"}, stations); err != nil {
		return err
	}
	return writeCSV(filepath.Join(weather, "temperatures.csv"), []string{"station_id", "start", "temp_c"}, hours)
}

func siteRows(f *ingest.Fleet) (rows [][]string) {
	for _, s := range f.Sites {
		rows = append(rows, []string{s.ID, num(s.LatitudeDeg), num(s.LongitudeDeg), s.Timezone, num(s.ElevationM), s.Customer, s.Contact, s.Postcode,
			s.Branch, s.GridType, date(s.CommissionedOn), s.TariffID, num(s.PermissionLimitKW), num(s.RoofPlanM2), strconv.FormatBool(s.DoNotContact), date(s.LastContactOn)})
	}
	return rows
}

func arrayRows(f *ingest.Fleet) (rows [][]string) {
	for _, s := range f.Sites {
		for _, a := range s.Arrays {
			rows = append(rows, []string{s.ID, a.ID, strconv.Itoa(a.Modules), num(a.ModuleWatts), a.ModuleModel, num(a.TiltDeg), num(a.AzimuthDeg),
				a.PlaneID, a.InverterModel, count(a.Inverters), date(a.CommissionedOn)})
		}
	}
	return rows
}

func planeRows(f *ingest.Fleet) (rows [][]string) {
	for _, s := range f.Sites {
		for _, p := range s.Planes {
			rows = append(rows, []string{s.ID, p.ID, num(p.WidthM), num(p.SlopeM), num(p.TiltDeg), num(p.AzimuthDeg), num(p.ShadingPct), num(p.BlockedM2), p.RoofKind, count(p.RoofYear)})
		}
	}
	return rows
}

func serviceRows(f *ingest.Fleet) (rows [][]string) {
	for _, s := range f.Sites {
		if v := s.Service; v != nil {
			rows = append(rows, []string{s.ID, count(v.Phases), num(v.Volts), num(v.BusbarAmps), num(v.MainBreakerAmps), num(v.PVBreakerAmps),
				num(v.OtherSupplyAmps), count(v.FreeSpaces), num(v.BranchSpareAmps), v.Feed, v.Profile})
		}
	}
	return rows
}

func gatewayRows(f *ingest.Fleet) (rows [][]string) {
	for _, s := range f.Sites {
		if g := s.Gateway; g != nil {
			backup := ""
			if g.BackupController.Known {
				backup = strconv.FormatBool(g.BackupController.V)
			}
			rows = append(rows, []string{s.ID, g.Model, g.SoftwareVersion, count(g.ReportingInverters), date(g.LastSeenOn), backup, num(g.StorageKWh)})
		}
	}
	return rows
}

func billRows(f *ingest.Fleet) (rows [][]string) {
	for _, s := range f.Sites {
		for _, b := range s.Bills {
			rows = append(rows, []string{s.ID, date(b.From), date(b.To), num(b.ImportKWh), num(b.ExportKWh)})
		}
	}
	return rows
}

func outcomeRows(f *ingest.Fleet) (rows [][]string) {
	for _, o := range f.Outcomes {
		l := &o.Listed
		rows = append(rows, []string{o.SiteID, date(o.CalledOn), o.Result, o.Reason, count(o.ModulesSold), num(o.Price), date(o.InstalledOn), l.Month, count(l.Rank), count(l.Tenth),
			l.Reason, count(l.Modules), num(l.AddedKWhYr), num(l.Saving), num(l.SavingLow), num(l.SavingHigh), l.Register})
	}
	return rows
}

// num, count and date write a value, blank where it is not known.
func num(x float64) string {
	if math.IsNaN(x) {
		return ""
	}
	return strconv.FormatFloat(x, 'f', -1, 64)
}

func count(o ingest.Opt[int]) string {
	if !o.Known {
		return ""
	}
	return strconv.Itoa(o.V)
}

func date(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.Format("2006-01-02")
}

func writeCSV(path string, header []string, rows [][]string) error {
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	w.Write(header) // a buffer never fails, and Flush's error is looked at below
	w.WriteAll(rows)
	if err := w.Error(); err != nil {
		return fmt.Errorf("%s: %w", path, err)
	}
	return os.WriteFile(path, b.Bytes(), 0o644)
}

// writeYAML writes v without the keys that hold nothing.
func writeYAML(path string, v any) error {
	var n yaml.Node
	if err := n.Encode(v); err != nil {
		return fmt.Errorf("%s: %w", path, err)
	}
	prune(&n)
	b, err := yaml.Marshal(&n)
	if err != nil {
		return fmt.Errorf("%s: %w", path, err)
	}
	return os.WriteFile(path, b, 0o644)
}

// shownAtZero are the keys whose 0 says something; elsewhere 0 is the default.
var shownAtZero = map[string]bool{"price": true, "add": true, "surplus_price": true}

func prune(n *yaml.Node) {
	for _, c := range n.Content {
		prune(c)
	}
	switch n.Kind {
	case yaml.MappingNode:
		kept := n.Content[:0]
		for i := 0; i+1 < len(n.Content); i += 2 {
			k, v := n.Content[i], n.Content[i+1]
			if v.Tag == "!!null" || v.Value == "0" && !shownAtZero[k.Value] || v.Kind == yaml.ScalarNode && v.Tag == "!!str" && v.Value == "" || v.Kind == yaml.SequenceNode && len(v.Content) == 0 {
				continue
			}
			kept = append(kept, k, v)
		}
		n.Content = kept
	case yaml.SequenceNode:
		flat := len(n.Content) > 0
		for _, c := range n.Content {
			flat = flat && c.Kind == yaml.ScalarNode
		}
		if flat {
			n.Style = yaml.FlowStyle
		}
	}
}
