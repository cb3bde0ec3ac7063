package analyze

import (
	"fmt"
	"math"

	"rowen/analyze/headroom"
	"rowen/analyze/option"
	"rowen/analyze/rank"
)

// Likely is what may be built at a site some of whose limits nobody has
// registered. Nothing of it is known: the limits enter as how often sites like
// this one take so many modules.
type Likely struct {
	AtLeast   []float64 // AtLeast[n-1]: chance that n modules fit
	PaysFrom  int       // the sizes that would pay lie between these; 0: none
	PaysTo    int
	NineInTen int     // at least so many fit in nine cases of ten; 0: not even one
	Half      int     // and in every other case
	Expected  float64 // net benefit, the mean over what may fit
	AskMost   string  // the limit whose answer moves the expected net benefit most
	AskWorth  float64 // by how much, in the mean over its answers
	From      string  // where the chances come from
}

// Says is the sentence that people read.
func (l *Likely) Says() string {
	s := fmt.Sprintf("%d to %d modules would pay", l.PaysFrom, l.PaysTo)
	if l.PaysFrom == l.PaysTo {
		s = fmt.Sprintf("%d modules would pay", l.PaysFrom)
	}
	switch {
	case l.NineInTen > 0:
		s += fmt.Sprintf("; 9 times in 10 at least %d fit", l.NineInTen)
	case l.Half > 0:
		s += fmt.Sprintf("; every other time at least %d fit", l.Half)
	default:
		s += "; more often than not none fits"
	}
	return s + " (" + l.From + ")"
}

// Question is the table of the register whose rows would tell most about a fleet.
type Question struct {
	Table string
	Sites int // ranked sites whose limit it would tell
}

// tables hold what each limit hangs on.
var tables = map[string]string{headroom.Roof: "planes.csv", headroom.Service: "services.csv", headroom.Branch: "services.csv", headroom.Gateway: "gateways.csv"}

// MostWorthAsking is the table that moves the expected net benefits of the ranked
// sites most; blank where nothing that matters is missing.
func MostWorthAsking(standings []Standing) (most Question) {
	moves, sites := map[string]float64{}, map[string]int{}
	for _, s := range standings {
		if s.Likely != nil {
			t := tables[s.Likely.AskMost]
			moves[t] += s.Likely.AskWorth
			sites[t]++
		}
	}
	for _, t := range []string{"planes.csv", "services.csv", "gateways.csv"} {
		if moves[t] > moves[most.Table] {
			most = Question{t, sites[t]}
		}
	}
	return most
}

// unknownLimits are those that nobody has registered and that could end a sale.
func (f *Finding) unknownLimits() (names []string) {
	for _, l := range f.Room.Limits() {
		if l.Unknown() && l.Name != headroom.Permission { // at worst a new permission is asked for
			names = append(names, l.Name)
		}
	}
	return names
}

// bySize is what the chances of a site are worked out from, once the whole fleet
// is judged: the sizes themselves are dropped by then.
type bySize struct {
	Worth            []float64 // see worthBySize
	PaysFrom, PaysTo int
}

// keepWorth keeps what a site with unknown limits is worth by size.
func (f *Finding) keepWorth(r *rank.Options) {
	if !f.Verdict.Lane.Ranked() || len(f.unknownLimits()) == 0 {
		return
	}
	pays := func(o *option.Option) bool {
		offer := rank.Offer{Modules: o.Modules, NetBenefit: o.NetBenefit.Value, Payback: o.SimplePaybackYears}
		return rank.Worthwhile(&offer, r) && o.Chance >= r.MinChance
	}
	b := bySize{Worth: worthBySize(f)}
	for i := range f.Worth.Options {
		if o := &f.Worth.Options[i]; pays(o) {
			if b.PaysFrom == 0 || o.Modules < b.PaysFrom {
				b.PaysFrom = o.Modules
			}
			b.PaysTo = max(b.PaysTo, o.Modules)
		}
	}
	f.BySize = &b
}

