package main

import (
	"bytes"
	"compress/gzip"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"time"

	"github.com/klauspost/compress/zstd"
	"github.com/parquet-go/parquet-go"
	"github.com/xuri/excelize/v2"

	"rowen/ingest"
	"rowen/ingest/demo"
)

// secret is the contact of every customer: it must reach no screen.
const secret = "pst-quietlark-7781"

// plant makes a small fleet whose sites come in every format that is read, one
// after another.
func plant(dir string) error {
	o := demo.Default()
	o.Sites, o.Months, o.Events, o.Faults = 8, 14, 0, 0
	o.StepMinutes = 30
	m := demo.Make(o)
	if err := m.Write(dir, demo.WriteOptions{}); err != nil {
		return err
	}
	readings := filepath.Join(dir, "readings")
	if err := os.RemoveAll(readings); err != nil {
		return err
	}
	if err := os.Mkdir(readings, 0o777); err != nil {
		return err
	}
	for i, s := range m.Fleet().Sites {
		var series ingest.Series
		if err := m.Source().Load(s.ID, &series); err != nil {
			continue // a site without readings
		}
		if err := writers[i%len(writers)](filepath.Join(readings, s.ID), s.ID, rowsOf(&series)); err != nil {
			return err
		}
	}
	return edit(filepath.Join(dir, "sites.csv"), func(s string) string {
		return regexp.MustCompile(`[a-z.]+\.\d+@example\.com`).ReplaceAllString(s, secret)
	}, filepath.Join(dir, "rowen.yaml"), mappings)
}

// mappings adds how each format is read, without a fixed month.
func mappings(s string) string {
	return regexp.MustCompile(`(?m)^month:.*\n`).ReplaceAllString(s, "") + `
readings:
  - glob: "readings/*.csv"
  - glob: "readings/*.parquet"
    format: parquet
  - glob: "readings/*.json"
    format: json
  - glob: "readings/*.xlsx"
    format: xlsx
  - glob: "readings/*.nem"
    format: nem12
    site_id: {file: "(?P<site_id>[^/]+)[.]nem$"}
  - glob: "readings/*.xml"
    format: green_button
    site_id: {file: "(?P<site_id>[^/]+)[.]xml$"}
`
}

func edit(path string, change func(string) string, more ...any) error {
	b, err := os.ReadFile(path)
	if err != nil {
		return err
	}
	if err := os.WriteFile(path, []byte(change(string(b))), 0o666); err != nil || len(more) == 0 {
		return err
	}
	return edit(more[0].(string), more[1].(func(string) string))
}

// row is one hour of a site.
type row struct {
	SiteID        string  `parquet:"site_id" json:"site_id"`
	Start         string  `parquet:"start" json:"start"`
	ProductionWh  float64 `parquet:"production_wh" json:"production_wh"`
	ConsumptionWh float64 `parquet:"consumption_wh" json:"consumption_wh"`
	at            time.Time
}

func rowsOf(s *ingest.Series) (rows []row) {
	p, c := s.Wh[ingest.Production], s.Wh[ingest.Consumption]
	for i := range s.Len() {
		if p == nil || c == nil || p[i] != p[i] || c[i] != c[i] {
			continue
		}
		at := (s.Start + ingest.Hour(i)).Time()
		rows = append(rows, row{s.SiteID, at.Format(time.RFC3339), float64(int(p[i])), float64(int(c[i])), at})
	}
	return rows
}

var writers = []func(path, id string, rows []row) error{
	func(path, _ string, rows []row) error { return os.WriteFile(path+".csv", csvOf(rows), 0o666) },
	func(path, _ string, rows []row) error {
		var b bytes.Buffer
		w := gzip.NewWriter(&b)
		w.Write(csvOf(rows))
		w.Close()
		return os.WriteFile(path+".csv.gz", b.Bytes(), 0o666)
	},
	func(path, _ string, rows []row) error {
		w, err := zstd.NewWriter(nil)
		if err != nil {
			return err
		}
		return os.WriteFile(path+".csv.zst", w.EncodeAll(csvOf(rows), nil), 0o666)
	},
	func(path, _ string, rows []row) error { return parquet.WriteFile(path+".parquet", rows) },
	func(path, _ string, rows []row) error {
		b, err := json.Marshal(rows)
		if err != nil {
			return err
		}
		return os.WriteFile(path+".json", b, 0o666)
	},
	writeSheet, writeNEM, writeESPI,
}

