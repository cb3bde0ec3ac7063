package rates

import (
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"

	"go.yaml.in/yaml/v3"

	"rowen/ingest"
	"rowen/scripts/outside"
)

// grid is a schedule of one period, with others on some hours of every month.
func grid(period int, hours ...int) string {
	row := make([]string, 24)
	for h := range row {
		row[h] = "0"
		if slices.Contains(hours, h) {
			row[h] = fmt.Sprint(period)
		}
	}
	rows := make([]string, 12)
	for m := range rows {
		rows[m] = "[" + strings.Join(row, ",") + "]"
	}
	return "[" + strings.Join(rows, ",") + "]"
}

func urdb(more string) string {
	return `{"label":"x","utility":"U","name":"N","energyratestructure":[[{"rate":0.2}],[{"rate":0.4}]],` +
		`"energyweekdayschedule":` + grid(1, 16, 17) + `,"energyweekendschedule":` + grid(1) + more + `}`
}

// TestProblems: what keeps a rate from being used names file, field, value,
// limit and mend, and the other rate of the file goes on.
func TestProblems(t *testing.T) {
	for _, c := range []struct{ name, bad, says string }{
		{"unit", strings.Replace(urdb(""), `[{"rate":0.2}]`, `[{"rate":0.2,"max":3,"unit":"kWh/kW"},{"rate":0.3}]`, 1),
			`f.json: rate 1: energyratestructure[0][0].unit "kWh/kW" is no unit that a tier is counted in here: give "kWh" or "kWh daily"`},
		{"period without rate", strings.Replace(urdb(""), grid(1, 16, 17), grid(2, 16), 1),
			"f.json: rate 1: energyweekdayschedule[0][16] 2 names a period without a rate (there are 2, counted from 0): add the period's rate or mend the schedule"},
		{"shape", strings.Replace(urdb(""), grid(1), `[[0,0],[0]]`, 1),
			"f.json: rate 1: energyweekendschedule of 2 months must have 12: give a row of 24 period numbers for each month, January first"},
		{"kind", strings.Replace(urdb(""), grid(1), `"none"`, 1), `f.json: rate 1: energyweekendschedule "none" is not of the kind that belongs there: give 12 lists of 24 whole numbers`},
		{"charge unit", urdb(`,"fixedchargefirstmeter":3,"fixedchargeunits":"$/fortnight"`),
			`f.json: rate 1: fixedchargeunits "$/fortnight" is no unit of a charge: give $/day, $/month or $/year`},
		{"tiers", strings.Replace(urdb(""), `[{"rate":0.2}]`, `[{"rate":0.2,"max":300},{"rate":0.3,"max":200},{"rate":0.4}]`, 1),
			"f.json: rate 1: energyratestructure[0][1].max 200 must be more than 300, the limit of the tier before: order the tiers by their limits"},
		{"demand steps", urdb(`,"flatdemandstructure":[[{"rate":1,"max":5},{"rate":2}]],"flatdemandmonths":[0,0,0,0,0,0,0,0,0,0,0,0]`),
			"f.json: rate 1: flatdemandstructure[0] of 2 tiers cannot be priced: a demand charge in steps of kW: write the rate by hand, or leave it out"},
		{"no energy", `{"label":"x","flatdemandstructure":[[{"rate":1}]]}`, "f.json: rate 1: energyratestructure is not there: give the energy prices; a rate without them has no bill"},
		{"something else", `{"a":1}`, "f.json: rate 1: the object holds neither energyratestructure nor electricityContract: give a rate of the open utility rate database or a plan of the Consumer Data Right"},
	} {
		t.Run(c.name, func(t *testing.T) {
			all, err := Read("f.json", []byte(`{"items":[`+c.bad+`,`+urdb("")+`]}`), Answers{})
			var p *Problem
			if err == nil || !errors.As(err, &p) || !strings.Contains(err.Error(), c.says) {
				t.Errorf("got  %v\nwant %s", err, c.says)
			}
			if len(all) != 1 {
				t.Errorf("%d rates go on, want the good one", len(all))
			}
		})
	}
	if _, err := Read("f.json", []byte("no json"), Answers{}); err == nil || !strings.Contains(err.Error(), "f.json: the file is no JSON that holds rates") {
		t.Errorf("got %v", err)
	}
}

