package readings

import (
	"regexp"
	"slices"
	"strings"
	"unicode"

	"rowen/ingest"
)

// What columns are called, in the languages of most exports: English, German,
// French, Spanish, Italian, Portuguese and Dutch. A stem may stand anywhere in
// a name, a word only by itself. [common practice]
type vocabulary struct{ stems, words []string }

var channelNamed = [ingest.NumChannels]vocabulary{
	ingest.Production: {
		stems: []string{"generat", "solar", "yield", "totwhout", "produ", "produz", "erzeug", "ertrag", "opwek", "opbrengst", "voltai"},
		words: []string{"pv"},
	},
	ingest.Consumption: {
		stems: []string{"consum", "consom", "verbrauch", "verbruik", "usage", "demand"},
		words: []string{"load", "use", "used", "household"},
	},
	ingest.Import: {
		stems: []string{"import", "from_grid", "from grid", "fromgrid", "delivered", "bought", "purchas", "bezug", "soutir", "prelie", "afname", "offtake", "standnormaal", "standdal", "whin"},
	},
	ingest.Export: {
		stems: []string{"export", "to_grid", "to grid", "togrid", "feed", "received", "einspeis", "rückspeis", "injec", "immess", "immission", "vertid", "terug", "excedent", "surplus", "returned", "invoeding", "inject"},
		words: []string{"fed", "sold"},
	},
}

var (
	netNamed     = vocabulary{words: []string{"net", "netto", "saldo", "grid"}}
	counterNamed = vocabulary{stems: []string{"counter", "register", "reading", "zählerstand", "zaehlerstand", "compteur", "lectura", "meterstand", "lifetime", "cumul"}, words: []string{"total", "index", "stand"}}
)

// What stands in an export beside energy, and the columns of a tidy table.
var (
	foreignNamed = vocabulary{
		stems: []string{"gas", "water", "charge", "cost", "price", "tarif_", "volt", "current", "amp", "freq", "temp", "status", "quality", "event", "piek", "kvar", "react", "pf"},
		words: []string{"hz", "eur", "usd", "gbp", "v", "a", "count", "number"},
	}
	factorNamed = vocabulary{words: []string{"factor", "scale", "multiplier"}}
	codeNamed   = vocabulary{words: []string{"code", "register", "type", "channel", "kind"}}
	valueNamed  = vocabulary{words: []string{"value", "reading", "volume"}}
)

var (
	registerWord  = regexp.MustCompile(`(?i)\b(low|high|normal|night|day|peak|off-?peak|laag|hoog|dal|normaal|tarif[fe]?|hp|hc|tag|nacht|l[123]|phase|[abc])\b|(?i)(normaal|dal)$`)
	directionWord = regexp.MustCompile(`(?i)\b(active|returned|return|export(ed)?|injection|teruglevering|feed[- ]?in|received)\b`)
	notLetters    = regexp.MustCompile(`[^\pL]+`)
)

// withoutRegister is a name less the words for a tariff or a phase, and then its
// numbers; a name without such a word keeps them, since they may be a site's.
func withoutRegister(name string) string {
	if !registerWord.MatchString(name) {
		return name
	}
	return strings.ToLower(notLetters.ReplaceAllString(registerWord.ReplaceAllString(name, ""), " "))
}

// withoutDirection is a name less the words for export.
func withoutDirection(name string) string {
	return strings.Join(strings.Fields(strings.ToLower(directionWord.ReplaceAllString(name, ""))), " ")
}

// siteNamed are ways to name the site's column, the surest first.
var siteNamed = []vocabulary{
	{stems: []string{"site"}},
	{stems: []string{"system", "installation", "plant", "anlage", "standort", "premise", "impianto", "instalac"}},
	{stems: []string{"home"}, words: []string{"house", "household", "building"}},
	{stems: []string{"meter", "zähler", "zaehler", "zählpunkt", "contador", "contatore", "compteur"}, words: []string{"nmi", "mpan", "pod", "ean", "cups"}},
	{words: []string{"id", "object", "location", "account", "contract"}},
}

func (v vocabulary) in(name string) bool {
	name = strings.ToLower(name)
	if slices.ContainsFunc(v.stems, func(s string) bool { return strings.Contains(name, s) }) {
		return true
	}
	words := strings.FieldsFunc(name, func(r rune) bool { return !unicode.IsLetter(r) })
	return slices.ContainsFunc(v.words, func(w string) bool { return slices.Contains(words, w) })
}

// channelOf tells the channel that a column's name speaks of.
func channelOf(name string) (ingest.Channel, bool) {
	for _, c := range [...]ingest.Channel{ingest.Import, ingest.Export, ingest.Production, ingest.Consumption} {
		if channelNamed[c].in(name) {
			return c, true
		}
	}
	return 0, false
}

// saysNet tells whether a column's name speaks of what crosses the meter at the
// grid, one way less the other.
func saysNet(name string) bool {
	c, ok := channelOf(name)
	return netNamed.in(name) && (!ok || c == ingest.Consumption)
}

// unitNamed is the unit that a text is; "" for none.
func unitNamed(text string) string {
	for _, u := range []string{"MWh", "kWh", "Wh", "kW", "W"} {
		if strings.EqualFold(text, u) {
			return u
		}
	}
	switch text {
	case "V", "A", "Hz", "Ohm", "var", "VA":
		return "-" // no energy and no power
	}
	return ""
}

func saysCounter(name string) bool { return counterNamed.in(name) }

// unitOf tells the unit that a column's name ends with or has in brackets.
func unitOf(name string) string {
	n := strings.ToLower(name)
	if strings.Contains(n, "kilowatt-hour") || strings.Contains(n, "kilowatt hour") {
		return "kWh"
	}
	for _, u := range []string{"MWh", "kWh", "Wh", "kW", "W"} {
		l := strings.ToLower(u)
		if strings.HasSuffix(n, "_"+l) || strings.HasSuffix(n, " "+l) || strings.Contains(n, "("+l+")") || strings.Contains(n, "["+l+"]") || strings.Contains(n, " "+l+" ") || strings.HasPrefix(n, l+".") || n == l {
			return u
		}
	}
	return ""
}

// wideHeader finds what the names of columns of one channel have in common but
// for the site: a pattern with a group site_id that all of them match.
func wideHeader(names []string) (string, bool) {
	first := names[0]
	prefix, suffix := len(first), len(first)
	for _, n := range names[1:] {
		prefix = min(prefix, common(first, n, func(s string, i int) byte { return s[i] }))
		suffix = min(suffix, common(first, n, func(s string, i int) byte { return s[len(s)-1-i] }))
	}
	// The site's own letters and digits must not be cut.
	for prefix > 0 && idLetter(first[prefix-1]) {
		prefix--
	}
	for suffix > 0 && idLetter(first[len(first)-suffix]) {
		suffix--
	}
	sites := map[string]bool{}
	for _, n := range names {
		if prefix+suffix >= len(n) || idReason([]byte(n[prefix:len(n)-suffix])) != "" {
			return "", false
		}
		sites[n[prefix:len(n)-suffix]] = true
	}
	pattern := "^" + regexp.QuoteMeta(first[:prefix]) + "(?P<site_id>.+)" + regexp.QuoteMeta(first[len(first)-suffix:]) + "$"
	return pattern, len(sites) == len(names) && suffix+prefix > 0
}

func common(a, b string, at func(string, int) byte) (n int) {
	for n < len(a) && n < len(b) && at(a, n) == at(b, n) {
		n++
	}
	return n
}

func idLetter(c byte) bool {
	return c >= '0' && c <= '9' || c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z'
}
