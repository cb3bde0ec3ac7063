package main

import (
	"context"
	"errors"
	"fmt"
	"runtime"

	"rowen/analyze"
	"rowen/analyze/array"
	"rowen/analyze/demand"
	"rowen/analyze/headroom"
	"rowen/analyze/option"
	"rowen/analyze/rank"
	"rowen/analyze/sky"
	"rowen/ingest"
	"rowen/ingest/demo"
	"rowen/ingest/quality"
)

// settings are the product's own defaults; the prices do not reach the demand.
func settings() analyze.Options {
	return analyze.Options{Workers: runtime.GOMAXPROCS(0), DefaultTariff: "tou-a", WeatherMaxKM: 60,
		Sky: sky.Defaults(), Array: array.Defaults(), Demand: demand.Defaults(), Headroom: headroom.DefaultOptions(), Rank: rank.Defaults(),
		Money: option.Money{DiscountRatePct: 5, HorizonYears: 25, CostPerModule: 780, CostPerVisit: 1400, Doubt: option.DefaultDoubt()}}
}

// answer is one site's result beside its truth.
type answer struct {
	truth  demo.Truth
	result demand.Result
}

// judge runs the product's two passes over a fleet and hands on what it says of
// each site's demand.
func judge(register *ingest.Fleet, source ingest.Source, o analyze.Options, each func(*analyze.Finding)) error {
	fl := analyze.NewFleet(register, checked{source, register}, o)
	survey, err := fl.Survey(context.Background())
	if err != nil {
		return err
	}
	failed := error(nil)
	err = fl.Judge(context.Background(), survey, analyze.Whole, func(f *analyze.Finding) error {
		if f.Failed != "" {
			failed = errors.Join(failed, fmt.Errorf("judging %s: %s", f.Site.ID, f.Failed))
			return nil
		}
		each(f)
		return nil
	})
	return errors.Join(err, failed)
}

// fleet judges one invented fleet.
func (t *tally) fleet(o demo.Options) error {
	made := demo.Make(o)
	return judge(made.Fleet(), made.Source(), settings(), func(f *analyze.Finding) {
		t.add(answer{made.Truth(f.Site.ID), f.Demand}, o.Seed)
	})
}

// checked is a source as the job sees it: after the rules of quality.
type checked struct {
	ingest.Source
	fleet *ingest.Fleet
}

func (c checked) Load(id string, s *ingest.Series) error {
	s.Quality = s.Quality[:0]
	if err := c.Source.Load(id, s); err != nil {
		return err
	}
	site := c.fleet.Site(id)
	watts := 0.0
	for _, a := range site.Arrays {
		watts += float64(a.Modules) * a.ModuleWatts
	}
	found := quality.Check(s, quality.Site{LatitudeDeg: site.LatitudeDeg, LongitudeDeg: site.LongitudeDeg, Location: site.Location, RatedDCWatts: watts})
	s.Quality = append(s.Quality, found...)
	quality.Apply(s, found)
	return nil
}
