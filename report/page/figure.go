package page

import (
	"math"
	"slices"
	"strconv"
)

func (i Interval) known() bool { return !math.IsNaN(i.Low) && !math.IsNaN(i.High) }

func finite(x, unknown float64) float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return unknown
	}
	return math.Round(x*100) / 100
}

// stays is a share of draws as the list shows it; "": not known.
func stays(x float64) string {
	if math.IsNaN(x) {
		return ""
	}
	return strconv.Itoa(int(math.Round(100*x))) + " %"
}

// A map's drawing, in its own units.
const (
	mapWidth = 300.0
	mapMost  = 300.0 // high at the most
	mapEdge  = 14.0
)

// siteMap is the sites of one area where they lie, without anything below them.
type siteMap struct {
	Width, Height float64
	Dots          []mapDot
	ScaleX        float64 // where the scale bar begins
	ScaleWide     float64
	ScaleKm       string
}

type mapDot struct {
	X, Y float64
	Lane string
}

// mostAreas is how many areas are drawn, the largest first (our choice).
const mostAreas = 6

// mapsOf draws each area by itself: sites belong together where cells of a
// quarter degree that hold some touch, so that regions a day's drive apart do not
// shrink to two points. A site or two by themselves are not drawn.
func mapsOf(places []Place) []siteMap {
	type cell struct{ x, y int }
	at := func(p Place) cell { return cell{int(math.Floor(4 * p.East)), int(math.Floor(4 * p.North))} }
	cells := map[cell][]Place{}
	for _, p := range places {
		cells[at(p)] = append(cells[at(p)], p)
	}
	var areas [][]Place
	for _, p := range places {
		var area []Place
		for reach := []cell{at(p)}; len(reach) > 0; reach = reach[1:] {
			c := reach[0]
			if len(cells[c]) == 0 {
				continue
			}
			area = append(area, cells[c]...)
			delete(cells, c)
			for dx := -1; dx <= 1; dx++ {
				for dy := -1; dy <= 1; dy++ {
					reach = append(reach, cell{c.x + dx, c.y + dy})
				}
			}
		}
		if len(area) > 2 {
			areas = append(areas, area)
		}
	}
	slices.SortStableFunc(areas, func(a, b []Place) int { return len(b) - len(a) })
	var maps []siteMap
	for _, area := range areas[:min(mostAreas, len(areas))] {
		maps = append(maps, mapOf(area))
	}
	return maps
}

// mapOf lays an area's sites out: an equirectangular drawing about their middle.
// Dots of the same place are drawn once a lane; what is to be called lies on top.
func mapOf(places []Place) siteMap {
	west, east, south, north := math.Inf(1), math.Inf(-1), math.Inf(1), math.Inf(-1)
	for _, p := range places {
		west, east, south, north = min(west, p.East), max(east, p.East), min(south, p.North), max(north, p.North)
	}
	squeeze := math.Cos((south + north) / 2 * math.Pi / 180)
	wide, high := max((east-west)*squeeze, 0.02), max(north-south, 0.02)
	unit := min((mapWidth-2*mapEdge)/wide, (mapMost-2*mapEdge)/high)
	m := siteMap{Width: mapWidth, Height: max(round1(float64(high*unit)+2*mapEdge), 70)}
	left, top := float64((mapWidth-float64((east-west)*squeeze*unit))/2), float64((m.Height-float64((north-south)*unit))/2)
	seen := map[mapDot]bool{}
	for _, lane := range []string{"do_not_contact", "no_data", "blocked", "no_gain", "watch", "repair", "prepare", "call"} {
		for _, p := range places {
			d := mapDot{round1(left + float64((p.East-west)*squeeze*unit)), round1(top + float64((north-p.North)*unit)), p.Lane}
			if p.Lane == lane && !seen[d] {
				seen[d] = true
				m.Dots = append(m.Dots, d)
			}
		}
	}
	const kmPerDeg = 111.2
	km := niceStep(wide * kmPerDeg / 6)
	m.ScaleWide, m.ScaleKm = round1(km/kmPerDeg*unit), strconv.FormatFloat(km, 'f', -1, 64)
	m.ScaleX = round1(mapWidth - mapEdge - m.ScaleWide)
	return m
}

// bars is the distribution of the net benefit.
type bars struct {
	Width, Height, Base float64
	Bars                []benefitBar
}

type benefitBar struct {
	X, Y, Wide, High float64
	Sites            int
	From             string
	Label            bool
}

func barsOf(bins []Bin) bars {
	b := bars{Width: 460, Height: 190, Base: 158}
	most := 0
	for _, bin := range bins {
		most = max(most, bin.Sites)
	}
	if most == 0 {
		return bars{}
	}
	slot := (b.Width - 20) / float64(len(bins))
	for i, bin := range bins {
		high := round1((b.Base - 22) * float64(bin.Sites) / float64(most))
		b.Bars = append(b.Bars, benefitBar{X: round1(10 + float64(slot*float64(i)) + 1), Y: round1(b.Base - high), Wide: round1(slot - 2), High: high, Sites: bin.Sites,
			From: whole(bin.From), Label: len(bins) <= 8 || i%2 == 0})
	}
	return b
}

// place puts the rates on a drawing 200 wide: the whole is the highest end, or a
// quarter of all calls.
func (c *Calls) place() {
	most := 0.25
	for _, list := range [][]Rate{c.ByTenth, c.ByReason} {
		for _, r := range list {
			most = max(most, r.High)
		}
	}
	for _, list := range [][]Rate{c.ByTenth, c.ByReason} {
		for i := range list {
			r := &list[i]
			r.X, r.XLow, r.XHigh = round1(200*r.Share/most), round1(200*r.Low/most), round1(200*r.High/most)
		}
	}
}

// Bins cuts values into at most twelve bins of a round width.
func Bins(values []float64) []Bin {
	low, high := math.Inf(1), math.Inf(-1)
	for _, v := range values {
		if !math.IsNaN(v) && !math.IsInf(v, 0) {
			low, high = min(low, v), max(high, v)
		}
	}
	if math.IsInf(low, 0) {
		return nil
	}
	step := niceStep(max((high-low)/10, 1))
	from := float64(step * math.Floor(low/step))
	n := int(math.Floor((high-from)/step)) + 1
	bins := make([]Bin, n)
	for i := range bins {
		bins[i].From, bins[i].To = from+float64(float64(i)*step), from+float64(float64(i+1)*step)
	}
	for _, v := range values {
		if i := int(math.Floor((v - from) / step)); i >= 0 && i < n {
			bins[i].Sites++
		}
	}
	return bins
}
