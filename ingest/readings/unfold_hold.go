package readings

import (
	"cmp"
	"fmt"
	"maps"
	"slices"

	"rowen/ingest"
)

type heldKey struct {
	site int32
	time int64
}

// heldRow sums what the records of one stamp say.
type heldRow struct {
	line   int32
	flags  Flag
	length int64 // seconds that its interval takes, where an end is given
	sum    [ingest.NumChannels]int64
	parts  [ingest.NumChannels]int
}

// maxHeldRows bounds what waits: our choice, 30 years of 5-minute rows.
const maxHeldRows = 3 << 20

// hold adds a row to what its stamp has already.
func (u *unfolder) hold(r *row, end int64, line int32) {
	key := heldKey{r.site, r.time}
	h := u.held[key]
	if h == nil {
		h = &heldRow{line: line}
		u.held[key] = h
	}
	if end != 0 {
		if h.length != 0 && h.length != end-r.time { // a total that begins where a row does
			u.tally.reject(u.limits, fault{u.m.Time.EndColumn, "", "another row of the same beginning has another end: a total is no reading"}.reject(u.file.Path, int64(max(line, h.line))))
			if end-r.time > h.length {
				return
			}
			*h = heldRow{line: line}
		}
		h.length = end - r.time
	}
	h.flags |= r.flags
	for c, v := range r.values {
		if v != Missing {
			h.sum[c] += v
			h.parts[c]++
		}
	}
}

// overflow hands on a full batch, and bounds what waits.
func (u *unfolder) overflow() error {
	if len(u.held) > maxHeldRows {
		return fmt.Errorf("more than %d rows wait for others of their stamp: split the file", maxHeldRows)
	}
	if !u.batch.full() {
		return nil
	}
	return u.batch.flush(u.emit)
}

// finish emits the rows that waited, in the order of site and stamp. A counter
// that is the sum of several registers counts only where all of them are there.
func (u *unfolder) finish() error {
	var most [ingest.NumChannels]int
	lengths := map[int64]int{}
	for _, h := range u.held {
		lengths[h.length]++
		for c, n := range h.parts {
			most[c] = max(most[c], n)
		}
	}
	usual := int64(0)
	for _, l := range slices.Sorted(maps.Keys(lengths)) {
		if lengths[l] > lengths[usual] {
			usual = l
		}
	}
	keys := slices.SortedFunc(maps.Keys(u.held), func(a, b heldKey) int { return cmp.Or(cmp.Compare(a.site, b.site), cmp.Compare(a.time, b.time)) })
	for _, k := range keys {
		h := u.held[k]
		if d := h.length - usual; d > 2*3600 || d < -2*3600 {
			u.tally.reject(u.limits, fault{u.m.Time.EndColumn, "", "covers another time than most rows do: a total is no reading"}.reject(u.file.Path, int64(h.line)))
			continue
		}
		values := [ingest.NumChannels]int64{Missing, Missing, Missing, Missing}
		for c, n := range h.parts {
			if n > 0 && (u.file.Meaning.Quantity[c] != Counter || n == most[c]) {
				values[c] = h.sum[c]
			}
		}
		u.batch.add(k.site, k.time, h.line, h.flags, 0, &values)
		if err := u.overflow(); err != nil {
			return err
		}
	}
	return u.batch.flush(u.emit)
}
