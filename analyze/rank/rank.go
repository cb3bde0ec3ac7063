// Package rank puts every site in one lane with its reasons, says the one thing
// to do next, and orders the sites that are worth a call.
//
// The rules stand in Judge, in the order in which they are asked; the ranking
// stands in order.go. Neither looks at readings: they see only what the earlier
// stages found.
package rank

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"rowen/ingest/samebits"
)

// Lane is where a site stands this month.
type Lane string

// The lanes, in the order in which the rules ask for them.
const (
	DoNotContact Lane = "do_not_contact" // asked not to be called, or called too lately
	NoData       Lane = "no_data"        // too little to judge
	Repair       Lane = "repair"         // the array makes clearly less than it should: mend it first
	Blocked      Lane = "blocked"        // no roof left, or the equipment may not be mixed
	NoGain       Lane = "no_gain"        // more modules would not pay
	Watch        Lane = "watch"          // need is growing but not there yet, or the answer is too uncertain
	Prepare      Lane = "prepare"        // worth it, but something comes first
	Call         Lane = "call"           // worth it and ready
)

// Lanes lists every lane, best first: the order of a page.
var Lanes = []Lane{Call, Prepare, Repair, Watch, NoGain, Blocked, NoData, DoNotContact}

// Ranked tells whether sites of this lane are put in order and may be called.
func (l Lane) Ranked() bool { return l == Call || l == Prepare }

// Options are the settings of the judgement; the defaults are our choice.
type Options struct {
	MinModules      int     // fewer are not worth a visit
	MaxPaybackYears float64 // a longer simple payback is no offer
	CoolDownMonths  int     // months after a contact in which nobody calls again
	MinDataDays     int     // fewer days with readings are too few to judge
	RepairLossPct   float64 // a live loss of at least this comes before any sale
	MinChance       float64 // the chance of a gain below which the answer is too uncertain, 0 to 1

	Order string // one of Orders; "": the first

	// How long an earlier call keeps a site from the next, by its result.
	AfterSaleMonths, AfterDeclineMonths, AfterNoAnswerMonths, AfterNotSuitableMonths int
	MaxAttempts                                                                      int // calls a year that nobody answers; 0: no limit
}

// Defaults are the options that hold where the settings say nothing.
//
// MinDataDays is the year of 328 days of the CalTRACK sufficiency rule
// (published); the others are our choice.
func Defaults() Options {
	return Options{
		MinModules:      2,
		MaxPaybackYears: 15,
		CoolDownMonths:  6,
		MinDataDays:     328,
		RepairLossPct:   10,
		MinChance:       0.95, // the low end of the 90 % interval is no loss
		Order:           PerCall,

		AfterSaleMonths: 18, AfterDeclineMonths: 12, AfterNoAnswerMonths: 1, AfterNotSuitableMonths: 24,
		MaxAttempts: 3,
	}
}

// Case is what the earlier stages found, as far as the judgement needs it.
type Case struct {
	SiteID, Branch string

	OptedOut        bool
	LastContactOn   time.Time  // zero: never
	MonthEnd        time.Time  // the end of the report month
	Calls           []PastCall // earlier calls with what came of them, oldest first
	BuiltOn         time.Time  // when what the last call sold was commissioned by arrays.csv; zero: not built, or nothing sold
	RegisterChanged bool       // the register's rows are others than when the last call found the site not suitable

	DataDays        int
	DataCoveragePct float64
	Refusals        []Reason // why a stage gave no number: array, demand
	ArrayJudged     bool     // production is read and recent: what it says of the array's faults holds
	WorstFault      *Fault   // the live fault that costs most; nil: none
	GrowthPctYr     float64  // the drift of the use; NaN: not known
	GrowthLowPctYr  float64  // the lower end of the growth's interval; NaN: not known
	Benefits        []Reason // true findings that speak for more modules, the strongest first
	CoveragePct     float64  // production / consumption
	PlaneRelSD      float64  // relative doubt of the candidate plane's output; NaN: not known
	DemandRelWidth  float64  // (high - low) / mid of next year's use; NaN: not known
	Caveats         int      // how many doubts the numbers carry
	Unknown         []Reason // what is not known and could end the sale, with what to ask
	Uncertain       []Reason // why the worth cannot be relied on, where it cannot
	ToAsk           []Reason // what is asked on site as a matter of course, whatever comes of it
	RoomNow         int      // modules possible as the site stands, over the limits that are known
	RoomWithJobs    int      // modules possible when every enabling job is done
	BlockedBy       []Reason // why there is no room, where there is none
	Offer           *Offer   // the best size as the site stands; nil: none pays
	OfferWithJobs   *Offer   // the best size that the cheapest worthwhile set of enabling jobs allows; nil: none pays
	BestPaybackLong bool     // a size has a positive net benefit, but none pays back in time
	OutcomeFactor   float64  // what past calls like it say; 1: nothing
	TariffRefused   bool
}

