package ledger

import "time"

// civil turns a zone's clock into UTC and remembers the stretch of the clock
// in which that is one subtraction.
type civil struct {
	loc    *time.Location
	lo, hi int64 // clock readings, as if UTC, that occur once and have offset
	offset int64
}

// utc gives the instants at which the zone's clock shows t (read as if UTC):
// one, two where the clock goes back over it, none where it jumps it.
//
// Source: IANA zone data as package time carries them.
func (c *civil) utc(t int64) (first, second int64, n int) {
	if t >= c.lo && t < c.hi {
		return t - c.offset, 0, 1
	}
	// An offset in force at t as UTC, or on either side of the change nearest
	// to it, is the only one that can show t: offsets are within a day.
	before, after := c.offsetAt(t-86400), c.offsetAt(t+86400)
	if before == after {
		c.remember(t, before)
		if c.offsetAt(t-before) == before {
			return t - before, 0, 1
		}
	}
	var found [2]int64
	for _, o := range [2]int64{max(before, after), min(before, after)} {
		u := t - o
		if c.offsetAt(u) != o || n == 1 && found[0] == u {
			continue
		}
		found[n] = u
		n++
	}
	return found[0], found[1], n
}

func (c *civil) offsetAt(unix int64) int64 {
	_, o := time.Unix(unix, 0).In(c.loc).Zone()
	return int64(o)
}

// remember keeps the stretch around t that is a day away from any change.
func (c *civil) remember(t, offset int64) {
	c.lo, c.hi, c.offset = 0, 0, 0
	from, until := time.Unix(t-offset, 0).In(c.loc).ZoneBounds()
	var lo, hi int64
	if from.IsZero() {
		lo = -1 << 40
	} else {
		lo = from.Unix() + offset + 86400
	}
	if until.IsZero() {
		hi = 1 << 40
	} else {
		hi = until.Unix() + offset - 86400
	}
	if lo <= t && t < hi {
		c.lo, c.hi, c.offset = lo, hi, offset
	}
}
