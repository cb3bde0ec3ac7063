package ingest

import (
	"encoding/binary"
	"fmt"
	"iter"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/klauspost/compress/zstd"

	"rowen/ingest/packed"
)

// sitesPerBlock is how many sites are compressed together: one is read some three
// times in a run, and a block in 20 µs (our choice).
const sitesPerBlock = 16

// keptSites are sites in compact form, in blocks: about 200 bytes a site where it
// would take 2,000 as it is, and nothing that the collector has to follow.
type keptSites struct {
	blocks [][]byte
	first  []string // the id of each block's first site
	n      int
	open   []byte // the block that is being filled, not yet compressed
	zones  sync.Map
}

// packing is what blocks are written and read with.
var packing = struct {
	write *zstd.Encoder
	read  *zstd.Decoder
	room  sync.Pool // *[]byte
}{room: sync.Pool{New: func() any { return new([]byte) }}}

func init() {
	var noWriter, noReader error
	packing.write, noWriter = zstd.NewWriter(nil, zstd.WithEncoderLevel(zstd.SpeedFastest), zstd.WithEncoderConcurrency(1), zstd.WithWindowSize(1<<15), zstd.WithLowerEncoderMem(true))
	packing.read, noReader = zstd.NewReader(nil, zstd.WithDecoderConcurrency(0), zstd.WithDecoderLowmem(true))
	if noWriter != nil || noReader != nil {
		panic(fmt.Sprint("zstd: ", noWriter, noReader)) // of options that are written down above
	}
}

// Keep adds the next site in the order of their ids, in compact form. A fleet has
// its sites either in Sites or kept; after Change none is added.
func (f *Fleet) Keep(s *Site) {
	if f.kept == nil {
		f.kept = &keptSites{}
	}
	f.kept.add(s)
}

func (k *keptSites) add(s *Site) {
	if k.n%sitesPerBlock == 0 {
		k.close()
		k.first = append(k.first, s.ID)
	}
	k.n++
	k.open = appendSite(k.open, s)
}

// lengthBytes is what stands before each site of a block: how long it is.
const lengthBytes = 4

// close compresses the block that is being filled.
func (k *keptSites) close() {
	if len(k.open) > 0 {
		k.blocks = append(k.blocks, packBlock(k.open))
		k.open = k.open[:0]
	}
}

func packBlock(b []byte) []byte {
	room := packing.room.Get().(*[]byte)
	defer packing.room.Put(room)
	*room = packing.write.EncodeAll(b, (*room)[:0])
	return append(make([]byte, 0, len(*room)), *room...)
}

func appendSite(b []byte, s *Site) []byte {
	x := *s
	x.Location = nil // Timezone tells it
	at := len(b)
	b = packed.Append(append(b, make([]byte, lengthBytes)...), &x)
	binary.LittleEndian.PutUint32(b[at:], uint32(len(b)-at-lengthBytes))
	return b
}

// next parts the next site's bytes from what follows.
func next(b []byte) (site, rest []byte) {
	end := lengthBytes + int(binary.LittleEndian.Uint32(b))
	return b[lengthBytes:end], b[end:]
}

// site gives the site that some bytes are.
func (k *keptSites) site(b []byte) *Site {
	s := &Site{}
	unpack(b, s)
	s.Location = k.zone(s.Timezone)
	return s
}

func unpack(b []byte, into any) {
	if _, err := packed.Take(b, into); err != nil {
		panic(err) // it was never anywhere else than in this memory
	}
}

// zone gives a time zone by its name, the same one each time.
func (k *keptSites) zone(name string) *time.Location {
	if z, ok := k.zones.Load(name); ok {
		return z.(*time.Location)
	}
	z, err := time.LoadLocation(name)
	if err != nil {
		z = time.UTC
	}
	kept, _ := k.zones.LoadOrStore(name, z)
	return kept.(*time.Location)
}

// block gives the sites of a block to use while it lasts.
func (k *keptSites) block(i int, use func(b []byte)) {
	if i == len(k.blocks) {
		use(k.open)
		return
	}
	room := packing.room.Get().(*[]byte)
	defer packing.room.Put(room)
	var err error
	if *room, err = packing.read.DecodeAll(k.blocks[i], (*room)[:0]); err != nil {
		panic(err) // as in unpack
	}
	use(*room)
}

// Len is how many sites there are.
func (f *Fleet) Len() int {
	if f.kept == nil {
		return len(f.Sites)
	}
	return f.kept.n
}

// At is the i-th site in the order of the ids. It is the caller's to read; what is
// changed in it is forgotten, see Change.
func (f *Fleet) At(i int) *Site {
	k := f.kept
	if k == nil {
		return &f.Sites[i]
	}
	var s *Site
	k.block(i/sitesPerBlock, func(b []byte) {
		site, rest := next(b)
		for range i % sitesPerBlock {
			site, rest = next(rest)
		}
		s = k.site(site)
	})
	return s
}

// All gives every site with its place in the order of the ids.
func (f *Fleet) All() iter.Seq2[int, *Site] {
	return func(yield func(int, *Site) bool) {
		for i := 0; f.kept == nil && i < len(f.Sites); i++ {
			if !yield(i, &f.Sites[i]) {
				return
			}
		}
		if f.kept == nil {
			return
		}
		i, on := 0, true
		for n := range f.kept.first {
			f.kept.block(n, func(b []byte) {
				for on && len(b) > 0 {
					var site []byte
					site, b = next(b)
					on = yield(i, f.kept.site(site))
					i++
				}
			})
			if !on {
				return
			}
		}
	}
}

// Change goes over all sites; those of which change says so stay as it left them.
func (f *Fleet) Change(change func(*Site) bool) {
	for i := 0; f.kept == nil && i < len(f.Sites); i++ {
		change(&f.Sites[i])
	}
	if f.kept == nil {
		return
	}
	f.kept.close()
	var now []byte
	for n := range f.kept.blocks {
		changed := false
		now = now[:0]
		f.kept.block(n, func(b []byte) {
			for len(b) > 0 {
				var site []byte
				site, b = next(b)
				s := f.kept.site(site)
				changed = change(s) || changed
				now = appendSite(now, s)
			}
		})
		if changed {
			f.kept.blocks[n] = packBlock(now)
		}
	}
}

// Find gives a site's place in the order of the ids; false: there is none.
func (f *Fleet) Find(id string) (int, bool) {
	if f.kept == nil {
		return slices.BinarySearchFunc(f.Sites, id, func(s Site, id string) int { return strings.Compare(s.ID, id) })
	}
	n, first := slices.BinarySearch(f.kept.first, id)
	if first {
		return n * sitesPerBlock, true
	}
	at, there := 0, false
	if n--; n >= 0 {
		f.kept.block(n, func(b []byte) {
			for i := 0; len(b) > 0 && !there; i++ {
				var site []byte
				site, b = next(b)
				var s struct{ ID string } // the first that is kept of a site
				unpack(site, &s)
				at, there = n*sitesPerBlock+i, s.ID == id
			}
		})
	}
	return at, there
}

// Site finds a site by its ID; nil where there is none.
func (f *Fleet) Site(id string) *Site {
	if i, there := f.Find(id); there {
		return f.At(i)
	}
	return nil
}