// Fault is a live fault of the array.
type Fault struct {
	Code    string
	LossPct float64
	Says    string
}

// Offer is one size with its worth.
type Offer struct {
	Modules    int
	UpTo       int // what it could grow to were the doubt of the limits to turn out well; 0 or Modules: no more
	NetBenefit float64
	Expected   float64 // net benefit, the mean over the draws
	Chance     float64 // of a positive net benefit, 0 to 1
	Payback    float64 // simple, years
	Jobs       []Job   // what must be done first, all of it
	JobsCost   float64
}

// Job is something that must be done before the modules.
type Job struct {
	Name string
	Says string // why, from the site's own limits
}

// Reason is a code with its sentence.
type Reason struct{ Code, Says string }

// Verdict is the judgement on one site.
type Verdict struct {
	Lane       Lane
	Reasons    []Reason // by weight
	NextStep   string
	Offer      *Offer    // what is proposed; nil: nothing
	AskFirst   []Reason  // what could end the sale and is found out before an offer
	AskOnSite  []Reason  // what is asked as a matter of course
	Confidence float64   // 0 to 1
	Factors    []Factor  // what it is the product of, those below 1
	Terms      Terms     // what the priority is made of
	Priority   float64   // what the ranking sorts by; 0 outside it
	Rank       int       // 1 = call first; 0: outside the ranking
	Stability  float64   // share of the draws in which the site stays on its branch's list; NaN: outside the ranking, or nothing was drawn
	Trip       int       // sites of one number lie within a drive of each other; 0: on no list
	OnList     bool      // within what the branch can call, and nothing keeps anybody from calling
	NotBefore  time.Time // the first day on which the site may be contacted again; zero: nothing keeps it
}

// Judge puts one site in its lane.
//
// The rules are asked in this order, and the first that holds decides: may the
// customer be contacted; is the array sick, whatever the house consumes; is
// there enough to judge; is there room at all; does any size pay; is the answer certain enough; does something
// come first. A site that no rule holds back is to be called.
func Judge(c Case, o Options) Verdict {
	v := Verdict{Stability: math.NaN()}
	v.Confidence, v.Factors = confidence(&c)
	for _, rule := range rules {
		if rule(&c, &o, &v) {
			break
		}
	}
	if v.NotBefore.IsZero() && !c.OptedOut && v.Lane != Repair { // a repair does not wait
		v.restAfterSale(&c, &o)
	}
	if v.Lane.Ranked() && v.Offer != nil {
		v.AskFirst, v.AskOnSite = c.Unknown, c.ToAsk
		v.Terms = termsOf(&c, v.Offer, v.Confidence)
		v.Priority = v.Terms.Priority(o.Order)
	}
	return v
}

// rules in the order in which they are asked.
var rules = []func(*Case, *Options, *Verdict) bool{
	mayBeContacted, answered, cooledDown, arrayIsWell, enoughToJudge, hasRoom, somethingPays, certainEnough, nothingComesFirst, ready,
}

