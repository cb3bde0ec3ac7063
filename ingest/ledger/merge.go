package ledger

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"time"

	"golang.org/x/sync/errgroup"

	"rowen/ingest"
	"rowen/ingest/readings"
)

// merge does every bucket by a worker, and settles the counts of the files.
func (u *updater) merge(ctx context.Context, do func(*mergeWorker, int) error) error {
	for _, s := range u.spills {
		if err := s.flush(); err != nil {
			return err
		}
	}
	m := &merger{updater: u, keep: map[int32]bool{}, job: map[int32]*job{}, repeats: map[int32]int64{}, rounded: map[int32]int64{}}
	m.orderSites()
	m.say(func(p *Progress) { p.Stage, p.Done, p.Total = Sorting, 0, int64(m.next.Buckets) })
	for _, e := range u.next.Files {
		m.keep[e.Source] = true
	}
	for _, j := range u.jobs {
		if j.err == nil {
			m.job[j.entry.Source] = j
		}
	}
	u.next.Bucket = make([]bucketEntry, u.next.Buckets)
	g, ctx := errgroup.WithContext(ctx)
	numbers := make(chan int)
	g.Go(func() error {
		defer close(numbers)
		for k := range u.next.Buckets {
			select {
			case numbers <- k:
			case <-ctx.Done():
				return ctx.Err()
			}
		}
		return nil
	})
	for range u.o.Workers {
		g.Go(func() error {
			w := &mergeWorker{merger: m, out: &bucketWriter{}}
			for k := range numbers {
				if err := do(w, k); err != nil {
					return fmt.Errorf("bucket %d: %w", k, err)
				}
				for _, s := range u.spills {
					s.index[k] = nil
				}
				m.say(func(p *Progress) { p.Done++ })
			}
			m.collect(&w.settler)
			return nil
		})
	}
	if err := g.Wait(); err != nil {
		return err
	}
	m.count()
	return nil
}

// merger is what the merging workers share.
type merger struct {
	*updater
	keep    map[int32]bool // sources that the old buckets hold and that stay
	job     map[int32]*job // sources that were read now
	ids     []string       // by number
	site    [][]int32      // numbers of the sites by bucket, by id
	place   []int32        // by number: its place in site
	mu      sync.Mutex
	aside   []setAside
	repeats map[int32]int64 // by source
	rounded map[int32]int64 // by source
}

// orderSites lists the sites met in this update by bucket, by id.
func (m *merger) orderSites() {
	m.ids = m.names.IDs()
	m.site = make([][]int32, m.next.Buckets)
	m.place = make([]int32, len(m.ids))
	for i, id := range m.ids {
		k := bucketOf(id, m.next.Buckets)
		m.site[k] = append(m.site[k], int32(i))
	}
	for _, list := range m.site {
		slices.SortFunc(list, func(a, b int32) int { return cmp.Compare(m.ids[a], m.ids[b]) })
		for i, number := range list {
			m.place[number] = int32(i)
		}
	}
}

// mergeWorker merges one bucket after the other.
type mergeWorker struct {
	*merger
	out     *bucketWriter
	settler settler
	data    []byte
	segs    []segment
	block   block
	free    []*rows // to be used again
	loader  loader  // of Stream
	series  ingest.Series
}

// maxSpillBytes bounds what a worker holds of a bucket's new rows; a larger
// bucket is read from the spill several times, some sites each time.
// A variable so that tests can make it small.
var maxSpillBytes int64 = 48 << 20

// bucket writes a bucket anew if it has new rows or held rows of a file that is
// gone.
func (w *mergeWorker) bucket(k int) error {
	old := bucketEntry{}
	if k < len(w.old.Bucket) {
		old = w.old.Bucket[k]
	}
	bytes := w.spilled(k)
	gone := slices.ContainsFunc(old.Sources, func(src int32) bool { return !w.keep[src] })
	if bytes == 0 && !gone {
		w.next.Bucket[k] = old
		return nil
	}
	in, err := w.openOld(old)
	if err != nil {
		return err
	}
	if in != nil {
		defer in.close()
	}
	name := fmt.Sprintf("bucket-%04d-%d.parquet", k, w.next.Updates)
	path := filepath.Join(w.ledger, name)
	sources := map[int32]bool{}
	err = w.disk.write(path, func(f *os.File) error {
		if err := w.out.begin(f, w.channels(in)); err != nil {
			return err
		}
		err := w.eachSite(k, bytes, in, nil, func(id string, list []*rows) error {
			for _, r := range list {
				if len(r.start) > 0 {
					sources[r.source] = true
				}
			}
			return w.out.site(id, list)
		})
		if err != nil {
			return err
		}
		return w.out.end()
	})
	if err != nil {
		return err
	}
	if len(w.out.sites) == 0 {
		return w.disk.remove(path)
	}
	info, err := os.Stat(path)
	if err != nil {
		return err
	}
	e := bucketEntry{Name: name, Size: info.Size(), Sites: slices.Clone(w.out.sites)}
	for src := range sources {
		e.Sources = append(e.Sources, src)
	}
	slices.Sort(e.Sources)
	w.next.Bucket[k] = e
	return nil
}

