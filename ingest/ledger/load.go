package ledger

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"sync"

	"rowen/ingest"
	"rowen/ingest/packed"
	"rowen/ingest/quality"
	"rowen/ingest/regular"
)

// Ledger is an opened ledger. It is an ingest.Source: Load may be called from
// any number of goroutines.
type Ledger struct {
	dir     string
	m       *manifest
	rank    map[int32]int
	counter map[int32][4]counterEntry
	written map[int32]int64
	sites   siteIndex
	opened  cache
	scratch sync.Pool
	quality checked
	held    func() // lets go of the readers' lock
}

var _ ingest.Source = (*Ledger)(nil)

func open(ctx context.Context, dir string, sites []Site, waiting func(string)) (*Ledger, error) {
	l := &Ledger{dir: ledgerDir(dir), sites: indexOf(sites), counter: map[int32][4]counterEntry{}}
	var err error
	if l.held, err = lockToRead(ctx, filepath.Join(l.dir, readersName), waiting); err != nil {
		return nil, fmt.Errorf("opening the ledger: %w", err)
	}
	if l.m, err = readManifest(disk{}, l.dir); err != nil {
		l.held()
		return nil, fmt.Errorf("opening the ledger: %w", err)
	}
	if l.m.Version != version {
		l.held()
		return nil, fmt.Errorf("opening the ledger: %s holds none that this version reads: update it first", l.dir)
	}
	l.rank, l.written = l.m.ranks(), l.m.written()
	for _, e := range l.m.Files {
		l.counter[e.Source] = e.Counters
	}
	l.scratch.New = func() any { return &loader{} }
	l.opened = cache{dir: l.dir, most: 16}
	return l, nil
}

// Holds tells whether the ledger is what an update reported: other files have come
// to it since, or none.
func (l *Ledger) Holds(r *Report) bool {
	return slices.EqualFunc(l.m.Files, r.Files, func(a fileEntry, b FileReport) bool { return a.Path == b.Path && a.Digest == b.Digest })
}

// Close lets go of the ledger's files.
func (l *Ledger) Close() error {
	defer l.held()
	return l.opened.close()
}

// Order lists the sites that have readings, bucket by bucket.
func (l *Ledger) Order() []string {
	var ids []string
	for _, k := range l.m.Bucket {
		ids = append(ids, k.Sites...)
	}
	return ids
}

// Load fills s with one site's readings, reusing its slices.
func (l *Ledger) Load(siteID string, s *ingest.Series) error {
	if l.m.Buckets == 0 {
		return ingest.ErrNoReadings
	}
	k := &l.m.Bucket[bucketOf(siteID, l.m.Buckets)]
	i, ok := slices.BinarySearch(k.Sites, siteID)
	if !ok {
		return ingest.ErrNoReadings
	}
	ld := l.scratch.Get().(*loader)
	defer l.scratch.Put(ld)
	b, err := l.opened.get(k)
	if err == nil {
		err = b.load(i, &ld.block)
		l.opened.release(b)
	}
	if err != nil {
		return fmt.Errorf("loading %s: %w: run again; the ledger is then rebuilt", siteID, err)
	}
	ld.rank, ld.counter, ld.written = l.rank, l.counter, l.written
	ld.build(siteID, s)
	found := l.checked(siteID, s)
	s.Quality = append(s.Quality, found...)
	quality.Apply(s, found)
	return nil
}

// checked are the quality findings of the sites that were loaded once, packed.
type checked struct {
	mu sync.Mutex
	of map[string][]byte
}

// keptFindings are a site's findings as packed takes them.
type keptFindings struct{ All []ingest.Quality }

// take gives what was kept of a site, and lets go of it.
func (c *checked) take(siteID string) ([]ingest.Quality, bool) {
	c.mu.Lock()
	b, there := c.of[siteID]
	delete(c.of, siteID)
	c.mu.Unlock()
	var q keptFindings
	if len(b) > 0 {
		if _, err := packed.Take(b, &q); err != nil {
			return nil, false // never: it was in this memory alone
		}
	}
	return q.All, there
}

func (c *checked) keep(siteID string, found []ingest.Quality) {
	var b []byte
	if len(found) > 0 {
		b = packed.Append(nil, keptFindings{found})
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.of == nil {
		c.of = map[string][]byte{}
	}
	c.of[siteID] = b
}

// checked gives the quality findings of a site, worked out once: a run loads
// every site twice, and asks for them no more after that.
func (l *Ledger) checked(siteID string, s *ingest.Series) []ingest.Quality {
	if q, ok := l.quality.take(siteID); ok {
		return q
	}
	place := quality.Site{LatitudeDeg: nan, LongitudeDeg: nan}
	if site := l.sites.find(siteID); site != nil {
		place = quality.Site{LatitudeDeg: site.LatitudeDeg, LongitudeDeg: site.LongitudeDeg, Location: site.Location, RatedACWatts: site.RatedACWatts, RatedDCWatts: site.RatedDCWatts}
	}
	q := quality.Check(s, place)
	l.quality.keep(siteID, q)
	return q
}

// cache keeps a few buckets open.
type cache struct {
	dir  string
	most int
	mu   sync.Mutex
	open []*cached // the least used first
}

type cached struct {
	*bucketFile
	name  string
	f     *os.File
	users int
}

func (c *cache) get(k *bucketEntry) (*cached, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	for i, b := range c.open {
		if b.name == k.Name {
			copy(c.open[i:], c.open[i+1:])
			c.open[len(c.open)-1] = b
			b.users++
			return b, nil
		}
	}
	f, err := regular.Open(filepath.Join(c.dir, k.Name))
	if err != nil {
		return nil, err
	}
	var b *bucketFile
	if err = k.check(f); err == nil {
		b, err = openBucket(f, k.Size)
	}
	if err != nil {
		f.Close()
		return nil, err
	}
	e := &cached{b, k.Name, f, 1}
	c.open = append(c.open, e)
	c.trim()
	return e, nil
}

func (c *cache) release(b *cached) {
	c.mu.Lock()
	defer c.mu.Unlock()
	b.users--
	c.trim()
}

func (c *cache) trim() {
	for i := 0; i < len(c.open) && len(c.open) > c.most; {
		if c.open[i].users > 0 {
			i++
			continue
		}
		c.open[i].f.Close()
		c.open = slices.Delete(c.open, i, i+1)
	}
}

func (c *cache) close() error {
	c.mu.Lock()
	defer c.mu.Unlock()
	for _, b := range c.open {
		b.f.Close()
	}
	c.open = nil
	return nil
}
