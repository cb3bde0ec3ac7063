package sky

import "rowen/ingest"

// Part is a field as plain values, in a fixed order: of a run of neighbours, to be
// joined with the fields of the others, or of the whole fleet, to judge sites by.
type Part struct {
	Cells    []CellPart // by latitude and longitude
	Stations []StationPart
	Typical  Factor
	Ageing   Ageing
	Usual    Usual
}

// CellPart is one square of a field. Before Close it holds its sites alone.
type CellPart struct {
	Lat, Lon       int32
	Sites          []Estimate
	LatDeg, LonDeg float64
	Factors        []AgedFactor
	Start          ingest.Hour
	KW             []uint16
	Spread         []uint8
	Partings       []Parting
	Levels         []float64 // beside Sites
}

// AgedFactor is an array's factor and its age.
type AgedFactor struct{ Factor, AgeYears float64 }

// StationPart is a weather station's sky.
type StationPart struct {
	ID             string
	LatDeg, LonDeg float64
	Start          ingest.Hour
	K              []float64
}

// Part gives the field as plain values, which share its slices.
func (f *Field) Part() Part {
	f.mu.Lock()
	defer f.mu.Unlock()
	p := Part{Typical: f.typical, Ageing: f.ageing, Usual: f.usual}
	for _, k := range f.keys() {
		c := f.cells[k]
		x := CellPart{Lat: k.lat, Lon: k.lon, Sites: c.sites, LatDeg: c.latDeg, LonDeg: c.lonDeg, Start: c.start, KW: c.kw, Spread: c.spread, Partings: c.partings, Levels: c.levels}
		for _, a := range c.factors {
			x.Factors = append(x.Factors, AgedFactor{a.factor, a.ageYears})
		}
		p.Cells = append(p.Cells, x)
	}
	for _, s := range f.stations {
		p.Stations = append(p.Stations, StationPart{s.id, s.latDeg, s.lonDeg, s.start, s.k})
	}
	return p
}

// FromPart gives back the closed field that a part was made of.
func FromPart(opt Options, p Part) *Field {
	f := NewField(opt)
	f.typical, f.ageing, f.usual = p.Typical, p.Ageing, p.Usual
	for _, x := range p.Cells {
		k := cellKey{x.Lat, x.Lon}
		c := &cell{key: k, sites: x.Sites, latDeg: x.LatDeg, lonDeg: x.LonDeg, start: x.Start, kw: x.KW, spread: x.Spread, partings: x.Partings, levels: x.Levels}
		for _, a := range x.Factors {
			c.factors = append(c.factors, aged{a.Factor, a.AgeYears})
		}
		f.cells[k] = c
	}
	for _, s := range p.Stations {
		f.stations = append(f.stations, stationSky{s.ID, s.LatDeg, s.LonDeg, s.Start, s.K})
	}
	return f
}

// Join takes in what the open field of other sites took in: the sites with the
// smallest hash of both are those of all of them, so that it does not matter how
// the sites were parted.
func (f *Field) Join(p Part) {
	for _, c := range p.Cells {
		for i := range c.Sites {
			f.Add(c.Sites[i])
		}
	}
}
