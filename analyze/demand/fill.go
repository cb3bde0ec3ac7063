package demand

import (
	"math"

	"rowen/analyze/demand/change"
	"rowen/analyze/stat"
	"rowen/ingest"
)

// plainDay is the shape of a household's day where only days are known: the
// usual two humps, morning and evening. Common practice, ours in the figures.
var plainDay = [24]float64{
	0.028, 0.024, 0.023, 0.023, 0.024, 0.029, 0.038, 0.046, 0.045, 0.041, 0.040, 0.041,
	0.043, 0.042, 0.041, 0.042, 0.047, 0.057, 0.066, 0.068, 0.063, 0.054, 0.043, 0.032,
}

// outlook is the window's hours held against the days of a household's story.
type outlook struct {
	*household
	story  *change.Story
	window *ingest.Calendar
	base   int // day k of the window is day base+k of the readings
}

func outlookOf(h *household, s *change.Story) *outlook {
	w := h.in.Window
	o := &outlook{household: h, story: s, window: &h.in.Scratch.window}
	o.window.Lay(h.in.Location, w.Start, w.N)
	o.base = o.window.DayNumber(0) - s.Days.First
	return o
}

// twin is the day of the readings that stands for day d: itself, or the same
// weekday one or two years off; -1: none.
func (o *outlook) twin(d int) int {
	for _, off := range [...]int{0, -364, 364, -728, 728} {
		if t := d + off; t >= 0 && t < o.story.Days.N() {
			return t
		}
	}
	return -1
}

// lived writes the window as it was lived, filled; it gives how many of its
// hours were measured.
func (o *outlook) lived(out []float64) int {
	measured := 0
	daily, hod := o.onlyDaily(), o.window.HourOfDay()
	off := int(o.in.Window.Start - o.calendar.Start)
	for k := range o.window.Days() {
		lo, hi := o.window.Day(k)
		d := o.base + k
		if daily {
			kwh := o.dayOrModel(d)
			if d >= 0 && d < o.days.N() && !math.IsNaN(o.days.KWh[d]) {
				measured += hi - lo
			}
			for i := lo; i < hi; i++ {
				out[i] = 1000 * kwh * plainDay[hod[i]]
			}
			continue
		}
		known := 0
		for i := lo; i < hi; i++ {
			out[i] = math.NaN()
			if v := o.hourAt(off + i); !math.IsNaN(v) {
				out[i] = v
				known++
			}
		}
		measured += known
		if known < hi-lo {
			o.fillDay(out[lo:hi], hod[lo:hi], off+lo, d)
			if known == 0 && sumOf(out[lo:hi]) > 0 {
				scaleTo(out[lo:hi], o.dayOrModel(d)*float64(hi-lo)/24)
			}
		}
		if o.gross {
			clipNegative(out[lo:hi])
		}
	}
	return measured
}

// hourAt is the use of an hour of the readings; NaN where missing, or where
// the house stood empty.
func (o *outlook) hourAt(i int) float64 {
	if i < 0 || i >= len(o.wh) {
		return math.NaN()
	}
	v := o.wh[i]
	if math.IsNaN(v) {
		return v
	}
	if d := o.calendar.DayOf(o.calendar.Start + ingest.Hour(i)); d < o.story.Days.N() && o.story.Days.Absent[d] {
		return math.NaN()
	}
	return v
}

// fillDay fills a day's missing hours from the same hours of the weeks around
// (section 13 of the method).
func (o *outlook) fillDay(hours []float64, hod []uint8, at, d int) {
	var around [8]float64
	for i := range hours {
		if !math.IsNaN(hours[i]) {
			continue
		}
		near := around[:0]
		for week := 1; week <= 4; week++ {
			for _, off := range [...]int{-168 * week, 168 * week} {
				if v := o.hourAt(at + i + off); !math.IsNaN(v) {
					near = append(near, v)
				}
			}
		}
		if len(near) > 0 {
			hours[i] = stat.MedianInPlace(near)
		} else {
			hours[i] = 1000 * o.dayOrModel(d) * plainDay[hod[i]]
		}
	}
}

// dayOrModel is a day's use, or what the model expects of it, or of the same
// day of another year.
func (o *outlook) dayOrModel(d int) float64 {
	if d >= 0 && d < o.story.Days.N() && o.story.Days.Counted[d] {
		return o.days.KWh[d]
	}
	if t := o.twin(d); t >= 0 {
		return max(o.story.Fit.Expected(t), 0)
	}
	return o.story.Days.MeanKWh()
}

func sumOf(v []float64) float64 {
	sum := 0.0
	for _, x := range v {
		sum += x
	}
	return sum
}

// scaleTo multiplies the hours so that they sum to kwh.
func scaleTo(hours []float64, kwh float64) {
	sum := sumOf(hours)
	if sum == 0 {
		return
	}
	f := max(kwh, 0) * 1000 / sum
	for i := range hours {
		hours[i] *= f
	}
}

// clipNegative sets hours below zero to zero and takes the excess off the
// others, so that the day's sum stands.
func clipNegative(hours []float64) {
	below := 0.0
	for i, v := range hours {
		if v < 0 {
			below += v
			hours[i] = 0
		}
	}
	if below < 0 {
		scaleTo(hours, (sumOf(hours)+below)/1000)
	}
}