// spilled is how many bytes of a bucket the spills hold.
func (w *mergeWorker) spilled(k int) (bytes int64) {
	for _, s := range w.spills {
		for _, p := range s.index[k] {
			bytes += int64(p.n)
		}
	}
	return bytes
}

// channels are those that a bucket may get: its own and those of the files that
// were read.
func (w *mergeWorker) channels(in *openedBucket) (has [ingest.NumChannels]bool) {
	for _, j := range w.jobs {
		for c := range has {
			has[c] = has[c] || j.file != nil && j.file.Has(ingest.Channel(c))
		}
	}
	for c := range has {
		has[c] = has[c] || in != nil && in.at.channel[c] >= 0
	}
	return has
}

// openedBucket is an old bucket with its file.
type openedBucket struct {
	*bucketFile
	f *os.File
}

func (o *openedBucket) close() { o.f.Close() }

func (w *mergeWorker) openOld(e bucketEntry) (*openedBucket, error) {
	if e.Name == "" {
		return nil, nil
	}
	f, err := os.Open(filepath.Join(w.ledger, e.Name))
	if err != nil {
		return nil, err
	}
	b, err := openBucket(f, e.Size)
	if err != nil {
		f.Close()
		return nil, fmt.Errorf("%s is damaged: delete %s, the readings will be read again: %w", e.Name, w.ledger, err)
	}
	return &openedBucket{b, f}, nil
}

