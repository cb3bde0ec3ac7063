// Command hidden measures what the list is worth where the register is not whole:
// it takes planes.csv, services.csv, gateways.csv or all of them from invented
// fleets, has the program judge each as it stands, and holds the order of the list
// against what the whole register makes of the same sites.
//
//	full   gain: the net benefit that the whole register's run offers
//	need   gain: the best net benefit of any size up to sixteen, whatever the limits
//	held   share of the sites whose roof truly takes what is said to fit nine times in ten
//
//	go run ./scripts/hidden [-seeds 9701,9702,9703]
package main

import (
	"cmp"
	"errors"
	"flag"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"

	"github.com/parquet-go/parquet-go"

	"rowen/report"
)

// hides are the tables that are taken away.
var hides = [][]string{nil, {"planes"}, {"services"}, {"gateways"}, {"planes", "services", "gateways"}}

const top = 20 // of NDCG

func main() {
	seeds := flag.String("seeds", "9701,9702,9703", "seeds of the fleets")
	flag.Parse()
	if err := run(strings.Split(*seeds, ",")); err != nil {
		fmt.Fprintln(os.Stderr, "hidden:", err)
		os.Exit(1)
	}
}

func run(seeds []string) error {
	temp, err := os.MkdirTemp("", "rowen-hidden-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(temp)
	program := filepath.Join(temp, "rowen")
	if b, err := exec.Command("go", "build", "-o", program, "./cmd/rowen").CombinedOutput(); err != nil {
		return fmt.Errorf("building rowen: %w\n%s", err, b)
	}
	sums := make([]figures, len(hides))
	for _, seed := range seeds {
		dir := filepath.Join(temp, seed)
		if b, err := exec.Command(program, "demo", "--seed", seed, "--dir", dir).CombinedOutput(); err != nil {
			return fmt.Errorf("seed %s: %w\n%s", seed, err, b)
		}
		runs := make([]listed, len(hides))
		for i, tables := range hides {
			if runs[i], err = without(program, dir, tables); err != nil {
				return fmt.Errorf("seed %s without %v: %w", seed, tables, err)
			}
		}
		need := runs[len(runs)-1].worth
		for i := range runs {
			sums[i].add(&runs[i], &runs[0], need)
		}
		os.RemoveAll(dir)
	}
	fmt.Printf("%-30s %10s %10s %16s\n", "taken away", "full", "need", "nine in ten held")
	for i, f := range sums {
		name := strings.Join(hides[i], " + ")
		if name == "" {
			name = "nothing"
		}
		held := "-"
		if f.said > 0 {
			held = fmt.Sprintf("%.0f %% of %d", 100*float64(f.held)/float64(f.said), f.said)
		}
		n := float64(len(seeds))
		fmt.Printf("%-30s %10.2f %10.2f %16s\n", name, f.full/n, f.need/n, held)
	}
	return nil
}

// listed is one run: its sites, the order of its list, and the best net benefit of
// any size by site.
type listed struct {
	sites map[string]*report.SiteRow
	order []string
	worth map[string]float64
}

// without runs the program on the fleet less some tables.
func without(program, dir string, tables []string) (l listed, err error) {
	for _, t := range tables {
		path := filepath.Join(dir, t+".csv")
		if err := os.Rename(path, path+".away"); err != nil {
			return l, err
		}
		defer os.Rename(path+".away", path)
	}
	out := filepath.Join(dir, "runs", "hidden")
	if b, err := exec.Command(program, "run", dir, "--out", out, "--replace").CombinedOutput(); err != nil {
		if exit := (*exec.ExitError)(nil); !errors.As(err, &exit) || exit.ExitCode() != 3 {
			return l, fmt.Errorf("%w\n%s", err, b)
		}
	}
	rows, err := parquet.ReadFile[report.SiteRow](filepath.Join(out, "sites.parquet"))
	if err != nil {
		return l, err
	}
	options, err := parquet.ReadFile[report.OptionRow](filepath.Join(out, "options.parquet"))
	if err != nil {
		return l, err
	}
	l.sites, l.worth = map[string]*report.SiteRow{}, map[string]float64{}
	for i := range rows {
		l.sites[rows[i].SiteID] = &rows[i]
		if rows[i].Rank != nil {
			l.order = append(l.order, rows[i].SiteID)
		}
	}
	slices.SortFunc(l.order, func(a, b string) int { return int(*l.sites[a].Rank - *l.sites[b].Rank) })
	for _, o := range options {
		l.worth[o.SiteID] = max(l.worth[o.SiteID], o.NetBenefit)
	}
	return l, os.RemoveAll(out)
}

type figures struct {
	full, need float64
	held, said int
}

func (f *figures) add(l, whole *listed, worth map[string]float64) {
	full, need := map[string]float64{}, map[string]float64{}
	for id, r := range whole.sites {
		if r.Rank != nil && r.NetBenefit != nil {
			full[id] = max(0, *r.NetBenefit)
		}
		switch r.Lane {
		case "do_not_contact", "no_data", "repair": // nobody is to be called, whatever the need
		default:
			need[id] = worth[id]
		}
	}
	f.full += ndcg(l.order, full)
	f.need += ndcg(l.order, need)
	for id, r := range l.sites {
		if truth := whole.sites[id].RoofModules; r.FitNineInTen != nil && truth != nil && r.RoofModules == nil && len(r.UnknownLimits) > 0 && r.UnknownLimits[0] == "roof" {
			f.said++
			if *truth >= *r.FitNineInTen {
				f.held++
			}
		}
	}
}

// ndcg is the normalized discounted cumulative gain of the first places (Järvelin
// and Kekäläinen 2002).
func ndcg(order []string, gain map[string]float64) float64 {
	best := make([]float64, 0, len(gain))
	for _, g := range gain {
		best = append(best, g)
	}
	slices.SortFunc(best, func(a, b float64) int { return cmp.Compare(b, a) })
	got, most := 0.0, 0.0
	for i := range min(top, len(best)) {
		by := math.Log2(float64(i) + 2)
		most += best[i] / by
		if i < len(order) {
			got += gain[order[i]] / by
		}
	}
	return got / most
}
