package rank

// Outcome is what came of one earlier call.
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
		factors[branch] = (t.sold + priorCalls*p) / (t.calls + priorCalls) / p
	}
	return factors
}
