package array

import "rowen/analyze/stat"

// Rules of a horizon, our choice.
const (
	steadyLooks = 4    // looks of a direction on either side of the solstice
	aloneHigh   = 48   // degrees up to which a shadow is believed of a site that is its own sky
	steadyLit   = 0.95 // median ratio on one side above which a direction is not dark, whatever the other says
)

// keepHorizon drops the dark directions that are no horizon: what hides the sun
// stands on the ground, so that a free direction closes everything above it;
// it is wider than one look, so that a column counts only beside another; and
// it stands there on both of the sun's yearly visits.
func (d *darkness) keepHorizon(median *[binsAround * binsUp]float64, steady func(b int) bool) {
	has := [binsAround]bool{}
	for az := range has {
		open := false
		for up := range binsUp {
			b := up*binsAround + az
			if m := median[b]; m == m && m >= shadeFree {
				open = true
			}
			if d.bin[b] && (open || !steady(b)) {
				d.bin[b] = false
				d.n--
			}
			has[az] = has[az] || d.bin[b]
		}
	}
	for b, is := range d.bin {
		az := b % binsAround
		if is && !has[(az+1)%binsAround] && !has[(az+binsAround-1)%binsAround] {
			d.bin[b] = false
			d.n--
		}
	}
}

// top is the height of the dark directions, degrees.
func (d *darkness) top() (deg float64) {
	for b, is := range d.bin {
		if is {
			deg = max(deg, float64(b/binsAround+1)*binHeightDeg)
		}
	}
	return deg
}

// steady tells a direction that is dark before and after the summer solstice,
// where the sun was seen there both times. Under a sky that others tell a shadow
// may be new: then the sun's last visit decides.
func steady(v *view, looks []look, b, from int) bool {
	var before, after []float64
	lastBefore, lastAfter := 0, 0
	for _, l := range looks {
		if l.bin != b || l.day < from {
			continue
		}
		if day := v.Calendar.Date(l.day).YearDay(); day < 172 || day >= 355 {
			before, lastBefore = append(before, l.ratio), l.day
		} else {
			after, lastAfter = append(after, l.ratio), l.day
		}
	}
	if len(before) < steadyLooks || len(after) < steadyLooks {
		return true
	}
	dark, darkLater := stat.MedianInPlace(before) < steadyLit, stat.MedianInPlace(after) < steadyLit
	if !v.alone && lastBefore > lastAfter {
		return dark
	}
	if !v.alone {
		return darkLater
	}
	return dark && darkLater
}