// eachSite gives every site of a bucket, by id, with its old rows that stay and
// its new ones, by source. asRead, where there is one, is first offered the
// segments of a site, and says whether it has done with them.
func (w *mergeWorker) eachSite(k int, bytes int64, in *openedBucket, asRead func(id string, segs []segment) (bool, error), do func(id string, list []*rows) error) error {
	var oldSites []string
	if in != nil {
		oldSites = in.sites
	}
	numbers := w.site[k]
	passes := min(int(bytes/maxSpillBytes)+1, max(1, len(numbers)))
	at := 0
	oldRows := func() ([]*rows, error) {
		if err := in.load(at, &w.block); err != nil {
			return nil, fmt.Errorf("site %s: %w", oldSites[at], err)
		}
		at++
		return w.block.rowsOf(func(src int32) bool { return w.keep[src] }), nil
	}
	for p := range passes {
		from, to := len(numbers)*p/passes, len(numbers)*(p+1)/passes
		if err := w.gather(k, int32(from), int32(to)); err != nil {
			return err
		}
		segs := w.segs
		for _, number := range numbers[from:to] {
			id := w.ids[number]
			for at < len(oldSites) && oldSites[at] < id {
				before := oldSites[at]
				list, err := oldRows()
				if err != nil {
					return err
				}
				if err := do(before, list); err != nil {
					return err
				}
			}
			var list []*rows
			var err error
			if at < len(oldSites) && oldSites[at] == id {
				if list, err = oldRows(); err != nil {
					return err
				}
			}
			n := 0
			for n < len(segs) && segs[n].site == number {
				n++
			}
			mine := segs[:n]
			segs = segs[n:]
			if asRead != nil {
				if done, err := asRead(id, mine); err != nil {
					return err
				} else if done {
					continue
				}
			}
			fresh := w.settleSite(mine, id)
			err = do(id, append(list, fresh...))
			w.free = append(w.free, fresh...)
			if err != nil {
				return err
			}
		}
	}
	for at < len(oldSites) {
		id := oldSites[at]
		list, err := oldRows()
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
	for _, s := range w.spills {
		for _, p := range s.index[k] {
			if p.held != nil {
				take(p.held)
				continue
			}
			at := len(w.data)
			w.data = slices.Grow(w.data, int(p.n))[:at+int(p.n)]
			if _, err := s.file.ReadAt(w.data[at:], p.at); err != nil {
				return fmt.Errorf("reading the spill: %w", err)
			}
			if !whole {
				w.data = w.data[:at+w.sift(w.data[at:], from, to)]
			}
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
		w.settler.settle(segs[:n], &j.file.Meaning, w.zone(id))
		if w.settler.usedSiteClock {
			j.mu.Lock()
			if j.entry.Zones == nil {
				j.entry.Zones = map[string]string{}
			}
			j.entry.Zones[id] = w.zoneName(id)
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

// collect takes over what a worker had to set aside.
func (m *merger) collect(s *settler) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.aside = append(m.aside, s.aside...)
}

// count settles the entries of the files that were read: their rows, and their
// rejects with the line in the file.
func (m *merger) count() {
	slices.SortFunc(m.aside, func(a, b setAside) int {
		if c := cmp.Compare(a.source, b.source); c != 0 {
			return c
		}
		return cmp.Compare(a.order, b.order)
	})
	for _, j := range m.jobs {
		e := &j.entry
		if j.err != nil {
			e.Rejects = []ingest.Reject{{File: e.Path, Reason: "the file cannot be read: " + withoutPath(j.err)}}
			m.next.Files = append(m.next.Files, *e)
			continue
		}
		lines := int64(0)
		first := make([]int64, len(j.tallies))
		for i, t := range j.tallies {
			first[i] = j.file.FirstLine(lines)
			e.Rows.Read += t.Rows
			e.Rows.SetAside += t.SetAside
			for _, r := range t.Rejects {
				r.Line += int(first[i])
				e.Rejects = append(e.Rejects, r)
			}
			e.Notes = append(e.Notes, t.Notes...)
			m.compareClock(e, t.Clock)
			lines += t.Lines
		}
		from, _ := slices.BinarySearchFunc(m.aside, e.Source, func(a setAside, s int32) int { return cmp.Compare(a.source, s) })
		for ; from < len(m.aside) && m.aside[from].source == e.Source; from++ {
			a := m.aside[from]
			e.Rows.SetAside++
			e.Rejects = append(e.Rejects, ingest.Reject{
				File: e.Path, Line: int(first[a.order>>32] + a.order&0xffffffff), Column: j.mapping.Time.Column, Reason: a.reason, SiteID: m.ids[a.site],
			})
		}
		e.Rows.Kept = e.Rows.Read - e.Rows.SetAside
		e.Rows.Repeated = m.repeats[e.Source]
		if n := m.rounded[e.Source]; n > 0 {
			e.Notes = append(e.Notes, plural(n, "stamp")+" moved to the nearest whole minute")
		}
		slices.SortStableFunc(e.Rejects, func(a, b ingest.Reject) int { return cmp.Compare(a.Line, b.Line) })
		if len(e.Rejects) > m.o.MaxRejects {
			e.Rejects = e.Rejects[:m.o.MaxRejects]
		}
		m.next.Files = append(m.next.Files, *e)
	}
}

// compareClock notes where a file's own idea of its site's clock is not the
// register's. The readings are in UTC and do not depend on it.
func (m *merger) compareClock(e *fileEntry, claim *readings.ClockClaim) {
	if claim == nil || m.zone(claim.SiteID) == nil {
		return
	}
	e.Zones = map[string]string{claim.SiteID: m.zoneName(claim.SiteID)}
	loc := m.zone(claim.SiteID)
	_, january := time.Date(2026, 1, 1, 0, 0, 0, 0, loc).Zone()
	_, july := time.Date(2026, 7, 1, 0, 0, 0, 0, loc).Zone()
	if standard := min(january, july); int64(standard) != claim.OffsetSeconds || claim.DST != (january != july) {
		e.Notes = append(e.Notes, fmt.Sprintf("the file's clock is %+.1f h from UTC (summer time: %v), but the site's zone %s is %+.1f h (summer time: %v): check the register's timezone",
			float64(claim.OffsetSeconds)/3600, claim.DST, loc, float64(standard)/3600, january != july))
	}
}

// withoutPath says an error without the path of this machine.
func withoutPath(err error) string {
	if errors.Is(err, io.ErrUnexpectedEOF) {
		return "it ends too early: export or copy it again"
	}
	if p := (*fs.PathError)(nil); errors.As(err, &p) {
		return p.Op + ": " + p.Err.Error()
	}
	return err.Error()
}
