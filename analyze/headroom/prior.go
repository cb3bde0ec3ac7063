package headroom

import "strings"

// The shares of a roof that modules take, for planes that nobody has measured.
const (
	// Installed arrays cover 26 % of the roof in the median, 15 to 40 % (LBNL,
	// Tracking the Sun, systems to 2023; published, press summary).
	shareTypical, shareLow = 0.26, 0.15
	// Of the roof 0.4 to 0.75 can carry modules: 0.6 to 0.75 on plain gables,
	// 0.4 to 0.6 on cut-up roofs (common practice); 0.6 in the middle. The lower
	// ends lead to no room at all, which is the prior's lower bound.
	usableTypical, usableHigh = 0.60, 0.75
	// A roof with no old modules to work from, m2 (our choice, wide).
	roofTypicalM2, roofHighM2 = 110.0, 220.0
)

const priorEvidence = "prior: arrays cover 26 % of a roof in the median, 15 to 40 % (published, LBNL Tracking the Sun); 40 to 75 % of a roof is usable (common practice)"

// prior guesses the room on the planes without dimensions from what the old
// modules cover.
func (r *roof) prior(longM, shortM, gap float64) (mid, top int) {
	roofMid, roofTop := roofTypicalM2, roofHighM2
	if r.oldArea > 0 {
		roofMid, roofTop = r.oldArea/shareTypical, r.oldArea/shareLow
	}
	measured, taken := 0.0, r.oldArea // taken: by old modules on planes without dimensions
	for i, pr := range r.rooms {
		if pr.Measured {
			measured += planeArea(pr.Plane)
			for _, g := range r.on[i] {
				taken -= g.areaM2()
			}
		}
	}
	cell := (longM + gap) * (shortM + gap)
	mid = floorPositive((float64((roofMid-measured)*usableTypical) - taken) / cell)
	return mid, max(mid, floorPositive((float64((roofTop-measured)*usableHigh)-taken)/cell))
}

// spread gives each plane without dimensions its share of the prior.
func (r *roof) spread(mid, top int) {
	missing := len(r.rooms) - r.measured
	for i := range r.rooms {
		if !r.rooms[i].Measured {
			r.rooms[i].Modules, r.rooms[i].High = mid/missing, top
		}
	}
}

func (r *roof) unmeasured() string {
	var ids []string
	for _, pr := range r.rooms {
		if !pr.Measured {
			ids = append(ids, pr.Plane.ID)
		}
	}
	return strings.Join(ids, ", ")
}
