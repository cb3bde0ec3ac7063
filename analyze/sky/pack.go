package sky

import "math"

// A sky estimate is two bytes an hour: twelve bits of K and four of weight.
// Weight 0 is nothing known. Steps of 1/2400 in K are far below what one array
// can tell; K beyond maxK is light thrown by cloud edges and is capped.
const (
	kSteps = 2400
	maxK   = 1.6
)

// pack puts K and a weight of 0..1 into two bytes; NaN or no weight gives 0.
func pack(k, weight float64) uint16 {
	if math.IsNaN(k) || !(weight > 0) {
		return 0
	}
	w := uint16(math.Round(15 * min(1, weight)))
	return uint16(math.Round(min(maxK, max(0, k))*kSteps))<<4 | max(1, w)
}

// unpack gives K and the weight in fifteenths, 0 for nothing known.
func unpack(v uint16) (k float64, weight int) {
	return float64(v>>4) / kSteps, int(v & 15)
}