func csvOf(rows []row) []byte {
	var b bytes.Buffer
	b.WriteString("site_id,start,production_wh,consumption_wh\n")
	for _, r := range rows {
		fmt.Fprintf(&b, "%s,%s,%g,%g\n", r.SiteID, r.Start, r.ProductionWh, r.ConsumptionWh)
	}
	return b.Bytes()
}

func writeSheet(path, _ string, rows []row) error {
	x := excelize.NewFile()
	defer x.Close()
	w, err := x.NewStreamWriter("Sheet1")
	if err != nil {
		return err
	}
	w.SetRow("A1", []any{"site_id", "start", "production_wh", "consumption_wh"})
	for i, r := range rows {
		cell, _ := excelize.CoordinatesToCellName(1, i+2)
		w.SetRow(cell, []any{r.SiteID, r.Start, r.ProductionWh, r.ConsumptionWh})
	}
	if err := w.Flush(); err != nil {
		return err
	}
	return x.SaveAs(path + ".xlsx")
}

// writeNEM writes half hours of use as bought and of output as sold.
func writeNEM(path, _ string, rows []row) error {
	var b strings.Builder
	b.WriteString("100,NEM12,202610010000,MDP,RET\n")
	for _, stream := range []struct {
		suffix string
		of     func(row) float64
	}{{"E1", func(r row) float64 { return r.ConsumptionWh }}, {"B1", func(r row) float64 { return r.ProductionWh }}} {
		fmt.Fprintf(&b, "200,4001234567,E1B1,1,%s,N1,METER1,kWh,30,\n", stream.suffix)
		days := map[string][24]float64{}
		var order []string
		for _, r := range rows {
			local := r.at.Add(10 * time.Hour) // the format's clock, all year
			day := local.Format("20060102")
			hours, ok := days[day]
			if !ok {
				order = append(order, day)
			}
			hours[local.Hour()] = stream.of(r)
			days[day] = hours
		}
		for _, day := range order {
			fmt.Fprintf(&b, "300,%s", day)
			for _, wh := range days[day] {
				fmt.Fprintf(&b, ",%.4f,%.4f", wh/2000, wh/2000)
			}
			b.WriteString(",A,,,20261001000000,\n")
		}
	}
	b.WriteString("900\n")
	return os.WriteFile(path+".nem", []byte(b.String()), 0o666)
}

// writeESPI writes what was bought as a feed of the energy usage standard.
func writeESPI(path, _ string, rows []row) error {
	var b strings.Builder
	b.WriteString(`<?xml version="1.0" encoding="UTF-8"?><feed xmlns="http://www.w3.org/2005/Atom">
<entry><link rel="self" href="/UsagePoint/1"/><content><UsagePoint xmlns="http://naesb.org/espi"><ServiceCategory><kind>0</kind></ServiceCategory></UsagePoint></content></entry>
<entry><link rel="self" href="/UsagePoint/1/MeterReading/1"/><link rel="related" href="/ReadingType/1"/><content><MeterReading xmlns="http://naesb.org/espi"/></content></entry>
<entry><link rel="self" href="/ReadingType/1"/><content><ReadingType xmlns="http://naesb.org/espi"><accumulationBehaviour>4</accumulationBehaviour><commodity>1</commodity><flowDirection>1</flowDirection><intervalLength>3600</intervalLength><powerOfTenMultiplier>0</powerOfTenMultiplier><uom>72</uom></ReadingType></content></entry>
<entry><link rel="self" href="/UsagePoint/1/MeterReading/1/IntervalBlock/1"/><link rel="up" href="/UsagePoint/1/MeterReading/1/IntervalBlock"/><content><IntervalBlock xmlns="http://naesb.org/espi">
`)
	for _, r := range rows {
		fmt.Fprintf(&b, "<IntervalReading><timePeriod><duration>3600</duration><start>%d</start></timePeriod><value>%.0f</value></IntervalReading>\n", r.at.Unix(), r.ConsumptionWh)
	}
	b.WriteString("</IntervalBlock></content></entry></feed>\n")
	return os.WriteFile(path+".xml", []byte(b.String()), 0o666)
}
