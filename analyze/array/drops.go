package array

import "slices"

// drop is one step down that has not been made good, or was at some point.
type drop struct {
	from, to int     // points; to: the first one back, or the end
	was      float64 // level before
	size     float64 // of the step
	slid     bool
	under    bool // another came on top of it
}

// drops walks the levels and pairs each step down with the step up that makes
// it good: the last one down is the first one back, as with faults that come
// on top of each other. Steps smaller than least add up until they count.
func drops(p points, segs []segment, least float64) []drop {
	var open, all []drop
	level := 1.0
	for _, sg := range segs {
		diff := sg.mean - level
		switch {
		case diff <= -least:
			for i := range open {
				open[i].under = true
			}
			open = append(open, drop{from: sg.from, was: level, size: -diff})
			level = sg.mean
		case len(open) > 0 && diff >= least/2:
			level = sg.mean
			for len(open) > 0 && diff > 0 {
				last := &open[len(open)-1]
				if diff < 0.6*last.size {
					last.size -= diff // made good in part
					break
				}
				diff -= last.size
				last.to = sg.from
				all = append(all, *last)
				open = open[:len(open)-1]
			}
		}
	}
	for _, d := range open {
		d.to = len(p.x)
		all = append(all, d)
	}
	slices.SortFunc(all, func(a, b drop) int { return a.from - b.from })
	return all
}
