// Realhomes makes two fleet folders of six real houses from open data sets that
// lie beside the project, so that the monthly job can be run on them:
//
//	go run ./scripts/realhomes DATA OUT
//	go run ./cmd/rowen run OUT/fontana
//	go run ./cmd/rowen run OUT/konstanz
//
// and holds what the job says of further homes and arrays against what their data
// sets say of them, a line each:
//
//	go run ./scripts/realhomes -truths DATA
//
// and judges them at ten successive month ends, a line for each fault that a month
// later is gone, has another name or has moved:
//
//	go run ./scripts/realhomes -flicker DATA
//
// The konstanz file is copied as it is: a mapping in rowen.yaml reads its
// counters. Its column of UTC stamps follows summer time: read as UTC, the
// program says that production jumps by an hour against the sun at the clock
// changes and falls into the dark; read on a clock that is UTC in winter and an
// hour ahead in summer, both are gone. So the mapping names such a zone. The
// fontana files have no time stamps at all; their hours are the
// local civil clock. This program writes the stamps beside the values, changes
// no value, and a mapping does the rest. Whether an hour's number names its
// beginning or its end the files do not say: taken as the end, the day's middle
// lies 0.8 hours too early against the sun in all five homes, and the year
// lacks its last hour; taken as the beginning, it is a whole year. So the
// mapping says start.
//
// What the data sets do not say is left blank (orientation), or is an
// assumption that the register below names: module counts that give the
// nominal power, places to a hundredth of a degree, prices.
package main

import (
	"bufio"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"time"
)

func main() {
	if len(os.Args) != 3 {
		fmt.Fprintln(os.Stderr, "usage: realhomes DATA OUT, or realhomes -truths DATA, or realhomes -flicker DATA (DATA holds the data sets)")
		os.Exit(2)
	}
	err := error(nil)
	switch os.Args[1] {
	case "-truths":
		err = tellTruths(os.Args[2])
	case "-flicker":
		err = flicker(os.Stdout, os.Args[2])
	default:
		err = makeFleets(os.Args[1], os.Args[2])
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, "realhomes:", err)
		os.Exit(1)
	}
}

func tellTruths(data string) error {
	dir, err := os.MkdirTemp("", "rowen-truths-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	binary := filepath.Join(dir, "rowen")
	if out, err := exec.Command("go", "build", "-o", binary, "./cmd/rowen").CombinedOutput(); err != nil {
		return fmt.Errorf("building the program: %w\n%s", err, out)
	}
	lines, err := judgeAll(data, dir, binary)
	if err == nil {
		table(os.Stdout, lines)
	}
	return err
}

func makeFleets(data, out string) error {
	return errors.Join(
		makeFontana(filepath.Join(data, "fontana-5homes"), filepath.Join(out, "fontana")),
		makeKonstanz(filepath.Join(data, "konstanz-home4"), filepath.Join(out, "konstanz")),
	)
}

// fontanaHomes are the five houses with their nominal power, as the data set's
// own table gives it.
var fontanaHomes = []struct {
	id string
	kw float64
}{{"home_01", 4}, {"home_02", 4}, {"home_05", 4}, {"home_10", 5}, {"home_16", 5}}

func makeFontana(data, out string) error {
	sites := "site_id,latitude,longitude,timezone,grid_type\n"
	arrays := "site_id,array_id,modules,module_watts,tilt_deg,azimuth_deg\n"
	if err := os.MkdirAll(filepath.Join(out, "readings"), 0o755); err != nil {
		return err
	}
	for _, h := range fontanaHomes {
		sites += h.id + ",34.10,-117.44,America/Los_Angeles,grid_tied\n"
		arrays += fmt.Sprintf("%s,main,%.0f,250,,\n", h.id, h.kw*4)
		if err := stampFontana(filepath.Join(data, h.id+".csv"), filepath.Join(out, "readings", h.id+".csv"), h.kw); err != nil {
			return err
		}
	}
	return writeAll(out, map[string]string{
		"sites.csv": sites, "arrays.csv": arrays, "catalogue.yaml": catalogue,
		"tariffs.yaml": fontanaTariffs, "rowen.yaml": fontanaSettings,
	})
}

// stampFontana writes one house with the local clock's label beside each row.
// Row 0 is hour 24 of 31 July 2016, and each day has 24 rows whatever the clock
// does; production is in Wh per nominal kW.
func stampFontana(from, to string, kw float64) error {
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer in.Close()
	r := csv.NewReader(bufio.NewReader(in))
	header, err := r.Read()
	if err != nil {
		return err
	}
	at := map[string]int{}
	for i, name := range header {
		at[name] = i
	}
	f, err := os.Create(to)
	if err != nil {
		return err
	}
	w := bufio.NewWriter(f)
	fmt.Fprintln(w, "local_hour,production_kwh,consumption_kwh")
	label := time.Date(2016, 8, 1, 0, 0, 0, 0, time.UTC) // a bare calendar: no clock change in it
	for {
		row, err := r.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return err
		}
		perKW, err := strconv.ParseFloat(row[at["solar_generation"]], 64)
		if err != nil {
			return fmt.Errorf("%s: %w", from, err)
		}
		fmt.Fprintf(w, "%s,%.6f,%s\n", label.Format("2006-01-02 15:04"), perKW/1000*kw, row[at["non_shiftable_load"]])
		label = label.Add(time.Hour)
	}
	return errors.Join(w.Flush(), f.Close())
}

