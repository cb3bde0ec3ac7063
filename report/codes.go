package report

import (
	"rowen/analyze/rank"
	"rowen/ingest/quality"
)

// Code is one word that outputs carry beside a sentence.
type Code struct {
	Kind string // lane, reason, caveat, caution, quality, fault, event, job, limit, sheet, part, step
	Code string
	Says string
}

// Codes lists every code that an output may hold: programs go by the code, people
// by the sentence beside it. Quality's own rules say theirs themselves.
func Codes() []Code {
	all := append(append([]Code(nil), codeTable...), visitCodes...)
	for _, l := range rank.Lanes {
		all = append(all, Code{"lane", string(l), laneSays[l]})
	}
	for _, r := range quality.Rules() {
		all = append(all, Code{"quality", r.Code, r.What})
	}
	return all
}

var laneSays = map[rank.Lane]string{
	rank.Call: "worth it and ready: call", rank.Prepare: "worth it, but a job or a question comes first", rank.Repair: "the array makes clearly less than it should: mend it first",
	rank.Watch: "need is growing, or the answer is too uncertain: look again next month", rank.NoGain: "more modules would not pay", rank.Blocked: "no room, or the equipment may not be mixed",
	rank.NoData: "too little is known to judge", rank.DoNotContact: "asked not to be called, called too lately, or bought too lately",
}