// worthBySize is the best net benefit of a size of at most n modules, by n, from
// none on; each is on the expected hours.
func worthBySize(f *Finding) []float64 {
	most := 0
	for i := range f.Worth.Options {
		most = max(most, f.Worth.Options[i].Modules)
	}
	v := make([]float64, most+1)
	for i := range f.Worth.Options {
		if o := &f.Worth.Options[i]; o.NetBenefit.Mean > v[o.Modules] {
			v[o.Modules] = o.NetBenefit.Mean
		}
	}
	for n := 1; n <= most; n++ {
		v[n] = math.Max(v[n], v[n-1])
	}
	return v
}

// likely works a site's chances out; nil where no size gains.
//
//	P(n fit) = product over the unknown limits of P(limit >= n)
//	expected = sum over n of P(exactly n fit) x best net benefit of at most n
//
// The limits are taken as independent of each other (our choice).
//
// The chances do not move the ranking: on fleets whose register was hidden a
// priority weighed by them put no better customers first (NDCG@20 against the whole
// register 0.76 and 0.76 without planes, 0.66 and 0.63 without planes, services and
// gateways), while the confidence holds back what is less known already.
func (p registered) likely(k *Key) *Likely {
	worth := k.Open.Worth
	sizes := len(worth) - 1
	if sizes < 1 || worth[sizes] <= 0 {
		return nil
	}
	l := &Likely{AtLeast: make([]float64, sizes)}
	for n := range l.AtLeast {
		l.AtLeast[n] = 1
	}
	chances := map[string][]float64{}
	least := math.Inf(1)
	for _, name := range k.Unknown {
		s, weight := p.chances(k, name, sizes)
		chances[name], least = s, math.Min(least, weight)
		for n := range s {
			l.AtLeast[n] *= s[n]
		}
	}
	l.From = "assumed: no site of the fleet tells what such sites take"
	if least >= enoughSites {
		l.From = fmt.Sprintf("from %.0f registered sites like this one", least)
	} else if least >= 1 {
		l.From = fmt.Sprintf("assumed, and from the few registered sites like this one, %.0f", least)
	}
	l.sizes(k)
	l.Expected = expectedWorth(l.AtLeast, worth)
	for _, name := range k.Unknown {
		if moves := l.moves(chances[name], worth); moves > l.AskWorth || l.AskMost == "" {
			l.AskMost, l.AskWorth = name, moves
		}
	}
	return l
}

// sizes finds which sizes pay and how many fit how often.
func (l *Likely) sizes(k *Key) {
	l.PaysFrom, l.PaysTo = k.Open.PaysFrom, k.Open.PaysTo
	for n, p := range l.AtLeast {
		if p >= 0.9 {
			l.NineInTen = n + 1
		}
		if p >= 0.5 {
			l.Half = n + 1
		}
	}
}

// expectedWorth is the mean of worth over how many fit.
func expectedWorth(atLeast, worth []float64) float64 {
	sum := 0.0
	for n := 1; n < len(worth); n++ {
		next := 0.0
		if n < len(atLeast) {
			next = atLeast[n]
		}
		sum += float64((atLeast[n-1] - next) * worth[n])
	}
	return sum
}

// moves is how far the answer to one limit moves the expected net benefit, in the
// mean over its answers: what it leaves of the others' chances against all of
// them.
func (l *Likely) moves(one, worth []float64) float64 {
	sum := 0.0
	given := make([]float64, len(one))
	for k := 0; k <= len(one); k++ { // the limit takes k modules
		p := 1.0
		if k > 0 {
			p = one[k-1]
		}
		if k < len(one) {
			p -= one[k]
		}
		if !(p > 0) {
			continue
		}
		for n := range given {
			given[n] = 0
			if n < k && one[n] > 0 {
				given[n] = l.AtLeast[n] / one[n]
			}
		}
		sum += float64(p * math.Abs(expectedWorth(given, worth)-l.Expected))
	}
	return sum
}
