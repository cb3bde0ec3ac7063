package analyze

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"rowen/analyze/demand"
	"rowen/analyze/sky"
	"rowen/analyze/sun"
	"rowen/analyze/tariff"
	"rowen/ingest"
)

// Fleet is what both passes need: the register, the readings, the weather.
type Fleet struct {
	Register *ingest.Fleet
	Source   ingest.Source
	Options  Options

	Tariffs   tariff.Set // those that can be used
	TariffErr error      // what is wrong with the others, a line each; nil: nothing

	tables *sun.Cache
	places *sky.Places
	sites  []int32 // from neighbour to neighbour: the order of both passes
}

// maxPlaces bounds how many places' sun tables are kept; at 30 months of hours
// one takes about 2 MB. Few are enough, since both passes go from neighbour to
// neighbour.
const maxPlaces = 24

// NewFleet prepares the passes.
func NewFleet(register *ingest.Fleet, source ingest.Source, o Options) *Fleet {
	fl := &Fleet{Register: register, Source: source, Options: o,
		tables: sun.NewCache(maxPlaces, o.SkyModel), places: sky.NewPlaces(register), sites: byPlace(register)}
	fl.Tariffs, fl.TariffErr = tariff.CompileAll(register.Tariffs)
	return fl
}

// byPlace orders sites so that neighbours, who share the sun's tables, follow
// one another: by strips of about ten kilometres, then by ID.
func byPlace(register *ingest.Fleet) []int32 {
	type place struct {
		lat, lon float64 // the strip's number
		id       string
		at       int32
	}
	strip := func(deg float64) float64 { return math.Floor(deg * 10) }
	places := make([]place, 0, register.Len())
	for i, s := range register.All() {
		places = append(places, place{strip(s.LatitudeDeg), strip(s.LongitudeDeg), s.ID, int32(i)})
	}
	slices.SortFunc(places, func(a, b place) int {
		return cmp.Or(cmp.Compare(a.lat, b.lat), cmp.Compare(a.lon, b.lon), strings.Compare(a.id, b.id))
	})
	order := make([]int32, len(places))
	for i := range places {
		order[i] = places[i].at
	}
	return order
}

// site is a site by its place in the order of the passes.
func (fl *Fleet) site(i int) *ingest.Site { return fl.Register.At(int(fl.sites[i])) }

// Survey is what the first pass learns of the fleet as a whole.
type Survey struct {
	Month  Month
	Sky    *sky.Field
	Season *demand.Season
	Read   int // sites with readings
	Reach  Reach

	seen []seen // by place in the order of the passes
}

// seen is what the first pass remembers of one site.
type seen struct {
	Clock  *sky.Clock // nil: not known
	Failed string     // what the others were judged without; "": it was surveyed
}

// glance is what one site gives to the survey.
type glance struct {
	ok       bool
	reach    Reach
	estimate *sky.Estimate // nil: its array tells no sky
	clock    *sky.Clock
}

// bench is one worker's reused memory.
type bench struct {
	series   ingest.Series
	calendar ingest.Calendar // of the series
	tempC    []float64
	use      []float64 // of ingest.JoinConsumption
	scratch  demand.Scratch
}

// Survey goes over the fleet once and learns what the sites share: the sky they
// lived under, their season, and the last month that most of them complete.
func (fl *Fleet) Survey(ctx context.Context) (*Survey, error) {
	sketch, err := fl.Sketch(ctx, Whole)
	if err != nil {
		return nil, err
	}
	return fl.Merge(sketch), nil
}

// Sketch surveys one shard.
func (fl *Fleet) Sketch(ctx context.Context, shard Shard) (*Sketch, error) {
	from, to := shard.of(len(fl.sites))
	s := fl.Blank()
	benches := make([]bench, fl.Options.Workers)
	err := eachSite(ctx, to-from, fl.Options.Workers,
		func(worker, i int) (glance, error) { return fl.glance(fl.site(from+i), &benches[worker], s.season) },
		func(_ int, g glance, failed error) error {
			s.add(g, failed)
			return nil
		})
	if err != nil {
		return nil, fmt.Errorf("surveying the fleet: %w", err)
	}
	return s, nil
}

func (fl *Fleet) glance(site *ingest.Site, b *bench, season *demand.SeasonBuilder) (glance, error) {
	if err := fl.Source.Load(site.ID, &b.series); err != nil {
		if !errors.Is(err, ingest.ErrNoReadings) {
			return glance{}, err
		}
		return glance{}, nil
	}
	h := fl.hours(site, &b.series)
	g := glance{ok: true}
	g.reach.Add(&b.series, site.Location)
	b.calendar.Lay(site.Location, b.series.Start, b.series.Len())
	estimate, err := sky.FromSite(sky.Input{
		Site: site, Catalogue: &fl.Register.Catalogue, Series: &b.series, Calendar: &b.calendar, Sun: h, TempC: fl.temperatures(site, b),
	})
	if err == nil {
		g.estimate, g.clock = &estimate, lasting(estimate.Clock)
		estimate.Clock = nil
	}
	season.Add(site.LatitudeDeg, site.LongitudeDeg, &b.calendar, &b.series)
	return g, nil
}

// right is the clock of all arrays whose clock is right, as most are.
var right sky.Clock

// lasting is a clock that a million sites can keep until they are judged.
func lasting(c *sky.Clock) *sky.Clock {
	if c.Right() {
		return &right
	}
	return c
}

// hours gives the sun over a site for the hours of its readings.
func (fl *Fleet) hours(site *ingest.Site, s *ingest.Series) *sun.Hours {
	return fl.tables.Hours(fl.places.Of(site), s.Start, s.Len())
}

// stationHours gives the sun over a weather station for the hours of its record.
func (fl *Fleet) stationHours(st *ingest.Station) *sun.Hours {
	n := max(len(st.TempC), len(st.GHIWm2), len(st.DNIWm2), len(st.DHIWm2), len(st.WindMs))
	return fl.tables.Hours(sun.Place{LatitudeDeg: st.LatitudeDeg, LongitudeDeg: st.LongitudeDeg, ElevationM: math.NaN()}, st.Start, n)
}

// temperatures gives the outdoor temperature over the hours of the readings;
// nil: no station near enough.
func (fl *Fleet) temperatures(site *ingest.Site, b *bench) []float64 {
	st := nearestTemperatures(fl.Register.Stations, site, fl.Options.WeatherMaxKM)
	if st == nil {
		return nil
	}
	b.tempC = aligned(st.TempC, st.Start, b.series.Start, b.series.Len(), b.tempC)
	return b.tempC
}
