package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"time"

	"github.com/spf13/cobra"

	"rowen/ingest"
	"rowen/ingest/ledger"
)

func (sh *shell) checkCommand() *cobra.Command {
	var sample, format string
	var all bool
	var ask request
	c := &cobra.Command{
		Use:     "check FLEET",
		Example: "  rowen check fleet\n  rowen check fleet --format json\n  rowen check fleet --sample march.csv",
		Short:   "read everything and report problems; no analysis",
		Args:    exactly(1, "the fleet's folder"),
		RunE: func(c *cobra.Command, args []string) error {
			if sample != "" {
				return sh.checkSample(c, args[0], sample)
			}
			return sh.check(c, args[0], format, all, ask)
		},
	}
	ask.instead.flags(c)
	ask.readingFlags(c)
	c.Flags().StringVar(&format, "format", "text", "text, or json for schedulers: one document on the output, the log beside it")
	c.Flags().BoolVar(&all, "all", false, "list the doubts of every site, not only the first of each kind")
	c.Flags().StringVar(&sample, "sample", "", "look at one unknown export and propose a mapping for it")
	return c
}

// checkSample looks at an unknown export, with the fleet's sites where there is
// a register already.
func (sh *shell) checkSample(c *cobra.Command, dir, sample string) error {
	f := sampleFleet{zone: time.UTC}
	if set, err := loadSettings(c, dir, nil); err == nil {
		if zone, err := time.LoadLocation(set.Defaults.Timezone); err == nil && set.Defaults.Timezone != "" {
			f.zone = zone
		}
		if fleet, err := readRegister(dir, set, ""); err == nil {
			f.sites = ledger.Sites(fleet)
		}
	}
	return sh.proposeMapping(c.Context(), f, sample)
}

// check reads everything and says what is wrong, doubtful or missing.
func (sh *shell) check(c *cobra.Command, dir, format string, all bool, ask request) error {
	if format != "text" && format != "json" {
		return fmt.Errorf("%w: --format %q is neither text nor json", errUsage, format)
	}
	set, err := ask.instead.settings(c, dir, nil)
	if err != nil {
		return err
	}
	stop, err := startProfile(sh.profile)
	if err != nil {
		return err
	}
	found, err := readForCheck(c.Context(), ask, newOutcome(sh, dir, set))
	stop()
	if err != nil {
		return err
	}
	if format == "json" {
		e := json.NewEncoder(sh.stdout)
		e.SetIndent("", "  ")
		err = e.Encode(found)
	} else {
		found.print(sh.stdout, all)
	}
	return errors.Join(err, found.err)
}

// print says it on the screen, the heaviest first.
func (c *checked) print(w io.Writer, all bool) {
	for _, s := range c.Lacking {
		fmt.Fprintln(w, "lacking:", s)
	}
	fmt.Fprintf(w, "%d sites; %s of readings; %d rows read = %d kept + %d set aside", c.Sites, count(c.Files, "file"), c.Rows.Read, c.Rows.Kept, c.Rows.SetAside)
	if c.Rows.Repeated > 0 {
		fmt.Fprintf(w, "; %d of those kept repeat another row of the same file", c.Rows.Repeated)
	}
	if fmt.Fprintln(w); c.Month != "" {
		fmt.Fprintf(w, "report month: %s\n", c.Month)
	}
	if m := c.Metered; m.Both < c.Sites {
		fmt.Fprintf(w, "readings of production: %d of %s; of consumption, or import and export: %d; of both: %d\n", m.Production, count(c.Sites, "site"), m.Consumption, m.Both)
	}
	sayRejects(w, c.Aside)
	for _, n := range c.Notes {
		fmt.Fprintln(w, "note:", n)
	}
	c.printSites(w, all)
	if len(c.Unlocks) > 0 {
		fmt.Fprintln(w, "\nWhat is missing, and what it would tell, the most useful first:")
		for _, u := range c.Unlocks {
			fmt.Fprintln(w, " ", u)
		}
		fmt.Fprintln(w)
	}
	if c.ExitCode == 0 { // the error says the other verdicts
		fmt.Fprintln(w, c.Says)
	}
}

