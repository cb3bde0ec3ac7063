package main

import (
	"fmt"
	"os"
	"path/filepath"
)

// set is one home or array of a data set, read as the set has it: by a mapping.
type set struct {
	name, file string // file: under the folder of the data sets
	lat, lon   float64
	zone       string // of the site
	modules    int    // of 250 W: an assumption where the set does not say
	time       string // the mapping's time, as YAML
	channels   string // and its channels
}

// sets are the homes and arrays beside the six. Places that a set does not give
// are assumed, to a degree; powers are the peak's, rounded up.
var sets = []set{
	{name: "italy", file: "italy-home-ev-heatpump-daily/home_daily.csv.gz", lat: 45, lon: 9, zone: "Europe/Rome", modules: 24,
		time: `{column: date, format: "2006-01-02", step: 1d}`,
		channels: `
      production:  {column: pv_wh}
      consumption: {column: load_wh}
      import:      {column: import_wh}
      export:      {column: export_wh}`},
	{name: "home_a", file: "real-homes-events/home_a_counters.csv.gz", lat: 52, lon: 5, zone: "Europe/Amsterdam", modules: 15,
		time: `{column: unix_utc, format: unix}`,
		channels: `
      production:  {column: pv_wh, quantity: counter}
      import:      {column: import_low_wh, also: import_high_wh, quantity: counter}
      export:      {column: export_low_wh, also: export_high_wh, quantity: counter}`},
	{name: "home_b", file: "real-homes-events/home_b_hourly.csv.gz", lat: 52, lon: 5, zone: "Europe/Amsterdam", modules: 18,
		time: `{column: local_time, format: "2006-01-02 15:04"}`,
		channels: `
      production:  {column: pv_wh}
      consumption: {column: load_wh}
      import:      {column: import_wh}
      export:      {column: export_wh}`},
	{name: "home_c", file: "real-homes-events/home_c_net_hourly.csv.gz", lat: 52, lon: 5, zone: "Europe/Amsterdam", modules: 12,
		time: `{column: local_time, format: "2006-01-02 15:04"}`,
		channels: `
      import:      {column: import_low_kwh, also: import_high_kwh, unit: kWh, quantity: counter}
      export:      {column: export_low_kwh, also: export_high_kwh, unit: kWh, quantity: counter}`},
	{name: "home_d", file: "real-homes-events/home_d_pv_hourly.csv.gz", lat: 52, lon: 5, zone: "Europe/Amsterdam", modules: 26,
		time: `{column: local_time, format: "2006-01-02 15:04:05"}`,
		channels: `
      production:  {column: pv_wh}`},
	{name: "home_f", file: "real-homes-events/home_f_pv_daily_counter.csv.gz", lat: 52, lon: 5, zone: "Europe/Amsterdam", modules: 28,
		time: `{column: date, format: "2006-01-02", step: 1d, stamp: end}`,
		channels: `
      production:  {column: pv_counter_wh, quantity: counter}`},
	{name: "colorado_1", file: "pv-known-tilt-colorado/ac_15min.csv.gz", lat: 39.7406, lon: -105.1775, zone: "America/Denver", modules: 16,
		time: `{column: label_time, format: "2006-01-02 15:04", zone: "Etc/GMT+7"}`,
		channels: `
      production:  {column: ac_w, unit: W, quantity: power}`},
	{name: "colorado_1_civil", file: "pv-known-tilt-colorado/ac_15min.csv.gz", lat: 39.7406, lon: -105.1775, zone: "America/Denver", modules: 16,
		time: `{column: label_time, format: "2006-01-02 15:04"}`,
		channels: `
      production:  {column: ac_w, unit: W, quantity: power}`},
	{name: "colorado_2", file: "pv-known-tilt-colorado/second_array_ac_15min_2016.csv.gz", lat: 39.742, lon: -105.1727, zone: "America/Denver", modules: 24,
		time: `{column: time_utc_minus7, format: "2006-01-02 15:04", zone: "Etc/GMT+7"}`,
		channels: `
      production:  {column: ac_w, unit: W, quantity: power}`},
	{name: "hidden_dst", file: "pv-labelled-faults/home_year_hidden_dst_hourly.csv.gz", lat: 40, lon: -75, zone: "America/New_York", modules: 48,
		time: `{column: local_time, format: "2006-01-02 15:04"}`,
		channels: `
      production:  {column: pv_kw, unit: kW, quantity: power}`},
	{name: "hidden_dst_fixed", file: "pv-labelled-faults/home_year_hidden_dst_hourly.csv.gz", lat: 40, lon: -75, zone: "America/New_York", modules: 48,
		time: `{column: local_time, format: "2006-01-02 15:04", zone: "Etc/GMT+5"}`,
		channels: `
      production:  {column: pv_kw, unit: kW, quantity: power}`},
	{name: "sentinels", file: "pv-labelled-faults/small_inverter_5min_sentinels.csv.gz", lat: 37, lon: -120, zone: "America/Los_Angeles", modules: 28,
		time: `{column: time_utc, format: "2006-01-02 15:04", zone: "Etc/UTC"}`,
		channels: `
      production:  {column: ac_kw, unit: kW, quantity: power}`},
}

func (s *set) plant(data, out string) error {
	readings := filepath.Join(out, "readings")
	if err := os.MkdirAll(readings, 0o755); err != nil {
		return err
	}
	text, err := os.ReadFile(filepath.Join(data, filepath.FromSlash(s.file)))
	if err != nil {
		return err
	}
	return writeAll(out, map[string]string{
		"readings/" + filepath.Base(s.file): string(text),
		"sites.csv":                         fmt.Sprintf("site_id,latitude,longitude,timezone,grid_type\n%s,%g,%g,%s,grid_tied\n", s.name, s.lat, s.lon, s.zone),
		"arrays.csv":                        fmt.Sprintf("site_id,array_id,modules,module_watts,tilt_deg,azimuth_deg\n%s,main,%d,250,,\n", s.name, s.modules),
		"catalogue.yaml":                    catalogue, "tariffs.yaml": konstanzTariffs,
		"rowen.yaml": fmt.Sprintf(`currency: EUR
defaults: {tariff_id: flat-feed-in, module: TN-430, inverter: KV2-380}
readings:
  - glob: "readings/*"
    format: csv
    site_id: {value: %s}
    time: %s
    channels:%s
`, s.name, s.time, s.channels),
	})
}
