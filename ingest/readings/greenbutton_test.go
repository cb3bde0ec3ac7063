package readings

import (
	"context"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"rowen/ingest"
	"rowen/scripts/outside"
)

// cell is one reading of one channel.
type cell struct {
	kWh     float64
	seconds int32
	flags   Flag
}

// cells reads a whole file and gives its readings by channel and start.
func cells(t testing.TB, f *File) (map[ingest.Channel]map[int64]cell, Tally) {
	t.Helper()
	out := map[ingest.Channel]map[int64]cell{}
	var all Tally
	for _, p := range f.Parts() {
		tally, err := p.Read(context.Background(), NewNames(), Limits{MaxRejects: 100}, func(b *Batch) error {
			for i, r := range rowsOf(b) {
				at := r.Time
				for c := range ingest.NumChannels {
					if !b.Has[c] || b.Value[c][i] == Missing {
						continue
					}
					if out[c] == nil {
						out[c] = map[int64]cell{}
					}
					if _, twice := out[c][at]; twice {
						t.Errorf("%s twice at %d", c, at)
					}
					out[c][at] = cell{float64(b.Value[c][i]) / 1e6, r.Length, r.Flags}
				}
			}
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
		all.Rows += tally.Rows
		all.SetAside += tally.SetAside
		all.Rejects = append(all.Rejects, tally.Rejects...)
		all.Notes = append(all.Notes, tally.Notes...)
		all.Clock = tally.Clock
	}
	return out, all
}

func prepare(t testing.TB, path string, m Mapping) *File {
	t.Helper()
	f, err := Prepare(filepath.Dir(path), filepath.Base(path), m, Limits{})
	if err != nil {
		t.Fatal(err)
	}
	return f
}

func TestGreenButtonCheckFeed(t *testing.T) {
	var want struct {
		Intervals []struct {
			Start   int64    `json:"utc_start_epoch"`
			Seconds int32    `json:"seconds"`
			In      *float64 `json:"imported_kWh"`
			Out     *float64 `json:"exported_kWh"`
			Quality int64    `json:"import_quality"`
		} `json:"intervals"`
		Tolerance float64 `json:"abs_tol"`
	}
	outside.JSON(t, "14_espi_expected.json", &want)
	f := prepare(t, outside.Check(t, "14_espi_feed.xml"), Mapping{SiteID: SiteID{Value: "A"}})
	got, tally := cells(t, f)
	if tally.Rows != 15 || tally.SetAside != 0 {
		t.Errorf("tally %+v", tally)
	}
	if tally.Clock == nil || tally.Clock.OffsetSeconds != -28800 || !tally.Clock.DST {
		t.Errorf("clock %+v", tally.Clock)
	}
	for _, w := range want.Intervals {
		for _, side := range []struct {
			c    ingest.Channel
			want *float64
		}{{ingest.Import, w.In}, {ingest.Export, w.Out}} {
			c, ok := got[side.c][w.Start]
			if ok != (side.want != nil) || ok && (math.Abs(c.kWh-*side.want) > want.Tolerance || c.seconds != w.Seconds) {
				t.Errorf("%s at %d: %+v %v, want %v", side.c, w.Start, c, ok, side.want)
			}
			if side.c == ingest.Import && ok && c.flags != qualityFlag(w.Quality) {
				t.Errorf("quality at %d: %v, want that of %d", w.Start, c.flags, w.Quality)
			}
		}
	}
}

// The standard's sample files: counts and first stamps as SOURCE.txt says, the
// sum as counted by hand with grep.
func TestGreenButtonSamples(t *testing.T) {
	for _, c := range []struct {
		file    string
		n       int
		seconds int32
		first   string
	}{
		{"Desert_Single_Family_Jan_1_2011_to_Jan_1_2012_RetailCustomer_7.xml", 8760, 3600, "2011-01-01T08:00:00Z"},
		{"TestGBDataHourlyNineDaysBinnedDaily.xml", 216, 3600, "2014-01-01T05:00:00Z"},
		{"TestGBDataOneYearDailyBinnedMonthly.xml", 444, 86400, "2013-01-01T05:00:00Z"},
	} {
		f := prepare(t, outside.Data(t, "greenbutton-espi", c.file), Mapping{SiteID: SiteID{Value: "A"}})
		got, tally := cells(t, f)
		if len(got) != 1 || len(got[ingest.Import]) != c.n || tally.Rows != int64(c.n)+tally.SetAside {
			t.Errorf("%s: %d readings of %d channels, tally %+v", c.file, len(got[ingest.Import]), len(got), tally)
			continue
		}
		first, _ := time.Parse(time.RFC3339, c.first)
		if v, ok := got[ingest.Import][first.Unix()]; !ok || v.seconds != c.seconds {
			t.Errorf("%s: first is %+v %v", c.file, v, ok)
		}
	}
}

func TestDSTRule(t *testing.T) {
	for _, row := range outside.Rows(t, "14_dst_rule.csv") {
		r, ok := parseDSTRule(row["hex"])
		want := dstRule{int(row.Num(t, "month")), int(row.Num(t, "operator")), int(row.Num(t, "day_of_month")), int(row.Num(t, "day_of_week_mon1_sun7")), int(row.Num(t, "hour")), int(row.Num(t, "seconds"))}
		if !ok || r != want {
			t.Errorf("%s: %+v %v, want %+v", row["hex"], r, ok, want)
		}
	}
	if _, ok := parseDSTRule("FFFFFFFF"); ok {
		t.Error("FFFFFFFF is a rule")
	}
}

// feed builds a small feed: a meter reading for every type.
func feed(types ...string) string {
	var b strings.Builder
	b.WriteString(`<?xml version="1.0"?><feed xmlns="http://www.w3.org/2005/Atom"><entry><link rel="self" href="/UsagePoint/1"/><link rel="related" href="/UsagePoint/1/MeterReading"/><content><UsagePoint xmlns="http://naesb.org/espi"><ServiceCategory><kind>0</kind></ServiceCategory></UsagePoint></content></entry>`)
	for i, typ := range types {
		readings := `<IntervalReading><timePeriod><duration>3600</duration><start>1710057600</start></timePeriod><value>1000</value></IntervalReading><IntervalReading><timePeriod><duration>3600</duration><start>1710061200</start></timePeriod><value>2500</value></IntervalReading>`
		if j := strings.Index(typ, "|"); j >= 0 {
			typ, readings = typ[:j], typ[j+1:]
		}
		fmt.Fprintf(&b, `<entry><link rel="self" href="/UsagePoint/1/MeterReading/%[1]d"/><link rel="up" href="/UsagePoint/1/MeterReading"/><link rel="related" href="/UsagePoint/1/MeterReading/%[1]d/IntervalBlock"/><link rel="related" href="/ReadingType/%[1]d"/><content><MeterReading xmlns="http://naesb.org/espi"/></content></entry>`, i)
		fmt.Fprintf(&b, `<entry><link rel="up" href="/UsagePoint/1/MeterReading/%d/IntervalBlock"/><content><e:IntervalBlock xmlns:e="http://naesb.org/espi"><e:interval><e:duration>7200</e:duration><e:start>1710057600</e:start></e:interval>%s</e:IntervalBlock></content></entry>`, i, strings.NewReplacer("</", "</e:", "<Int", "<e:Int", "<time", "<e:time", "<dur", "<e:dur", "<start", "<e:start", "<val", "<e:val", "<Read", "<e:Read", "<qual", "<e:qual").Replace(readings))
		fmt.Fprintf(&b, `<entry><link rel="self" href="/ReadingType/%d"/><content><ReadingType xmlns="http://naesb.org/espi">%s</ReadingType></content></entry>`, i, typ)
	}
	b.WriteString("</feed>")
	return b.String()
}

func field(name string, v int) string { return fmt.Sprintf("<%[1]s>%d</%[1]s>", name, v) }

func TestGreenButtonMeanings(t *testing.T) {
	energy := field("uom", 72) + field("kind", 12) + field("intervalLength", 3600) + field("accumulationBehaviour", 4)
	for _, c := range []struct {
		name    string
		types   []string
		in, out []float64 // kWh by hour
		aside   int64
		reason  string
	}{
		{"Wh delivered", []string{energy + field("flowDirection", 1)}, []float64{1, 2.5}, nil, 0, ""},
		{"kilo", []string{energy + field("flowDirection", 1) + field("powerOfTenMultiplier", 3)}, []float64{1000, 2500}, nil, 0, ""},
		{"milli", []string{energy + field("flowDirection", 19) + field("powerOfTenMultiplier", -3)}, nil, []float64{0.001, 0.0025}, 0, ""},
		{"mean power in W", []string{field("uom", 38) + field("kind", 37) + field("intervalLength", 3600) + field("flowDirection", 1)}, []float64{1, 2.5}, nil, 0, ""},
		{"maximum demand", []string{field("uom", 38) + field("kind", 8) + field("dataQualifier", 8)}, nil, nil, 2, "maximum demand"},
		{"gas", []string{energy + field("commodity", 7)}, nil, nil, 2, "commodity 7"},
		{"volts", []string{field("uom", 29)}, nil, nil, 2, "unit of measure 29"},
		{"both directions in one", []string{energy + field("flowDirection", 20)}, nil, nil, 2, "flow direction 20"},
		{"net", []string{energy + field("flowDirection", 4) + "|<IntervalReading><value>500</value></IntervalReading><IntervalReading><value>-200</value></IntervalReading>"}, []float64{0.5, 0}, []float64{0, 0.2}, 0, ""},
		{"no direction but negative is net", []string{energy + "|<IntervalReading><value>500</value></IntervalReading><IntervalReading><value>-200</value></IntervalReading>"}, []float64{0.5, 0}, []float64{0, 0.2}, 0, ""},
		{"no direction is import", []string{energy}, []float64{1, 2.5}, nil, 0, ""},
		{"a daily total beside the hours", []string{field("uom", 72) + field("intervalLength", 86400) + field("flowDirection", 1), energy + field("flowDirection", 1)}, []float64{1, 2.5}, nil, 2, "coarser total"},
		{"the same direction twice", []string{energy + field("flowDirection", 1), energy + field("flowDirection", 1)}, []float64{1, 2.5}, nil, 2, "not added up"},
		{"a register", []string{field("uom", 72) + field("kind", 12) + field("intervalLength", 3600) + field("accumulationBehaviour", 3) + field("flowDirection", 1)}, []float64{1.5}, nil, 1, "register"},
	} {
		t.Run(c.name, func(t *testing.T) {
			f := prepared(t, Mapping{Format: "green_button"}, "A.xml", feed(c.types...))
			got, tally := cells(t, f)
			for _, side := range []struct {
				c    ingest.Channel
				want []float64
			}{{ingest.Import, c.in}, {ingest.Export, c.out}} {
				if len(got[side.c]) != len(side.want) {
					t.Errorf("%s: %v, want %v", side.c, got[side.c], side.want)
				}
				for i, w := range side.want {
					if v := got[side.c][1710057600+int64(i)*3600]; math.Abs(v.kWh-w) > 1e-12 {
						t.Errorf("%s hour %d: %g, want %g", side.c, i, v.kWh, w)
					}
				}
			}
			if tally.SetAside != c.aside || c.aside > 0 && !strings.Contains(tally.Rejects[0].Reason, c.reason) {
				t.Errorf("set aside %d %v, want %d for %q", tally.SetAside, tally.Rejects, c.aside, c.reason)
			}
		})
	}
}

// Hostile XML ends in an error, soon and in little memory.
func TestGreenButtonBounds(t *testing.T) {
	deep := `<feed xmlns="http://www.w3.org/2005/Atom">` + strings.Repeat("<a>", 100_000)
	bomb := `<?xml version="1.0"?><!DOCTYPE feed [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;">]><feed xmlns="http://www.w3.org/2005/Atom">&b;</feed>`
	for name, text := range map[string]string{"deep": deep, "entities": bomb, "empty": "<a/>", "cut": feed(field("uom", 72))[:900], "no xml": "hello"} {
		f := prepared(t, Mapping{Format: "green_button"}, "A.xml", text)
		_, err := f.Parts()[0].Read(context.Background(), NewNames(), Limits{MaxRejects: 10}, func(*Batch) error { return nil })
		if err == nil {
			t.Errorf("%s is read without an error", name)
		}
	}
}

func FuzzGreenButton(f *testing.F) {
	energy := field("uom", 72) + field("intervalLength", 3600)
	f.Add(feed(energy + field("flowDirection", 1)))
	f.Add(feed(energy+field("flowDirection", 4), energy+field("flowDirection", 19)))
	f.Add(feed(field("uom", 38)+field("accumulationBehaviour", 3)) + "<entry>")
	if b, err := os.ReadFile(filepath.Join(outside.Root(), "testdata", "checks", "14_espi_feed.xml")); err == nil {
		f.Add(string(b))
	}
	f.Fuzz(func(t *testing.T, text string) {
		file := prepared(t, Mapping{Format: "green_button"}, "A.xml", text)
		kept := int64(0)
		tally, err := file.Parts()[0].Read(context.Background(), NewNames(), Limits{MaxRejects: 10}, func(b *Batch) error { kept += int64(b.Len()); return nil })
		if err == nil && kept+tally.SetAside != tally.Rows {
			t.Errorf("kept %d + set aside %d != read %d", kept, tally.SetAside, tally.Rows)
		}
	})
}

// The qualities of the standard (methods.md section 14): 8, 9, 12 and 15 are
// estimates, 10 is suspect, and of several the worst counts.
func TestQualityFlags(t *testing.T) {
	want := map[int64]Flag{0: 0, 7: 0, 8: Estimated, 9: Estimated, 10: Suspect, 11: 0, 12: Estimated, 13: 0, 14: 0, 15: Estimated, 16: 0, 17: 0, 18: 0, 19: 0}
	for q, w := range want {
		if got := qualityFlag(q); got != w {
			t.Errorf("quality %d: %v, want %v", q, got, w)
		}
	}
	for _, c := range []struct {
		list []int64
		want int16
	}{{nil, -1}, {[]int64{0}, 0}, {[]int64{0, 8, 17}, 8}, {[]int64{10, 8}, 10}, {[]int64{8, 10, 0}, 10}, {[]int64{-3, 500}, -1}} {
		q := int16(-1)
		for _, v := range c.list {
			q = worseQuality(q, v)
		}
		if q != c.want {
			t.Errorf("%v: %d, want %d", c.list, q, c.want)
		}
	}
}
