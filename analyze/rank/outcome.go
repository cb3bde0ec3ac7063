package rank

import (
	"fmt"
	"slices"
	"time"
)

// The results that a call can have, as outcomes.csv names them.
const (
	Sold        = "sold"
	Declined    = "declined"
	NoAnswer    = "no_answer"
	NotSuitable = "not_suitable"
)

// PastCall is one earlier call of a site with what came of it.
type PastCall struct {
	On     time.Time
	Result string
	Reason string // a word of Reasons; "": not one of them, or none
}

// Reasons are the words for a result that may leave the call list: what a
// caller writes freely may name people, and stays where it was written.
var Reasons = []string{"access", "electrical", "financing", "health", "moving", "panelboard", "permission", "price", "renting", "roof",
	"shade", "structure", "too early", "trees"}

// answered is the rule of the latest earlier call of a site:
//
//	sold          out of the ranking until arrays.csv shows the new modules, or AfterSaleMonths have passed;
//	              as built it is ranked again, and on no list until then (restAfterSale)
//	declined      not called again for AfterDeclineMonths
//	no_answer     not called again for AfterNoAnswerMonths, and MaxAttempts times a year at the most
//	not_suitable  blocked until the register's rows change, or AfterNotSuitableMonths have passed
//
// The call's own time takes the place of the cool-down.
func answered(c *Case, o *Options, v *Verdict) bool {
	last, ok := c.lastCall()
	if !ok {
		return false
	}
	on := last.On.Format(time.DateOnly)
	switch last.Result {
	case Sold:
		if !c.BuiltOn.IsZero() {
			return false
		}
		return v.rest(c, last.On.AddDate(0, o.AfterSaleMonths, 0), DoNotContact, Reason{Sold,
			fmt.Sprintf("sold on %s; arrays.csv shows no modules commissioned since", on)})
	case Declined:
		return v.rest(c, last.On.AddDate(0, o.AfterDeclineMonths, 0), DoNotContact, Reason{Declined, "declined on " + on + because(last)})
	case NoAnswer:
		until, says := last.On.AddDate(0, o.AfterNoAnswerMonths, 0), "no answer on "+on
		if n := c.attempts(); len(n) >= o.MaxAttempts && o.MaxAttempts > 0 {
			again := n[len(n)-o.MaxAttempts].AddDate(1, 0, 0)
			if again.After(until) {
				until, says = again, fmt.Sprintf("called %d times within a year without an answer, last on %s; at most %d a year are made", len(n), on, o.MaxAttempts)
			}
		}
		return v.rest(c, until, DoNotContact, Reason{NoAnswer, says})
	case NotSuitable:
		if c.RegisterChanged {
			return false
		}
		return v.rest(c, last.On.AddDate(0, o.AfterNotSuitableMonths, 0), Blocked, Reason{NotSuitable,
			"found not suitable on " + on + because(last) + "; the register's rows are the same as then"})
	}
	return false
}

func because(p PastCall) string {
	if slices.Contains(Reasons, p.Reason) {
		return " (" + p.Reason + ")"
	}
	return ""
}

// rest leaves a site alone until a day, where that lies ahead.
func (v *Verdict) rest(c *Case, until time.Time, lane Lane, why Reason) bool {
	if !until.After(c.MonthEnd) {
		return false
	}
	v.NotBefore = until
	next := "do not contact before " + until.Format(time.DateOnly)
	if lane == Blocked {
		next = "no offer before " + until.Format(time.DateOnly) + " unless the register's rows change"
	}
	v.decide(lane, next, why)
	return true
}

// restAfterSale keeps a customer who bought, and has the modules by now, off the
// lists for AfterSaleMonths: the site is judged as built and keeps its lane and
// its rank, but nobody who just bought is called with the next offer.
func (v *Verdict) restAfterSale(c *Case, o *Options) {
	for _, p := range slices.Backward(c.Calls) {
		until := p.On.AddDate(0, o.AfterSaleMonths, 0)
		if p.Result != Sold || !until.After(c.MonthEnd) {
			continue
		}
		v.NotBefore = until
		if !v.Lane.Ranked() {
			return
		}
		v.NextStep = fmt.Sprintf("bought on %s; no new offer before %s. After that: %s", p.On.Format(time.DateOnly), until.Format(time.DateOnly), v.NextStep)
		return
	}
}

// lastCall is the latest earlier call: of one day the last in the list.
func (c *Case) lastCall() (PastCall, bool) {
	if len(c.Calls) == 0 {
		return PastCall{}, false
	}
	return c.Calls[len(c.Calls)-1], true
}

// attempts are the days of the year before the month's end on which nobody
// answered, oldest first.
func (c *Case) attempts() []time.Time {
	var days []time.Time
	for _, p := range c.Calls {
		if p.Result == NoAnswer && p.On.AddDate(1, 0, 0).After(c.MonthEnd) {
			days = append(days, p.On)
		}
	}
	return days
}

// contact is the last contact that the cool-down counts from. A call without an
// answer, declined or waiting to be built has a time of its own.
func (c *Case) contact() time.Time {
	last, ok := c.lastCall()
	if !ok || c.LastContactOn.After(last.On) {
		return c.LastContactOn
	}
	if last.Result == NoAnswer || last.Result == Declined {
		return time.Time{}
	}
	return last.On
}

// Outcome is what came of one earlier call, for the factors.
type Outcome struct {
	Branch string
	Sold   bool
}

// MinOutcomes is how many outcomes must be known before they weigh on the
// ranking: below about 50 only the order may be published, no probability
// (common practice).
const MinOutcomes = 50

// priorCalls is how many calls at the fleet's own rate each branch is given
// beforehand, so that a branch with three lucky calls does not lead the list
// (our choice).
const priorCalls = 20

// OutcomeFactors says how much better or worse than the fleet the calls of each
// branch fare: its rate of sales, drawn towards the fleet's by priorCalls, over
// the fleet's. Calls that nobody answered say nothing of the offer and are to
// be left out by the caller.
//
//	f_b = ((s_b + k·p) / (n_b + k)) / p,  p = Σs / Σn,  k = priorCalls
//
// Out:     a factor around 1 for each branch that has outcomes.
// Refuses: fewer than MinOutcomes in all, or no sale: an empty map.
// Source:  shrinkage towards the pooled rate; k is our choice.
func OutcomeFactors(outcomes []Outcome) map[string]float64 {
	type tally struct{ sold, calls float64 }
	var all tally
	by := map[string]tally{}
	for _, o := range outcomes {
		t := by[o.Branch]
		t.calls++
		all.calls++
		if o.Sold {
			t.sold++
			all.sold++
		}
		by[o.Branch] = t
	}
	factors := map[string]float64{}
	if all.calls < MinOutcomes || all.sold == 0 {
		return factors
	}
	p := all.sold / all.calls
	for branch, t := range by {
		factors[branch] = (t.sold + float64(priorCalls*p)) / (t.calls + priorCalls) / p
	}
	return factors
}
