package main

import (
	"fmt"
	"strings"

	"rowen/config"
	"rowen/ingest/register"
	"rowen/ingest/register/profiles"
)

// The files that a new fleet's folder begins with. Everything that is said in
// them comes from the data dictionary; the example row is all that is added.

// example is one row that reads, for each table that a person fills.
var example = map[string]map[string]string{
	"sites": {"site_id": "H-1001", "latitude": "39.74", "longitude": "-105.18", "timezone": "America/Denver", "elevation_m": "1730",
		"customer": "A. Customer", "contact": "+1 555 0100", "postcode": "80000", "branch": "North", "grid_type": "grid_tied",
		"commissioned_on": "2019-05-20", "tariff_id": "tou-a", "permission_limit_kw": "10", "do_not_contact": "no", "last_contact_on": "2026-01-15"},
	"arrays": {"site_id": "H-1001", "array_id": "south", "modules": "14", "module_watts": "320", "tilt_deg": "30", "azimuth_deg": "180",
		"plane_id": "P1", "inverter_model": "", "inverters": "14", "commissioned_on": "2019-05-20"},
	"planes": {"site_id": "H-1001", "plane_id": "P1", "width_m": "10.0", "slope_m": "4.5", "tilt_deg": "30", "azimuth_deg": "180",
		"shading_pct": "3", "blocked_m2": "1.2", "roof_kind": "shingle", "roof_year": "2012"},
	"services": {"site_id": "H-1001", "phases": "2", "volts": "240", "busbar_amps": "200", "main_breaker_amps": "200", "pv_breaker_amps": "20",
		"free_spaces": "6", "feed": "end", "profile": "split-phase-200"},
	"gateways": {"site_id": "H-1001", "gateway_model": "YOUR-GATEWAY", "software_version": "5.2.1180", "reporting_inverters": "14",
		"last_seen_on": "2026-10-31", "backup_controller": "no", "storage_kwh": "0"},
	"bills":    {"site_id": "H-1001", "from": "2026-09-03", "to": "2026-10-02", "import_kwh": "612", "export_kwh": "148"},
	"outcomes": {"site_id": "H-1001", "called_on": "2026-10-12", "result": "no_answer", "reason": ""},
}

// starterFiles gives the files of a new fleet's folder by path; readings is the
// mapping that was proposed, "" for the contract's own columns.
func starterFiles(readings string) map[string]string {
	files := map[string]string{
		config.FileName:  settingsFile(readings),
		"catalogue.yaml": documentFile("catalogue", "Model names are yours: arrays.csv, gateways.csv and rowen.yaml refer to them. examples/catalogue.yaml is the smallest that works."),
		"tariffs.yaml":   documentFile("tariffs", "Type one entry per tariff that your customers have; examples/tariffs.yaml has three that are whole."),
		".gitignore":     "# What a run writes, and what it keeps of the readings.\n/runs/\n/.rowen/\n# Personal data.\n/sites.csv\n/outcomes.csv\n/examples/\n",
		"readings/.keep": "",

		"examples/catalogue.yaml": exampleCatalogue, "examples/tariffs.yaml": exampleTariffs,
	}
	for _, t := range register.Tables() {
		row, ok := example[t.Name]
		if !ok {
			continue
		}
		header, values := columnsOf(t, row)
		files[t.File] = header
		files["examples/"+t.File] = header + values
		files["examples/"+t.Name+".txt"] = explained(t, row)
	}
	return files
}

func columnsOf(t register.Table, row map[string]string) (header, values string) {
	var names, cells []string
	for _, c := range t.Columns {
		names, cells = append(names, c.Name), append(cells, row[c.Name])
	}
	return strings.Join(names, ",") + "\n", strings.Join(cells, ",") + "\n"
}

// explained lists a table's columns one per line, with the example's cell.
func explained(t register.Table, row map[string]string) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s: %s.\nA blank cell means not known and is never taken for zero.\n\n", t.File, t.Text)
	for _, c := range t.Columns {
		facts := []string{c.Type}
		for _, f := range []string{c.Unit, c.Limit} {
			if f != "" {
				facts = append(facts, f)
			}
		}
		if c.Required {
			facts = append(facts, "required")
		}
		fmt.Fprintf(&b, "%s\n    %s\n    %s\n", c.Name, strings.Join(facts, ", "), c.Text)
		if v := row[c.Name]; v != "" {
			fmt.Fprintf(&b, "    for example: %s\n", v)
		}
	}
	return b.String()
}

