package ledger

import (
	"fmt"

	"rowen/ingest"
)

// A clock that jumped leaves a few readings years away from all others. Two rules
// set them aside, so that they move neither a site's record nor the report month:
//
//   - nothing is read after its file was written, give or take a day. A file that
//     is older than its first reading tells nothing: its time was lost in copying;
//   - fewer than strayHours, at the beginning or the end of a record and more than
//     strayDays away from the rest of it, are stray (our choices).
const (
	strayHours = 48
	strayDays  = 90
)

// written gives each file's time in seconds, by source.
func (m *manifest) written() map[int32]int64 {
	at := map[int32]int64{}
	for _, e := range m.Files {
		at[e.Source] = floorDiv(e.ModTime, 1e9)
	}
	return at
}

// strays are the rows set aside for their stamps.
type strays struct {
	late, lone span
}

// dropStrays takes stray rows out of the block. written gives the files' times in
// seconds by source. Rows that follow each other without a gap have no strays.
//
// Cost: a few passes over the stamps.
func (k *block) dropStrays(written map[int32]int64) (found strays) {
	if len(k.start) == 0 {
		return found
	}
	var count findings // its add keeps the bounds of a span
	var latest, source int64 = 0, -1
	k.keep(func(i int) bool {
		t := k.startAt(i)
		if src := int64(k.sourceAt(i)); src != source { // a file's rows stand together, the earliest first
			source, latest = src, 1<<62
			if w := written[int32(src)]; w > t {
				latest = w + 86400
			}
		}
		if t > latest {
			count.add(&found.late, ingest.Hour(floorDiv(t, 3600)), 1)
			return false
		}
		return true
	})
	first, last := k.record()
	k.keep(func(i int) bool {
		t := k.startAt(i)
		if day := floorDiv(t, 86400); day < first || day > last {
			count.add(&found.lone, ingest.Hour(floorDiv(t, 3600)), 1)
			return false
		}
		return true
	})
	return found
}

// record gives the first and the last day of UTC of the block but for its stray
// ends.
func (k *block) record() (first, last int64) {
	if k.n == 0 {
		return 1, 0
	}
	from, to := floorDiv(k.startAt(0), 86400), floorDiv(k.startAt(0), 86400)
	for i := range k.n {
		day := floorDiv(k.startAt(i), 86400)
		from, to = min(from, day), max(to, day)
	}
	seconds := make([]int64, to-from+1)
	for i := range k.n {
		sec := int64(k.secondsAt(i))
		if sec == 0 { // the interval's length is still to be found
			sec = 900
		}
		seconds[floorDiv(k.startAt(i), 86400)-from] += sec
	}
	at := func(d int) int64 { return seconds[d] }
	back := func(d int) int64 { return seconds[len(seconds)-1-d] }
	lo, hi := strayEnd(at, len(seconds)), strayEnd(back, len(seconds))
	if lo+hi >= len(seconds) { // nothing but strays: all of them are the record
		return from, to
	}
	return from + int64(lo), to - int64(hi)
}

// strayEnd is how many days at one end of a record are stray, with the gap after
// them.
func strayEnd(seconds func(day int) int64, days int) int {
	end, held, empty := 0, int64(0), 0
	for d := range days {
		switch s := seconds(d); {
		case s == 0:
			empty++
			continue
		case empty > strayDays && held < strayHours*3600:
			end, held = d, s
		default:
			held += s
		}
		if empty = 0; held >= strayHours*3600 {
			return end
		}
	}
	return end
}

// keep keeps the rows that ok says, in their order.
func (k *block) keep(ok func(i int) bool) {
	to := 0
	for i := range k.n {
		if !ok(i) {
			continue
		}
		if to == i { // nothing has gone yet
			to++
			continue
		}
		if len(k.start) > 0 {
			k.start[to] = k.start[i]
		}
		if len(k.source) > 0 {
			k.source[to] = k.source[i]
		}
		if len(k.state) > 0 {
			k.state[to] = k.state[i]
		}
		for c := range k.value {
			if len(k.value[c]) > 0 {
				k.value[c][to] = k.value[c][i]
			}
		}
		to++
	}
	if to == k.n {
		return
	}
	k.cut(to)
}

// cut shortens the block to n rows and finds its bounds anew.
func (k *block) cut(n int) {
	k.n = n
	if len(k.start) > 0 {
		k.start = k.start[:n]
	}
	if len(k.source) > 0 {
		k.source = k.source[:n]
	}
	if len(k.state) > 0 {
		k.state = k.state[:n]
	}
	for c := range k.value {
		if len(k.value[c]) > 0 {
			k.value[c] = k.value[c][:n]
		}
	}
	for i := range n {
		t := k.startAt(i) * 1000
		if i == 0 {
			k.firstMs, k.lastMs = t, t
		}
		k.firstMs, k.lastMs = min(k.firstMs, t), max(k.lastMs, t)
	}
}

// describe says which rows were set aside.
func (f strays) describe(s *ingest.Series) {
	say := func(p span, when string) {
		if p.n > 0 {
			s.Quality = append(s.Quality, ingest.Quality{Code: "stray_stamp", Channel: ingest.NumChannels, Hours: p.n, From: p.from, To: p.to,
				Says: fmt.Sprintf("%s stamped %s: set aside, the first at %s", plural(int64(p.n), "row"), when, p.from.Time().Format("2006-01-02"))})
		}
	}
	say(f.late, "later than a day after their file was written")
	say(f.lone, fmt.Sprintf("more than %d days apart from all other readings", strayDays))
}
