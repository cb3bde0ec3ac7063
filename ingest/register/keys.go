package register

import (
	"reflect"
	"strings"

	"rowen/ingest"
)

// Key is one key of catalogue.yaml or tariffs.yaml, for the data dictionary and
// for the files that a new fleet begins with.
type Key struct {
	Name  string // dotted; an entry of a list as modules[].model
	Type  string // text, number, whole number, true or false, list of …
	Unit  string
	Limit string
	Blank string // what it means where the key is left out; "": it must be given
	Text  string
	Where string // where a person finds the value
}

// Document is one of the two files that hold lists of keys.
type Document struct {
	Name, File, Text string
	Keys             []Key
}

// Documents lists catalogue.yaml and tariffs.yaml with their keys, in the order
// of the types that they are read to.
func Documents() []Document {
	return []Document{
		{"catalogue", catalogueFile, "modules, inverters, gateways, mixing rules and service profiles",
			keysOf("", reflect.TypeFor[ingest.Catalogue](), catalogueKeys)},
		{"tariffs", tariffsFile, "import prices, export credit, settlement and legacy terms",
			keysOf("tariffs[].", reflect.TypeFor[ingest.Tariff](), tariffKeys)},
	}
}

// keysOf walks a type in the order of its fields; the names are its yaml tags.
func keysOf(prefix string, t reflect.Type, texts map[string]keyText) []Key {
	var ks []Key
	for i := range t.NumField() {
		f := t.Field(i)
		name := prefix + f.Tag.Get("yaml")
		switch inner := groupIn(f.Type); {
		case inner == nil:
			k := textOf(strings.TrimPrefix(name, "tariffs[]."), texts)
			ks = append(ks, Key{Name: name, Type: kindName(f.Type), Unit: k.unit, Limit: limitOf(name), Blank: k.blank, Text: k.text, Where: k.where})
		case f.Type.Kind() == reflect.Slice:
			ks = append(ks, keysOf(name+"[].", inner, texts)...)
		default:
			ks = append(ks, keysOf(name+".", inner, texts)...)
		}
	}
	return ks
}

// textOf gives a key's text: its own, or that of such a period.
func textOf(name string, texts map[string]keyText) keyText {
	k, ok := texts[name]
	if ok || !strings.HasPrefix(name, "export.") && !strings.HasPrefix(name, "demand[].") {
		return k
	}
	_, key, _ := strings.Cut(name, "[].")
	return periodKeys[key]
}

// groupIn gives the struct type that a field holds, by itself or in a list; nil
// for a plain value.
func groupIn(t reflect.Type) reflect.Type {
	for t.Kind() == reflect.Pointer || t.Kind() == reflect.Slice {
		t = t.Elem()
	}
	if t.Kind() == reflect.Struct {
		return t
	}
	return nil
}

func kindName(t reflect.Type) string {
	switch t.Kind() {
	case reflect.Pointer:
		return kindName(t.Elem())
	case reflect.Slice:
		return "list of " + kindName(t.Elem()) + "s"
	case reflect.Float64:
		return "number"
	case reflect.Int:
		return "whole number"
	case reflect.Bool:
		return "true or false"
	}
	return "text"
}

// keyText is what the types cannot say of a key.
type keyText struct{ unit, blank, text, where string }

const (
	dataSheet    = "data sheet"
	rulesOfMaker = "the inverter maker's installation rules"
	localCode    = "local electrical code"
	utilityRules = "the utility's connection rules"
	tariffSheet  = "tariff sheet or bill"
	notKnown     = "not known"
	noLimit      = "no limit"
)

