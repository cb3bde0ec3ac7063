package sky

import (
	"math"

	"rowen/analyze/stat"
	"rowen/ingest/samebits"
)

// off is how far the clear days around hour j lie off the site's factor, as ln;
// hours outside the estimate are not known.
func (e *Estimate) off(j int) (float64, bool) {
	if d := j / 24; j >= 0 && d < len(e.Off) && e.Off[d] != offUnknown {
		return float64(e.Off[d]) / 100, true
	}
	return 0, false
}

// level gives each site of a cell its own level back, before the median.
//
//	K <- K exp(med - off)  where |off - med| > 0.08,  med the median off of the sites around
//
// Clear days lie off a site's factor for two reasons. Haze and smoke dim the
// sky of all neighbours alike: that is the sky's and stays in K. Inverters
// down, dirt, or modules added move one array only: there its clear days are
// the better measure, and a half-dead array still tells the sky.
func (c *cell) level(around []*Estimate) {
	own := make([]bool, len(c.sites)) // whose KW is a copy already: the caller's stays as it is
	var offs []float64
	for at := c.start; at < c.end; at += 24 {
		offs = offs[:0]
		for _, e := range around {
			if off, known := e.off(int(at - e.Start)); known {
				offs = append(offs, off)
			}
		}
		if len(offs) == 0 {
			continue
		}
		med := commonOff(offs)
		for i := range c.sites {
			e := &c.sites[i]
			off, known := e.off(int(at - e.Start))
			if !known || math.Abs(off-med) <= ownLevel {
				continue
			}
			if !own[i] {
				e.KW, own[i] = append([]uint16(nil), e.KW...), true
			}
			scale := samebits.Exp(med - off)
			for j := int(at - e.Start); j < min(len(e.KW), int(at-e.Start)+24); j++ {
				if k, w := unpack(e.KW[j]); w > 0 {
					e.KW[j] = pack(k*scale, float64(w)/15)
				}
			}
		}
	}
}

// commonOff is what sites share of their levels: the median, of two the one
// nearer to none, of one no more than haze.
func commonOff(offs []float64) float64 {
	switch len(offs) {
	case 1:
		return min(ownLevel, max(-ownLevel, offs[0]))
	case 2:
		if math.Abs(offs[0]) < math.Abs(offs[1]) {
			return offs[0]
		}
		return offs[1]
	}
	return stat.Median(offs)
}
