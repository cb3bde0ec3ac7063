package main

import (
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"rowen/config"
	"rowen/ingest/readings"
)

func (sh *shell) initCommand() *cobra.Command {
	var samples []string
	c := &cobra.Command{
		Use:   "init FLEET",
		Short: "start a fleet's folder: tables, commented settings, catalogue and tariffs",
		Long: "Writes a folder to fill: every table with its header, an example row and a description of its columns in examples/,\n" +
			"and rowen.yaml, catalogue.yaml and tariffs.yaml with every key. A file that exists is left as it is.",
		Example: "  rowen init fleet\n  rowen init fleet --sample march.csv",
		Args:    exactly(1, "the folder to start"),
		RunE:    func(_ *cobra.Command, args []string) error { return sh.initFleet(args[0], samples) },
	}
	c.Flags().StringArrayVar(&samples, "sample", nil, "one of your exports: the proposed mapping goes into rowen.yaml; may be given several times")
	return c
}

// initFleet writes the files of a new fleet's folder that are not there yet.
func (sh *shell) initFleet(dir string, samples []string) error {
	mapping, err := proposedMappings(samples)
	if err != nil {
		return err
	}
	files := starterFiles(mapping)
	var kept []string
	for _, name := range slices.Sorted(maps.Keys(files)) {
		written, err := writeNew(filepath.Join(dir, filepath.FromSlash(name)), files[name])
		if err != nil {
			return fmt.Errorf("starting the fleet's folder: %w", err)
		}
		if !written {
			kept = append(kept, name)
		}
	}
	w := sh.stdout
	fmt.Fprintf(w, "%s: %d files written\n", dir, len(files)-len(kept))
	for _, name := range kept {
		fmt.Fprintf(w, "  left as it is: %s\n", name)
	}
	if mapping != "" && slices.Contains(kept, config.FileName) {
		fmt.Fprintf(w, "\n%s exists, so the proposed mapping was not put in. Add it by hand:\n\n%s", config.FileName, mapping)
	}
	next := []string{
		"fill sites.csv and arrays.csv; examples/*.txt explain every column",
		putFiles(samples),
		"fill tariffs.yaml and catalogue.yaml (small whole ones lie in examples/), and name the defaults in rowen.yaml",
		"rowen check " + dir,
		"rowen run " + dir,
	}
	if mapping == "" {
		next[1] += "; rowen check " + dir + " --sample FILE proposes a mapping for other columns"
	}
	if n := strings.Count(mapping, "ANSWER "); n > 0 {
		next = slices.Insert(next, 2, fmt.Sprintf("answer the %s in %s: search for ANSWER", count(n, "question"), config.FileName))
	}
	fmt.Fprintln(w, "\nNext:")
	for i, n := range next {
		fmt.Fprintf(w, "  %d. %s\n", i+1, n)
	}
	return nil
}

// writeNew writes a file unless something stands under its name.
func writeNew(path, text string) (bool, error) {
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return false, err
	}
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if errors.Is(err, fs.ErrExist) {
		return false, nil
	}
	if err != nil {
		return false, err
	}
	_, err = f.WriteString(text)
	return true, errors.Join(err, f.Close())
}

// putFiles says where the interval files go.
func putFiles(samples []string) string {
	if len(samples) < 2 {
		return "put your interval files under readings/"
	}
	var to []string
	for i, s := range samples {
		to = append(to, fmt.Sprintf("readings/export-%d/ (those like %s)", i+1, s))
	}
	return "put your interval files under\n       " + strings.Join(to, "\n       ")
}

// proposedMappings is the readings part of rowen.yaml for some samples.
func proposedMappings(samples []string) (string, error) {
	var b strings.Builder
	for i, path := range samples {
		p, err := readings.Propose(path)
		if err != nil {
			return "", fmt.Errorf("reading the sample %s: %w", path, err)
		}
		if len(samples) > 1 { // each kind in a folder of its own: one glob would cover them all
			p.Mapping.Glob = strings.Replace(p.Mapping.Glob, "readings/", fmt.Sprintf("readings/export-%d/", i+1), 1)
		}
		if p.Bills != nil {
			return "", fmt.Errorf("reading the sample %s: %s; rowen check FLEET --sample shows them", path, p.Bills.Says)
		}
		notes := p.Notes
		for _, q := range p.Questions {
			var ways []string
			for _, a := range q.Answers {
				ways = append(ways, a.Value+" ("+a.Means+")")
			}
			notes = append(notes, "ANSWER "+q.Key+": "+q.Says+": "+strings.Join(ways, "; "))
		}
		text := mappingYAML(p)
		if b.Len() > 0 {
			_, text, _ = strings.Cut(text, "\n") // one readings key for all
		}
		head, rest, _ := strings.Cut(text, "\n")
		if b.Len() == 0 {
			b.WriteString(head + "\n")
			text = rest
		}
		for _, n := range notes {
			fmt.Fprintf(&b, "  # %s: %s\n", filepath.Base(path), n)
		}
		b.WriteString(text)
	}
	return b.String(), nil
}