// documentFile is catalogue.yaml or tariffs.yaml with every key commented out.
func documentFile(name, first string) string {
	var b strings.Builder
	for _, d := range register.Documents() {
		if d.Name != name {
			continue
		}
		fmt.Fprintf(&b, "# %s: %s.\n# %s\n# Remove the # of the lines that you fill; leave out what is not known.\n", d.File, d.Text, first)
		if name == "catalogue" {
			b.WriteString("# These service profiles come with the program and need no entry here:\n")
			for _, p := range profiles.Shipped() {
				fmt.Fprintf(&b, "#   %-22s %s (%s)\n", p.ID, p.Place, p.Source)
			}
		}
		b.WriteByte('\n')
		var keys []outlineKey
		for _, k := range d.Keys {
			says := []string{k.Text}
			if k.Unit != "" {
				says = append(says, "in "+k.Unit)
			}
			if k.Limit != "" {
				says = append(says, k.Limit)
			}
			if says = append(says, "find it: "+k.Where); k.Blank == "" {
				says = append(says, "required")
			} else {
				says = append(says, "left out: "+k.Blank)
			}
			keys = append(keys, outlineKey{name: k.Name, says: strings.Join(says, "; ")})
		}
		b.WriteString(outline(keys))
	}
	return b.String()
}

// settingsFile is rowen.yaml with every key at its default, commented out.
func settingsFile(readings string) string {
	var b strings.Builder
	b.WriteString("# rowen.yaml: the settings. Every key has a default; remove the # of the lines that you change.\n# Flags come before ROWEN_* environment variables, these before this file.\n\n")
	if readings != "" {
		b.WriteString("# How your export is read, as proposed from a sample: confirm each line.\n" + readings + "\n")
	}
	var keys []outlineKey
	for _, k := range config.Keys() {
		if readings != "" && strings.HasPrefix(k.Name, "readings[]") {
			continue
		}
		says := []string{k.Text}
		for _, f := range []string{k.Unit, k.Limit} {
			if f != "" {
				says = append(says, f)
			}
		}
		value := k.Default
		if k.Type == "list of numbers" && value != "" {
			value = "[" + strings.ReplaceAll(value, " ", ", ") + "]"
		}
		keys = append(keys, outlineKey{name: k.Name, value: value, says: strings.Join(says, "; ")})
	}
	b.WriteString(outline(keys))
	return b.String()
}

// outlineKey is a dotted key, as modules[].watts, with its value and comment.
type outlineKey struct{ name, value, says string }

// outline writes dotted keys as a YAML tree in which every line is commented out.
func outline(keys []outlineKey) string {
	var b strings.Builder
	var open []string // the groups that are open, from the outermost
	for _, k := range keys {
		parts := strings.Split(k.name, ".")
		groups, leaf := parts[:len(parts)-1], parts[len(parts)-1]
		same := 0
		for same < len(open) && same < len(groups) && open[same] == groups[same] {
			same++
		}
		dash := false
		for i := same; i < len(groups); i++ {
			fmt.Fprintf(&b, "# %s%s:\n", indent(groups[:i], dash), strings.TrimSuffix(groups[i], "[]"))
			dash = strings.HasSuffix(groups[i], "[]")
		}
		open = append(open[:0], groups...)
		line := fmt.Sprintf("# %s%s: %s", indent(groups, dash), leaf, k.value)
		fmt.Fprintf(&b, "%-44s # %s\n", strings.TrimRight(line, " "), k.says)
	}
	return b.String()
}

// indent is the room before a key below groups; with dash the key begins an
// entry of the innermost list.
func indent(groups []string, dash bool) string {
	n := 0
	for _, g := range groups {
		if n += 2; strings.HasSuffix(g, "[]") {
			n += 2
		}
	}
	if dash {
		return strings.Repeat(" ", n-2) + "- "
	}
	return strings.Repeat(" ", n)
}
