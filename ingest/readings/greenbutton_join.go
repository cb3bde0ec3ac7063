package readings

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"rowen/ingest"
)

// gbFile joins the entries and emits the readings.
type gbFile struct {
	file   *File
	limits Limits
	emit   func(*Batch) error
	site   int32
	siteID string
	batch  *Batch
	tally  Tally
}

// gbMeter is one MeterReading with its type and blocks.
type gbMeter struct {
	entry   *gbEntry
	typ     *gbEntry
	blocks  []*gbEntry
	n       int // readings
	channel ingest.Channel
	net     bool
	order   int
}

func (g *gbFile) join(entries []*gbEntry) error {
	g.batch = newBatch([ingest.NumChannels]bool{ingest.Import: true, ingest.Export: true})
	meters := g.meters(entries)
	meters = g.usable(entries, meters)
	var rows []gbRow
	for _, m := range meters {
		rows = append(rows, g.rows(m)...)
	}
	g.clock(entries)
	return g.emitRows(rows)
}

// meters joins blocks and types to their MeterReading.
func (g *gbFile) meters(entries []*gbEntry) []*gbMeter {
	var list []*gbMeter
	bySelf, byRelated := map[string]*gbMeter{}, map[string]*gbMeter{}
	types := map[string]*gbEntry{}
	for _, e := range entries {
		switch e.kind {
		case "MeterReading":
			m := &gbMeter{entry: e, order: len(list)}
			list = append(list, m)
			bySelf[e.self] = m
			for _, h := range e.related {
				byRelated[h] = m
			}
		case "ReadingType":
			types[e.self] = e
		}
	}
	for _, m := range list {
		for _, h := range m.entry.related {
			if t := types[h]; t != nil {
				m.typ = t
			}
		}
		if m.typ == nil && len(types) == 1 && len(list) == 1 {
			for _, t := range types {
				m.typ = t
			}
		}
	}
	lost := 0
	for _, e := range entries {
		if e.kind != "IntervalBlock" {
			continue
		}
		m := byRelated[e.up]
		if m == nil {
			m = byRelated[e.self]
		}
		if m == nil {
			m = bySelf[strings.TrimSuffix(e.up, "/IntervalBlock")]
		}
		if m == nil && len(list) == 1 {
			m = list[0]
		}
		if m == nil {
			lost += len(e.block)
			continue
		}
		m.blocks = append(m.blocks, e)
		m.n += len(e.block)
	}
	if lost > 0 {
		g.setAside(lost, "the block's links lead to no MeterReading of the file")
	}
	return list
}

// setAside counts readings that are not used, with one reject for all.
func (g *gbFile) setAside(n int, reason string) {
	if n == 0 {
		return
	}
	g.tally.Rows += int64(n)
	g.tally.reject(g.limits, ingest.Reject{File: g.file.Path, Reason: reason})
	g.tally.SetAside += int64(n) - 1
}

// usable keeps the meter readings that are this site's grid energy, one for
// each direction; what is left out is set aside with its reason.
func (g *gbFile) usable(entries []*gbEntry, meters []*gbMeter) []*gbMeter {
	point := g.usagePoint(entries, meters)
	var good []*gbMeter
	for _, m := range meters {
		if reason := m.refuse(); reason != "" {
			g.setAside(m.n, reason)
		} else if p := usagePointOf(m.entry, entries); p != nil && point != nil && p != point {
			g.setAside(m.n, "a second usage point stands in the file: export one file for each meter")
		} else {
			good = append(good, m)
		}
	}
	// The finest step of a direction stays; a daily total beside it is the
	// same energy again. Of two at the same step only the first is taken.
	slices.SortStableFunc(good, func(a, b *gbMeter) int {
		if c := cmp.Compare(a.flowKey(), b.flowKey()); c != 0 {
			return c
		}
		return cmp.Compare(a.typ.fields["intervalLength"], b.typ.fields["intervalLength"])
	})
	var kept []*gbMeter
	for _, m := range good {
		if len(kept) > 0 && kept[len(kept)-1].flowKey() == m.flowKey() {
			last := kept[len(kept)-1]
			reason := "a second meter reading of the same direction is not added up: it may be a part or the same energy again"
			if last.typ.fields["intervalLength"] < m.typ.fields["intervalLength"] {
				reason = "a coarser total beside the interval readings of the same direction: the same energy again"
			}
			g.setAside(m.n, reason)
			continue
		}
		kept = append(kept, m)
	}
	net := slices.ContainsFunc(kept, func(m *gbMeter) bool { return m.net })
	if net && len(kept) > 1 {
		// Delivered or received stand beside the net: the net says nothing more.
		kept = slices.DeleteFunc(kept, func(m *gbMeter) bool {
			if m.net {
				g.setAside(m.n, "a net reading beside the readings by direction: the same energy again")
			}
			return m.net
		})
	}
	return kept
}

func (m *gbMeter) flowKey() int {
	if m.net {
		return int(ingest.NumChannels)
	}
	return int(m.channel)
}

// usagePoint is the first electricity usage point.
func (g *gbFile) usagePoint(entries []*gbEntry, meters []*gbMeter) *gbEntry {
	for _, m := range meters {
		if p := usagePointOf(m.entry, entries); p != nil && m.refuse() == "" {
			if kind, ok := p.fields["kind"]; !ok || kind == 0 {
				return p
			}
		}
	}
	return nil
}

func usagePointOf(meter *gbEntry, entries []*gbEntry) *gbEntry {
	for _, e := range entries {
		if e.kind != "UsagePoint" {
			continue
		}
		if slices.Contains(e.related, meter.up) || slices.Contains(e.related, meter.self) || e.self != "" && e.self == strings.TrimSuffix(meter.up, "/MeterReading") {
			return e
		}
	}
	return nil
}

// refuse tells why a meter reading is not grid energy; it also settles the
// direction.
func (m *gbMeter) refuse() string {
	t := m.typ
	if t == nil {
		return "the meter reading's links lead to no ReadingType of the file: its unit is not known"
	}
	f := t.fields
	if c, ok := f["commodity"]; ok && c != 0 && c != 1 && c != 2 {
		return fmt.Sprintf("commodity %d is not electricity", c)
	}
	switch uom := f["uom"]; {
	case uom == 72:
	case uom == 38 && f["dataQualifier"] == 8:
		return "a maximum demand is no energy"
	case uom == 38:
	default:
		return fmt.Sprintf("unit of measure %d is not Wh (72) or W (38)", uom)
	}
	switch k, ok := f["kind"]; {
	case !ok, k == 12, k == 0, k == 37, k == 8 && f["uom"] == 38:
	default:
		return fmt.Sprintf("kind %d is not energy (12) or power (37)", k)
	}
	switch f["flowDirection"] {
	case 1:
		m.channel = ingest.Import
	case 19:
		m.channel = ingest.Export
	case 4:
		m.channel, m.net = ingest.Import, true
	case 0:
		m.channel, m.net = ingest.Import, m.negative()
	case 20:
		return "flow direction 20 is the sum of both directions: import and export cannot be told apart"
	default:
		return fmt.Sprintf("flow direction %d is not one of 0, 1, 4, 19", f["flowDirection"])
	}
	if m := f["powerOfTenMultiplier"]; m < -12 || m > 9 {
		return fmt.Sprintf("power of ten multiplier %d must be from -12 to 9", m)
	}
	return ""
}

func (m *gbMeter) negative() bool {
	for _, b := range m.blocks {
		for _, r := range b.block {
			if r.value < 0 {
				return true
			}
		}
	}
	return false
}