var catalogueKeys = map[string]keyText{
	"modules[].model":                      {"", "", "the name that arrays.csv and defaults.module use", "your price list"},
	"modules[].watts":                      {"W", "", "power at standard test conditions", dataSheet},
	"modules[].width_m":                    {"m", "", "the short side", dataSheet},
	"modules[].height_m":                   {"m", "", "the long side", dataSheet},
	"modules[].weight_kg":                  {"kg", notKnown, "one module", dataSheet},
	"modules[].temp_coefficient_pct_per_c": {"% per °C", "", "change of power with cell temperature, below zero", dataSheet + ", temperature coefficient of Pmax"},

	"inverters[].model":               {"", "", "the name that arrays.csv and defaults.inverter use", "your price list"},
	"inverters[].family":              {"", "", "inverters of one family may be mixed where a mixing rule says so", rulesOfMaker},
	"inverters[].generation":          {"", "", "1 for the first generation of the family, 2 for the next", rulesOfMaker},
	"inverters[].kind":                {"", "", "micro (one per module) or string", dataSheet},
	"inverters[].ac_watts":            {"W", "", "rated continuous AC output", dataSheet},
	"inverters[].max_module_watts":    {"W", notKnown, "the largest module that it may carry", dataSheet},
	"inverters[].efficiency_pct":      {"%", "", "weighted efficiency (CEC or Euro)", dataSheet},
	"inverters[].per_branch":          {"inverters", "no branch circuits (string inverters)", "how many may share one branch circuit", dataSheet},
	"inverters[].branch_breaker_amps": {"A", "no branch circuits (string inverters)", "the breaker of a full branch circuit", dataSheet},
	"inverters[].max_dc_watts":        {"W", notKnown, "string inverters: modules together", dataSheet},
	"inverters[].phases":              {"", "1", "3 where it feeds three phases alike", dataSheet},

	"gateways[].model":           {"", "", "the name that gateways.csv uses", "your price list"},
	"gateways[].max_inverters":   {"inverters", "", "how many may report to it", dataSheet},
	"gateways[].latest_software": {"", notKnown, "the newest version that it can run, as 5.2.1180", "the gateway's release notes"},

	"mixing[].family":         {"", "", "the inverter family that the rule is about", rulesOfMaker},
	"mixing[].generations":    {"", "", "the generations that may share a gateway, two at least", rulesOfMaker},
	"mixing[].gateways":       {"", "any gateway", "the gateways that allow it", rulesOfMaker},
	"mixing[].min_software":   {"", "any version", "the gateway's oldest version that allows it", rulesOfMaker},
	"mixing[].grid_types":     {"", "any site", "grid_tied, backup, off_grid: the sites where it is allowed", rulesOfMaker},
	"mixing[].blocked_by":     {"", "nothing", "backup_controller, storage: what forbids it", rulesOfMaker},
	"mixing[].other_families": {"", "none", "families that may report through the same gateway beside these generations", rulesOfMaker},
	"mixing[].max_inverters":  {"", "as many as the gateway takes", "the most inverters on one gateway while generations share it", rulesOfMaker},
	"mixing[].same_branch":    {"", notKnown, "whether the generations may share one branch circuit", rulesOfMaker},

	"profiles[].id":                        {"", "", "the name that services.csv and defaults.profile use; the id of a shipped profile replaces it", "your choice"},
	"profiles[].volts":                     {"V", "", "the voltage that inverters feed", localCode},
	"profiles[].phases":                    {"", "", "1, 2 (split phase) or 3", localCode},
	"profiles[].busbar_pct":                {"%", "no busbar rule", "PV and main breaker together against the busbar, feed at opposite ends", localCode},
	"profiles[].continuous_factor":         {"", "1.25", "rated current times this counts against the busbar", localCode},
	"profiles[].breaker_sizes_amps":        {"A", notKnown, "standard sizes in rising order", localCode},
	"profiles[].program_cap_pct_of_use":    {"%", noLimit, "yearly production may be this share of yearly consumption", utilityRules},
	"profiles[].per_phase_limit_kw":        {"kW", noLimit, "all inverters on one phase, old and new", utilityRules},
	"profiles[].source":                    {"", notKnown, "where the rules are printed", localCode},
	"profiles[].edition":                   {"", notKnown, "which edition of them", localCode},
	"profiles[].place":                     {"", notKnown, "where the rules hold, in words", "your choice"},
	"profiles[].volts_between":             {"", "phase", "three phases: phase (to neutral) or line", localCode},
	"profiles[].busbar_rules[].name":       {"", notKnown, "a name for messages", "your choice"},
	"profiles[].busbar_rules[].kind":       {"", "current", "current (continuous PV current plus main breaker) or sum (all breakers but the main)", localCode},
	"profiles[].busbar_rules[].pct":        {"%", "", "of the busbar's rating; any one rule that holds is enough", localCode},
	"profiles[].busbar_rules[].feeds":      {"", "any feed", "end, center, unknown: the feeds that the rule covers", localCode},
	"profiles[].busbar_rules[].condition":  {"", notKnown, "what else must hold, in words", localCode},
	"profiles[].busbar_rules[].clause":     {"", notKnown, "the clause", localCode},
	"profiles[].busbar_rules[].tag":        {"", notKnown, "published, secondary, common practice or from memory", "how you know"},
	"profiles[].center_fed":                {"", "the rules that cover it", "refuse: a center-fed or unknown panelboard gets nothing", localCode},
	"profiles[].strict_breaker":            {"", "false", "true: breaker sizes count instead of continuous currents", "the local inspector"},
	"profiles[].spaces_per_branch":         {"spaces", "2 on split phase, else 1", "free breaker spaces that a new branch circuit takes", localCode},
	"profiles[].supply_side":               {"", "false", "whether a connection before the main breaker is allowed", utilityRules},
	"profiles[].per_installation_limit_kw": {"kW", noLimit, "all inverters of the premises", utilityRules},
	"profiles[].limits_lifted_by":          {"", "no job lifts them", "the enabling job that lifts the limits per phase and per installation, as new_permission", utilityRules},
	"profiles[].export_limit_kw":           {"kW", noLimit, "power that may be exported", utilityRules},
	"profiles[].peak_factor":               {"", "not checked", "the highest hour of consumption times this must stay within the service's rating", localCode},
	"profiles[].upgrade_busbar_amps":       {"A", notKnown, "busbar ratings that a panelboard upgrade can bring, in rising order", "your price list"},
	"profiles[].upgrade_free_spaces":       {"spaces", "0", "free spaces that a new panelboard has at least", "your price list"},
	"profiles[].subpanel_free_spaces":      {"spaces", "0", "free spaces that a subpanel beside the panelboard brings", "your price list"},
	"profiles[].tags[].field":              {"", notKnown, "the field that the tag is about", "how you know"},
	"profiles[].tags[].tag":                {"", notKnown, "published, secondary, common practice or from memory", "how you know"},
	"profiles[].tags[].source":             {"", notKnown, "where the value comes from", "how you know"},
	"profiles[].site_rules[].topic":        {"", "", "lockout, fall, ladder, asbestos, connectors, torque, grounding, labels, rapid_shutdown or inspection", localCode},
	"profiles[].site_rules[].clause":       {"", "", "the clause that a crew's sheet cites for it", localCode},
	"profiles[].site_rules[].tag":          {"", "", "published, secondary, common practice or from memory", localCode},
	"profiles[].asbestos_before":           {"", "not said", "the year of a roof's covering before which asbestos is likely", localCode},
	"profiles[].confirm":                   {"", "nothing more", "what a licensed electrician must confirm on site", localCode},
}

