package main

import (
	"errors"
	"fmt"
	"io"
	"time"

	"github.com/spf13/cobra"

	"rowen/analyze"
	"rowen/ingest"
	"rowen/ingest/ledger"
)

func (sh *shell) checkCommand() *cobra.Command {
	var sample string
	var ask request
	c := &cobra.Command{
		Use:     "check FLEET",
		Example: "  rowen check fleet\n  rowen check fleet --sample march.csv",
		Short:   "read everything and report problems; no analysis",
		Args:    exactly(1, "the fleet's folder"),
		RunE: func(c *cobra.Command, args []string) error {
			if sample != "" {
				return sh.checkSample(c, args[0], sample)
			}
			return sh.check(c, args[0], ask)
		},
	}
	ask.instead.flags(c)
	ask.readingFlags(c)
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

func (sh *shell) check(c *cobra.Command, dir string, ask request) error {
	instead := ask.instead
	set, err := instead.settings(c, dir, nil)
	if err != nil {
		return err
	}
	fleet, err := readRegister(dir, set, instead.tariffs)
	if err != nil {
		return err
	}
	j := newOutcome(sh, dir, set)
	source, book, err := ledger.UpdateAndOpen(c.Context(), dir, ledger.Sites(fleet), mappings(set), j.ledgerOptions(ask))
	j.bar.done()
	if err != nil {
		return err
	}
	defer source.Close()
	options, err := analyzeOptions(set, j.workers)
	if err != nil {
		return err
	}
	job := analyze.NewFleet(fleet, source, options)
	if err := job.Check(); err != nil {
		return err
	}
	lacks := lackingOf(fleet, book, job, set.Limits)
	for _, s := range lacks.says {
		fmt.Fprintln(sh.stdout, "lacking:", s)
	}

	w := sh.stdout
	rows := book.Rows
	fmt.Fprintf(w, "%d sites; %d reading files; %d rows read = %d kept + %d set aside\n", len(fleet.Sites), len(book.Files), rows.Read, rows.Kept, rows.SetAside)
	rejects := append(append([]ingest.Reject{}, fleet.Rejects...), book.Rejects...)
	wrong := len(rejects)
	sayRejects(w, rejects)
	if job.TariffErr != nil {
		wrong++
		fmt.Fprintln(w, job.TariffErr)
	}
	for _, t := range fleet.Tariffs {
		if c := job.Tariffs[t.ID]; c != nil {
			for _, n := range c.Notes {
				fmt.Fprintf(w, "note: tariff %q: %s\n", t.ID, n)
			}
		}
	}
	for _, n := range append(append([]string{}, fleet.Notes...), book.Notes...) {
		fmt.Fprintln(w, "note:", n)
	}
	unread, err := sayQuality(w, fleet, source)
	if err != nil {
		return err
	}
	if unread > 0 {
		fmt.Fprintf(w, "note: %d sites of the register have no readings\n", unread)
	}
	if unread == len(fleet.Sites) {
		return errNoReadings
	}
	if err := lacks.verdict("as said above"); err != nil {
		return err
	}
	if wrong > 0 {
		fmt.Fprintf(w, "%s set aside, as said above: within the limits of the settings\n", count(wrong, "thing"))
		return nil
	}
	fmt.Fprintln(w, "no problems found")
	return nil
}

// sayQuality prints what is doubtful about each site's readings.
func sayQuality(w io.Writer, fleet *ingest.Fleet, source ingest.Source) (unread int, err error) {
	var s ingest.Series
	for i := range fleet.Sites {
		id := fleet.Sites[i].ID
		if err := source.Load(id, &s); errors.Is(err, ingest.ErrNoReadings) {
			unread++
			continue
		} else if err != nil {
			return unread, err
		}
		for _, q := range s.Quality {
			what := map[ingest.Consequence]string{ingest.KeepWithCaveat: "caveat", ingest.RefuseChannel: "refused", ingest.LeaveHoursOut: "left out", ingest.CountAsZero: "counted as zero", ingest.ExchangeChannels: "exchanged"}[q.Consequence]
			fmt.Fprintf(w, "%s: %s: %s: %s\n", id, what, q.Code, q.Says)
		}
	}
	return unread, nil
}

// sayRejects prints what was set aside; lines one after the other with the same
// fault are one.
func sayRejects(w io.Writer, rejects []ingest.Reject) {
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
		fmt.Fprintln(w, describe(r))
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
