package ledger

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"sync"

	"golang.org/x/sync/errgroup"
)

// errDamaged says that a bucket's file is not as it was written.
var errDamaged = errors.New("is not as it was written")

// check holds a bucket's file against its digest. Parquet's own decoder is
// never given bytes that fail this: flipped bits can make it break down.
func (k *bucketEntry) check(f *os.File) error {
	info, err := f.Stat()
	if err != nil {
		return err
	}
	if info.Size() != k.Size {
		return fmt.Errorf("%s %w: it has %d bytes and had %d", k.Name, errDamaged, info.Size(), k.Size)
	}
	h, buf := sha256.New(), copying.Get().(*[]byte)
	defer copying.Put(buf)
	if _, err := io.CopyBuffer(h, io.NewSectionReader(f, 0, k.Size), *buf); err != nil {
		return err
	}
	if hex.EncodeToString(h.Sum(nil)) != k.Digest {
		return fmt.Errorf("%s %w: its digest differs", k.Name, errDamaged)
	}
	return nil
}

// copying are buffers that files are digested through.
var copying = sync.Pool{New: func() any { b := make([]byte, 256<<10); return &b }}

// checkBuckets looks for buckets that are damaged or gone. The ledger is a
// cache: what they held is forgotten, and the files that they came from are
// read again.
func (u *updater) checkBuckets(ctx context.Context) error {
	damaged := make([]error, len(u.old.Bucket))
	g, ctx := errgroup.WithContext(ctx)
	g.SetLimit(u.o.Workers)
	for i := range u.old.Bucket {
		k := &u.old.Bucket[i]
		if k.Name == "" {
			continue
		}
		g.Go(func() error {
			if ctx.Err() != nil {
				return ctx.Err()
			}
			f, err := u.disk.open(filepath.Join(u.ledger, k.Name))
			if err != nil {
				damaged[i] = err
				return nil
			}
			defer f.Close()
			damaged[i] = k.check(f)
			return nil
		})
	}
	if err := g.Wait(); err != nil {
		return err
	}
	n := 0
	for i, err := range damaged {
		if err == nil {
			continue
		}
		n++
		for _, src := range u.old.Bucket[i].Sources {
			u.again[src] = true
		}
		u.old.Bucket[i] = bucketEntry{}
	}
	if n == 0 {
		return nil
	}
	files := 0
	for _, e := range u.old.Files {
		if u.again[e.Source] {
			files++
		}
	}
	first := slices.IndexFunc(damaged, func(err error) bool { return err != nil })
	u.report.Notes = append(u.report.Notes, fmt.Sprintf("%s of the ledger could not be used (the first: %s); %s read again", plural(int64(n), "part"), withoutPath(damaged[first]), plural(int64(files), "file")))
	return nil
}
