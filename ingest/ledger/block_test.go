package ledger

// take makes a block of rows that are in memory; false where there are none.
func (k *block) take(list []*rows) bool {
	if len(list) == 1 && k.takeEven(list[0]) {
		return true
	}
	*k = block{source: k.source[:0], start: k.start[:0], state: k.state[:0], unit: 1}
	for _, r := range list {
		for i, t := range r.start {
			if k.n == 0 {
				k.firstMs, k.lastMs = t*1000, t*1000
			}
			k.n++
			k.firstMs, k.lastMs = min(k.firstMs, t*1000), max(k.lastMs, t*1000)
			k.start = append(k.start, t*1000)
			k.state = append(k.state, r.state[i]|r.seconds[i]<<secondShift)
			k.source = append(k.source, r.source)
		}
	}
	for c := range k.value {
		k.takeChannel(c, list)
	}
	k.fold()
	return k.n > 0
}

// takeEven makes a block of the rows of one file that follow each other without
// a gap, in the same state: their values are used as they are. False where they
// are not such.
func (k *block) takeEven(r *rows) bool {
	n := len(r.start)
	if n == 0 {
		return false
	}
	if _, ok := same(r.state); !ok {
		return false
	}
	if _, ok := same(r.seconds); !ok {
		return false
	}
	e := block{
		n: n, sameSource: r.source, sameState: r.state[0] | r.seconds[0]<<secondShift, unit: 1,
		firstMs: r.start[0] * 1000, lastMs: r.start[n-1] * 1000, value: r.value,
	}
	for c := range r.value {
		e.has[c] = len(r.value[c]) > 0
	}
	if !e.regular() {
		return false
	}
	*k = e
	return true
}

func (k *block) takeChannel(c int, list []*rows) {
	for _, r := range list {
		k.has[c] = k.has[c] || len(r.value[c]) > 0
	}
	if !k.has[c] {
		return
	}
	for _, r := range list {
		k.value[c] = append(k.value[c], r.value[c]...)
		for range len(r.start) - len(r.value[c]) {
			k.value[c] = append(k.value[c], 0) // the file has no such channel
		}
	}
}

// fold finds the columns that hold one value throughout, as the bounds of a
// file's columns tell.
func (k *block) fold() {
	if k.n == 0 {
		return
	}
	if v, ok := same(k.source); ok {
		k.source, k.sameSource = k.source[:0], v
	}
	if v, ok := same(k.state); ok {
		k.state, k.sameState = k.state[:0], v
	}
	if k.regular() {
		k.start = k.start[:0]
	}
}

func same(v []int32) (int32, bool) {
	for _, x := range v {
		if x != v[0] {
			return 0, false
		}
	}
	return v[0], true
}