// TestWrapped: an object, a list, items, and a JSON text that holds JSON are the
// same rate.
func TestWrapped(t *testing.T) {
	quoted, _ := json.Marshal(`{"items":[` + urdb("") + `]}`)
	for _, text := range []string{urdb(""), "[" + urdb("") + "]", `{"items":[` + urdb("") + `]}`, string(quoted)} {
		all, err := Read("f.json", []byte(text), Answers{})
		if err != nil || len(all) != 1 || all[0].Tariff.ID != "u-n" || len(all[0].Tariff.Import) != 2 {
			t.Errorf("%.30s: %+v, %v", text, all, err)
		}
	}
}

// TestAsked: what a file leaves open is asked and what it holds beyond the entry
// is named; an answer takes the question away.
func TestAsked(t *testing.T) {
	text := urdb(`,"startdate":1462258800,"enddate":1462172400,"fueladjustmentsmonthly":[0.01],"description":"riders","demandunits":"kW"`)
	all, err := Read("f.json", []byte(text), Answers{})
	if err != nil {
		t.Fatal(err)
	}
	asks, left := strings.Join(all[0].Ask, "\n"), strings.Join(all[0].Left, "\n")
	for _, want := range []string{"metering rule", "legacy terms", "enddate 2016-05-02 is before startdate 2016-05-03"} {
		if !strings.Contains(asks, want) {
			t.Errorf("%q is not asked:\n%s", want, asks)
		}
	}
	for _, want := range []string{"fueladjustmentsmonthly", "description", "holidays"} {
		if !strings.Contains(left, want) {
			t.Errorf("%q is not named:\n%s", want, left)
		}
	}
	if strings.Contains(left, "demandunits") {
		t.Error("a unit of demand is no demand charge")
	}
	all, _ = Read("f.json", []byte(urdb("")), Answers{Metering: "net_billing", ExportPrice: ingest.Some(0.05), NoLegacy: true})
	if len(all[0].Ask) != 0 || all[0].Tariff.Export.Price != 0.05 {
		t.Errorf("still asked: %v", all[0].Ask)
	}
}

// TestEntryReadsBack: what is printed is YAML that reads as the tariff it was
// made of, for every rate of the open files.
func TestEntryReadsBack(t *testing.T) {
	files, err := os.ReadDir(outside.Data(t, "open-tariffs", "rates"))
	if err != nil || len(files) != 9 {
		t.Fatalf("%d files, %v", len(files), err)
	}
	for _, f := range files {
		text, err := os.ReadFile(outside.Data(t, "open-tariffs", "rates", f.Name()))
		if err != nil {
			t.Fatal(err)
		}
		for _, metering := range append([]string{""}, Meterings...) {
			all, err := Read(f.Name(), text, Answers{Metering: metering})
			if err != nil {
				t.Fatal(err)
			}
			var back struct{ Tariffs []ingest.Tariff }
			if err := yaml.Unmarshal([]byte("tariffs:\n"+all[0].Entry(2)), &back); err != nil {
				t.Fatalf("%v in\n%s", err, all[0].Entry(2))
			}
			if got, want := fmt.Sprintf("%+v", back.Tariffs[0]), fmt.Sprintf("%+v", all[0].Tariff); got != want {
				t.Errorf("%s:\n got %s\nwant %s", f.Name(), got, want)
			}
		}
	}
}

