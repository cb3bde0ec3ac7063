package headroom

// layStepM is the step in which the lowest row of old modules is looked for.
const layStepM = 0.01

// lay puts n modules that are already there in rows from the eave up, in rows
// from the ridge down, or in columns from the left, and gives the boxes that
// they take, gaps included, and how many found no place.
func lay(s surface, v layout, w, h, gap float64, n int) (boxes [][]point, left int) {
	if len(s.outline) < 3 || !(w > 0) || !(h > 0) {
		return nil, n
	}
	if v.columns { // columns are rows of the surface lying on its side
		boxes, left = lay(transposed(s), layout{perLine: v.perLine}, h, w, gap, n)
		return transposed(surface{blocked: boxes}).blocked, left
	}
	p := newPacker(s)
	step, y := h+gap, p.firstRow(h, v.fromRidge)
	if v.fromRidge {
		step = -step
	}
	for ; n > 0 && y >= p.lo[1]-eps && y+h <= p.hi[1]+eps; y += step {
		line := n
		if v.perLine > 0 {
			line = min(n, v.perLine)
		}
		for _, f := range p.band(y, y+h) {
			c := min(line, fit(f.hi-f.lo, w, gap))
			if c == 0 {
				continue
			}
			boxes = append(boxes, box(f.lo-gap, y-gap, f.lo+float64(float64(c)*(w+gap)), y+h+gap))
			line -= c
			n -= c
		}
	}
	return boxes, n
}

// transposed swaps x and y; corners run the other way round, so that they are
// turned back.
func transposed(s surface) surface {
	turn := func(poly []point) []point {
		out := make([]point, len(poly))
		for i, c := range poly {
			out[len(poly)-1-i] = point{c[1], c[0]}
		}
		return out
	}
	out := surface{outline: turn(s.outline)}
	for _, poly := range s.blocked {
		out.blocked = append(out.blocked, turn(poly))
	}
	return out
}

// firstRow is the lowest (or highest) place where a row finds any room,
// to the centimetre: setbacks and slanted sides push it inwards.
func (p *packer) firstRow(h float64, fromRidge bool) float64 {
	lo, hi := p.lo[1], p.hi[1]-h
	for k := 0; ; k++ {
		y, inside := lo+float64(float64(k)*layStepM), true
		if fromRidge {
			y = hi - float64(float64(k)*layStepM)
			inside = y >= lo-eps
		} else {
			inside = y <= hi+eps
		}
		if !inside {
			if fromRidge {
				return hi
			}
			return lo
		}
		if len(p.band(y, y+h)) > 0 {
			return y
		}
	}
}
