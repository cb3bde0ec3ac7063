package readings

import (
	"cmp"
	"math"
	"slices"
	"strconv"

	"rowen/ingest"
)

// worseQuality keeps the one of several qualities that casts the most doubt.
func worseQuality(a int16, b int64) int16 {
	if b < 0 || b > 99 {
		return a
	}
	if rank := func(q int16) int {
		switch f := qualityFlag(int64(q)); {
		case q < 0:
			return -1
		case f&Suspect != 0:
			return 2
		case f&Estimated != 0:
			return 1
		}
		return 0
	}; rank(int16(b)) > rank(a) {
		return int16(b)
	}
	return a
}

// qualityFlag: estimated by reference day (8), interpolated (9), projected
// (12), normalised for weather (15) are estimates; questionable is 10.
func qualityFlag(q int64) Flag {
	switch q {
	case 8, 9, 12, 15:
		return Estimated
	case 10:
		return Suspect
	}
	return 0
}

// gbRow is one reading with its meaning.
type gbRow struct {
	start   int64
	seconds int32
	milli   int64
	flags   Flag
	line    int32
	channel ingest.Channel
	net     bool
}

// rows turns a meter's readings into energies. Registers (accumulation 1, 3
// and 9) are differenced; a fall or a hole leaves the interval out.
func (g *gbFile) rows(m *gbMeter) []gbRow {
	f := m.typ.fields
	length := f["intervalLength"]
	var rows []gbRow
	for _, b := range m.blocks {
		at := b.start
		for _, r := range b.block {
			g.tally.Rows++
			if r.hasTime {
				at = r.start
			}
			sec := int64(r.seconds)
			if sec == 0 {
				sec = length
			}
			reason := ""
			switch {
			case !r.hasValue:
				reason = "the reading has no value, or one of more than 48 bits"
			case !r.hasTime && !b.hasStart:
				reason = "neither the reading nor its block says when it begins"
			case sec <= 0 || sec > 2*day:
				reason = "the reading's length is not known, or longer than two days"
			case at < minUnix || at >= maxUnix:
				reason = "the reading begins outside the years 1970 to 2200"
			}
			quality := int64(r.quality)
			if quality < 0 {
				quality = f["defaultQuality"]
			}
			milli := int64(0)
			if reason == "" {
				milli, reason = gbMilli(r.value, f["powerOfTenMultiplier"], f["uom"] == 38, sec)
			}
			if reason != "" {
				g.tally.reject(g.limits, ingest.Reject{File: g.file.Path, Line: int(r.line), Reason: reason})
				at += sec
				continue
			}
			rows = append(rows, gbRow{at, int32(sec), milli, qualityFlag(quality), r.line, m.channel, m.net})
			at += sec
		}
	}
	if a := f["accumulationBehaviour"]; a == 1 || a == 3 || a == 9 {
		rows = g.difference(rows)
	}
	return rows
}

// gbMilli gives value x 10^multiplier in milli-Wh; of a power, over its length.
func gbMilli(value, multiplier int64, power bool, seconds int64) (int64, string) {
	x := float64(value) * math.Pow10(int(multiplier)+3)
	if multiplier >= -3 && multiplier <= 9 && value > -maxMilli && value < maxMilli {
		// Exact where it can be.
		if m := pow10[multiplier+3]; m != 0 && (value == 0 || math.Abs(x) < 1<<53) {
			x = float64(value * m)
		}
	}
	if power {
		x = x * float64(seconds) / 3600
	}
	if math.Abs(x) > maxMilli {
		return 0, "the value is more than 100 GWh: check its multiplier"
	}
	return int64(math.Round(x)), ""
}

// difference turns a register's values into the energy up to the next one.
func (g *gbFile) difference(rows []gbRow) []gbRow {
	slices.SortStableFunc(rows, func(a, b gbRow) int { return cmp.Compare(a.start, b.start) })
	var out []gbRow
	for i, r := range rows {
		reason := ""
		switch {
		case i+1 == len(rows):
			reason = "the last value of a register only ends the interval before it"
		case rows[i+1].milli < r.milli:
			reason = "the register fell: it was reset, the interval is left out"
		case rows[i+1].start-r.start != int64(r.seconds):
			reason = "the register's next value does not follow at once: the interval is left out"
		}
		if reason != "" {
			g.tally.reject(g.limits, ingest.Reject{File: g.file.Path, Line: int(r.line), Reason: reason})
			continue
		}
		r.milli = rows[i+1].milli - r.milli
		r.flags |= rows[i+1].flags
		out = append(out, r)
	}
	return out
}

// emitRows emits the rows; import and export of one interval stay two rows,
// which the ledger makes one of.
func (g *gbFile) emitRows(rows []gbRow) error {
	for _, r := range rows {
		vals := [ingest.NumChannels]int64{Missing, Missing, Missing, Missing}
		flags := r.flags
		if r.net {
			vals[ingest.Import], vals[ingest.Export] = max(r.milli, 0), max(-r.milli, 0)
			flags |= Netted
		} else {
			vals[r.channel] = r.milli
		}
		g.batch.add(g.site, r.start, r.line, flags, r.seconds, &vals)
		if g.batch.full() {
			if err := g.batch.flush(g.emit); err != nil {
				return err
			}
		}
	}
	return g.batch.flush(g.emit)
}

// clock notes the file's own idea of local time. Readings are in UTC: it is
// only compared with the site's zone.
func (g *gbFile) clock(entries []*gbEntry) {
	for _, e := range entries {
		if e.kind != "LocalTimeParameters" && e.kind != "TimeConfiguration" {
			continue
		}
		if offset, ok := e.fields["tzOffset"]; ok {
			g.tally.Clock = &ClockClaim{SiteID: g.siteID, OffsetSeconds: offset, DST: dstText(e.text["dstStartRule"])}
			return
		}
	}
}

// ClockClaim is what a file says of the local clock at its site.
type ClockClaim struct {
	SiteID        string
	OffsetSeconds int64 // standard time from UTC
	DST           bool  // there is a rule for summer time
}

func dstText(hex string) bool {
	_, ok := parseDSTRule(hex)
	return ok
}

// dstRule is a clock change as ESPI encodes it.
type dstRule struct {
	month, operator, dayOfMonth, dayOfWeek, hour, seconds int
}

// parseDSTRule decodes eight hexadecimal digits: bits 0 to 11 seconds, 12 to
// 16 hour, 17 to 19 day of the week (Monday 1), 20 to 24 day of the month, 25
// to 27 operator, 28 to 31 month. FFFFFFFF is no rule.
func parseDSTRule(hex string) (dstRule, bool) {
	v, err := strconv.ParseUint(hex, 16, 32)
	if err != nil || v == 0xffffffff || v == 0 {
		return dstRule{}, false
	}
	bits := func(from, n uint) int { return int(v >> from & (1<<n - 1)) }
	return dstRule{bits(28, 4), bits(25, 3), bits(20, 5), bits(17, 3), bits(12, 5), bits(0, 12)}, true
}
