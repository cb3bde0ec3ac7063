package rank

import (
	"cmp"
	"slices"
	"strconv"

	"rowen/analyze/stat"
)

// Told is one earlier call as the learning sees it.
type Told struct {
	Result string
	Tenth  int    // of the list that proposed it; 0: none did
	Rank   int    // on it
	Reason string // code of the list's main reason; "": none
}

// Learned is what earlier calls came to.
type Learned struct {
	Calls, Answered, Sold int
	NoAnswer, NotSuitable int
	Unlisted              int // calls that no list known proposed: they count all the same
	Enough                bool
	All                   Rate
	ByTenth, ByReason     []Rate
	Lift3                 float64 // how much more often the first three tenths sold than all listed calls; 0: too few to say
	NDCG                  float64 // how far the sales stood first on the lists, 1: all of them did; 0: too few to say
	Calibration           string  // "", logistic or isotonic
	LogisticA, LogisticB  float64 // chance of a sale by tenth: 1/(1 + exp(-(a + b tenth)))
}

// Rate is a share of calls that sold, with its 90 % Wilson interval.
type Rate struct {
	Name        string
	Sold, Calls int
	Low, High   float64
	Chance      float64 // calibrated, by tenth; 0 where nothing is calibrated
}

// MinCalibrated is how many answered calls an isotonic calibration takes (methods
// 12, common practice); from MinOutcomes on a logistic one is given.
const MinCalibrated = 200

// Learn sums up what earlier calls came to: conversion of the answered calls
// (sold, declined, not suitable) by tenth of the list and by its main reason.
//
// In:      every outcome, those that no list proposed too.
// Refuses: fewer than MinOutcomes answered calls: counts only, no rate, no lift.
// Source:  Wilson 1927; calibration by pool-adjacent-violators or a logistic curve
//
//	(methods 12).
func Learn(told []Told) Learned {
	l := Learned{}
	tenths, reasons := map[int]*Rate{}, map[string]*Rate{}
	for _, t := range told {
		l.Calls++
		if t.Tenth == 0 && t.Reason == "" {
			l.Unlisted++
		}
		switch t.Result {
		case NoAnswer:
			l.NoAnswer++
			continue
		case NotSuitable:
			l.NotSuitable++
		}
		l.Answered++
		sold := 0
		if t.Result == Sold {
			sold = 1
		}
		l.Sold += sold
		if t.Tenth > 0 {
			count(tenths, t.Tenth, sold)
		}
		if t.Reason != "" {
			count(reasons, t.Reason, sold)
		}
	}
	l.All = Rate{Name: "all", Sold: l.Sold, Calls: l.Answered}
	l.All.Low, l.All.High = stat.Wilson(l.Sold, l.Answered, level)
	l.Enough = l.Answered >= MinOutcomes
	for tenth, r := range tenths {
		r.Name = strconv.Itoa(tenth)
		l.ByTenth = append(l.ByTenth, r.interval())
	}
	for name, r := range reasons {
		r.Name = name
		l.ByReason = append(l.ByReason, r.interval())
	}
	slices.SortFunc(l.ByTenth, func(a, b Rate) int { return cmp.Or(len(a.Name)-len(b.Name), cmp.Compare(a.Name, b.Name)) })
	slices.SortFunc(l.ByReason, func(a, b Rate) int { return cmp.Or(b.Calls-a.Calls, cmp.Compare(a.Name, b.Name)) })
	if l.Enough {
		l.order(told)
	}
	l.calibrate(told)
	return l
}

// order measures how well the lists put the sales first.
func (l *Learned) order(told []Told) {
	var place, sold []float64
	top := 0
	for _, t := range told {
		if t.Tenth == 0 || t.Result == NoAnswer {
			continue
		}
		if t.Tenth <= 3 {
			top++
		}
		place = append(place, -float64(t.Tenth)-float64(t.Rank)/1e9) // first by tenth, then by rank
		sold = append(sold, 0)
		if t.Result == Sold {
			sold[len(sold)-1] = 1
		}
	}
	rel := stat.Ranked(sold, stat.Order(place, nil))
	if n := stat.NDCG(rel, len(rel)); n == n && top > 0 {
		l.NDCG, l.Lift3 = n, stat.Lift(rel, top)
	}
}

// level of the intervals: as everywhere, nine times in ten.
const level = 0.9

func count[K comparable](by map[K]*Rate, key K, sold int) {
	if by[key] == nil {
		by[key] = &Rate{}
	}
	by[key].Calls++
	by[key].Sold += sold
}

func (r *Rate) interval() Rate {
	r.Low, r.High = stat.Wilson(r.Sold, r.Calls, level)
	return *r
}

// calibrate gives each tenth the chance of a sale: one that never rises from the
// first tenth to the last where there are enough calls, else a logistic curve, and
// nothing below MinOutcomes.
func (l *Learned) calibrate(told []Told) {
	n := 0
	var x, y []float64
	for _, t := range told {
		if t.Tenth == 0 || t.Result == NoAnswer {
			continue
		}
		n++
		x = append(x, float64(t.Tenth))
		sold := 0.0
		if t.Result == Sold {
			sold = 1
		}
		y = append(y, sold)
	}
	switch {
	case n >= MinCalibrated:
		rates, weights := make([]float64, len(l.ByTenth)), make([]float64, len(l.ByTenth))
		for i := range l.ByTenth { // from the last tenth to the first: rising
			r := &l.ByTenth[len(l.ByTenth)-1-i]
			rates[i], weights[i] = float64(r.Sold)/float64(r.Calls), float64(r.Calls)
		}
		for i, p := range stat.PAVA(rates, weights) {
			l.ByTenth[len(l.ByTenth)-1-i].Chance = p
		}
		l.Calibration = "isotonic"
	case n >= MinOutcomes:
		fit, ok := stat.Logistic(x, y)
		if !ok {
			return
		}
		l.Calibration, l.LogisticA, l.LogisticB = "logistic", fit.Intercept, fit.Slope
		for i := range l.ByTenth {
			tenth, _ := strconv.Atoi(l.ByTenth[i].Name)
			l.ByTenth[i].Chance = fit.P(float64(tenth))
		}
	}
}