// A plan of our own invention, in the standard's words: cents, seasons that
// wrap, inclusive ends, blocks by width, two feed-in tariffs.
const inventedPlan = `{"data":{"planId":"P1","displayName":"Home Saver","brandName":"Brand","electricityContract":{"timeZone":"LOCAL",
 "tariffPeriod":[
  {"startDate":"11-01","endDate":"03-31","dailySupplyCharges":"100.00","rateBlockUType":"timeOfUseRates","timeOfUseRates":[
    {"type":"PEAK","rates":[{"unitPrice":"40.00"}],"timeOfUse":[{"days":["BUSINESS_DAYS"],"startTime":"1500","endTime":"2059"}]},
    {"type":"OFF_PEAK","rates":[{"unitPrice":"20.00"}],"timeOfUse":[{"days":["BUSINESS_DAYS"],"startTime":"2100","endTime":"1500"},{"days":["SAT","SUN"],"startTime":"0000","endTime":"2359"}]}]},
  {"startDate":"04-01","endDate":"10-31","dailySupplyCharges":"100.00","rateBlockUType":"singleRate","singleRate":{"period":"P1D","rates":[{"unitPrice":"30.00","volume":10},{"unitPrice":"25.00","volume":10},{"unitPrice":"35.00"}]}}],
 "solarFeedInTariff":[{"displayName":"old","scheme":"PREMIUM","singleTariff":{"amount":"66.00"}},{"displayName":"new","scheme":"OTHER","singleTariff":{"rates":[{"unitPrice":"6.00"}]}}]}}}`

func TestPlan(t *testing.T) {
	all, err := Read("p.json", []byte(inventedPlan), Answers{NoLegacy: true})
	if err != nil || len(all) != 1 {
		t.Fatalf("%+v, %v", all, err)
	}
	d := all[0].Tariff
	if d.ID != "brand-home-saver" || d.FixedPerDay != 1.1 || d.Export.Price != 0.06 {
		t.Errorf("id %s, a day %v (100 c and 10 %%), export %v", d.ID, d.FixedPerDay, d.Export.Price)
	}
	want := []ingest.TariffPeriod{
		{Name: "peak_1", Months: []int{1, 2, 3, 11, 12}, Days: "weekday", Hours: "15-21", Price: 0.44},
		{Name: "off_peak_1", Months: []int{1, 2, 3, 11, 12}, Days: "weekday", Hours: "21-15", Price: 0.22},
		{Name: "off_peak_1", Months: []int{1, 2, 3, 11, 12}, Days: "sat,sun", Price: 0.22},
		{Name: "all_2", Months: []int{4, 5, 6, 7, 8, 9, 10}, Price: 0.33,
			Tiers: []ingest.TariffTier{{UpToKWhPerDay: 10}, {UpToKWhPerDay: 20, Add: -0.055}, {Add: 0.055}}},
	}
	if got := fmt.Sprintf("%+v", d.Import); got != fmt.Sprintf("%+v", want) {
		t.Errorf("\n got %s\nwant %+v", got, want)
	}
	if !strings.Contains(strings.Join(all[0].Left, "\n"), "PREMIUM") {
		t.Error("the closed scheme is not named")
	}
	doubtful := strings.Replace(inventedPlan, `"volume":10},{"unitPrice":"25`, `"volume":1200},{"unitPrice":"25`, 1)
	if _, err := Read("p.json", []byte(doubtful), Answers{}); err == nil || !strings.Contains(err.Error(), "ask the retailer and say --block-period") {
		t.Errorf("a doubtful block: %v", err)
	}
	dollars := strings.NewReplacer("40.00", "0.40", "20.00", "0.20", "30.00", "0.30", "25.00", "0.25", "35.00", "0.35", "100.00", "1.00", "6.00", "0.06").Replace(inventedPlan)
	all, err = Read("p.json", []byte(dollars), Answers{NoLegacy: true})
	if err != nil || all[0].Tariff.Import[0].Price != 0.44 || all[0].Tariff.FixedPerDay != 1.1 {
		t.Errorf("in dollars: %+v, %v", all, err)
	}
	midMonth := strings.NewReplacer(`"03-31"`, `"03-14"`, `"04-01"`, `"03-15"`).Replace(inventedPlan)
	if _, err := Read("p.json", []byte(midMonth), Answers{}); err == nil || !strings.Contains(err.Error(), "do not lie at the ends of months") {
		t.Errorf("a season within a month: %v", err)
	}
}
