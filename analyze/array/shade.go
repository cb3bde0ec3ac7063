package array

import (
	"fmt"
	"math"
	"slices"

	"rowen/analyze/stat"
	"rowen/ingest"
	"rowen/ingest/samebits"
)

// Rules of shading by direction, section 5.1's mask and our choice.
const (
	binAzimuthDeg  = 15
	binHeightDeg   = 6
	binsAround     = 360 / binAzimuthDeg
	binsUp         = 90 / binHeightDeg
	shadeBelow     = 0.85 // median ratio of a direction (section 5.1)
	shadeBrightK   = 0.75 // beam must be there
	shadeHours     = 6    // looks a direction needs
	shadeFree      = 0.92 // median ratio of a direction that is not shaded
	shadeUsual     = 0.8  // quantile of a day's hours that stands for the free sky
	shadeOldLoss   = 4.0  // percent of a year: what was there before the data began and costs less is the place, not a fault
	shadeWeeks     = 10   // days either side over which that is smoothed
	shadeMaxShare  = 0.5  // of the sky's directions: more is no shadow
	shadeMinOutput = 0.04 // of the modules' watts: fainter hours are noise
)

// shadeSpans are the spans up to the end of the data in which a shadow is
// looked for, and the least share of their output that it must cost: less is a
// horizon, or chance.
var shadeSpans = []struct {
	days  int
	least float64
}{{365, 0.015}, {150, 0.03}, {60, 0.04}}

// look is one bright hour of one direction.
type look struct {
	day, hour, bin int
	ratio          float64 // of the hour over that of its day
}

// findShading finds directions of the sun in which the array makes clearly
// less than in the others of the same weeks. A shadow that is new is looked
// for in shorter spans up to the end of the data, where the year would still
// show the free roof.
func findShading(v view) (view, said) {
	if !v.clock.Right() || v.unexplained {
		return v, said{} // hours that are not those of the sun make shadows of their own
	}
	seen := v
	if v.alone { // a shaded day is no clear one: those that look clear for the array's own must do
		data := v.hourly(nil)
		seen = v.under(data.LooksClear(aloneShade)).summed()
	}
	looks := looks(&seen)
	var dark darkness
	for _, span := range shadeSpans {
		from := max(0, len(v.day)-span.days)
		if d, share := darkIn(&seen, looks, from); share >= span.least {
			dark.join(&d)
		}
	}
	if dark.n == 0 {
		return v, said{}
	}
	f := shadow(&seen, looks, &dark)
	if f.On.IsZero() && v.alone && readsFacing(&v) {
		return v, said{} // what was always dark is in the facing that the same days gave: the two cannot be told apart
	}
	wide := dark.around()
	v = v.mask(func(i int) bool { return v.Sun.Up[i] > 0 && wide[v.bin(i)] }).summed()
	if !f.On.IsZero() || f.LossPct >= shadeOldLoss {
		return v, said{faults: []Fault{f}}
	}
	return v, said{}
}

// readsFacing tells whether a facing was read off the readings.
func readsFacing(v *view) bool {
	return slices.ContainsFunc(v.planes, func(p PlaneFit) bool { return p.Estimated })
}

// darkness is the directions that are dark, with what is left of the output in
// each.
type darkness struct {
	bin   [binsAround * binsUp]bool
	ratio [binsAround * binsUp]float64
	n     int
}

func (d *darkness) join(o *darkness) {
	for b, is := range o.bin {
		if is && !d.bin[b] {
			d.bin[b], d.ratio[b] = true, o.ratio[b]
			d.n++
		}
	}
}

// around is the dark directions with their neighbours and what lies below
// them: what hides the sun stands on the ground, and its edge is not the bin's.
// These hours do not tell the level; the loss is counted in the dark ones only.
func (d *darkness) around() (out [binsAround * binsUp]bool) {
	for b, is := range d.bin {
		if !is {
			continue
		}
		up, az := b/binsAround, b%binsAround
		for u := 0; u <= min(up+1, binsUp-1); u++ {
			for _, turn := range []int{-1, 0, 1} {
				out[u*binsAround+(az+turn+binsAround)%binsAround] = true
			}
		}
	}
	return out
}

// darkIn finds the dark directions of the days from one on, and the share of
// the output that they cost in those days.
func darkIn(v *view, looks []look, from int) (dark darkness, share float64) {
	seen := 0
	medians := medianByBin(looks, from, len(v.day))
	for b, ratio := range medians {
		if ratio == ratio {
			seen++
			if ratio < shadeBelow {
				dark.bin[b], dark.ratio[b] = true, ratio
				dark.n++
			}
		}
	}
	if dark.n > 0 && float64(dark.n) <= shadeMaxShare*float64(seen) {
		dark.keepHorizon(&medians, func(b int) bool { return steady(v, looks, b, from) })
		if v.alone && dark.top() > aloneHigh {
			return darkness{}, 0 // no horizon stands so high: the planes do not explain the days
		}
	}
	if dark.n == 0 || float64(dark.n) > shadeMaxShare*float64(seen) {
		return darkness{}, 0
	}
	loss, due := shadeLoss(v, &dark, from)
	if due <= 0 {
		return darkness{}, 0
	}
	return dark, loss / due
}

