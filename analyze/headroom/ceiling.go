package headroom

import (
	"fmt"
	"rowen/ingest"
	"strings"
)

func noLimit() Ceiling { return Ceiling{Unlimited: true, Low: Many, High: Many} }

// tighter joins two limits that must both hold.
func tighter(a, b Ceiling) Ceiling {
	low, high := min(a.Low, b.Low), min(a.High, b.High)
	out := a
	switch {
	case b.Unlimited:
	case a.Unlimited:
		out = b
	case a.Modules.Known && b.Modules.Known && b.Modules.V < a.Modules.V:
		out = b
	case a.Modules.Known && b.Modules.Known:
	case a.Modules.Known && a.Modules.V <= b.Low: // what is not known cannot bind
	case b.Modules.Known && b.Modules.V <= a.Low:
		out = b
	default:
		out = unknown(a.Reason, a.Says, a.Ask, low, high)
		if a.Modules.Known {
			out.Reason = b.Reason
		}
		out.Says, out.Ask = join(a.Says, " ", b.Says), join(a.Ask, "; ", b.Ask)
		out.Evidence = a.Evidence
	}
	out.Low, out.High = low, high
	return out
}

// looser joins two ways of which one is enough.
func looser(a, b Ceiling) Ceiling {
	out := a
	if a.Unlimited || (a.Modules.Known && a.Modules.V >= b.High) {
		return a
	}
	if b.Modules.Known && (!a.Modules.Known || b.Modules.V > a.Modules.V) {
		out = b
	}
	out.Low, out.High = max(a.Low, b.Low), max(a.High, b.High)
	if out.Modules.Known {
		out.High = max(out.Modules.V, out.High)
	}
	return out
}

// join puts two texts together, each once and without a stray separator.
func join(a, sep, b string) string {
	switch {
	case b == "" || a == b:
		return a
	case a == "":
		return b
	}
	return a + sep + b
}

func orUnknown(feed string) string {
	if feed == "" {
		return "not known"
	}
	return feed
}

// num prints a number to a tenth, without a useless ".0".
func num(x float64) string {
	s := fmt.Sprintf("%.1f", x)
	return strings.TrimSuffix(s, ".0")
}

func (s *supply) profileEvidence() []string {
	p := s.profile
	return []string{fmt.Sprintf("profile %s: %s, %s", p.ID, p.Source, p.Edition)}
}

// tagged is where one value of the profile comes from.
func (s *supply) tagged(field string) []string {
	for _, t := range s.profile.Tags {
		if t.Field == field {
			return []string{fmt.Sprintf("%s: %s (%s)", field, t.Source, t.Tag)}
		}
	}
	return nil
}

func ruleEvidence(r ingest.BusbarRule) string {
	s := "rule " + r.Name
	if r.Clause != "" {
		s += ", " + r.Clause
	}
	if r.Tag != "" {
		s += " (" + r.Tag + ")"
	}
	return s
}

// unknown is a limit that nobody knows.
func unknown(reason, says, ask string, low, high int) Ceiling {
	return Ceiling{Low: low, High: high, Reason: reason, Says: says, Ask: ask}
}

func none(reason, says string) Ceiling {
	return Ceiling{Modules: ingest.Some(0), Reason: reason, Says: says}
}
