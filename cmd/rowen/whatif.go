package main

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"rowen/config"
)

// whatIf is what a run takes in place of what stands in the fleet's folder, to
// be held against the run without it by compare.
type whatIf struct {
	set     []string // key=value
	tariffs string   // a file
}

func (w *whatIf) flags(c *cobra.Command) {
	c.Flags().StringArrayVar(&w.set, "set", nil, "a setting for this run alone, as --set money.cost_per_module=700; may be given several times")
	c.Flags().StringVar(&w.tariffs, "tariffs", "", "a file read in place of the folder's tariffs.yaml, for this run alone")
}

// settings reads the fleet's settings with the flags and what was set.
func (w *whatIf) settings(c *cobra.Command, dir string, keys map[string]string) (config.Settings, error) {
	given := givenFlags(c, keys)
	for _, s := range w.set {
		key, value, ok := strings.Cut(s, "=")
		if key = strings.TrimSpace(key); !ok || key == "" {
			return config.Settings{}, fmt.Errorf("%w: --set %q must be KEY=VALUE, as money.cost_per_module=700; rowen schema settings lists the keys", errUsage, s)
		}
		if was, twice := given[key]; twice && was != value {
			return config.Settings{}, fmt.Errorf("%w: %s is given twice, as %q and as %q; keep one", errUsage, key, was, value)
		}
		given[key] = value
	}
	return config.Load(dir, given, os.Environ())
}

// suffix names a run's folder by what differs: "" where nothing does.
func (w *whatIf) suffix() string {
	var parts []string
	for _, s := range w.set {
		key, value, _ := strings.Cut(s, "=")
		if key = strings.TrimSpace(key); key != "workers" && key != "month" {
			parts = append(parts, key+"="+strings.TrimSpace(value))
		}
	}
	slices.Sort(parts)
	if w.tariffs != "" {
		name := filepath.Base(w.tariffs)
		parts = append(parts, "tariffs="+strings.TrimSuffix(name, filepath.Ext(name)))
	}
	const longest = 120 // of a folder's name most systems take 255 bytes
	s := ""
	for _, p := range slices.Compact(parts) {
		s += "_" + strings.Map(func(r rune) rune {
			if r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || strings.ContainsRune("._-=", r) {
				return r
			}
			return '-'
		}, p)
	}
	return s[:min(len(s), longest)]
}
