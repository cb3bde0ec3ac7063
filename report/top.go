package report

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"strings"
	"text/tabwriter"

	"rowen/analyze"
	"rowen/report/page"
)

// Caution is page.Cautions as one text.
var Caution = strings.Join(page.Cautions, " ")

// WriteCaution prints it below what leads to work on a house, a sentence a line.
func WriteCaution(w io.Writer) { fmt.Fprintf(w, "\n%s\n", strings.Join(page.Cautions, "\n")) }

// Top prints the first ranked customers for a terminal, by site id: names and
// contacts are in the call list only.
func Top(w io.Writer, ranked []*analyze.Finding, currency string) {
	if len(ranked) == 0 {
		fmt.Fprintln(w, "\nNobody to call this month.")
		return
	}
	fmt.Fprintf(w, "\nThe first %d to call (money in %s, intervals 90 %%):\n\n", len(ranked), currency)
	var table bytes.Buffer
	t := tabwriter.NewWriter(&table, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "rank\tsite\tbranch\tlane\tadd\tsaves a year\tnet benefit\tpays back\tsure\twhy")
	for _, f := range ranked {
		o := f.Chosen
		fmt.Fprintf(t, "%d\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t%.2f\t%s\n", f.Verdict.Rank, short(f.Site.ID, 20), orDash(short(f.Site.Branch, 16)), f.Verdict.Lane,
			modules(o.Modules), withRange(o.Saving.Value, o.Saving.Low, o.Saving.High), withRange(o.NetBenefit.Value, o.NetBenefit.Low, o.NetBenefit.High),
			years(o.SimplePaybackYears), f.Verdict.Confidence, mainReasons(f, 3))
	}
	t.Flush()
	for line := range strings.Lines(table.String()) {
		fmt.Fprintln(w, short(strings.TrimRight(line, " \n"), terminalColumns))
	}
}

// mainReasons are the codes of the weightiest reasons.
func mainReasons(f *analyze.Finding, n int) string {
	rs := f.Verdict.Reasons
	return strings.Join(codes(min(n, len(rs)), func(i int) string { return rs[i].Code }), ", ")
}

// short keeps the first n characters of a text, the last of them a mark where
// something is left out.
func short(s string, n int) string {
	if r := []rune(s); len(r) > n {
		return string(r[:n-1]) + "…"
	}
	return s
}

func withRange(v, low, high float64) string {
	if math.IsNaN(low) || math.IsNaN(high) {
		return whole(v)
	}
	return fmt.Sprintf("%s (%s to %s)", whole(v), whole(low), whole(high))
}

func years(y float64) string {
	if math.IsNaN(y) || math.IsInf(y, 0) {
		return "never"
	}
	return fmt.Sprintf("%.1f years", y)
}

func orDash(s string) string {
	if s == "" {
		return "-"
	}
	return s
}
