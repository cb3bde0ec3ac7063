package visit

import (
	"fmt"
	"time"
)

// silentDays is how long a gateway may be unseen: longer than the longest month
// (our choice).
const silentDays = 31

// beforeLeaving are the steps in the office that every visit begins with.
func (s *site) beforeLeaving() []Step {
	return []Step{
		s.gatewayReports(),
		step("array_map", Anyone, "Print today's array map with every inverter's serial number."),
		step("weather", Anyone, "Forecast for the whole visit: dry, no ice, no storm. At least two people go."),
	}
}

func (s *site) gatewayReports() Step {
	g := s.Room.Site.Gateway
	switch {
	case g == nil:
		return step("gateway_reports", Anyone, "No gateway is in the register: find out from the office whether the site reports.")
	case !g.LastSeenOn.IsZero() && !s.AsOf.IsZero() && s.AsOf.Sub(g.LastSeenOn) > silentDays*24*time.Hour:
		return step("gateway_reports", Anyone, "Gateway %s has been silent since %s: reach it from the office first.", orUnknown(g.Model), g.LastSeenOn.Format(time.DateOnly))
	}
	return step("gateway_reports", Anyone, "Check from the office that the gateway reports (%s, software %s).", orUnknown(g.Model), orUnknown(g.SoftwareVersion))
}

// onArrival are the steps before anybody climbs; on a site of ground plots
// nobody does.
func (s *site) onArrival() Part {
	off := " and when the supply is off"
	if !s.Repair && len(s.undecided) > 0 {
		off = "; nothing is switched off" // a survey
	}
	steps := []Step{step("customer_present", Anyone, "Tell the customer what is done today%s.", off)}
	ground := len(s.Limits.Planes) > 0
	for _, r := range s.Limits.Planes {
		ground = ground && r.Plane.RoofKind == "ground"
	}
	if !ground {
		steps = append(steps,
			step("ladder", Crew, "Ladder on firm level ground, tied, 1 m (3 ft) above the eave%s. Nobody works on a roof alone.", s.clauseOrNone("ladder")),
			step("fall", Crew, "Fall protection is on before the first step onto the roof%s.", s.clause("fall")),
			step("roof_condition", Crew, "Look at covering, structure and the way up. Wet, icy, soft or in strong wind: stop."))
	}
	if st, due := s.asbestos(); due {
		steps = append(steps, st)
	}
	return Part{"arrival", "On arrival", steps}
}

// clauseOrNone is the clause in brackets, nothing where the profile has none.
func (s *site) clauseOrNone(topic string) string {
	if c := s.Limits.Profile.SiteRule(topic); c != "" {
		return " (" + c + ")"
	}
	return ""
}

// asbestos warns where the covering is of a year in which it is likely, or of
// no known year on an old roof.
func (s *site) asbestos() (Step, bool) {
	p := s.Limits.Profile
	if p == nil || p.AsbestosBefore == 0 {
		return Step{}, false
	}
	for _, r := range s.Limits.Planes {
		y := r.Plane.RoofYear
		if r.Plane.RoofKind == "ground" || !y.Known || y.V >= p.AsbestosBefore {
			continue
		}
		return step("asbestos", Crew, "The covering is of %d: asbestos is likely before %d. Do not drill, cut or break it until a specialist has cleared it%s.", y.V, p.AsbestosBefore, s.clause("asbestos")), true
	}
	return Step{}, false
}

// isolate takes what is there out of service.
func (w *work) isolate() []Step {
	also := ""
	if g := w.Room.Site.Gateway; g != nil && (g.StorageKWh > 0 || g.BackupController.V) {
		also = ", and the storage or backup supply of this site,"
	}
	return []Step{
		step("lockout", Electrician, "Switch off the PV breakers%s and every other supply; lock and tag%s.", also, w.clause("lockout")),
		step("prove_dead", Electrician, "Prove dead on both sides of each isolating point; try the tester on a live source before and after."),
		step("line_side", Electrician, "The line side of the main breaker stays live. Only a licensed electrician opens the panelboard."),
		step("daylight", Crew, "Modules are live in daylight: never part a DC connector under load."),
	}
}

// serials gives the count and how it is made to come true.
func (w *work) serials() Step {
	before, added := w.wired.DeviceBefore, w.wired.Inverters
	return fill("device_count", Crew, "counted", "Gateway: %d before + %d added = %d after. Enter serial numbers from the map row by row, then close the device list. Look for a missing one on the roof.",
		before, added, before+added)
}

func fullDay() Step {
	return step("full_day", Anyone, "From the office, after one full day: every inverter has reported and the array makes what it should.")
}

// newArrayID is the first free number for the register's row.
func (w *work) newArrayID() string {
	used := map[string]bool{}
	for _, a := range w.Room.Site.Arrays {
		used[a.ID] = true
	}
	for n := len(used) + 1; ; n++ {
		if id := fmt.Sprint("A", n); !used[id] {
			return id
		}
	}
}
