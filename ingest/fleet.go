// Package ingest holds the fleet as the rest of the program sees it: the
// register (sites, arrays, planes, services, gateways), the catalogue and the
// tariffs as data, and the readings of one site at a time as dense hourly
// series. The sub-packages fill these types from files; nothing here reads or
// computes.
//
// Units live in the names. Missing is NaN for a number, an Opt that is not
// Known for a count or a flag, the zero time for a date: never 0.
package ingest

import (
	"strings"
	"time"
)

// Opt is a value that the register may not know.
type Opt[T any] struct {
	V     T
	Known bool
}

// Some is a known value.
func Some[T any](v T) Opt[T] { return Opt[T]{V: v, Known: true} }

// Or gives the value, or def where it is not known.
func (o Opt[T]) Or(def T) T {
	if o.Known {
		return o.V
	}
	return def
}

// Fleet is the register as read, with what had to be set aside.
type Fleet struct {
	Sites     []Site // sorted by ID, each ID once; nil where they are kept, see Keep
	kept      *keptSites
	Catalogue Catalogue
	Tariffs   []Tariff
	Stations  []Station // weather, where given
	Outcomes  []Outcome
	Rejects   []Reject
	RowsRead  int      // rows of the register's tables, those set aside included
	Notes     []string // columns kept out, files left unread: worth saying, no row lost

	// SitesSetAside are the sites whose own row could not be used, sorted: they
	// are not in Sites, and are reported as such.
	SitesSetAside []string
}

// Site is one customer site with everything the register says of it.
type Site struct {
	ID           string
	LatitudeDeg  float64
	LongitudeDeg float64 // east positive
	ElevationM   float64 // NaN: not known
	Location     *time.Location
	Timezone     string // IANA name of Location

	// Personal data: the call list and the briefs only.
	Customer, Contact string

	Postcode, Branch  string
	GridType          string // grid_tied, backup, off_grid; "" not known
	CommissionedOn    time.Time
	TariffID          string
	TariffDefaulted   bool    // TariffID is the settings' default, not the register's
	RoofPlanM2        float64 // plan area of the whole roof, planes without modules included; NaN: not known
	PermissionLimitKW float64 // AC export or size limit in the permission to operate; NaN: not known
	DoNotContact      bool
	LastContactOn     time.Time

	Arrays  []Array // by ID
	Planes  []Plane // by ID
	Service *Service
	Gateway *Gateway
	Bills   []Bill // by From

	// Problems are register rows of this site that were set aside: the site
	// goes on with what is left, and says so.
	Problems []Reject
}

// Array is a group of like modules on one plane.
type Array struct {
	ID             string
	Modules        int
	ModuleWatts    float64 // STC; NaN only where ModuleModel gives it
	ModuleModel    string
	TiltDeg        float64 // 0 flat; NaN: to be estimated from clear days
	AzimuthDeg     float64 // clockwise from north; NaN: to be estimated
	PlaneID        string
	InverterModel  string
	Inverters      Opt[int]
	CommissionedOn time.Time
}

// Plane is one roof plane or a ground plot.
type Plane struct {
	ID         string
	WidthM     float64 // along the eave; NaN: not measured
	SlopeM     float64 // eave to ridge along the slope; NaN: not measured
	TiltDeg    float64
	AzimuthDeg float64
	ShadingPct float64 // yearly loss of beam light; NaN: not known
	BlockedM2  float64 // vents, skylights; NaN: not known
	RoofKind   string  // shingle, tile, metal, flat, ground; "" not known
	RoofYear   Opt[int]

	// PolygonM is the plane's outline in its own surface, x along the eave and
	// y up the slope, metres; nil: the rectangle WidthM x SlopeM.
	PolygonM [][2]float64
	// ObstaclesM are boxes x0, y0, x1, y1 in the same surface.
	ObstaclesM [][4]float64
}

// Service is a site's electrical service.
type Service struct {
	Phases           Opt[int] // 1, 2 = split, 3
	Volts            float64
	BusbarAmps       float64
	MainBreakerAmps  float64
	PVBreakerAmps    float64 // sum of the PV breakers now
	OtherSupplyAmps  float64
	FreeSpaces       Opt[int] // breaker spaces
	BranchSpareAmps  float64  // room on the existing PV branches
	Feed             string   // end, center; "" not known
	Profile          string   // a service profile of the catalogue
	ProfileDefaulted bool

	UpstreamBusbarAmps      float64 // an upstream panelboard that the new source must pass too
	UpstreamMainBreakerAmps float64
	UpstreamFeed            string  // end, center; "" not known
	LoadBreakersAmps        float64 // sum of the load breakers, for the sum rule
}

// Gateway is a site's monitoring gateway.
type Gateway struct {
	Model              string
	SoftwareVersion    string
	ReportingInverters Opt[int]
	LastSeenOn         time.Time
	BackupController   Opt[bool]
	StorageKWh         float64
}

// Bill is one utility bill: energy from From to To (exclusive), local dates.
type Bill struct {
	From, To             time.Time
	ImportKWh, ExportKWh float64
}

// Outcome is what came of an earlier call.
type Outcome struct {
	SiteID      string
	CalledOn    time.Time
	Result      string // sold, declined, no_answer, not_suitable
	Reason      string
	ModulesSold Opt[int]
	Price       float64 // NaN: not known
	InstalledOn time.Time
	Listed      Listed
}

// Listed is what the call list that a call was made from said of the site. The
// command that takes filled workbooks in writes it down with the outcome; an
// outcome that was entered by hand has none.
type Listed struct {
	Month      string // of the list, as 2026-10; "": no list is known to have proposed the call
	Rank       Opt[int]
	Tenth      Opt[int] // of that month's list, 1 = the first tenth
	Reason     string   // code of the main reason
	Modules    Opt[int]
	AddedKWhYr float64 // NaN: not known, as the rest
	Saving     float64 // first year
	SavingLow  float64
	SavingHigh float64
	Register   string // digest of the site's register rows then; "": not known
}

// Station is an hourly weather record.
type Station struct {
	ID                                    string
	LatitudeDeg, LongitudeDeg             float64
	Start                                 Hour
	TempC, GHIWm2, DNIWm2, DHIWm2, WindMs []float64 // nil: never measured; NaN: missing
	// Typical: the months come from different years and are laid out as 2001;
	// nothing of it was lived through by any site.
	Typical bool
}

// Len is the number of hours.
func (s *Station) Len() int {
	return max(len(s.TempC), len(s.GHIWm2), len(s.DNIWm2), len(s.DHIWm2), len(s.WindMs))
}

// Reject is a row that could not be used, and how to mend it. It never holds
// personal data: Value is left empty for such columns.
type Reject struct {
	File   string // relative to the fleet's folder
	Line   int    // 1 = header; 0: the file as a whole
	Column string
	Value  string
	Reason string // lower case, with the limit and the mend
	SiteID string // where known

	// Kept tells that the row is used all the same, but for this cell: it names
	// something that the catalogue or the tariffs do not hold.
	Kept bool
}

// Short is a text about a stranger's file in no more than some 400 bytes: its
// beginning and its end, since an error may quote megabytes of it.
func Short(s string) string {
	const head, tail = 300, 100
	if len(s) <= head+tail {
		return s
	}
	return strings.ToValidUTF8(s[:head], "") + " … " + strings.ToValidUTF8(s[len(s)-tail:], "")
}
