package analyze

import (
	"math"

	"rowen/analyze/array"
	"rowen/analyze/headroom"
	"rowen/analyze/option"
	"rowen/ingest"
)

// candidates are the planes that could take new modules, with what one module
// makes on each and how many each surely takes.
func (j *judge) candidates(f *Finding, units map[string]array.UnitOutput) []option.Candidate {
	room := map[string]headroom.PlaneRoom{}
	for _, p := range f.Room.Planes {
		room[p.Plane.ID] = p
	}
	var cs []option.Candidate
	for _, p := range candidatePlanes(f) {
		u, ok := units[p.ID]
		if !ok {
			continue
		}
		most := screeningModules
		if r, ok := room[p.ID]; ok {
			most = r.Modules
		}
		if most > 0 {
			c := option.Candidate{PlaneID: p.ID, MaxModules: most, UnitWh: u.Wh, RelSD: u.RelSD,
				ModuleWatts: j.module.Watts, ACWatts: f.Inverter.ACWatts, Facing: facing(f, &p)}
			if r := room[p.ID]; r.Measured {
				c.Sure = ingest.Some(r.Low)
			}
			cs = append(cs, c)
		}
	}
	return cs
}

// sureRoom is how many modules fit whatever the doubt of the limits that are
// known turns out to be: as the site stands, and by the roof alone. A limit that
// is not known at all is found out before any offer, and bounds nothing here.
func sureRoom(r *headroom.Result) (now, roof ingest.Opt[int]) {
	for _, c := range []headroom.Ceiling{r.Roof, r.Service, r.Branch, r.Gateway, r.Permission} {
		if c.Modules.Known && c.Low < now.Or(headroom.Many) {
			now = ingest.Some(c.Low)
		}
	}
	if r.Roof.Modules.Known {
		roof = ingest.Some(r.Roof.Low)
	}
	return now, roof
}

// facing tells how a plane lies to the sun and to today's array: a tilted plane
// within 60 degrees of the pole's side faces away, one within 30 degrees of some
// array's azimuth faces as today (our choice).
func facing(f *Finding, p *ingest.Plane) option.Facing {
	away := 0.0
	if f.Site.LatitudeDeg < 0 {
		away = 180
	}
	apart := func(a, b float64) float64 { return math.Abs(math.Remainder(a-b, 360)) }
	if p.TiltDeg > 10 && apart(p.AzimuthDeg, away) < 60 {
		return option.AwayFromSun
	}
	for _, a := range f.Array.Planes {
		if apart(p.AzimuthDeg, a.AzimuthDeg) <= 30 {
			return option.AsToday
		}
	}
	return option.Otherwise
}

// peakKW is the highest hour of gross use in the report year; NaN where no
// consumption is metered.
func peakKW(f *Finding, s *ingest.Series) float64 {
	peak := math.NaN()
	for i, wh := range s.Wh[ingest.Consumption] {
		if s.Start+ingest.Hour(i) >= f.Window.Start && !math.IsNaN(wh) && !(wh/1000 <= peak) {
			peak = wh / 1000
		}
	}
	return peak
}