func makeKonstanz(data, out string) error {
	const name = "household_data_60min_residential4.csv"
	text, err := os.ReadFile(filepath.Join(data, name))
	if err != nil {
		return err
	}
	if err := os.MkdirAll(filepath.Join(out, "readings"), 0o755); err != nil {
		return err
	}
	return writeAll(out, map[string]string{
		"readings/" + name: string(text),
		"sites.csv":        "site_id,latitude,longitude,timezone,grid_type\nresidential4,47.66,9.17,Europe/Berlin,grid_tied\n",
		"arrays.csv":       "site_id,array_id,modules,module_watts,tilt_deg,azimuth_deg\nresidential4,main,40,250,,\n",
		"catalogue.yaml":   catalogue, "tariffs.yaml": konstanzTariffs, "rowen.yaml": konstanzSettings,
	})
}

func writeAll(dir string, files map[string]string) error {
	for name, text := range files {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o644); err != nil {
			return err
		}
	}
	return nil
}

// Equipment and prices are invented: the data sets name none.
const catalogue = `modules:   [{model: TN-430, watts: 430, width_m: 1.134, height_m: 1.762, temp_coefficient_pct_per_c: -0.34}]
inverters: [{model: KV2-380, family: KV, generation: 2, kind: micro, ac_watts: 380, max_module_watts: 540, efficiency_pct: 97.0, per_branch: 10, branch_breaker_amps: 20}]
`

const fontanaTariffs = `tariffs:
  - id: evening-peak
    fixed_per_day: 0.40
    import: [{name: peak, hours: "16-21", price: 0.42}, {name: base, price: 0.25}]
    export: {credit: rate, price: 0.08}
    settlement: interval
`

const konstanzTariffs = `tariffs:
  - id: flat-feed-in
    fixed_per_day: 0.30
    import: [{name: all, price: 0.28}]
    export: {credit: rate, price: 0.08}
    settlement: interval
`

const fontanaSettings = `currency: USD
defaults: {tariff_id: evening-peak, module: TN-430, inverter: KV2-380}
readings:
  - glob: "readings/*.csv"
    format: csv
    layout: long
    site_id: {file: "^(?P<site_id>home_[0-9]+)"}
    time: {column: local_hour, format: "2006-01-02 15:04", zone: "America/Los_Angeles", stamp: start}
    channels:
      production:  {column: production_kwh, unit: kWh, quantity: energy}
      consumption: {column: consumption_kwh, unit: kWh, quantity: energy}
`

const konstanzSettings = `currency: EUR
defaults: {tariff_id: flat-feed-in, module: TN-430, inverter: KV2-380}
money: {cost_per_module: 420, cost_per_visit: 1200}
readings:
  - glob: "readings/*.csv"
    format: csv
    layout: long
    site_id: {file: "(?P<site_id>residential4)"}
    time: {column: utc_timestamp, format: "2006-01-02T15:04:05Z", zone: "Europe/London", stamp: start}
    channels:
      production: {column: DE_KN_residential4_pv, unit: kWh, quantity: counter}
      import:     {column: DE_KN_residential4_grid_import, unit: kWh, quantity: counter}
      export:     {column: DE_KN_residential4_grid_export, unit: kWh, quantity: counter}
`
