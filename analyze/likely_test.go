package analyze

import (
	"fmt"
	"math"
	"slices"
	"testing"
	"time"

	"rowen/analyze/headroom"
	"rowen/analyze/option"
	"rowen/ingest"
)

// unregistered is a site whose roof nobody measured, worth 100 a module up to
// four, with the other limits known.
func unregistered(id string) *Finding {
	many := headroom.Ceiling{Unlimited: true}
	return &Finding{Site: &ingest.Site{ID: id, Branch: "B", CommissionedOn: time.Date(2020, 1, 1, 0, 0, 0, 0, time.UTC)},
		Room:   headroom.Result{Roof: headroom.Ceiling{High: 12}, Service: many, Branch: many, Gateway: many, Permission: many},
		Chosen: &option.Option{Modules: 4}, BySize: &bySize{Worth: []float64{0, 100, 200, 300, 400}, PaysFrom: 2, PaysTo: 4}}
}

// surveyed is a site whose roof takes so many.
func surveyed(id string, modules int) *Finding {
	f := unregistered(id)
	f.BySize, f.Site.Planes = nil, []ingest.Plane{{ID: "P1"}}
	f.Room.Roof = headroom.Ceiling{Modules: ingest.Some(modules), Low: modules, High: modules}
	return f
}

func standingsOf(t *testing.T, findings ...*Finding) []Standing {
	t.Helper()
	r, err := Rank(keysOf(findings...), 1, 1, nil)
	if err != nil {
		t.Fatal(err)
	}
	return r.Standings
}

// poolOf are the sites that tell the roofs of others.
func poolOf(t *testing.T, findings ...*Finding) []like {
	t.Helper()
	pool, err := (&Ranked{}).count(keysOf(findings...))
	if err != nil {
		t.Fatal(err)
	}
	return pool[headroom.Roof]
}

// TestLikelyByHand: ninety-two sites alike, of which half take three modules and
// half take none, beside a prior that counts as eight: a triangle from 0 to 12
// with its peak at 4.
//
//	P(>= 1) = (46 + 8 (1 - 1/48)) / 100, P(>= 2) = (46 + 8 (1 - 4/48)) / 100, P(>= 3) = (46 + 8 (1 - 9/48)) / 100
//	P(>= 4) = 8 (1 - 16/48) / 100
//	expected = 100 (P1 + P2 + P3 + P4), for each module more is worth 100
func TestLikelyByHand(t *testing.T) {
	f := unregistered("A")
	findings := []*Finding{f}
	for i := range 92 {
		findings = append(findings, surveyed(string(rune('a'+i)), 3*(i%2)))
	}
	standings := standingsOf(t, findings...)
	standings[0].Apply(f)
	l := f.Likely
	want := []float64{(46 + 8*(1-1./48)) / 100, (46 + 8*(1-4./48)) / 100, (46 + 8*(1-9./48)) / 100, 8 * (1 - 16./48) / 100}
	expected := 0.0
	for n, p := range want {
		if math.Abs(l.AtLeast[n]-p) > 1e-9 {
			t.Errorf("%d modules fit with %.4f, want %.4f", n+1, l.AtLeast[n], p)
		}
		expected += 100 * p
	}
	if math.Abs(l.Expected-expected) > 1e-6 || l.Half != 3 || l.NineInTen != 0 || l.AskMost != headroom.Roof {
		t.Errorf("%+v, want %.2f", l, expected)
	}
	if says := "2 to 4 modules would pay; every other time at least 3 fit (from 92 registered sites like this one)"; l.Says() != says {
		t.Errorf("%q, want %q", l.Says(), says)
	}
	// All answers known beforehand move nothing more than the spread of the worth itself.
	spread := 0.0
	for k, p := range []float64{1 - want[0], want[0] - want[1], want[1] - want[2], want[2] - want[3], want[3]} {
		spread += p * math.Abs(float64(100*k)-expected)
	}
	if math.Abs(l.AskWorth-spread) > 1e-6 {
		t.Errorf("the roof moves %.2f, want %.2f", l.AskWorth, spread)
	}
}

// TestLikelyAlone: without a registered site the prior stands, and says so; the
// chances fall with the size, and a site of another branch counts less.
func TestLikelyAlone(t *testing.T) {
	f := unregistered("A")
	standings := standingsOf(t, f)
	standings[0].Apply(f)
	if f.Verdict.NextStep != "; "+f.Likely.Says() {
		t.Errorf("the next step says %q", f.Verdict.NextStep)
	}
	for n := 1; n < len(f.Likely.AtLeast); n++ {
		if f.Likely.AtLeast[n] > f.Likely.AtLeast[n-1] {
			t.Errorf("%v do not fall", f.Likely.AtLeast)
		}
	}
	if f.Likely.From[:7] != "assumed" {
		t.Errorf("from %q", f.Likely.From)
	}
	far := surveyed("B", 3)
	far.Site.Branch = "elsewhere"
	k := f.Key()
	if a, b := alike(&k, &poolOf(t, surveyed("C", 3))[0]), alike(&k, &poolOf(t, far)[0]); !(a > b) {
		t.Errorf("a site of the branch counts %.2f, one of another %.2f", a, b)
	}
	if q := MostWorthAsking(standings); q.Table != "planes.csv" || q.Sites != 1 {
		t.Errorf("%+v", q)
	}
}

// TestLikelyOnlyWhereUnknown: a registered site says nothing of the kind.
func TestLikelyOnlyWhereUnknown(t *testing.T) {
	if standings := standingsOf(t, surveyed("A", 3), unregistered("B")); len(standings) != 1 || standings[0].SiteID != "B" {
		t.Errorf("%+v", standings)
	}
}

// TestLikelyAsksAThousand: of a fleet of three thousand registered sites a thousand
// are asked, the same in any order, and the chances stay those of the fleet within
// three standard errors.
func TestLikelyAsksAThousand(t *testing.T) {
	var findings []*Finding
	for i := range 3000 {
		findings = append(findings, surveyed(fmt.Sprintf("S-%04d", i), 3*(i%2)))
	}
	pool := poolOf(t, findings...)
	if len(pool) != 1000 {
		t.Fatalf("%d sites are asked", len(pool))
	}
	slices.Reverse(findings)
	again := poolOf(t, findings...)
	three := 0
	for i := range pool {
		if pool[i].siteID != again[i].siteID {
			t.Fatalf("another order asks %s for %s", again[i].siteID, pool[i].siteID)
		}
		if pool[i].most == 3 {
			three++
		}
	}
	if math.Abs(float64(three)-500) > 3*math.Sqrt(1000*0.25) {
		t.Errorf("%d of 1000 take three modules, half of the fleet do", three)
	}
}
