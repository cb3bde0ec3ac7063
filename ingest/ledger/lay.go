package ledger

import (
	"cmp"
	"slices"

	"rowen/ingest"
)

// loader is the scratch of one Load.
type loader struct {
	rank    map[int32]int
	counter map[int32][4]counterEntry
	written map[int32]int64 // when each file was written, in seconds
	block   block
	runs    []sourceRun
	points  []point
	ground
}

// ground is what the readings are laid on, and what laying them has shown.
type ground struct {
	grid  [ingest.NumChannels]grid
	base  int64 // seconds of the first slot, a whole hour
	slot  int64 // seconds of a slot
	slots int
	found findings
	tally [1441]int64 // seconds covered, by the step in minutes
}

// sourceRun is a stretch of the block's rows of one file.
type sourceRun struct {
	source   int32
	from, to int
	counter  [4]counterEntry
}

// grid is one channel on slots of equal length. An interval never crosses an
// hour: it is cut there.
type grid struct {
	used   bool
	value  []int64  // milli-Wh of the interval that begins here; 0 in the rest of it
	piece  []uint16 // of the interval over this slot: its slots, and from bit 8 how far it began before; 0: missing
	filled int      // slots from here on are empty
}

// cutPiece marks a piece of a longer interval: its value is a share.
const cutPiece = 1 << 15

// build turns the block into the series.
//
// Of intervals that overlap, the file with the later name wins, whole intervals
// at a time; a site's files are laid over each other in that order.
func (ld *loader) build(siteID string, s *ingest.Series) {
	if ld.buildRegular(siteID, s) {
		return
	}
	ld.layAll(siteID, s)
}

// layAll is build for rows of any kind.
func (ld *loader) layAll(siteID string, s *ingest.Series) {
	ld.found = findings{estimated: ld.found.estimated}
	stray := ld.block.dropStrays(ld.written)
	ld.findRuns()
	if ld.block.lengthless() {
		ld.resolveLengths()
	}
	ld.lay()
	if ld.found.overlaps() && ld.untangle() {
		ld.lay()
	}
	ld.writeHours(siteID, s)
	ld.writeFine(s)
	ld.describe(s)
	stray.describe(s)
}

// lay lays all channels on their grids.
func (ld *loader) lay() {
	ld.found.clear()
	clear(ld.tally[:])
	ld.block.findStreaks()
	ld.measure()
	for c := range ld.grid {
		ld.fill(ingest.Channel(c))
	}
}

// findRuns cuts the block by source, later exports last.
func (ld *loader) findRuns() {
	k := &ld.block
	ld.runs = ld.runs[:0]
	for i := 0; i < k.n; {
		src, j := k.sameSource, k.n
		if len(k.source) > 0 {
			src = k.source[i]
			for j = i + 1; j < k.n && k.source[j] == src; j++ {
			}
		}
		ld.runs = append(ld.runs, sourceRun{src, i, j, ld.counter[src]})
		i = j
	}
	slices.SortFunc(ld.runs, func(a, b sourceRun) int {
		return cmp.Compare(ld.rank[a.source], ld.rank[b.source])
	})
}

// measure finds the slot's length and the range of hours.
func (ld *loader) measure() {
	k := &ld.block
	first, last := k.firstMs/1000, k.lastMs/1000
	slot := int64(3600)
	end := last
	for _, s := range k.streaks {
		sec, t := int64(k.secondsAt(s.from)), k.startAt(s.from)
		end = max(end, t+int64(s.to-s.from)*sec)
		slot = gcd(gcd(slot, sec), floorMod(t, 3600))
	}
	ld.slot = slot
	ld.base = first - floorMod(first, 3600)
	hours := (end - ld.base + 3599) / 3600
	ld.slots = int(hours * 3600 / slot)
}

func gcd(a, b int64) int64 {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}

// fill lays one channel's readings on its grid: first what counters give, then
// energies, file by file.
func (ld *loader) fill(c ingest.Channel) {
	g := &ld.grid[c]
	g.used = false
	k := &ld.block
	if !k.has[c] || len(k.state) == 0 && k.sameState>>c&1 == 0 {
		return
	}
	for _, r := range ld.runs {
		if r.counter[c].Counter {
			ld.start(g)
			ld.fillCounter(c)
			break
		}
	}
	for _, r := range ld.runs {
		if !r.counter[c].Counter {
			ld.fillRun(c, r)
		}
	}
}

// start makes the grid ready, once.
func (g *ground) start(ch *grid) {
	if ch.used {
		return
	}
	ch.used, ch.filled = true, 0
	ch.value = slices.Grow(ch.value[:0], g.slots)[:g.slots]
	ch.piece = slices.Grow(ch.piece[:0], g.slots)[:g.slots]
	clear(ch.piece)
}

// put lays an interval of one slot.
func (g *ground) put(ch *grid, c ingest.Channel, at int, v int64) {
	if at >= ch.filled {
		ch.filled = at + 1
	} else if p := ch.piece[at]; p == 1 {
		g.found.repeat(c, g.hourOf(at), ch.value[at] != v)
	} else if p != 0 {
		g.supersede(ch, c, at)
	}
	ch.value[at], ch.piece[at] = v, 1
}

// spread lays an interval of several slots, cut at the hours; every piece gets
// its share by time, and the shares add up to the value exactly.
func (g *ground) spread(ch *grid, c ingest.Channel, t, sec, v int64) {
	var given int64
	for from := t; from < t+sec; {
		to := min(from-floorMod(from, 3600)+3600, t+sec)
		share := shareOf(v, to-t, sec) - given
		given += share
		at, n := int((from-g.base)/g.slot), int((to-from)/g.slot)
		mark := uint16(0)
		if to-from < sec {
			mark = cutPiece
			if sec <= 3600 {
				g.found.add(&g.found.cut[c], g.hourOf(at), 1)
			}
		}
		same := at < ch.filled
		for j := range n {
			if ch.piece[at+j]&^cutPiece != uint16(n|j<<8) {
				same = false
			}
		}
		if same {
			g.found.repeat(c, g.hourOf(at), ch.value[at] != share)
		} else {
			for j := range n {
				if ch.piece[at+j] != 0 {
					g.supersede(ch, c, at+j)
				}
			}
		}
		for j := range n {
			ch.value[at+j], ch.piece[at+j] = 0, mark|uint16(n|j<<8)
		}
		ch.value[at] = share
		ch.filled = max(ch.filled, at+n)
		from = to
	}
}

// shareOf gives v*part/whole, rounded down, for part <= whole <= 25 h.
func shareOf(v, part, whole int64) int64 {
	q, r := v/whole, v%whole
	return q*part + floorDiv(r*part, whole)
}

func floorDiv(a, b int64) int64 { return (a - floorMod(a, b)) / b }

// supersede takes away the interval over a slot: a later export tells that time
// in other steps.
func (g *ground) supersede(ch *grid, c ingest.Channel, at int) {
	p := ch.piece[at]
	n, back := int(p&0xff), int(p&^cutPiece>>8)
	head := at - back
	for j := range n {
		ch.piece[head+j], ch.value[head+j] = 0, 0
	}
	g.found.add(&g.found.superseded[c], g.hourOf(at), 1)
}

func (g *ground) hourOf(slot int) ingest.Hour {
	return ingest.Hour((g.base + int64(slot)*g.slot) / 3600)
}
