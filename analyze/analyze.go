// Package analyze takes a fleet's register and its readings to one Finding a
// site. It goes over the fleet twice, each time one site after another on as
// many workers as there are cores, holding no more than a few sites' hours:
//
//	Survey   pass 1: what sky the fleet lived under, what season its households share
//	Judge    pass 2: array, demand, headroom, worth and lane of every site
//	Rank     the order in which to call
//
// The sub-packages hold the judgement; this one only carries values from one to
// the next.
package analyze

import (
	"time"

	"rowen/analyze/array"
	"rowen/analyze/demand"
	"rowen/analyze/headroom"
	"rowen/analyze/option"
	"rowen/analyze/rank"
	"rowen/analyze/sky"
	"rowen/analyze/sun"
	"rowen/analyze/visit"
	"rowen/ingest"
)

// Options are what the settings say of the judgement.
type Options struct {
	Workers int   // at least 1
	Month   Month // report month; zero: the last one that most sites complete

	DefaultModule, DefaultInverter string // what is offered; "": the catalogue's first module, and the newest inverter of the site's own family
	DefaultTariff                  string // for sites without a usable tariff
	WeatherMaxKM                   float64

	SkyModel sun.SkyModel
	Sky      sky.Options
	Array    array.Options
	Demand   demand.Options
	Headroom headroom.Options
	Money    option.Money
	Rank     rank.Options
}

// Finding is everything that is known of one site. The long hourly slices of
// its parts are gone once it has been delivered (see Judge).
type Finding struct {
	Site     *ingest.Site
	Failed   string // why the site could not be judged at all; "": it was
	Month    Month
	Window   ingest.Window
	Location *time.Location

	Days        int     // local days with at least 90 % of the metered hours
	CoveragePct float64 // of the hours from the first to the last reading; NaN: no readings
	WindowPct   float64 // of the report year's hours; NaN: no readings
	StepMinutes int
	Quality     []ingest.Quality

	SkySource string
	Array     array.Result
	Demand    demand.Result
	Year      YearFigures
	Months    []MonthFigures
	// Completeness is the report month's, against the months before it.
	Completeness Completeness

	Module   ingest.Module // what is offered
	Inverter ingest.Inverter
	Room     headroom.Result
	Visit    *visit.Sheet // what is taken to the house, where there is an offer or something to mend; nil: nothing

	TariffID        string
	TariffDefaulted bool
	// SuccessorUnknown is the tariff that an expansion would move the site to,
	// where tariffs.yaml does not hold it: the worth is then worked out as if the
	// legacy terms were kept, and is not to be relied on.
	SuccessorUnknown string
	Worth            option.Result
	Chosen           *option.Option // the size that is proposed; nil: none
	Likely           *Likely        // of a ranked site some of whose limits are not registered; nil: all that matter are

	Caveats []ingest.Caveat // every doubt, from the readings to the bill
	Verdict rank.Verdict

	BySize *bySize // of a site whose chances are still to be worked out

	Past            []ingest.Outcome // what came of earlier calls, oldest first
	Expansion       *Expansion       // what became of modules that a call sold; nil: none were
	RegisterDigest  string           // stands for the site's rows in the register
	OutcomeRegister string           // what they were when the last call found the site not suitable; "": it did not
}

// MonthFigures is one calendar month of a site; NaN: not metered.
type MonthFigures struct {
	First                                               time.Time
	ProductionKWh, ConsumptionKWh, ImportKWh, ExportKWh float64
	ExpectedProductionKWh                               float64 // over the hours in which production was read
	ProductionIndex                                     float64
	CoveragePct                                         float64
}

// Shed drops what is as long as the readings, so that a fleet of findings fits
// in memory.
func (f *Finding) Shed() {
	f.Array.Shed()
	f.Demand.Shed()
	f.Months, f.Room.Planes, f.Room.Profile = nil, nil, nil
	f.Worth.Options, f.Worth.BillBefore.Months = nil, nil
}
