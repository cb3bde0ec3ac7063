package analyze

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"rowen/analyze/headroom"
	"rowen/analyze/option"
	"rowen/analyze/rank"
)

// offersOf takes the best sizes as the site stands and with its jobs.
func offersOf(f *Finding, c *rank.Case, o *rank.Options) {
	if f.Worth.Refusal != "" {
		return
	}
	c.Offer = offerAt(f, f.Worth.Best, f.Worth.UpTo)
	c.OfferWithJobs = cheapestOffer(f, o)
	for i := range f.Worth.Options {
		c.BestPaybackLong = c.BestPaybackLong || f.Worth.Options[i].NetBenefit.Value > 0
	}
}

// cheapestOffer is the best size under the cheapest set of enabling jobs that
// makes the case worthwhile; where none does, the best size there is.
func cheapestOffer(f *Finding, o *rank.Options) *rank.Offer {
	gains := slices.Clone(f.Worth.Jobs)
	slices.SortStableFunc(gains, func(a, b option.JobGain) int { return cmp.Compare(a.Cost, b.Cost) })
	for _, g := range gains {
		if offer := offerAt(f, g.Best, g.Best); rank.Worthwhile(offer, o) && offer.Chance >= o.MinChance {
			return offer
		}
	}
	return offerAt(f, f.Worth.BestWithJobs, f.Worth.UpToWithJobs)
}

func offerAt(f *Finding, at, upTo int) *rank.Offer {
	if at < 0 {
		return nil
	}
	o := &f.Worth.Options[at]
	offer := &rank.Offer{Modules: o.Modules, UpTo: f.Worth.Options[max(at, upTo)].Modules, NetBenefit: o.NetBenefit.Value, Expected: o.NetBenefit.Mean,
		Chance: o.Chance, Payback: o.SimplePaybackYears, JobsCost: o.JobsCost}
	for _, job := range o.Jobs {
		offer.Jobs = append(offer.Jobs, rank.Job{Name: job, Says: whyFirst(f, job, o.Modules)})
	}
	return offer
}

// whyFirst says why a job comes before so many modules. It is made from the
// site's own limits, so that it cannot contradict them: what a limit covers is
// said where the limit is known, and only then.
func whyFirst(f *Finding, job string, modules int) string {
	short := func(c headroom.Ceiling, format string) string {
		switch {
		case !c.Modules.Known || c.Modules.V >= modules:
			return ""
		case c.Modules.V == 0:
			return fmt.Sprintf(format, "no") + fmt.Sprintf(", the offer is %d", modules)
		}
		return fmt.Sprintf(format, fmt.Sprint(c.Modules.V)) + fmt.Sprintf(", the offer is %d", modules)
	}
	r := &f.Room
	var whys []string
	switch job {
	case headroom.NewPermission:
		whys = []string{short(r.Permission, "the permission to operate covers %s more modules"), short(r.Service, "under the present permission the service takes %s more modules")}
	case headroom.PanelboardUpgrade, headroom.Subpanel:
		whys = []string{short(r.Branch, "the panelboard's free spaces and branch circuits take %s more modules"), short(r.Service, "the busbar takes %s more modules")}
	case headroom.SupplySideConnection:
		whys = []string{short(r.Service, "the panelboard takes %s more modules")}
	case headroom.GatewaySwap:
		whys = []string{short(r.Gateway, "the gateway takes %s more modules")}
	case headroom.SoftwareUpdate:
		if g := f.Site.Gateway; g != nil && g.SoftwareVersion != "" {
			whys = []string{"the gateway runs software " + g.SoftwareVersion + ", older than what new inverters need"}
		}
	}
	whys = slices.DeleteFunc(whys, func(s string) bool { return s == "" })
	if len(whys) > 0 {
		return strings.Join(whys, "; ")
	}
	name := strings.ReplaceAll(job, "_", " ")
	for _, l := range r.Limits() {
		if slices.Contains(headroom.Lifts(job), l.Name) && !l.Modules.Known && !l.Unlimited && l.Says != "" {
			return "a " + name + " is needed because of what is not known: " + strings.TrimRight(l.Says, ".")
		}
	}
	return "a " + name + " is part of the work"
}

// askedFirst sorts what is not known into what could end the sale, which is
// found out before an offer, and what is asked on site as a matter of course
// because the offer stands whatever the answer is.
func (j *judge) askedFirst(f *Finding, c *rank.Case) {
	for _, ceiling := range f.Room.Limits() {
		switch {
		case ceiling.Unlimited:
		case !ceiling.Modules.Known && ceiling.Name == headroom.Permission && j.paysForPermission(f, c): // at worst a new one is asked for
			c.ToAsk = append(c.ToAsk, rank.Reason{Code: "permission_unknown", Says: ceiling.Ask})
		case !ceiling.Modules.Known:
			c.Unknown = append(c.Unknown, rank.Reason{Code: ceiling.Name + "_unknown", Says: ceiling.Ask})
		case c.Offer != nil && rank.Worthwhile(c.Offer, &j.Options.Rank) && ceiling.Low < c.Offer.Modules: // no size holds whatever the doubt turns out to be
			c.Unknown = append(c.Unknown, rank.Reason{Code: ceiling.Name + "_in_doubt", Says: cmp.Or(ceiling.Ask, "how many modules the "+ceiling.Name+" takes")})
		case ceiling.Ask != "":
			c.ToAsk = append(c.ToAsk, rank.Reason{Code: ceiling.Name, Says: ceiling.Ask})
		}
	}
}

// paysForPermission tells whether the offer would still be worth making were a
// new permission to operate needed.
func (j *judge) paysForPermission(f *Finding, c *rank.Case) bool {
	cost, priced := j.Options.Headroom.CostOf[headroom.NewPermission]
	offer := c.Offer
	if !rank.Worthwhile(offer, &j.Options.Rank) {
		offer = c.OfferWithJobs
	}
	if !priced || offer == nil {
		return priced
	}
	for _, job := range offer.Jobs {
		if job.Name == headroom.NewPermission { // paid for already
			return true
		}
	}
	for i := range f.Worth.Options {
		if o := &f.Worth.Options[i]; o.Modules == offer.Modules {
			dearer := *offer
			dearer.NetBenefit -= cost
			dearer.Payback = (o.Cost + cost) / o.Saving.Value
			return rank.Worthwhile(&dearer, &j.Options.Rank)
		}
	}
	return true
}