func mayBeContacted(c *Case, _ *Options, v *Verdict) bool {
	if c.OptedOut {
		v.decide(DoNotContact, "do not contact", Reason{"opted_out", "the register says: do not contact"})
	}
	return c.OptedOut
}

func cooledDown(c *Case, o *Options, v *Verdict) bool {
	on := c.contact()
	if on.IsZero() {
		return false
	}
	return v.rest(c, on.AddDate(0, o.CoolDownMonths, 0), DoNotContact,
		Reason{"cool_down", fmt.Sprintf("contacted on %s, the cool-down is %d months", on.Format(time.DateOnly), o.CoolDownMonths)})
}

func enoughToJudge(c *Case, o *Options, v *Verdict) bool {
	if c.DataDays >= o.MinDataDays && len(c.Refusals) == 0 {
		return false
	}
	v.add(c.Refusals...)
	if c.DataDays < o.MinDataDays {
		v.add(Reason{"few_days", fmt.Sprintf("%d days with readings, %d are needed", c.DataDays, o.MinDataDays)})
	}
	v.decide(NoData, "check the meters and the monitoring, then wait for more readings")
	return true
}

func arrayIsWell(c *Case, o *Options, v *Verdict) bool {
	f := c.WorstFault
	if f == nil || f.LossPct < o.RepairLossPct || !c.ArrayJudged {
		return false
	}
	next := "book a service visit; judge an expansion when the array is repaired"
	if f.Code == "shading" { // nothing to repair
		next = "look at what shades the array; judge an expansion once that is known"
	}
	v.decide(Repair, next, Reason{f.Code, f.Says})
	if c.Offer != nil || c.OfferWithJobs != nil {
		v.add(Reason{"expansion_after_repair", "more modules would still pay once the array is repaired"})
	}
	return true
}

func hasRoom(c *Case, o *Options, v *Verdict) bool {
	if c.RoomNow >= o.MinModules || c.RoomWithJobs >= o.MinModules {
		return false
	}
	v.add(c.BlockedBy...)
	v.decide(Blocked, "no offer: "+first(c.BlockedBy, "there is no room for more modules"))
	return true
}

func somethingPays(c *Case, o *Options, v *Verdict) bool {
	if Worthwhile(c.Offer, o) || Worthwhile(c.OfferWithJobs, o) {
		return false
	}
	if needGrows(c) {
		v.decide(Watch, "look again next month: consumption is growing", Reason{"need_growing", growthSentence(c)})
		return true
	}
	code, says := "no_net_benefit", "no size earns its cost back within the horizon"
	if c.BestPaybackLong || c.Offer != nil || c.OfferWithJobs != nil {
		code, says = "payback_too_long", fmt.Sprintf("no size of at least %d modules pays back within %g years", o.MinModules, o.MaxPaybackYears)
	}
	v.decide(NoGain, "no offer this year", Reason{code, says})
	if c.CoveragePct >= 100 {
		v.add(Reason{"covered", fmt.Sprintf("production already covers %.0f %% of a year's consumption", c.CoveragePct)})
	}
	return true
}

func certainEnough(c *Case, o *Options, v *Verdict) bool {
	v.Offer = choose(c, o)
	if len(c.Uncertain) > 0 {
		v.decide(Watch, "find out first: "+c.Uncertain[0].Says, c.Uncertain...)
		return true
	}
	if v.Offer.Chance >= o.MinChance {
		return false
	}
	v.decide(Watch, "look again next month: the answer is not certain enough yet", Reason{"uncertain",
		fmt.Sprintf("the chance of a gain is %.0f %%; the settings ask for %.0f %%", 100*v.Offer.Chance, 100*o.MinChance)})
	return true
}

func nothingComesFirst(c *Case, o *Options, v *Verdict) bool {
	if len(v.Offer.Jobs) == 0 && len(c.Unknown) == 0 {
		return false
	}
	v.decide(Prepare, prepareSteps(c, v.Offer), benefitReasons(c, v.Offer)...)
	for _, u := range c.Unknown {
		if u.finding() {
			v.add(u)
		}
	}
	for _, job := range v.Offer.Jobs {
		v.add(Reason{job.Name, job.Says})
	}
	return true
}