// periodKeys are the keys of periods other than those of import, which say less.
var periodKeys = map[string]keyText{
	"name":                        {"", "none", "a name for the period", "your choice"},
	"months":                      {"", "all", "as under import", tariffSheet},
	"days":                        {"", "all", "as under import", tariffSheet},
	"hours":                       {"", "all", "as under import", tariffSheet},
	"bucket":                      {"", "the period's name", "as under import", tariffSheet},
	"tiers[].up_to_kwh_per_month": {"kWh a month", noLimit, "import periods only", tariffSheet},
	"tiers[].up_to_kwh_per_day":   {"kWh a day", noLimit, "import periods only", tariffSheet},
	"tiers[].add":                 {"money a kWh", "", "import periods only", tariffSheet},
}

var tariffKeys = map[string]keyText{
	"valid_from":                           {"", "the beginning", "2027-01-01: the day from which this entry is in force; an id may come several times, each with a later day", tariffSheet},
	"import[].tiers[].up_to_kwh_per_month": {"kWh a month", noLimit, "tiers of this period alone, in place of the tariff's", tariffSheet},
	"import[].tiers[].up_to_kwh_per_day":   {"kWh a day", noLimit, "the same, times the days of the month", tariffSheet},
	"import[].tiers[].add":                 {"money a kWh", "", "added to the period's price in the tier; may be below zero", tariffSheet},
	"tiers[].up_to_kwh_per_day":            {"kWh a day", noLimit, "the same, times the days of the month", tariffSheet},
	"export.income_tax_pct":                {"%", "money.export_income_tax_pct", "income tax on what export earns at a rate", "the tax office's rules for household systems"},
	"legacy.other_successors":              {"", "none", "tariffs that the customer may choose in the successor's place", "the program's text"},
	"legacy.ends_on":                       {"", "never", "2034-12-31: the last day of the legacy terms; the site then moves to the successor", "the program's text"},
	"legacy.ends_with_owner":               {"", "false", "true: the terms end when the house changes hands", "the program's text"},
	"legacy.owner_stays_years":             {"years", "not counted", "with ends_with_owner: after so many years the site is counted on the successor", "your choice"},
	"fixed_per_year":                       {"money a year", "0", "standing charge, a twelfth every month", tariffSheet},
	"fixed_spread":                         {"", "days", "days (charges per day by the days of the month) or even (365/12 days every month)", tariffSheet},
	"minimum_bill_per_year":                {"money a year", "none", "what a year costs at the least, made up in its last month", tariffSheet},
	"demand_over":                          {"", "interval", "interval (the readings' own) or hour: the time over which power is averaged", tariffSheet},
	"negative_prices":                      {"", "false", "true: a price below zero is meant", tariffSheet},
	"bank_excludes":                        {"", "none", "buckets whose kWh are not carried on, with bank: kwh", tariffSheet},
	"bank_follows":                         {"", "they wait", "time_of_day: kWh banked in a bucket without hours in the next month go to the bucket of the same time of day", tariffSheet},
	"bank_close":                           {"", "lost", "lost or paid: what becomes of money left in the bank when its year closes", tariffSheet},
	"credit_from":                          {"", "same_month", "same_month or next_month: the bill that a month's credit may first pay, with bank: money", tariffSheet},
	"surplus_on":                           {"", "bank", "bank (what the buckets hold) or total (what one bank for all would hold): what the surplus price is paid for", tariffSheet},
	"undecided":                            {"", "none", "what the tariff's source leaves open; check repeats it", "your choice"},
	"id":                                   {"", "", "the name that sites.csv and defaults.tariff_id use", "your choice"},
	"fixed_per_day":                        {"money a day", "0", "standing charge", tariffSheet},
	"import[].name":                        {"", "none", "a name for the period", "your choice"},
	"import[].months":                      {"", "all", "1 to 12", tariffSheet},
	"import[].days":                        {"", "all", "weekday, weekend, holiday, mon … sun, or several with commas", tariffSheet},
	"import[].hours":                       {"", "all", `"16-21": from 16:00 up to 21:00 on the site's clock; "22-6" wraps; several with commas`, tariffSheet},
	"import[].price":                       {"money a kWh", "", "the first period that matches an hour sets its price", tariffSheet},
	"import[].bucket":                      {"", "the period's name", "periods of one bucket net against each other", tariffSheet},
	"tiers[].up_to_kwh_per_month":          {"kWh a month", noLimit, "the tier's upper end", tariffSheet},
	"tiers[].add":                          {"money a kWh", "", "added to the price of the kWh in the tier; may be below zero", tariffSheet},
	"export.credit":                        {"", "", "rate (a price of its own) or retail (the import price of the hour)", tariffSheet + ", or the contract for feeding in"},
	"export.price":                         {"money a kWh", "0", "what an exported kWh earns, with credit: rate", tariffSheet + ", or the contract for feeding in"},
	"export.periods[].price":               {"money a kWh", "", "the first period that matches; export.price where none does", tariffSheet},
	"export.metering":                      {"", "surplus", "surplus (what the household does not use) or gross (all production is sold, all consumption bought)", tariffSheet},
	"export.new_modules.price":             {"money a kWh", "0", "what modules added from now on earn; the old ones keep the terms above", "the contract for feeding in"},
	"export.new_modules.periods[].price":   {"money a kWh", "", "as under import", tariffSheet},
	"export.new_modules.split":             {"", "capacity", "which of the hour's export is the new modules': by capacity or by output", "the contract for feeding in"},
	"settlement":                           {"", "", "interval (every interval by itself), monthly or yearly: retail credits net out over that time", tariffSheet},
	"surplus_price":                        {"money a kWh", "0", "what a kWh of net surplus earns when the settlement period closes", tariffSheet},
	"legacy.lost_when_added_pct":           {"%", "", "adding more than this share of today's capacity loses the terms", "the program's text"},
	"legacy.lost_when_added_kw":            {"kW", "0", "an addition up to this is allowed even where it is more than the share", "the program's text"},
	"legacy.successor":                     {"", "", "the tariff that the site moves to", "the program's text"},
	"legacy.apart":                         {"", "neither", "non_export, own_meter: ways in which a larger addition keeps the terms", "the program's text"},
	"fixed_per_month":                      {"money a month", "0", "standing charge", tariffSheet},
	"holidays":                             {"", "none", `"2026-12-25", or "12-25" for every year: these are no weekdays`, tariffSheet},
	"minimum_bill_per_month":               {"money a month", "none", "what a month costs at the least", tariffSheet},
	"non_bypassable_per_kwh":               {"money a kWh", "0", "on every kWh imported; no credit reduces it", tariffSheet},
	"demand[].name":                        {"", "none", "a name for the charge", "your choice"},
	"demand[].per_kw":                      {"money a kW and month", "", "on the month's highest import power in these hours", tariffSheet},
	"netting":                              {"", "money", "money, period or bucket: how retail credits meet charges within the settlement period", tariffSheet},
	"bank":                                 {"", "none", "none, kwh or money: what carries a month's surplus on", tariffSheet},
	"anniversary_month":                    {"", "1", "1 to 12: the month that a bank's year begins with", tariffSheet},
	"credit_limit":                         {"", "energy where retail credits net over a month or a year or with bank: money, else none", "none (all credit is paid out), energy (not more than the energy charges), bill (any charge, but no bill falls below zero) or import (not more kWh than were bought)", tariffSheet},
	"escalation.import_pct_yr":             {"% a year", "money.price_escalation_pct_yr", "yearly rise of import prices; retail credits follow", "your expectation"},
	"escalation.export_pct_yr":             {"% a year", "money.price_escalation_pct_yr", "yearly rise of export prices", "your expectation"},
	"escalation.fixed_pct_yr":              {"% a year", "money.price_escalation_pct_yr", "yearly rise of fixed, minimum and demand charges", "your expectation"},
	"source":                               {"", notKnown, "where the tariff is printed", tariffSheet},
	"edition":                              {"", notKnown, "which edition of it", tariffSheet},
}
