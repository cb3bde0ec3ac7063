package array

import (
	"fmt"
	"math"
	"time"

	"rowen/ingest/samebits"
)

// Rules of steps: section 5.3's unless tagged.
const (
	minStepDays = 14   // a loss must last
	minPassed   = 28   // and one that is over, longer: weather comes and goes (our choice)
	snowDipDays = 60   // snow that comes and goes on one roof more than on others (our choice)
	aloneLoss   = 0.12 // least loss of a site that is its own sky (our choice: haze alone is worth that)
	weatherRun  = 3    // days of weather that err together (our choice: a week's weather is about three looks)
)

// healthyLevel is the factor of the healthy array, ageing apart; NaN: not known.
type healthyLevel struct{ factor, factorSD float64 }

// findSteps cuts the daily level into segments, finds the healthy level among
// them and names what lies below it.
func findSteps(v view) (view, healthyLevel, said) {
	none := healthyLevel{math.NaN(), math.NaN()}
	var say said
	p := v.levelPoints()
	if len(p.x) < 2*minSegment {
		return v, none, say
	}
	segs, w := p.segments(), v.witness()
	if g := growth(&v, p, segs, w); g != nil {
		v.grownOn, v.grown = p.day[g.at], g.ratio-1
		say.faults = append(say.faults, grownFault(&v, p, g))
		p = p.over(g.ratio, g.at)
		segs = p.segments()
	}
	ref := healthy(&v, p, segs)
	if more, fits := inScale(&v, v.factor*ref); !fits {
		say.add(more)
		v.factor, v.grown, v.wh = v.usualFactor(), 0, unknown(len(v.wh))
		return v.summed(), none, say
	}
	v.factor *= ref
	p = p.over(ref, 0)
	p.noise /= ref
	n := 0
	for i := range segs {
		segs[i].mean /= ref
		if math.Abs(segs[i].mean-1) < mergeStep {
			n += segs[i].to - segs[i].from
		}
	}
	level := healthyLevel{v.factor, v.factor * samebits.Hypot(p.noise/math.Sqrt(float64(max(1, n))/weatherRun), 0.01)}
	v = v.summed()
	say.add(nameDrops(&v, p, segs, w))
	return v, level, say
}

// nameDrops turns what the levels show into faults.
func nameDrops(v *view, p points, segs []segment, w *witness) (say said) {
	least := v.minLoss()
	began := -1 // of the last slide that was spoken of
	for _, d := range joinSlides(p, drops(p, segs, least)) {
		if d.slid && d.from == began {
			continue
		}
		live := d.to == len(p.x)
		lost := d.size
		if !d.under {
			lost = d.was - p.mean(d.from, d.to) // nothing else came on top: all its days tell
		}
		if d.slid {
			lost = max(lost, d.size) // where it came to
		}
		days := p.day[d.to-1] - p.day[d.from] + 1
		need := minStepDays
		if !live {
			need = minPassed
		}
		enough := least
		if d.from == 0 && !live {
			enough *= 1.5 // a poor start that mended itself may as well be a good end
		}
		if d.from == 0 && !live && p.day[len(p.day)-1]-p.day[d.to] < grewDays {
			continue // a poor start and a good end are one and the same until the end has lasted
		}
		if days < need || lost < enough || !live && wasSnow(v, p.day[d.from], p.day[d.to]) ||
			!w.confirms(p.day[d.from], p.day[d.to-1]+1, -lost) {
			continue
		}
		if !surely(v, p, d, lost) {
			continue
		}
		if grew, is := grewIn(v, p, d, lost); is {
			say.caveats = append(say.caveats, grew)
			continue
		}
		if d.slid {
			began = d.from
		}
		say.faults = append(say.faults, dropFault(v, p, d, lost, live))
	}
	return say
}

func dropFault(v *view, p points, d drop, lost float64, live bool) Fault {
	f := Fault{Code: InvertersDown, LossPct: 100 * lost / d.was, Live: live, Repairable: true, Confidence: p.certainty(lost, d.to-d.from)}
	if d.slid {
		f.Code = Decline
		f.Says = fmt.Sprintf("output fell slowly, to %.0f %% below its healthy level", 100*lost)
	} else {
		f.Says = kOfN(v, lost)
	}
	f.On, f.OnLow, f.OnHigh = onset(v, p, d)
	if !live {
		f.Until = v.midnight(p.day[d.to])
		f.Says += fmt.Sprintf("; back since %s", f.Until.Format("2006-01-02"))
	}
	return f
}

// minLoss is the least loss that is spoken of, as a share. A site that is its
// own sky sees haze and dust as loss: it must be larger there.
func (v *view) minLoss() float64 {
	if v.alone {
		return max(aloneLoss, v.Options.MinLossPct/100)
	}
	return v.Options.MinLossPct / 100
}

// wasSnow tells a dip of some weeks in the cold that went by itself.
func wasSnow(v *view, from, to int) bool { return to-from <= snowDipDays && v.cold(from, to) }

// certainty is how sure a loss is: by its size in noise of the mean, and by
// how long it lasts. Our choice: 0.5 at three sigma, 0.95 at twelve.
func (p *points) certainty(loss float64, n int) float64 {
	z := loss / (p.noise * math.Sqrt(weatherRun/float64(max(1, n))))
	return min(0.98, max(0.3, 0.35+float64(0.05*z)))
}

// onset dates a drop: between the last point before it and its first, where
// days lie between that told nothing in their middle.
func onset(v *view, p points, d drop) (on, lo, hi time.Time) {
	if d.from == 0 {
		return noTime, noTime, noTime // since before the data
	}
	l, h := stepRange(p.x, max(0, d.from-60), d.from, d.to, p.noise)
	day := p.day[d.from]
	if p.day[d.from]-p.day[d.from-1] > 1 {
		day = (p.day[d.from-1] + 1 + p.day[d.from]) / 2
	}
	return v.midnight(day), v.midnight(p.day[l]), v.midnight(p.day[h])
}

// kOfN says how many inverters a loss is worth.
func kOfN(v *view, loss float64) string {
	n := 0
	for i := range v.Site.Arrays {
		a := &v.Site.Arrays[i]
		if c := v.Catalogue.InverterCount(a); c.Known {
			n += c.V
		} else {
			n = -1 << 20
		}
	}
	if n <= 0 {
		return fmt.Sprintf("output is %.0f %% below its healthy level; the register does not say how many inverters there are", 100*loss)
	}
	k := max(1, int(math.Round(loss*float64(n))))
	return fmt.Sprintf("output is %.0f %% below its healthy level, as if about %d of %d inverters were down", 100*loss, k, n)
}
