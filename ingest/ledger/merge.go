package ledger

import (
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"sync"

	"golang.org/x/sync/errgroup"

	"rowen/ingest"
)

// merge does every bucket by a worker, and settles the counts of the files.
func (u *updater) merge(ctx context.Context) error {
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
				if err := w.bucket(k); err != nil {
					return fmt.Errorf("bucket %d: %w", k, err)
				}
				for _, s := range u.spills {
					s.done(k)
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
}

// maxSpillBytes bounds what a worker holds of a bucket's new rows; a larger
// bucket is read from the spill several times, some sites each time.
// A variable so that tests can make it small.
var maxSpillBytes int64 = 16 << 20

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
	digest := sha256.New()
	err = w.disk.write(path, func(f *os.File) error {
		if err := w.out.begin(io.MultiWriter(f, digest), w.channels(in)); err != nil {
			return err
		}
		err := w.eachSite(k, bytes, in, func(id string, list []*rows) error {
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
	e := bucketEntry{Name: name, Size: info.Size(), Digest: hex.EncodeToString(digest.Sum(nil)), Sites: slices.Clone(w.out.sites)}
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
		bytes += s.bytes[k]
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
	f, err := w.disk.open(filepath.Join(w.ledger, e.Name))
	if err != nil {
		return nil, err
	}
	b, err := openBucket(f, e.Size)
	if err != nil {
		f.Close()
		return nil, fmt.Errorf("%s: %w", e.Name, err)
	}
	return &openedBucket{b, f}, nil
}