// finding tells a thing that was found from one that is merely missing, which is
// no reason for anything.
func (r Reason) finding() bool {
	return !strings.HasSuffix(r.Code, "_unknown") && !strings.HasSuffix(r.Code, "_in_doubt")
}

func ready(c *Case, _ *Options, v *Verdict) bool {
	v.decide(Call, "call and offer "+offerInWords(v.Offer), benefitReasons(c, v.Offer)...)
	return true
}

func offerInWords(f *Offer) string {
	if f.UpTo > f.Modules {
		return fmt.Sprintf("%d more modules, up to %d", f.Modules, f.UpTo)
	}
	return fmt.Sprintf("%d more modules", f.Modules)
}

// prepareSteps is everything that comes before the modules, in order: what is
// found out, then every job, then the call.
func prepareSteps(c *Case, f *Offer) string {
	var steps []string
	for _, u := range c.Unknown {
		if u.finding() {
			steps = append(steps, u.Says)
			continue
		}
		steps = append(steps, "find out "+u.Says)
	}
	for _, job := range f.Jobs {
		step := jobSteps[job.Name]
		if step == "" {
			step = "arrange the " + strings.ReplaceAll(job.Name, "_", " ")
		}
		steps = append(steps, step)
	}
	return "first " + strings.Join(steps, "; then ") + "; then offer " + offerInWords(f)
}

// jobSteps is what is done for each enabling job.
var jobSteps = map[string]string{
	"software_update":        "update the gateway's software from the office",
	"gateway_swap":           "plan a new gateway with the expansion",
	"panelboard_upgrade":     "have an electrician plan a larger panelboard",
	"subpanel":               "have an electrician plan a subpanel",
	"supply_side_connection": "have an electrician plan a supply-side connection",
	"new_permission":         "apply for a new permission to operate",
}

// benefitReasons are why the customer would want the modules, the strongest
// first.
func benefitReasons(c *Case, offer *Offer) []Reason {
	return append(slices.Clone(c.Benefits), Reason{"pays_back", fmt.Sprintf("%d modules pay back in %.1f years", offer.Modules, offer.Payback)})
}

func growthSentence(c *Case) string {
	return fmt.Sprintf("consumption grows by %.1f %% a year, at least %.1f (lower end of the 90 %% interval)", c.GrowthPctYr, c.GrowthLowPctYr)
}

// needGrows tells whether a household that is not worth a visit today is on its
// way there: its use surely grows, by a point a year or more, and within three
// years the array will make less than the year's use (our choice).
func needGrows(c *Case) bool {
	if !(c.GrowthLowPctYr > 0) || c.GrowthPctYr < 1 {
		return false
	}
	return c.CoveragePct/samebits.Pow(1+c.GrowthPctYr/100, 3) < 100
}

// Worthwhile tells whether an offer is one that sales could make.
func Worthwhile(f *Offer, o *Options) bool {
	return f != nil && f.Modules >= o.MinModules && f.NetBenefit > 0 && f.Payback <= o.MaxPaybackYears
}

// choose takes the size that is possible as the site stands where that is worth
// a visit, else the one that its enabling jobs make possible: what is ready
// comes before what must be prepared, and the further gain stays listed with
// its job.
func choose(c *Case, o *Options) *Offer {
	if Worthwhile(c.Offer, o) {
		return c.Offer
	}
	return c.OfferWithJobs
}

func (v *Verdict) add(rs ...Reason) { v.Reasons = append(v.Reasons, rs...) }

func (v *Verdict) decide(l Lane, next string, rs ...Reason) {
	v.Lane, v.NextStep = l, next
	v.add(rs...)
}

func first(rs []Reason, def string) string {
	if len(rs) == 0 {
		return def
	}
	return rs[0].Says
}

func clamp(x, lo, hi float64) float64 { return math.Min(math.Max(x, lo), hi) }
