package ledger

import (
	"fmt"
	"slices"

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
	k.findStreaks()
	if k.anyLate(written) {
		late := lateness(written)
		k.keep(func(i int) bool {
			if !late(k.sourceAt(i), k.startAt(i), k.startAt(i)) {
				return true
			}
			count.add(&found.late, ingest.Hour(floorDiv(k.startAt(i), 3600)), 1)
			return false
		})
		k.findStreaks()
	}
	first, last, ends := k.record()
	if !ends {
		return found
	}
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

// lateness tells of a file's rows, the earliest first and asked for from and to, and
// of one file after the other, whether one is stamped later than a day after its file
// was written.
func lateness(written map[int32]int64) func(source int32, from, to int64) bool {
	var latest, now int64 = 0, -1
	return func(source int32, from, to int64) bool {
		if int64(source) != now {
			now, latest = int64(source), 1<<62
			if w := written[source]; w > from {
				latest = w + 86400
			}
		}
		return to > latest
	}
}

// anyLate tells whether any row is.
func (k *block) anyLate(written map[int32]int64) bool {
	late := lateness(written)
	return slices.ContainsFunc(k.streaks, func(s streak) bool {
		return late(k.sourceAt(s.from), k.startAt(s.from), k.startAt(s.to-1))
	})
}

// record gives the first and the last day of UTC of the block but for its stray
// ends, and whether it has any.
func (k *block) record() (first, last int64, ends bool) {
	if k.n == 0 {
		return 1, 0, false
	}
	from, to := floorDiv(k.startAt(0), 86400), floorDiv(k.startAt(0), 86400)
	for _, s := range k.streaks {
		from, to = min(from, floorDiv(k.startAt(s.from), 86400)), max(to, floorDiv(k.startAt(s.to-1), 86400))
	}
	seconds := make([]int64, to-from+1)
	for _, s := range k.streaks {
		t, sec := k.startAt(s.from), int64(k.secondsAt(s.from))
		if sec == 0 { // the interval's length is still to be found
			sec = 900
		}
		for n := int64(s.to - s.from); n > 0; {
			day := floorDiv(t, 86400)
			m := min(n, ((day+1)*86400-t+sec-1)/sec) // rows that begin on that day
			seconds[day-from] += m * sec
			t, n = t+m*sec, n-m
		}
	}
	at := func(d int) int64 { return seconds[d] }
	back := func(d int) int64 { return seconds[len(seconds)-1-d] }
	lo, hi := strayEnd(at, len(seconds)), strayEnd(back, len(seconds))
	if lo+hi >= len(seconds) { // nothing but strays: all of them are the record
		return from, to, false
	}
	return from + int64(lo), to - int64(hi), lo+hi > 0
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
