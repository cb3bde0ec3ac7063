package main

import (
	"cmp"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"rowen/analyze/tariff"
	"rowen/ingest"
	"rowen/ingest/rates"
	"rowen/ingest/register"
	"rowen/ingest/regular"
)

func (sh *shell) tariffCommand() *cobra.Command {
	var a rates.Answers
	var into, id string
	var exportPrice, surplusPrice, taxPct float64
	c := &cobra.Command{
		Use:   "tariff FILE...",
		Short: "turn published rate files into entries for tariffs.yaml",
		Long: "Reads rates in the JSON of the open U.S. utility rate database and plans in the JSON of the\n" +
			"Australian Consumer Data Right, and prints them as entries for tariffs.yaml. Comments name what a\n" +
			"file holds and the entry does not, and what must be decided. Works offline.",
		Example: "  rowen tariff rate.json\n  rowen tariff rate.json --metering net_billing --export-price 0.05 --into fleet/tariffs.yaml",
		RunE: func(c *cobra.Command, args []string) error {
			if len(args) == 0 {
				return fmt.Errorf("%w: %s takes one rate file or more", errUsage, c.CommandPath())
			}
			for _, flag := range []struct {
				name string
				v    float64
				into *ingest.Opt[float64]
			}{{"export-price", exportPrice, &a.ExportPrice}, {"surplus-price", surplusPrice, &a.SurplusPrice}, {"tax-pct", taxPct, &a.TaxPct}} {
				if c.Flags().Changed(flag.name) {
					*flag.into = ingest.Some(flag.v)
				}
			}
			if a.Metering != "" && !slices.Contains(rates.Meterings, a.Metering) {
				return fmt.Errorf("%w: --metering %q must be one of %s", errUsage, a.Metering, strings.Join(rates.Meterings, ", "))
			}
			if !slices.Contains([]string{"", "day", "month", "year"}, a.BlockPeriod) {
				return fmt.Errorf("%w: --block-period %q must be day, month or year", errUsage, a.BlockPeriod)
			}
			return sh.tariffs(args, a, id, into)
		},
	}
	f := c.Flags()
	f.StringVar(&into, "into", "", "add the entries to this file; an id that it holds already is not overwritten")
	f.StringVar(&id, "id", "", "the entry's id, where one rate is read (default: by the names in the file)")
	f.StringVar(&a.Metering, "metering", "", "how export is credited: "+strings.Join(rates.Meterings, ", ")+" (default: as the file says)")
	f.Float64Var(&exportPrice, "export-price", 0, "what a kWh sold earns")
	f.Float64Var(&surplusPrice, "surplus-price", 0, "what a kWh of net surplus earns when the year closes")
	f.BoolVar(&a.NoLegacy, "no-legacy", false, "growing the array moves no site to another tariff")
	f.Float64Var(&taxPct, "tax-pct", 10, "tax added to the charges of a plan that is given without it")
	f.StringVar(&a.BlockPeriod, "block-period", "", "what the blocks of a plan are counted in: day, month, year (default: as the plan says)")
	return c
}

// tariffs reads the files and prints the entries or adds them to a file. A file
// or rate that cannot be used is said, and the others go on.
func (sh *shell) tariffs(files []string, a rates.Answers, id, into string) error {
	var all []rates.Rate
	var wrong []error
	for _, file := range files {
		text, err := regular.ReadFile(file)
		if err != nil {
			wrong = append(wrong, fmt.Errorf("reading a rate: %w", err))
			continue
		}
		found, err := rates.Read(file, text, a)
		if err != nil {
			wrong = append(wrong, err)
		}
		for _, r := range found {
			if id != "" {
				r.Tariff.ID = id
			}
			if _, err := tariff.Compile(r.Tariff); err != nil {
				wrong = append(wrong, fmt.Errorf("%s: %w", file, err))
				continue
			}
			all = append(all, r)
		}
	}
	if id != "" && len(all) > 1 {
		return fmt.Errorf("%w: --id %s: %d rates were read, and each needs an id of its own; read one", errUsage, id, len(all))
	}
	all, twice := distinct(all)
	wrong = append(wrong, twice...)
	if err := sh.deliver(all, into, &wrong); err != nil {
		return err
	}
	switch {
	case len(wrong) == 0:
		return nil
	case len(all) == 0:
		return errors.Join(wrong...)
	}
	return fmt.Errorf("%w:\n%w", errPartly, errors.Join(wrong...))
}

