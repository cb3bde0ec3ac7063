package ledger

import (
	"context"
	"crypto/sha256"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"sync"

	"rowen/ingest"
	"rowen/ingest/quality"
	"rowen/ingest/regular"
)

// Ledger is an opened ledger. It is an ingest.Source: Load may be called from
// any number of goroutines.
type Ledger struct {
	dir        string
	m          *manifest
	rank       map[int32]int
	counter    map[int32][4]counterEntry
	written    map[int32]int64
	sites      siteIndex
	opened     cache
	scratch    sync.Pool
	meanings   sync.Map // by bucket: see meaning
	remembered *remembered
	held       func() // lets go of the readers' lock
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
	l.remembered = remember(l.dir, l.m.Updates)
	l.opened = cache{dir: l.dir, most: 16, whole: map[string]bool{}}
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
	l.remembered.close()
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
	number := bucketOf(siteID, l.m.Buckets)
	k := &l.m.Bucket[number]
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
	found := l.checked(number, siteID, s)
	s.Quality = append(s.Quality, found...)
	quality.Apply(s, found)
	return nil
}

// checked gives the quality findings of a site, worked out where no earlier run
// did, and once in this one.
func (l *Ledger) checked(k int32, siteID string, s *ingest.Series) []ingest.Quality {
	place := quality.Site{LatitudeDeg: nan, LongitudeDeg: nan}
	if site := l.sites.find(siteID); site != nil {
		place = quality.Site{LatitudeDeg: site.LatitudeDeg, LongitudeDeg: site.LongitudeDeg, Location: site.Location, RatedACWatts: site.RatedACWatts, RatedDCWatts: site.RatedDCWatts}
	}
	key := l.remembered.keyOf(s, l.meaning(k), place)
	if q, ok := l.remembered.take(key); ok {
		return q
	}
	q := quality.Check(s, place)
	l.remembered.keep(key, q)
	return q
}

// meaning stands for all that a bucket's rows are taken for: its bytes, and of the
// files that they came from the order, the counters and when they were written.
func (l *Ledger) meaning(k int32) [sha256.Size]byte {
	if known, ok := l.meanings.Load(k); ok {
		return known.([sha256.Size]byte)
	}
	bucket := &l.m.Bucket[k]
	sources := slices.Clone(bucket.Sources)
	slices.SortFunc(sources, func(a, b int32) int { return l.rank[a] - l.rank[b] })
	h := sha256.New()
	fmt.Fprintf(h, "%d %s\n", version, bucket.Digest)
	for _, src := range sources {
		fmt.Fprintf(h, "%d %d %+v\n", src, l.written[src], l.counter[src])
	}
	sum := [sha256.Size]byte(h.Sum(nil))
	l.meanings.Store(k, sum)
	return sum
}

// cache keeps a few buckets open. Each is held against its digest the first time
// that it is opened: the sites are asked for from neighbor to neighbor, and lie in
// the buckets as chance has it, so that a bucket is opened for nearly each of them.
type cache struct {
	dir   string
	most  int
	mu    sync.Mutex
	open  []*cached       // the least used first
	whole map[string]bool // buckets whose digest was as it should be
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
	if !c.whole[k.Name] {
		err = k.check(f)
	}
	if err == nil {
		b, err = openBucket(f, k.Size)
	}
	if err != nil {
		f.Close()
		return nil, err
	}
	c.whole[k.Name] = true
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
