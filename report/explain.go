package report

import (
	"fmt"
	"io"
	"slices"
	"strings"
	"text/tabwriter"
	"time"
)

// Explain prints everything that a run knows about one site: the lane and its
// reasons, the chain that led there, the months and the sizes simulated.
func Explain(w io.Writer, run, siteID string) error {
	rows, err := siteRows(run)
	if err != nil {
		return err
	}
	at := slices.IndexFunc(rows, func(r SiteRow) bool { return r.SiteID == siteID })
	if at < 0 {
		return fmt.Errorf("explaining site %q: the run holds no such site among its %d", siteID, len(rows))
	}
	r := &rows[at]
	fmt.Fprintf(w, "site %s: %s\n", r.SiteID, r.Lane)
	if r.Rank != nil {
		fmt.Fprintf(w, "rank %d, priority %.0f\n", *r.Rank, *r.Priority)
	}
	fmt.Fprintf(w, "next step: %s\n", r.NextStep)
	stage := ""
	for _, s := range r.Chain {
		if s.Stage != stage {
			stage = s.Stage
			fmt.Fprintf(w, "\n%s\n", stage)
		}
		fmt.Fprintf(w, "  %s\n", s.Says)
	}
	if err := explainMonths(w, run, siteID); err != nil {
		return err
	}
	if err := explainOptions(w, run, siteID); err != nil {
		return err
	}
	fmt.Fprintf(w, "\n%s\n", Caution)
	return nil
}

func explainMonths(w io.Writer, run, siteID string) error {
	rows, err := readTable[MonthRow](run, "monthly.parquet")
	if err != nil {
		return err
	}
	fmt.Fprintln(w, "\nmonths (kWh)")
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(t, "month\tmade\texpected\tindex\tused\timport\texport\tread\t")
	for _, m := range rows {
		if m.SiteID == siteID {
			fmt.Fprintf(t, "%s\t%s\t%s\t%s\t%s\t%s\t%s\t%.0f %%\t\n", dayText(m.Month)[:7], figure(m.ProductionKWh, 0), figure(m.ExpectedProductionKWh, 0),
				figure(m.ProductionIndex, 2), figure(m.ConsumptionKWh, 0), figure(m.ImportKWh, 0), figure(m.ExportKWh, 0), m.DataCoveragePct)
		}
	}
	return t.Flush()
}

func explainOptions(w io.Writer, run, siteID string) error {
	rows, err := readTable[OptionRow](run, "options.parquet")
	if err != nil {
		return err
	}
	fmt.Fprintln(w, "\nsizes")
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(t, "modules\tkWh a year\town use\tcost\tsaving\tnet benefit\tlow\thigh\tpayback\tneeds\t")
	for _, o := range rows {
		if o.SiteID != siteID {
			continue
		}
		mark := ""
		if o.Chosen {
			mark = " *"
		}
		fmt.Fprintf(t, "%d%s\t%.0f\t%s %%\t%.0f\t%.0f\t%.0f\t%s\t%s\t%s\t%s\t\n", o.Modules, mark, o.AddedKWhYr, figure(o.AddedSelfUsePct, 0), o.Cost,
			o.SavingsFirstYear, o.NetBenefit, figure(o.NetBenefitLow, 0), figure(o.NetBenefitHigh, 0), figure(o.SimplePaybackYears, 1), strings.Join(o.EnablingJobs, " + "))
	}
	return t.Flush()
}

func figure(x *float64, decimals int) string {
	if x == nil {
		return "-"
	}
	return fmt.Sprintf("%.*f", decimals, *x)
}

func dayText(days int32) string {
	return time.Unix(int64(days)*86400, 0).UTC().Format(time.DateOnly)
}