// printSites says what is odd about single sites.
func (c *checked) printSites(w io.Writer, all bool) {
	if c.Unknowns > 0 {
		fmt.Fprintf(w, "%s with readings %s not in sites.csv", count(c.Unknowns, "site"), are(c.Unknowns))
		for i, u := range c.Unknown[:min(len(c.Unknown), 5)] {
			fmt.Fprint(w, map[bool]string{true: ": ", false: ", "}[i == 0], u.ID)
			if u.Nearest != "" {
				fmt.Fprintf(w, " (perhaps %s, which has none)", u.Nearest)
			}
		}
		if c.Unknowns > 5 {
			fmt.Fprint(w, ", …")
		}
		fmt.Fprintln(w)
	}
	if n := len(c.NoRows); n > 0 {
		fmt.Fprintf(w, "%s of the register %s no readings: %s\n", count(n, "site"), map[bool]string{true: "has", false: "have"}[n == 1], firstFew(c.NoRows, 5))
	}
	if n := len(c.Ended); n > 0 {
		var few []string
		for _, e := range c.Ended[:min(n, 6)] {
			few = append(few, e.SiteID+" ("+e.LastOn+")")
		}
		fmt.Fprintf(w, "the readings of %s end before the report month: %s\n", count(n, "site"), firstFew(few, 5))
	}
	for _, group := range grouped(c.Odd, all, func(o oddity) string { return o.Channel + o.Unit }) {
		o := group[0]
		who := o.SiteID + ": "
		if o.SiteID == "" {
			who = ""
		}
		fmt.Fprintf(w, "%simplausible: %s\n", who, o.Says)
		more(w, len(group)-1)
	}
	for _, group := range grouped(c.Quality, all, func(q doubt) string { return q.Code + q.Consequence }) {
		q := group[0]
		fmt.Fprintf(w, "%s: %s: %s: %s\n", q.SiteID, q.Consequence, q.Code, q.Says)
		more(w, len(group)-1)
	}
}

func more(w io.Writer, n int) {
	if n > 0 {
		fmt.Fprintf(w, "    and %d more like it (--all names them)\n", n)
	}
}

// grouped are the findings of one kind together, in order of the first; all: each
// by itself.
func grouped[F any](found []F, all bool, kind func(F) string) (groups [][]F) {
	at := map[string]int{}
	for _, f := range found {
		key := kind(f)
		if k, ok := at[key]; ok && !all {
			groups[k] = append(groups[k], f)
			continue
		}
		at[key] = len(groups)
		groups = append(groups, []F{f})
	}
	return groups
}

// sayRejects prints what was set aside; lines one after the other with the same
// fault are one.
func sayRejects(w io.Writer, rejects []aside) {
	for i := 0; i < len(rejects); {
		r, n := rejects[i], 1
		for i+n < len(rejects) && r.Line > 0 && rejects[i+n].Line == r.Line+n && rejects[i+n].File == r.File && rejects[i+n].Column == r.Column && rejects[i+n].Reason == r.Reason {
			n++
		}
		i += n
		switch {
		case n == 2:
			r.Reason += " (and so the line after it)"
		case n > 2:
			r.Reason += fmt.Sprintf(" (and so the %d lines after it)", n-1)
		}
		fmt.Fprintln(w, describe(ingest.Reject{File: r.File, Line: r.Line, Column: r.Column, Reason: r.Reason}))
	}
}

// describe prints a row that was set aside as file:line: column "c": reason.
func describe(r ingest.Reject) string {
	s := r.File
	if r.Line > 0 {
		s += fmt.Sprintf(":%d", r.Line)
	}
	if r.Column != "" {
		s += fmt.Sprintf(": column %q", r.Column)
	}
	return s + ": " + r.Reason
}
