package register

import (
	"errors"
	"strings"
)

// parseOutline reads a plane's outline, "0,0 10,0 10,4.5 0,4.5": corners in
// order, x along the eave and y up the slope.
func parseOutline(s string) ([][2]float64, error) {
	var corners [][2]float64
	for part := range strings.FieldsSeq(s) {
		v, err := parseList(part, 2)
		if err != nil {
			return nil, errors.New("must be corners x,y in metres parted by blanks, as 0,0 10,0 10,4.5 0,4.5")
		}
		corners = append(corners, [2]float64{v[0], v[1]})
	}
	switch {
	case len(corners) < 3:
		return nil, errors.New("must have at least 3 corners")
	case crosses(corners):
		return nil, errors.New("must not cross itself: give the corners in order around the plane")
	case area(corners) == 0:
		return nil, errors.New("must enclose an area: its corners lie on one line")
	}
	return corners, nil
}

// parseBoxes reads obstacles, "3.2,1.4,3.6,1.8; 5,0,6,1": lower left and upper
// right corner of each.
func parseBoxes(s string) ([][4]float64, error) {
	var boxes [][4]float64
	for part := range strings.SplitSeq(s, ";") {
		if strings.TrimSpace(part) == "" {
			continue
		}
		v, err := parseList(part, 4)
		if err != nil {
			return nil, errors.New("must be boxes x0,y0,x1,y1 in metres parted by semicolons, as 3.2,1.4,3.6,1.8; 5,0,6,1")
		}
		if v[0] >= v[2] || v[1] >= v[3] {
			return nil, errors.New("must have x0 < x1 and y0 < y1 in each box")
		}
		boxes = append(boxes, [4]float64(v))
	}
	return boxes, nil
}

func parseList(s string, n int) ([]float64, error) {
	parts := strings.Split(s, ",")
	if len(parts) != n {
		return nil, errors.New("wrong count")
	}
	vs := make([]float64, n)
	for i, p := range parts {
		v, err := parseNumber(strings.TrimSpace(p))
		if err != nil {
			return nil, err
		}
		vs[i] = v
	}
	return vs, nil
}

// area is the signed area of a polygon (shoelace formula).
func area(p [][2]float64) float64 {
	sum := 0.0
	for i := range p {
		a, b := p[i], p[(i+1)%len(p)]
		sum += float64(a[0]*b[1]) - float64(b[0]*a[1])
	}
	return sum / 2
}

// crosses tells whether two edges that are not neighbours meet.
func crosses(p [][2]float64) bool {
	n := len(p)
	for i := range n {
		for j := i + 2; j < n; j++ {
			if i == 0 && j == n-1 {
				continue // neighbours around the end
			}
			if meet(p[i], p[i+1], p[j], p[(j+1)%n]) {
				return true
			}
		}
	}
	return false
}

// meet tells whether the segments a-b and c-d properly cross.
func meet(a, b, c, d [2]float64) bool {
	side := func(p, q, r [2]float64) float64 {
		return float64((q[0]-p[0])*(r[1]-p[1])) - float64((q[1]-p[1])*(r[0]-p[0]))
	}
	return side(a, b, c)*side(a, b, d) < 0 && side(c, d, a)*side(c, d, b) < 0
}