// distinct drops what would come twice under one id.
func distinct(all []rates.Rate) (kept []rates.Rate, wrong []error) {
	for _, r := range all {
		if slices.ContainsFunc(kept, func(k rates.Rate) bool { return k.Tariff.ID == r.Tariff.ID }) {
			wrong = append(wrong, fmt.Errorf("tariff %q: comes from two files; read one by itself with --id", r.Tariff.ID))
			continue
		}
		kept = append(kept, r)
	}
	return kept, wrong
}

func (sh *shell) deliver(all []rates.Rate, into string, wrong *[]error) error {
	if len(all) == 0 {
		return nil
	}
	if into == "" {
		fmt.Fprintln(sh.stdout, "tariffs:")
		for _, r := range all {
			fmt.Fprint(sh.stdout, r.Entry(2))
		}
		return nil
	}
	text, added, err := insert(into, all, wrong)
	if err != nil || len(added) == 0 {
		return err
	}
	if err := replaceFile(into, text); err != nil {
		return fmt.Errorf("writing %s: %w", into, err)
	}
	for _, r := range added {
		fmt.Fprintf(sh.stdout, "%s: added %s; %d things to decide, marked DECIDE\n", into, r.Tariff.ID, len(r.Ask))
	}
	return nil
}

var (
	listEntry = regexp.MustCompile(`(?m)^( *)- `)
	listHead  = regexp.MustCompile(`(?m)^tariffs:[ \t]*(\[\])?[ \t]*(#.*)?$`)
)

// insert puts the entries behind the last one of a tariffs file. What results
// must read as before, with the new ones added, or nothing is written.
func insert(file string, all []rates.Rate, wrong *[]error) ([]byte, []rates.Rate, error) {
	old, err := os.ReadFile(file)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, nil, fmt.Errorf("reading %s: %w", file, err)
	}
	name := filepath.Base(file)
	have, err := register.ParseTariffs(name, old)
	if err != nil {
		return nil, nil, fmt.Errorf("adding to %s, which is left as it is: %w", file, err)
	}
	text := strings.TrimRight(string(old), "\n") + "\n"
	if strings.TrimSpace(text) == "" {
		text = "tariffs:\n"
	}
	if !listHead.MatchString(text) && len(have) == 0 {
		text += "tariffs:\n"
	}
	text = listHead.ReplaceAllString(text, "tariffs:$2")
	indent := 2
	if m := listEntry.FindStringSubmatch(text[max(0, strings.LastIndex(text, "\ntariffs:")):]); m != nil && len(have) > 0 {
		indent = len(m[1])
	}
	var added []rates.Rate
	for _, r := range all {
		if ingest.FindTariff(have, r.Tariff.ID) != nil {
			*wrong = append(*wrong, fmt.Errorf("tariff %q is in %s already and is left as it is; give the new one another --id", r.Tariff.ID, file))
			continue
		}
		text += r.Entry(indent)
		added = append(added, r)
	}
	now, err := register.ParseTariffs(name, []byte(text))
	if err != nil || len(now) != len(have)+len(added) {
		return nil, nil, fmt.Errorf("adding to %s, which is left as it is: its list of tariffs must be the last thing in it, one entry under the other (%w)", file, cmp.Or(err, errors.New("the entries do not add up")))
	}
	return []byte(text), added, nil
}

// replaceFile writes a file whole or not at all.
func replaceFile(path string, text []byte) error {
	mode := fs.FileMode(0o644)
	if info, err := os.Stat(path); err == nil {
		mode = info.Mode().Perm()
	}
	temp, err := os.CreateTemp(filepath.Dir(path), ".unfinished-*")
	if err != nil {
		return err
	}
	defer os.Remove(temp.Name())
	_, err = temp.Write(text)
	err = errors.Join(err, temp.Chmod(mode), temp.Sync(), temp.Close())
	if err != nil {
		return err
	}
	return os.Rename(temp.Name(), path)
}
