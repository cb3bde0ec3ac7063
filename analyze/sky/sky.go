// Package sky makes the fleet its own weather station: every array with a
// production meter is a light sensor, and the median of the arrays around a
// place is the sky that it lived under, hour by hour.
//
// Pass 1 calls FromSite for each site and hands what it gives to a Field. Once
// the field is closed, Field.At answers for any place. The sky is always said
// as K, the light on the ground over the clear-sky light of that place and
// hour (Ineichen-Perez or Haurwitz, as sun.Hours holds it): K carries from
// place to place where light itself does not.
package sky

import (
	"rowen/analyze/sun"
	"rowen/ingest"
)

// Where an hour's sky, or most hours of a Sky, came from.
const (
	FromFleet   = "fleet"   // weighted median of the arrays around
	FromWeather = "weather" // a measured weather file
	FromSelf    = "self"    // the site's own array, for want of neighbours
	FromNone    = "none"    // nothing known
)

// Options are the field's bounds and tastes; a zero field means that of Defaults.
type Options struct {
	// CellDeg is the side of a cell of the field, about 28 km,
	// within which hourly skies stay alike (our choice).
	CellDeg float64
	// SitesPerCell bounds memory: of more sites the ones with the smallest
	// hash of their ID are kept (our choice: a median of twenty
	// has a standard error of a quarter of one site's).
	SitesPerCell int
	// RadiusKm is how far a sky is borrowed (our choice).
	RadiusKm float64
	// WeatherKm is how far a weather station is believed (our choice).
	WeatherKm float64
	// PreferWeather lets a near station with measured light replace the fleet
	// where it has the hour; otherwise it fills the fleet's holes only.
	PreferWeather bool
}

// Defaults are the options that users run with.
func Defaults() Options {
	return Options{CellDeg: 0.25, SitesPerCell: 20, RadiusKm: 60, WeatherKm: 30}
}

func (o Options) withDefaults() Options {
	d := Defaults()
	for _, v := range []struct {
		is *float64
		to float64
	}{{&o.CellDeg, d.CellDeg}, {&o.RadiusKm, d.RadiusKm}, {&o.WeatherKm, d.WeatherKm}} {
		if *v.is <= 0 {
			*v.is = v.to
		}
	}
	if o.SitesPerCell <= 0 {
		o.SitesPerCell = d.SitesPerCell
	}
	return o
}

// Input is one site for pass 1.
type Input struct {
	Site      *ingest.Site
	Catalogue *ingest.Catalogue
	Series    *ingest.Series
	Calendar  *ingest.Calendar // the site's days over the series
	Sun       *sun.Hours       // same Start and N as the series
	TempC     []float64        // aligned with the series; nil: typical
}

// Estimate is one site's own idea of the sky: K and a weight an hour, two
// bytes each, with the calibration that it rests on.
type Estimate struct {
	SiteID  string
	Place   sun.Place
	Start   ingest.Hour
	KW      []uint16 // packed K and weight, see pack; 0: nothing known
	Told    []Told   // beside KW
	Off     []int8   // by run of 24 hours: percent that clear days of the weeks around lie off Factor; offUnknown: there are none
	Factor  float64  // measured over modelled on clear days, per registered watt; NaN: too few clear days
	Used    float64  // the factor that K rests on: Factor, or an ordinary one
	FactorN int      // clear days that the factor rests on
	Age     float64  // years that the array had stood at the middle of the readings; NaN: not registered
	Weight  float64  // 0..1, how far the site is to be believed as a whole
	Clock   *Clock   // what FindClock says of the readings
	Caveats []ingest.Caveat
}

// Sky is the sky over one place: the same hours as asked for.
type Sky struct {
	Start   ingest.Hour
	K       []float64 // light over clear-sky light, NaN unknown or night
	Diffuse []float64 // how much more of the light is diffuse than K tells, a share; 0 where nobody can say
	Spread  []float64 // one standard deviation of K, NaN where K is
	Sites   []uint16  // how many arrays stand behind the hour
	Source  string    // fleet, weather, self, none: where most hours came from
	// SelfFactor is the factor behind the hours for which the site itself stands
	// in; NaN where there are none.
	SelfFactor float64
	Typical    Factor // what the arrays around make of their registered watts
	Ageing     Ageing // what the fleet's arrays tell of a year's loss
	Caveats    []ingest.Caveat
}

// More is Diffuse of hour i; none where it is not known.
func (s *Sky) More(i int) float64 {
	if i >= len(s.Diffuse) {
		return 0
	}
	return s.Diffuse[i]
}

// Factor is a calibration factor with its spread over the sites behind it.
type Factor struct {
	Value, SD float64 // NaN where no site has one
	AgeYears  float64 // mean age of the dated ones; NaN: none
	Sites     int
}
