package report

import (
	"fmt"
	"io"
	"slices"
	"strings"
	"text/tabwriter"
)

var kindHeads = map[string]string{"entered": "entered the ranking", "left": "left the ranking", "lane": "changed lane", "offer": "another offer",
	"rank": "moved in the ranking", "new": "new in the register", "gone": "gone from the register", "other": "stands where it stood"}

// Print prints a comparison: the summary first, then what matters with the fact
// that changed; all prints the rest too.
func (c *Comparison) Print(w io.Writer, all bool) {
	count := map[string]int{}
	hidden := 0
	for _, x := range c.Changes {
		count[x.Kind]++
		hidden += one(!x.Matters)
	}
	fmt.Fprintf(w, "%s against %s: %d ranked, were %d; %d on the lists, were %d\n", c.MonthB, c.MonthA, c.RankedB, c.RankedA, c.OnListB, c.OnListA)
	if len(c.Changes) == 0 {
		fmt.Fprintln(w, "nothing changed")
	}
	var parts []string
	for _, k := range kinds {
		if count[k] > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", count[k], kindHeads[k]))
		}
	}
	if len(parts) > 0 {
		printWrapped(w, "", strings.Join(parts, ", "))
	}
	for _, s := range c.Settings {
		printWrapped(w, "", "setting "+s)
	}
	for _, k := range kinds {
		c.section(w, k, all)
	}
	if hidden > 0 && !all {
		fmt.Fprintf(w, "\n%d smaller changes are not shown; --all shows them\n", hidden)
	}
	c.calls(w)
	c.expanded(w)
}

func (c *Comparison) section(w io.Writer, kind string, all bool) {
	n := 0
	for _, x := range c.Changes {
		if x.Kind != kind || !x.Matters && !all {
			continue
		}
		if n == 0 {
			fmt.Fprintf(w, "\n%s\n", kindHeads[kind])
		}
		n++
		arrow := x.From + " → " + x.To
		if x.From == "" || x.To == "" || x.From == x.To {
			arrow = x.To
			if arrow == "" {
				arrow = x.From
			}
		}
		most := 2
		if all {
			most = len(x.Facts)
		}
		printWrapped(w, "  ", x.SiteID+": "+arrow+"; "+inLine(x.Facts, most))
	}
}

// CallsRecord is what earlier calls came to, as run.json holds it.
type CallsRecord struct {
	Made        int          `json:"made" text:"calls made"`
	Answered    int          `json:"answered" text:"calls that were answered"`
	Sold        int          `json:"sold" text:"of them sold"`
	NoAnswer    int          `json:"no_answer" text:"not reached"`
	NotSuitable int          `json:"not_suitable" text:"found not suitable on site"`
	Unlisted    int          `json:"proposed_by_no_known_list" text:"calls that no known list proposed"`
	Needed      int          `json:"answered_calls_needed" text:"how many answered calls the figures below ask for"`
	Lift        float64      `json:"lift_of_the_first_three_tenths,omitempty" text:"sales among the first three tenths of the list over those among all"`
	NDCG        float64      `json:"ndcg,omitempty" text:"how well the order of the list agrees with what was sold, 0 to 1"`
	Calibration string       `json:"calibration,omitempty" text:"how the lists compare with what was sold, in a sentence"`
	ByTenth     []RateRecord `json:"by_tenth" text:"by tenth of the list"`
	ByReason    []RateRecord `json:"by_reason" text:"by main reason"`
}

// RateRecord is a share of answered calls that sold, with its 90 % interval.
type RateRecord struct {
	Name   string  `json:"name" text:"the tenth or the reason"`
	Sold   int     `json:"sold" text:"of them sold"`
	Calls  int     `json:"calls" text:"calls answered"`
	Low    float64 `json:"low" text:"lower end of the 90 % interval of the share sold"`
	High   float64 `json:"high" text:"its upper end"`
	Chance float64 `json:"chance,omitempty" text:"the share that the lists promised"`
}

func (c *Comparison) calls(w io.Writer) {
	r := c.Calls
	if r == nil || r.Made == 0 {
		return
	}
	fmt.Fprintf(w, "\nwhat earlier calls came to\n")
	line := fmt.Sprintf("%d calls: %d sold, %d without an answer, %d not suitable", r.Made, r.Sold, r.NoAnswer, r.NotSuitable)
	if r.Unlisted > 0 {
		line += fmt.Sprintf("; %d were proposed by no list that is known, and count all the same", r.Unlisted)
	}
	printWrapped(w, "  ", line)
	if r.Answered < r.Needed {
		printWrapped(w, "  ", fmt.Sprintf("too few outcomes to say what sells: %d answered calls, %d are needed", r.Answered, r.Needed))
		return
	}
	if r.Lift > 0 {
		printWrapped(w, "  ", fmt.Sprintf("the first three tenths of a list sold %.2f times as often as the whole; NDCG %.2f", r.Lift, r.NDCG))
	}
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(t, "  list\tcalls\tsold\tshare\tlow\thigh\tchance\t")
	for _, rates := range [][]RateRecord{r.ByTenth, r.ByReason} {
		for _, x := range rates {
			chance := ""
			if x.Chance > 0 {
				chance = fmt.Sprintf("%.0f %%", 100*x.Chance)
			}
			fmt.Fprintf(t, "  %s\t%d\t%d\t%.0f %%\t%.0f %%\t%.0f %%\t%s\t\n", x.Name, x.Calls, x.Sold, 100*float64(x.Sold)/float64(max(1, x.Calls)), 100*x.Low, 100*x.High, chance)
		}
	}
	t.Flush()
}

func (c *Comparison) expanded(w io.Writer) {
	if len(c.Expansions) == 0 {
		return
	}
	fmt.Fprintf(w, "\nsites that were expanded (a year's output and saving; low and high: 90 %% interval)\n")
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(t, "  site\tbuilt\tmodules\tmonths\tpredicted kWh\trealized\tlow\thigh\tpredicted saving\trealized\tlow\thigh\t")
	rows := slices.Clone(c.Expansions)
	slices.SortFunc(rows, func(a, b ExpansionRow) int { return strings.Compare(a.SiteID, b.SiteID) })
	for _, x := range rows {
		fmt.Fprintf(t, "  %s\t%s\t%d\t%.1f\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t\n", x.SiteID, dayText(x.BuiltOn), x.Modules, x.Months, figure(x.PredictedKWhYr, 0),
			figure(x.RealizedKWhYr, 0), figure(x.RealizedLow, 0), figure(x.RealizedHigh, 0), figure(x.PredictedSaving, 0), figure(x.RealizedSaving, 0), figure(x.SavedLow, 0), figure(x.SavedHigh, 0))
	}
	t.Flush()
}
