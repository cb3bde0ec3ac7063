package tariff

import (
	"math"
	"testing"
	"time"

	"rowen/ingest"
	"rowen/scripts/outside"
)

// compile is Compile for tariffs that must be good.
func compile(t testing.TB, data ingest.Tariff) *Tariff {
	t.Helper()
	if data.ID == "" {
		data.ID = "x"
	}
	out, err := Compile(data)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func near(t *testing.T, what string, got, want, rel float64) {
	t.Helper()
	if !(math.Abs(got-want) <= rel*max(1, math.Abs(want))) {
		t.Errorf("%s: got %.12g, want %.12g", what, got, want)
	}
}

// TestBillHours prices the 48 hours of 11_bill_hours.csv under the four schemes
// of 11_bill_expected.json. The fixed charge of 0.6 is for both days: 0.3 a day.
func TestBillHours(t *testing.T) {
	var want struct {
		NonBypassable float64            `json:"nonbypassable_per_kWh_import"`
		Before        map[string]float64 `json:"before"`
		After         map[string]float64 `json:"after"`
		RelTol        float64            `json:"rel_tol"`
	}
	outside.JSON(t, "11_bill_expected.json", &want)
	rows := outside.Rows(t, "11_bill_hours.csv")
	column := func(load, pv, more string) (load_, out []float64) {
		for _, r := range rows {
			made := r.Num(t, pv)
			if more != "" {
				made += r.Num(t, more)
			}
			load_, out = append(load_, 1000*r.Num(t, load)), append(out, 1000*made)
		}
		return load_, out
	}
	window := ingest.Window{Start: ingest.HourOf(time.Date(2026, 7, 6, 0, 0, 0, 0, time.UTC)), N: len(rows)}
	base := ingest.Tariff{FixedPerDay: 0.3, Import: []ingest.TariffPeriod{{Name: "peak", Hours: "16-21", Price: 0.42}, {Name: "base", Price: 0.20}}}
	for i, r := range rows { // the prices of the file are those of the tariff
		y := compile(t, base).Year(window, time.UTC)
		near(t, "price of hour "+r["hour_start"], y.ImportPrice[i], r.Num(t, "import_price"), 1e-12)
	}
	for _, scheme := range []struct {
		key  string
		with func(*ingest.Tariff)
	}{
		{"bill_no_export_credit", func(d *ingest.Tariff) {}},
		{"bill_net_billing", func(d *ingest.Tariff) { d.Export = ingest.TariffExport{Credit: "rate", Price: 0.06} }},
		{"bill_net_metering_interval_retail_plus_nonbypassable_on_import", func(d *ingest.Tariff) {
			d.Export.Credit, d.NonBypassablePerKWh = "retail", want.NonBypassable
		}},
		{"bill_net_metering_netted_per_TOU_period", func(d *ingest.Tariff) {
			d.Export.Credit, d.Settlement, d.Netting = "retail", "monthly", "period"
		}},
	} {
		data := base
		scheme.with(&data)
		y := compile(t, data).Year(window, time.UTC)
		for _, side := range []struct {
			name, more string
			want       map[string]float64
		}{{"before", "", want.Before}, {"after", "candidate_pv_kWh", want.After}} {
			load, made := column("load_kWh", "pv_kWh", side.more)
			b := y.BillOf(load, made)
			near(t, scheme.key+" "+side.name, b.Total, side.want[scheme.key], want.RelTol)
			near(t, "import "+side.name, b.ImportKWh, side.want["import_kWh"], want.RelTol)
			near(t, "export "+side.name, b.ExportKWh, side.want["export_kWh"], want.RelTol)
		}
	}
}

// TestSettlement holds the four settlement rules of 11_settlement.json: twelve
// months, each with its net energy in one hour.
func TestSettlement(t *testing.T) {
	var want struct {
		Net     []float64 `json:"monthly_net_kWh_import_minus_export"`
		Retail  float64   `json:"retail_rate"`
		Surplus float64   `json:"surplus_rate"`
		KWh     struct {
			MonthBill []float64 `json:"month_bill"`
			Bank      float64   `json:"year_end_bank_kWh"`
			Payment   float64   `json:"year_end_payment"`
			Total     float64   `json:"year_total"`
		} `json:"kWh_rollover"`
		Money struct {
			Total float64 `json:"year_total"`
			Lost  float64 `json:"credit_lost"`
		} `json:"money_credit_rollover_forfeited_at_year_end"`
		CashOut struct {
			Total float64 `json:"year_total"`
		} `json:"monthly_cash_out"`
		Annual struct {
			Total float64 `json:"year_total"`
		} `json:"annual_netting"`
		RelTol float64 `json:"rel_tol"`
	}
	outside.JSON(t, "11_settlement.json", &want)
	window := year2026
	imports, exports := make([]float64, window.N), make([]float64, window.N)
	for m, net := range want.Net {
		noon := ingest.HourOf(time.Date(2026, time.Month(m+1), 15, 12, 0, 0, 0, time.UTC)) - window.Start
		imports[noon], exports[noon] = 1000*max(0, net), 1000*max(0, -net)
	}
	bill := func(settlement, bank string) Bill {
		return compile(t, ingest.Tariff{Import: []ingest.TariffPeriod{{Name: "base", Price: want.Retail}}, Export: ingest.TariffExport{Credit: "retail"},
			Settlement: settlement, Bank: bank, SurplusPrice: want.Surplus}).Year(window, time.UTC).Bill(imports, exports)
	}
	kWh := bill("monthly", "kwh")
	near(t, "kWh bank", kWh.Total, want.KWh.Total, want.RelTol)
	near(t, "kWh bank: left", kWh.BankKWh, want.KWh.Bank, want.RelTol)
	near(t, "kWh bank: paid", -kWh.Surplus, want.KWh.Payment, want.RelTol)
	for m, w := range want.KWh.MonthBill {
		near(t, "kWh bank: month", kWh.Months[m].Energy, w, want.RelTol)
	}
	money := bill("monthly", "money")
	near(t, "money bank", money.Total, want.Money.Total, want.RelTol)
	near(t, "money bank: lost", money.Lost, want.Money.Lost, want.RelTol)
	near(t, "cash out", bill("monthly", "").Total, want.CashOut.Total, want.RelTol)
	near(t, "year", bill("yearly", "").Total, want.Annual.Total, want.RelTol)
}

var year2026 = ingest.Window{Start: ingest.HourOf(time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)), N: 8760}
