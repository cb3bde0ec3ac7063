package ledger

import (
	"cmp"
	"fmt"
	"slices"
)

// eachSite gives every site of a bucket, by id, with its old rows that stay and
// its new ones, by source.
func (w *mergeWorker) eachSite(k int, bytes int64, in *openedBucket, do func(id string, list []*rows) error) error {
	old := oldSites{w: w, in: in}
	if in != nil {
		old.ids = in.sites
	}
	numbers := w.site[k]
	passes := min(int(bytes/maxSpillBytes)+1, max(1, len(numbers)))
	for p := range passes {
		from, to := len(numbers)*p/passes, len(numbers)*(p+1)/passes
		if err := w.gather(k, int32(from), int32(to)); err != nil {
			return err
		}
		segs := w.segs
		for _, number := range numbers[from:to] {
			id := w.ids[number]
			if err := old.eachWhile(func(before string) bool { return before < id }, do); err != nil {
				return err
			}
			list, err := old.rowsOf(id)
			if err != nil {
				return err
			}
			n := 0
			for n < len(segs) && segs[n].site == number {
				n++
			}
			fresh := w.settleSite(segs[:n], id)
			segs = segs[n:]
			err = do(id, append(list, fresh...))
			w.free = append(w.free, fresh...)
			if err != nil {
				return err
			}
		}
	}
	return old.eachWhile(func(string) bool { return true }, do)
}

// oldSites are the sites of a bucket as it stands, each to be loaded once and
// in order.
type oldSites struct {
	w   *mergeWorker
	in  *openedBucket
	ids []string
	at  int
}

// load gives the next site's rows that stay.
func (o *oldSites) load() ([]*rows, error) {
	if err := o.in.load(o.at, &o.w.block); err != nil {
		return nil, fmt.Errorf("site %s: %w", o.ids[o.at], err)
	}
	o.at++
	return o.w.block.rowsOf(func(src int32) bool { return o.w.keep[src] }), nil
}

// rowsOf gives a site's rows where it is the next one, else none.
func (o *oldSites) rowsOf(id string) ([]*rows, error) {
	if o.at >= len(o.ids) || o.ids[o.at] != id {
		return nil, nil
	}
	return o.load()
}

// eachWhile hands out the next sites while more holds for their ids.
func (o *oldSites) eachWhile(more func(id string) bool, do func(id string, list []*rows) error) error {
	for o.at < len(o.ids) && more(o.ids[o.at]) {
		id := o.ids[o.at]
		list, err := o.load()
		if err != nil {
			return err
		}
		if err := do(id, list); err != nil {
			return err
		}
	}
	return nil
}

// gather reads the segments of some of a bucket's sites, by site and source.
func (w *mergeWorker) gather(k int, from, to int32) error {
	w.data, w.segs = w.data[:0], w.segs[:0]
	whole := from == 0 && int(to) == len(w.site[k])
	take := func(piece []byte) {
		for rest := piece; len(rest) > 0; {
			var g segment
			g, rest = nextSegment(rest)
			if at := w.place[g.site]; at >= from && at < to && w.job[g.source] != nil {
				w.segs = append(w.segs, g)
			}
		}
	}
	at := 0 // of the piece that is read
	grow := func(n int) []byte {
		at = len(w.data)
		w.data = slices.Grow(w.data, n)[:at+n]
		return w.data[at:]
	}
	read := func(piece []byte) {
		n := copy(w.data[at:], piece)
		if !whole {
			n = w.sift(w.data[at:at+n], from, to)
		}
		w.data = w.data[:at+n]
	}
	for _, s := range w.spills {
		if err := s.each(k, grow, take, read); err != nil {
			return err
		}
	}
	take(w.data)
	byPlace := func(a, b segment) int {
		if c := cmp.Compare(w.place[a.site], w.place[b.site]); c != 0 {
			return c
		}
		if c := cmp.Compare(a.source, b.source); c != 0 {
			return c
		}
		return cmp.Compare(a.order(0), b.order(0))
	}
	if !slices.IsSortedFunc(w.segs, byPlace) {
		slices.SortFunc(w.segs, byPlace)
	}
	return nil
}

// sift moves the segments of the sites from, up to to, to the front of a piece,
// and tells how long they are.
func (w *mergeWorker) sift(piece []byte, from, to int32) int {
	n := 0
	for rest := piece; len(rest) > 0; {
		before := rest
		var g segment
		g, rest = nextSegment(rest)
		if at := w.place[g.site]; at >= from && at < to {
			n += copy(piece[n:], before[:len(before)-len(rest)])
		}
	}
	return n
}

// settleSite settles one site's new rows, file by file.
func (w *mergeWorker) settleSite(segs []segment, id string) []*rows {
	var list []*rows
	for len(segs) > 0 {
		source, n := segs[0].source, 0
		for n < len(segs) && segs[n].source == source {
			n++
		}
		j := w.job[source]
		r := &rows{}
		if free := len(w.free); free > 0 {
			r, w.free = w.free[free-1], w.free[:free-1]
		}
		w.settler.rows = r
		w.settler.settle(segs[:n], &j.file.Meaning, w.sites.zone(id))
		if w.settler.usedSiteClock {
			j.mu.Lock()
			if j.entry.Zones == nil {
				j.entry.Zones = map[string]string{}
			}
			j.entry.Zones[id] = w.sites.zoneName(id)
			j.mu.Unlock()
		}
		if w.settler.repeats+w.settler.rounded > 0 {
			w.mu.Lock()
			w.repeats[source] += w.settler.repeats
			w.rounded[source] += w.settler.rounded
			w.mu.Unlock()
		}
		list = append(list, r)
		segs = segs[n:]
	}
	return list
}
