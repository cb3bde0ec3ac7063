package sun

import (
	"container/list"
	"math"
	"sync"

	"rowen/ingest"
)

// Cache shares tables of the sun between sites near to each other. It is safe
// for concurrent use, and holds at most so many places; the one that was used
// longest ago goes first. What it answers never depends on what was asked
// before, nor on how many ask at once.
//
// Places are rounded to 0.05 degrees (at most 2.8 km north or south, 0.025
// degrees of angle) and 200 m of height, our choice: 100 m of height are 0.5 % of
// clear light, far below what a site's own horizon and the clear-sky model do,
// and a hilly town still shares its tables.
type Cache struct {
	max   int
	sky   SkyModel
	mu    sync.Mutex
	byKey map[placeKey]*list.Element
	order *list.List // of *cacheEntry, last used first
}

const heightStepM = 200

type placeKey struct{ lat, lon, height int32 }

type cacheEntry struct {
	key placeKey
	mu  sync.Mutex // held while the table is computed: others wait for it
	h   *Hours
}

// NewCache makes a cache of at most maxPlaces (no less than 1). A place costs
// 64 bytes an hour: 1.7 MB for three years.
func NewCache(maxPlaces int, sky SkyModel) *Cache {
	return &Cache{max: max(maxPlaces, 1), sky: sky, byKey: map[placeKey]*list.Element{}, order: list.New()}
}

func keyOf(p Place) placeKey {
	if p.ElevationM != p.ElevationM {
		p.ElevationM = 0
	}
	if !p.onEarth() {
		return placeKey{lat: math.MaxInt32} // no number of its own, so one for all such
	}
	return placeKey{
		lat:    int32(math.Round(p.LatitudeDeg * 20)),
		lon:    int32(math.Round(p.LongitudeDeg * 20)),
		height: int32(math.Round(p.ElevationM / heightStepM)),
	}
}

// place is the rounded place.
func (k placeKey) place() Place {
	return Place{float64(k.lat) / 20, float64(k.lon) / 20, float64(k.height) * heightStepM}
}

// Hours gives n hours of the sun near p, from start on. The slices are shared:
// they may not be changed.
func (c *Cache) Hours(p Place, start ingest.Hour, n int) *Hours {
	e := c.entry(keyOf(p))
	e.mu.Lock()
	defer e.mu.Unlock()
	end := start + ingest.Hour(n)
	if e.h == nil || start < e.h.Start || end > e.h.End() {
		known, from, to := &Hours{Start: start}, start, end
		// Keep what was there before, unless the two lie years apart.
		if e.h != nil && max(to, e.h.End())-min(from, e.h.Start) <= to-from+ingest.Hour(e.h.N)+8784 {
			known, from, to = e.h, min(from, e.h.Start), max(to, e.h.End())
		}
		e.h = widen(known, e.key.place(), from, int(to-from), c.sky)
	}
	return e.h.Slice(start, n)
}

// entry finds or makes the place's entry, and lets the oldest go.
func (c *Cache) entry(key placeKey) *cacheEntry {
	c.mu.Lock()
	defer c.mu.Unlock()
	if el, ok := c.byKey[key]; ok {
		c.order.MoveToFront(el)
		return el.Value.(*cacheEntry)
	}
	e := &cacheEntry{key: key}
	c.byKey[key] = c.order.PushFront(e)
	for c.order.Len() > c.max {
		oldest := c.order.Back()
		delete(c.byKey, oldest.Value.(*cacheEntry).key)
		c.order.Remove(oldest)
	}
	return e
}
