package report

import (
	"fmt"
	"io"
	"math"
	"strings"
	"text/tabwriter"
	"time"

	"rowen/ingest/nearest"
)

// nearestSite is a hint at the site that was probably meant; "": none is near.
func nearestSite(run, siteID string) string {
	type row struct {
		SiteID string `parquet:"site_id"`
	}
	rows, err := readTable[row](run, "sites.parquet")
	if err != nil {
		return ""
	}
	ids := make([]string, len(rows))
	for i, r := range rows {
		ids[i] = r.SiteID
	}
	return nearest.Hint(siteID, ids)
}

// Explain prints everything that a run knows about one site: the lane and its
// reasons, the chain that led there, the months and the sizes simulated.
func Explain(w io.Writer, run, siteID string) error {
	rows, err := readSite[SiteRow](run, "sites.parquet", siteID)
	if err != nil {
		return err
	}
	if len(rows) == 0 {
		return fmt.Errorf("explaining site %q: the run in %s holds no such site (its ids are in the column site_id of sites.parquet)%s", siteID, run, nearestSite(run, siteID))
	}
	months, err := readSite[MonthRow](run, "monthly.parquet", siteID)
	if err != nil {
		return err
	}
	options, err := readSite[OptionRow](run, "options.parquet", siteID)
	if err != nil {
		return err
	}
	r := &rows[0]
	explainStanding(w, r)
	stage := ""
	for _, s := range r.Chain {
		if s.Stage != stage {
			stage = s.Stage
			fmt.Fprintf(w, "\n%s\n", stage)
		}
		printWrapped(w, "  ", s.Says)
	}
	explainMonths(w, months)
	explainOptions(w, options, r.Rank != nil)
	WriteCaution(w)
	return nil
}

func explainStanding(w io.Writer, r *SiteRow) {
	fmt.Fprintf(w, "site %s: %s\n", r.SiteID, r.Lane)
	if r.Branch != nil {
		fmt.Fprintf(w, "branch: %s\n", *r.Branch)
	}
	if r.Rank != nil {
		on := "on the branch's call list"
		if !r.OnCallList {
			on = "beyond what the branch can call this month"
		}
		if r.NotBefore != nil {
			on = "on no list: the customer bought recently"
		}
		fmt.Fprintf(w, "rank: %d, %s\n", *r.Rank, on)
		printWrapped(w, "", priorityInWords(r))
	}
	if r.NotBefore != nil {
		fmt.Fprintf(w, "not before: %s\n", dayText(*r.NotBefore))
	}
	printWrapped(w, "", "next step: "+r.NextStep)
}

// priorityInWords says every term of the priority, and the order that they make.
func priorityInWords(r *SiteRow) string {
	order := "net_benefit_per_call"
	stands := orNaN(r.ChanceOfGain) * orNaN(r.Confidence) * orNaN(r.OutcomeFactor)
	near := func(x float64) bool { return math.Abs(x-orNaN(r.Priority)) <= 1e-6*math.Abs(x) }
	switch all := float64(math.Max(orNaN(r.ExpectedBenefit), 0) * stands); {
	case near(all):
	case near(all / orNaN(r.Visits)):
		order = "net_benefit_per_visit"
	default:
		order = "shortest_payback"
	}
	says := fmt.Sprintf("priority: %s (order %s) from net benefit expected %s, chance of a gain %s, confidence %s, outcomes %s, visits %s, payback %s years",
		figure(r.Priority, 2), order, figure(r.ExpectedBenefit, 0), figure(r.ChanceOfGain, 2), figure(r.Confidence, 2), figure(r.OutcomeFactor, 2), figure(r.Visits, 0), figure(r.SimplePaybackYears, 1))
	if r.Stability != nil {
		says += fmt.Sprintf("; stays on the list in %.0f %% of the draws", 100**r.Stability)
	}
	if r.Trip != nil {
		says += fmt.Sprintf("; trip %d", *r.Trip)
	}
	return says
}

func explainMonths(w io.Writer, rows []MonthRow) {
	if len(rows) == 0 {
		fmt.Fprint(w, "\nmonths: none was read\n")
		return
	}
	fmt.Fprint(w, "\nmonths (kWh in the hours read; - is not metered)\n")
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(t, "month\tmade\texpected\tindex\tused\timport\texport\tread\t")
	for _, m := range rows {
		fmt.Fprintf(t, "%s\t%s\t%s\t%s\t%s\t%s\t%s\t%.0f %%\t\n", dayText(m.Month)[:7], figure(m.ProductionKWh, 0), figure(m.ExpectedProductionKWh, 0),
			figure(m.ProductionIndex, 2), figure(m.ConsumptionKWh, 0), figure(m.ImportKWh, 0), figure(m.ExportKWh, 0), m.DataCoveragePct)
	}
	t.Flush()
}

func explainOptions(w io.Writer, rows []OptionRow, ranked bool) {
	if len(rows) == 0 {
		fmt.Fprint(w, "\nsizes: none was simulated\n")
		return
	}
	fmt.Fprint(w, "\nsizes (low and high: 90 % interval of the net benefit)\n")
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(t, "modules\tkWh a year\tused there\tcost\tsaves a year\tnet benefit\tlow\thigh\tpays back\t  needs")
	chosen := false
	for _, o := range rows {
		mark := "  "
		if o.Chosen {
			mark, chosen = " *", true
		}
		share, back, needs := figure(o.AddedSelfUsePct, 0), figure(o.SimplePaybackYears, 1), strings.Join(jobsInWords(o.EnablingJobs), " + ")
		if o.AddedSelfUsePct != nil {
			share += " %"
		}
		if o.SimplePaybackYears != nil {
			back += " years"
		}
		if needs == "" && !o.Feasible {
			needs = "more room than there is"
		}
		fmt.Fprintf(t, "%d%s\t%.0f\t%s\t%.0f\t%.0f\t%.0f\t%s\t%s\t%s\t  %s\n", o.Modules, mark, o.AddedKWhYr, share, o.Cost,
			o.SavingsFirstYear, o.NetBenefit, figure(o.NetBenefitLow, 0), figure(o.NetBenefitHigh, 0), back, needs)
	}
	t.Flush()
	if chosen && ranked {
		printWrapped(w, "  ", "* what is proposed: the best expected net benefit, or the smallest size whose net benefit the doubt cannot tell from it")
	} else if chosen {
		printWrapped(w, "  ", "* what would be proposed, were the site ready for an offer")
	}
}

// columns that a terminal is taken to have: no line that is printed is longer.
const terminalColumns = 160

// printWrapped prints a text with its further lines set in under the first.
func printWrapped(w io.Writer, indent, says string) {
	const readable = 120 // longer lines are hard to follow (our choice)
	line := indent
	for i, word := range strings.Fields(says) {
		if i > 0 && len([]rune(line))+1+len([]rune(word)) > readable {
			fmt.Fprintln(w, line)
			line = indent + "  " + word
			continue
		}
		if i > 0 {
			line += " "
		}
		line += word
	}
	fmt.Fprintln(w, line)
}

func figure(x *float64, decimals int) string {
	if x == nil {
		return "-"
	}
	return plain(*x, decimals)
}

// plain prints a number without the sign of a zero that was rounded to.
func plain(x float64, decimals int) string {
	s := fmt.Sprintf("%.*f", decimals, x)
	if strings.Trim(s, "-0.") == "" {
		s = strings.TrimPrefix(s, "-")
	}
	return s
}

func dayText(days int32) string {
	return time.Unix(int64(days)*86400, 0).UTC().Format(time.DateOnly)
}