var codeTable = []Code{
	// Why a site stands in its lane.
	{"reason", "new_load", "a lasting new load within two years"},
	{"reason", "used_more", "more used in the last twelve months than in the twelve before"},
	{"reason", "use_growing", "consumption grows from year to year, events apart"},
	{"reason", "low_coverage", "a part of the year's consumption is bought"},
	{"reason", "pays_back", "in how many years the offer pays back"},
	{"reason", "need_growing", "no size pays yet, and the consumption is growing"},
	{"reason", "no_net_benefit", "no size earns its cost back within the horizon"},
	{"reason", "payback_too_long", "no size pays back within rank.max_payback_years"},
	{"reason", "covered", "production already covers a year's consumption"},
	{"reason", "uncertain", "the chance of a gain is below rank.min_chance"},
	{"reason", "few_days", "fewer days with readings than rank.min_data_days"},
	{"reason", "production_unknown", "nothing says what the array makes"},
	{"reason", "no_consumption", "nothing says what the household uses"},
	{"reason", "consumption_too_few", "too few days of consumption to say what a year is"},
	{"reason", "stale_readings", "most of the report year was not read"},
	{"reason", "not_reckoned", "the bill could not be worked out"},
	{"reason", "successor_unknown", "the tariff that follows a legacy tariff is not known"},
	{"reason", "verify_array", "the array gives far less than its neighbors: look at it before selling"},
	{"reason", "expansion_after_repair", "more modules would still pay once the array is mended"},
	{"reason", "opted_out", "the register says: do not contact"},
	{"reason", "cool_down", "contacted within rank.cool_down_months"},
	{"reason", "sold", "bought more modules, within rank.after_sale_months"},
	{"reason", "declined", "declined, within rank.after_decline_months"},
	{"reason", "no_answer", "not reached, within rank.after_no_answer_months"},
	{"reason", "not_suitable", "found not suitable on site, within rank.after_not_suitable_months"},

	// What lifts a limit, and what a limit rests on.
	{"job", "software_update", "the gateway's software is brought to what mixing needs"},
	{"job", "gateway_swap", "the gateway gives way to one that may be shared"},
	{"job", "new_permission", "a new permission to operate is applied for"},
	{"job", "subpanel", "a subpanel brings breaker spaces"},
	{"job", "panelboard_upgrade", "a panelboard with a larger busbar"},
	{"job", "supply_side_connection", "the new branches are connected before the main breaker"},
	{"limit", "roof_room", "what the planes hold"},
	{"limit", "roof_full", "no plane has room"},
	{"limit", "no_planes", "no roof plane is registered"},
	{"limit", "plane_not_measured", "planes without dimensions"},
	{"limit", "plane_row_set_aside", "a plane's row could not be used"},
	{"limit", "old_array_unknown", "what the old array covers is not known"},
	{"limit", "module_size_unknown", "the catalogue has no size of the module"},
	{"limit", "branch_circuits", "what the free breaker spaces and the old branches take"},
	{"limit", "own_combiner", "the new branches end in a combiner of their own"},
	{"limit", "module_exceeds_inverter", "the module is stronger than the inverter takes"},
	{"limit", "no_breaker_space", "no free breaker space"},
	{"limit", "spaces_unknown", "free breaker spaces are not known"},
	{"limit", "branch_unknown", "the room on the old branches is not known"},
	{"limit", "service_unknown", "the electrical service is not registered"},
	{"limit", "busbar", "the busbar rule of the service's profile"},
	{"limit", "busbar_unknown", "a figure that the busbar rule asks for is not known"},
	{"limit", "upstream_busbar", "the busbar rule of a panelboard upstream"},
	{"limit", "upstream_busbar_unknown", "a figure that the rule of the panelboard upstream asks for is not known"},
	{"limit", "service_rating_unknown", "the service's rating is not known"},
	{"limit", "no_limit", "the profile sets no limit"},
	{"limit", "supply_side", "connected before the main breaker: the service's rating"},
	{"limit", "per_phase_limit", "what the profile allows a phase"},
	{"limit", "installation_limit", "what the profile allows the premises"},
	{"limit", "feed_refused", "the panelboard's feed is left to an electrician by the profile"},
	{"limit", "device_limit", "how many devices the gateway takes"},
	{"limit", "needs_gateway_swap", "old and new inverters share only another gateway"},
	{"limit", "needs_software_update", "old and new inverters share the gateway from a later software on"},
	{"limit", "fits_after_swap", "fits once the gateway is swapped"},
	{"limit", "fits_after_update", "fits once the software is updated"},
	{"limit", "grid_type", "the mixing rule does not allow this kind of grid connection"},
	{"limit", "backup_controller", "the mixing rule does not allow a backup controller"},
	{"limit", "storage", "the mixing rule does not allow storage"},
	{"limit", "gateway_full", "the gateway takes no more devices"},
	{"limit", "no_mixing_rule", "no rule of the catalogue lets old and new inverters share a gateway"},
	{"limit", "mixing_unknown", "what the mixing rule asks for is not known"},
	{"limit", "device_limit_unknown", "how many devices the gateway takes is not known"},
	{"limit", "old_inverters_unknown", "the old inverters' model is not known"},
	{"limit", "old_ac_unknown", "what the old inverters give is not known"},
	{"limit", "permission_unknown", "the permission's size is not known"},
	{"limit", "permission_limit", "what the permission to operate allows"},
	{"limit", "new_permission", "a new permission is asked for at the size that is built"},
	{"limit", "program_cap", "the program's cap on a year's output"},
	{"limit", "program_cap_unknown", "the program's cap cannot be worked out"},

	// Sick arrays.
	{"fault", "outage", "no output at all"},
	{"fault", "inverters_down", "a lasting step down, as of inverters or strings that fell out"},
	{"fault", "decline", "output slides down"},
	{"fault", "shading", "output is low at certain places of the sun"},
	{"fault", "clipping", "output stands at the inverters' limit"},
	{"fault", "curtailment", "output is held down by a limit that is not the inverters'"},
	{"fault", "capacity_mismatch", "the array gives more or less than its registered size"},
	{"fault", "orientation_mismatch", "the array faces otherwise than registered"},
	{"fault", "unregistered_modules", "output rose to more than is registered"},
	{"fault", "meter_dead", "the meter gives nothing while the array works, or the other way round"},

	// Lasting changes of the consumption.
	{"event", "ev_charging", "consistent with an electric car charging at home"},
	{"event", "heat_pump", "consistent with a heat pump or electric heating"},
	{"event", "cooling", "consistent with cooling"},
	{"event", "pool_pump", "consistent with a pool pump"},
	{"event", "water_heating", "consistent with water heating on a timer"},
	{"event", "baseload", "all hours rose or fell alike"},
	{"event", "departure", "consumption fell and stayed"},
	{"event", "other", "a lasting change whose pattern names nothing"},

	// What leaves a number standing, with a doubt.
	{"caveat", "growth_unknown", "too few days for a growth"},
	{"caveat", "weather_refused", "the station's temperatures do not follow the fleet's days"},
	{"caveat", "weather_part", "temperatures cover a part of the days"},
	{"caveat", "weather_from_fleet", "the fleet's season is used in place of temperatures"},
	{"caveat", "weather_unknown", "neither temperatures nor a fleet's season"},
	{"caveat", "events_blunt", "without temperatures and a second year only loads by the hour are told"},
	{"caveat", "not_weather_explained", "weather and weekday do not explain the days"},
	{"caveat", "growth_methods_disagree", "the days and like months give different growths"},
	{"caveat", "window_filled", "hours of the report year are filled"},
	{"caveat", "steps_left", "unexplained level shifts"},
	{"caveat", "stands_empty", "the house has looked empty lately"},
	{"caveat", "absence", "days of a long absence are left out"},
	{"caveat", "hours_assumed", "a usual day's shape is assumed"},
	{"caveat", "bills_only", "the consumption rests on bills"},
	{"caveat", "bills_few", "the bills cover less than a year"},
	{"caveat", "consumption_joined", "metered and derived hours are joined"},
	{"caveat", "consumption_meters_differ", "metered and derived consumption differ where both are known"},
	{"caveat", "derived_negative", "production + import - export falls below nothing"},
	{"caveat", "net_only", "only the net of import and export is known"},
	{"caveat", "no_production", "production is not metered or not usable"},
	{"caveat", "production_out_of_scale", "output that the registered modules cannot make"},
	{"caveat", "production_by_night", "output in the dark"},
	{"caveat", "air_typical", "the air's temperature is taken as typical"},
	{"caveat", "sky_from_itself", "the sky is read off the array itself"},
	{"caveat", "few_neighbours", "the sky rests on few arrays"},
	{"caveat", "no_sky", "nothing tells the sky"},
	{"caveat", "sky_filled", "hours without a known sky are filled"},
	{"caveat", "days_only", "only sums of days are metered"},
	{"caveat", "clock_off", "the stamps do not go with the sun"},
	{"caveat", "shape_unexplained", "no plane explains the shape of the days"},
	{"caveat", "facing_estimated", "the facing is read off clear days"},
	{"caveat", "no_clear_days", "too few clear days to calibrate the array"},
	{"caveat", "array_arrived", "the array began within the readings"},
	{"caveat", "array_grew", "the array grew within the readings"},
	{"caveat", "plane_faces_otherwise", "the modules show that the plane faces otherwise"},
	{"caveat", "inverter_assumed", "the new modules' inverter is assumed"},
	{"caveat", "register_row", "a row of the register was set aside"},
	{"caveat", "report_month_incomplete", "the report month has fewer hours than the months before"},
	{"caveat", "tariff_defaulted", "the settings' tariff is used in place of the site's own"},
	{"caveat", "hourly_metering", "consumption and output are matched by the hour, the meter's interval is shorter"},
	{"caveat", "phases_summed", "the meter is taken to sum the phases"},
	{"caveat", "counted_as_mended", "today's array is counted as mended"},
	{"caveat", "tariff_changes", "the tariff changes on an announced day"},
	{"caveat", "legacy_ends", "the tariff's terms end on a day"},
	{"caveat", "legacy_ends_with_owner", "the tariff's terms end when the house changes hands"},

	// What the visit must look at.
	{"caution", "device_count_differs", "the gateway reports another number of inverters than registered"},
	{"caution", "gateway_silent", "the gateway has not been seen lately"},
	{"caution", "phases_differ", "the service has other phases than its profile"},
	{"caution", "pv_breakers_smaller", "the registered PV breakers are smaller than the inverters ask for"},
	{"caution", "service_full_for_load", "the household's load alone comes near the service's rating"},
	{"caution", "dead_load_review", "the roof's load needs a review"},
	{"caution", "flat_roof", "a flat roof: ballast, water and membrane"},
	{"caution", "outline_unusable", "the plane's outline cannot be used"},
	{"caution", "plane_shaded", "the plane is shaded"},
	{"caution", "roof_old", "the covering is old"},
	{"caution", "tile_roof", "tiles: hooks and broken tiles"},
	{"caution", "array_plane_unknown", "the plane of old modules is not registered"},
	{"caution", "old_module_size_assumed", "the old modules' size is assumed"},
	{"caution", "old_modules_near_ridge", "old modules lie within today's ridge setback"},
	{"caution", "ridge_setback_may_widen", "the ridge setback may widen with more modules"},
	{"caution", "plane_smaller_than_its_modules", "the plane is smaller than the modules on it"},

	// What reading the files showed.
	{"quality", "clock_hour_once", "the hour that summer time ends is there once"},
	{"quality", "counter_gap_out", "a counter's energy over a long gap is left out"},
	{"quality", "counter_gap_spread", "a counter's energy over a short gap is spread"},
	{"quality", "counter_reset", "a counter started again from zero"},
	{"quality", "counter_rolled_over", "a counter passed its largest value"},
	{"quality", "estimated_by_owner", "values that the meter's owner estimated"},
	{"quality", "suspect_by_owner", "values that the meter's owner doubts"},
	{"quality", "files_interleaved", "several files take turns within the hours"},
	{"quality", "interval_cut", "intervals that overlap are cut"},
	{"quality", "net_reading", "import and export within one interval are netted"},
	{"quality", "repeated_stamp", "the same reading twice"},
	{"quality", "repeated_stamp_differs", "two readings of one stamp: the later export wins"},
	{"quality", "step_overlap", "readings of one step lie within those of another"},
	{"quality", "step_unknown", "an interval's length cannot be told"},
	{"quality", "step_change", "readings come in several steps"},
	{"quality", "stray_stamp", "readings far from all others in time"},
}
