package main

import (
	"errors"
	"time"

	"golang.org/x/sync/errgroup"

	"rowen/analyze"
	"rowen/ingest"
	"rowen/ingest/ledger"
)

// looks is what a worker of check counts over its sites; in which order they came
// makes no difference.
type looks struct {
	need    shopping
	reach   analyze.Reach
	seen    yearlySums
	metered meteredSites
}

// looked is what check says of one site.
type looked struct {
	noRows  bool
	ended   endedSite
	odd     []oddity
	quality []doubt
	err     error
}

// sites looks at the readings of every site, several at a time.
func (c *checked) sites(fleet *ingest.Fleet, source *ledger.Ledger, workers int, need *shopping, reach *analyze.Reach) error {
	found := make([]looked, fleet.Len())
	next := make(chan int)
	counted := make([]looks, max(1, workers))
	var g errgroup.Group
	for w := range counted {
		g.Go(func() error {
			counted[w].need.lack = make([]int, len(need.lack))
			var s ingest.Series
			for i := range next {
				found[i] = counted[w].site(fleet.At(i), source, &s)
			}
			return nil
		})
	}
	for _, i := range byBucket(fleet, source) {
		next <- i
	}
	close(next)
	if err := g.Wait(); err != nil {
		return err
	}
	var seen yearlySums
	for w := range counted {
		seen.join(&counted[w].seen)
		reach.Join(counted[w].reach)
		need.join(&counted[w].need)
		c.Metered.join(counted[w].metered)
	}
	c.Odd = append(c.Odd, seen.odd()...)
	for i, l := range found {
		switch {
		case l.err != nil:
			return l.err
		case l.noRows:
			c.NoRows = append(c.NoRows, fleet.At(i).ID)
			continue
		}
		c.Ended = append(c.Ended, l.ended)
		c.Odd, c.Quality = append(c.Odd, l.odd...), append(c.Quality, l.quality...)
	}
	return nil
}

// byBucket gives the places of a fleet's sites in the order in which the ledger
// holds them, those without readings last.
func byBucket(fleet *ingest.Fleet, source *ledger.Ledger) []int {
	at := make(map[string]int, fleet.Len())
	for i, s := range fleet.All() {
		at[s.ID] = i
	}
	order := make([]int, 0, fleet.Len())
	done := make([]bool, fleet.Len())
	for _, id := range source.Order() {
		if i, ok := at[id]; ok {
			order, done[i] = append(order, i), true
		}
	}
	for i := range done {
		if !done[i] {
			order = append(order, i)
		}
	}
	return order
}

// site looks at the readings of one site.
func (k *looks) site(site *ingest.Site, source ingest.Source, s *ingest.Series) (l looked) {
	if err := source.Load(site.ID, s); errors.Is(err, ingest.ErrNoReadings) {
		k.need.site(site, nil)
		return looked{noRows: true}
	} else if err != nil {
		return looked{err: err}
	}
	k.need.site(site, s)
	k.metered.add(site, s)
	k.reach.Add(s, site.Location)
	last := (s.End() - 1).Time().In(site.Location)
	l.ended = endedSite{site.ID, last.Format(time.DateOnly), analyze.MonthOf(last)}
	l.odd = implausible(site, s, &k.seen)
	for _, q := range s.Quality {
		channel := ""
		if q.Channel < ingest.NumChannels {
			channel = q.Channel.String()
		}
		l.quality = append(l.quality, doubt{site.ID, q.Code, channel, consequences[q.Consequence], q.Says})
	}
	return l
}

var consequences = map[ingest.Consequence]string{ingest.KeepWithCaveat: "caveat", ingest.RefuseChannel: "refused", ingest.LeaveHoursOut: "left out",
	ingest.CountAsZero: "counted as zero", ingest.ExchangeChannels: "exchanged"}

// add counts what a site has readings of.
func (m *meteredSites) add(site *ingest.Site, s *ingest.Series) {
	made, used := s.Has(ingest.Production), !lacksUse(site, s)
	for n, has := range map[*int]bool{&m.Production: made, &m.Consumption: used, &m.Both: made && used} {
		if has {
			*n++
		}
	}
}

func (m *meteredSites) join(o meteredSites) {
	m.Production, m.Consumption, m.Both = m.Production+o.Production, m.Consumption+o.Consumption, m.Both+o.Both
}
