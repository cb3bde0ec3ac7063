package array

import (
	"fmt"
	"math"

	"rowen/analyze/stat"
	"rowen/ingest"
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
	shadeMinLoss   = 0.01 // of the year's output; less is a horizon
	shadeMaxShare  = 0.5  // of the sky's directions: more is no shadow
	shadeMinOutput = 0.04 // of the modules' watts: fainter hours are noise
)

// look is one bright hour of one direction.
type look struct {
	day, hour, bin int
	ratio          float64 // of the hour over that of its day
}

// findShading finds directions of the sun in which the array makes clearly
// less than in the others of the same day.
func (s *study) findShading() {
	looks := s.looks()
	from := s.lastYear()
	recent := medianByBin(looks, from, len(s.day))
	var dark [binsAround * binsUp]bool
	n, seen := 0, 0
	for b, v := range recent {
		if v == v {
			seen++
			if v < shadeBelow {
				dark[b] = true
				n++
			}
		}
	}
	if n == 0 || float64(n) > shadeMaxShare*float64(seen) {
		return
	}
	loss, due := s.shadeLoss(&dark, &recent, from)
	if due <= 0 || loss/due < shadeMinLoss {
		return
	}
	for i := range s.in.Sun.Up {
		if s.in.Sun.Up[i] > 0 && dark[s.bin(i)] {
			s.mask(i)
		}
	}
	s.sumDays()
	s.out.Faults = append(s.out.Faults, s.shadeFault(looks, &dark, loss, due))
}

// looks collects the bright hours with their ratio over the day's usual hour.
func (s *study) looks() []look {
	h := s.in.Sun
	var out []look
	var r [32]float64
	watts := s.model.Watts(s.in.Series.End())
	for d := range s.day {
		if s.day[d].aside || !s.day[d].usable() {
			continue
		}
		first := len(out)
		n := 0
		for i := s.days[d]; i < s.days[d+1] && n < len(r); i++ {
			e, p := s.out.ExpectedWh[i], s.wh[i]
			if !(e > shadeMinOutput*watts) || p != p || s.in.Sky.K[i] < shadeBrightK || s.in.Sky.K[i] > 1.2 || s.in.Sky.Spread[i] > 0.15 {
				continue
			}
			if p >= 0.97*s.model.LimitW(h.Start+ingest.Hour(i)) || s.masked != nil && s.masked[i] {
				continue
			}
			r[n] = p / e
			n++
			out = append(out, look{d, i, s.bin(i), p / e})
		}
		if n < 3 {
			out = out[:first]
			continue
		}
		usual := stat.QuantileInPlace(r[:n], 0.7)
		for j := first; j < len(out); j++ {
			out[j].ratio /= usual
		}
	}
	return out
}

// binOf is the direction's bin.
func binOf(east, north, up float64) int {
	az := math.Mod(math.Atan2(east, north)*180/math.Pi+360, 360)
	el := math.Asin(min(1, up)) * 180 / math.Pi
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

// shadeLoss sums what the last year lost in the dark directions: the beam's
// part of each hour, so that dull hours count less.
func (s *study) shadeLoss(dark *[binsAround * binsUp]bool, ratio *[binsAround * binsUp]float64, from int) (loss, due float64) {
	for i := s.days[from]; i < s.days[len(s.days)-1]; i++ {
		e := s.out.ExpectedWh[i]
		if !(e > 0) {
			continue
		}
		due += e
		if b := s.bin(i); dark[b] {
			loss += e * (1 - ratio[b]) * beamPart(s.in.Sky.K[i])
		}
	}
	return loss, due
}

// bin is the direction of the sun in hour i.
func (s *study) bin(i int) int {
	h := s.in.Sun
	return binOf(h.East[i], h.North[i], h.Up[i])
}

// mask keeps an hour out of the level.
func (s *study) mask(i int) {
	if s.masked == nil {
		s.masked = make([]bool, s.in.Sun.N)
	}
	s.masked[i] = true
}

// shadeFault dates the shadow and says where it comes from.
func (s *study) shadeFault(looks []look, dark *[binsAround * binsUp]bool, loss, due float64) Fault {
	var day []int
	var x []float64
	for i := 0; i < len(looks); {
		d := looks[i].day
		var r []float64
		for ; i < len(looks) && looks[i].day == d; i++ {
			if dark[looks[i].bin] {
				r = append(r, looks[i].ratio)
			}
		}
		if len(r) > 0 {
			day, x = append(day, d), append(x, stat.MedianInPlace(r))
		}
	}
	f := Fault{Code: Shading, Live: true, LossPct: 100 * loss / due, Confidence: 0.7, Repairable: true}
	noise := max(0.01, stat.NoiseSD(x))
	if cuts := stat.PELT(x, stat.StepPenalty(penaltyFactor, noise, len(x), 0.3), minSegment); len(cuts) > 0 {
		at := cuts[0]
		if stat.Median(x[:at]) > 0.93 && stat.Median(x[at:]) < shadeBelow {
			lo, hi := stepRange(x, 0, at, len(x), noise)
			f.On, f.OnLow, f.OnHigh = s.midnight(day[at]), s.midnight(day[lo]), s.midnight(day[hi])
		}
	}
	f.Says = fmt.Sprintf("%s; it costs %.1f %% of the year", s.whereDark(dark), f.LossPct)
	return f
}

// whereDark names bearing and height of the dark directions.
func (s *study) whereDark(dark *[binsAround * binsUp]bool) string {
	var east, north, top float64
	low := 90.0
	for b, is := range dark {
		if !is {
			continue
		}
		az := (float64(b%binsAround) + 0.5) * binAzimuthDeg
		sin, cos := math.Sincos(az * math.Pi / 180)
		east, north = east+sin, north+cos
		low, top = min(low, float64(b/binsAround)*binHeightDeg), max(top, float64(b/binsAround+1)*binHeightDeg)
	}
	az := math.Mod(math.Atan2(east, north)*180/math.Pi+360, 360)
	names := []string{"north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west"}
	return fmt.Sprintf("a shadow while the sun stands about %s (bearing %.0f degrees) between %.0f and %.0f degrees high",
		names[int(az/45+0.5)%8], az, low, top)
}