// looks collects the bright hours with their ratio over the usual bright hour
// of the weeks around.
func looks(v *view) []look {
	h := v.Sun
	var out []look
	var r [32]float64
	watts := v.model.Watts(v.Series.End())
	usual := make([]float64, len(v.day))
	for d := range v.day {
		usual[d] = math.NaN()
		if v.day[d].aside || !v.day[d].usable() {
			continue
		}
		n := 0
		for i, hi := v.Calendar.Day(d); i < hi && n < len(r); i++ {
			e, p := v.expected[i], v.wh[i]
			if !(e > shadeMinOutput*watts) || p != p || v.k[i] < shadeBrightK || v.k[i] > 1.2 || v.Sky.Spread[i] > 0.15 ||
				p >= 0.97*v.model.LimitW(h.Start+ingest.Hour(i)) || v.masked != nil && v.masked[i] {
				continue
			}
			r[n] = p / e
			n++
			out = append(out, look{d, i, v.bin(i), p / e})
		}
		if n >= 3 {
			usual[d] = stat.QuantileInPlace(r[:n], shadeUsual)
		}
	}
	near := smooth(usual, shadeWeeks)
	kept := out[:0]
	for _, l := range out {
		if u := near[l.day]; u == u && u > 0 {
			l.ratio /= u
			kept = append(kept, l)
		}
	}
	return kept
}

// smooth is the median over the days to either side that are known.
func smooth(x []float64, reach int) []float64 {
	out := make([]float64, len(x))
	buf := make([]float64, 0, 2*reach+1)
	for d := range x {
		out[d] = math.NaN()
		if x[d] != x[d] {
			continue
		}
		buf = stat.Present(buf, x[max(0, d-reach):min(len(x), d+reach+1)])
		out[d] = stat.MedianInPlace(buf)
	}
	return out
}

// binOf is the direction's bin.
func binOf(east, north, up float64) int {
	az := math.Mod(samebits.Atan2(east, north)*180/math.Pi+360, 360)
	el := samebits.Asin(min(1, up)) * 180 / math.Pi
	return min(binsUp-1, int(el/binHeightDeg))*binsAround + min(binsAround-1, int(az/binAzimuthDeg))
}

// medianByBin is the median ratio of each direction over some days; NaN where
// it was looked at too seldom.
func medianByBin(looks []look, from, to int) [binsAround * binsUp]float64 {
	var by [binsAround * binsUp][]float64
	for _, l := range looks {
		if l.day >= from && l.day < to {
			by[l.bin] = append(by[l.bin], l.ratio)
		}
	}
	var out [binsAround * binsUp]float64
	for b := range by {
		out[b] = math.NaN()
		if len(by[b]) >= shadeHours {
			out[b] = stat.MedianInPlace(by[b])
		}
	}
	return out
}

// shadeLoss sums what the days from one on lost in the dark directions: the
// beam's part of each hour, so that dull hours count less.
func shadeLoss(v *view, dark *darkness, from int) (loss, due float64) {
	for i := v.first(from); i < v.Sun.N; i++ {
		e := v.expected[i]
		if !(e > 0) {
			continue
		}
		due += e
		if b := v.bin(i); dark.bin[b] {
			loss += float64(e * (1 - dark.ratio[b]) * beamPart(v.k[i]))
		}
	}
	return loss, due
}

// bin is the direction of the sun in hour i.
func (v *view) bin(i int) int {
	h := v.Sun
	return binOf(h.East[i], h.North[i], h.Up[i])
}

// shadow dates the shadow and says where it comes from. Its loss is that
// of the last year had it stood there throughout.
func shadow(v *view, looks []look, dark *darkness) Fault {
	var day []int
	var x []float64
	for i := 0; i < len(looks); {
		d := looks[i].day
		var r []float64
		for ; i < len(looks) && looks[i].day == d; i++ {
			if dark.bin[looks[i].bin] {
				r = append(r, looks[i].ratio)
			}
		}
		if len(r) > 0 {
			day, x = append(day, d), append(x, stat.MedianInPlace(r))
		}
	}
	loss, due := shadeLoss(v, dark, v.lastYear())
	f := Fault{Code: Shading, Live: true, LossPct: 100 * loss / due, Repairable: true}
	noise := max(0.03, stat.NoiseSD(x))
	if at := shadeOnset(x); at > 0 {
		lo, hi := stepRange(x, 0, at, len(x), noise)
		f.On, f.OnLow, f.OnHigh = v.midnight(day[at]), v.midnight(day[lo]), v.midnight(day[hi])
	}
	f.Confidence = min(0.9, 0.4+float64(0.01*float64(len(x))))
	f.Says = fmt.Sprintf("%s; it costs %.1f %% of a year", whereDark(&dark.bin), f.LossPct)
	return f
}

// shadeOnset is the best single step from a free to a dark direction; 0 where
// it was dark from the start.
func shadeOnset(x []float64) int {
	var sum, all float64
	for _, v := range x {
		all += v
	}
	best, most := 0, 0.0
	for t := 1; t < len(x); t++ {
		sum += x[t-1]
		a, b := sum/float64(t), (all-sum)/float64(len(x)-t)
		if gain := (a - b) * (a - b) * float64(t) * float64(len(x)-t); a > b && gain > most {
			best, most = t, gain
		}
	}
	if best < 3 || stat.Median(x[:best]) < shadeFree || stat.Median(x[best:]) > shadeBelow {
		return 0
	}
	return best
}

// whereDark names bearing and height of the dark directions.
func whereDark(dark *[binsAround * binsUp]bool) string {
	var east, north, top float64
	low := 90.0
	for b, is := range dark {
		if !is {
			continue
		}
		az := (float64(b%binsAround) + 0.5) * binAzimuthDeg
		sin, cos := samebits.Sincos(az * math.Pi / 180)
		east, north = east+sin, north+cos
		low, top = min(low, float64(b/binsAround)*binHeightDeg), max(top, float64(b/binsAround+1)*binHeightDeg)
	}
	az := math.Mod(samebits.Atan2(east, north)*180/math.Pi+360, 360)
	names := []string{"north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west"}
	return fmt.Sprintf("a shadow while the sun stands about %s (bearing %.0f degrees) between %.0f and %.0f degrees high",
		names[int(az/45+0.5)%8], az, low, top)
}
