package analyze

import (
	"errors"
	"fmt"

	"rowen/ingest"
)

// offer is what an expansion would be built with.
type offer struct {
	module   ingest.Module
	inverter *ingest.Inverter // by the settings, for every site; nil: by the site's own family
	usual    string           // the family that most sites of the fleet have
}

// offered finds the module and the inverter that an expansion would use. Without
// one in the settings every site gets the newest generation of its own family.
func offered(f *ingest.Fleet, o Options) (offer, error) {
	c := &f.Catalogue
	if len(c.Modules) == 0 || len(c.Inverters) == 0 {
		return offer{}, errors.New("reading catalogue.yaml: it must name at least one module and one inverter, for an expansion to be judged with")
	}
	m := &c.Modules[0]
	if o.DefaultModule != "" {
		if m = c.Module(o.DefaultModule); m == nil {
			return offer{}, fmt.Errorf("reading rowen.yaml: defaults.module %q is not in catalogue.yaml; add it there or name another", o.DefaultModule)
		}
	}
	out := offer{module: *m}
	if o.DefaultInverter != "" {
		if out.inverter = c.Inverter(o.DefaultInverter); out.inverter == nil {
			return offer{}, fmt.Errorf("reading rowen.yaml: defaults.inverter %q is not in catalogue.yaml; add it there or name another", o.DefaultInverter)
		}
		return out, nil
	}
	count, most := map[string]int{}, 0
	for _, s := range f.All() {
		count[familyOf(s, c)]++
	}
	for _, inv := range c.Inverters { // in the catalogue's order, so that ties fall alike
		if n := count[inv.Family]; n > most || out.usual == "" && c.OneFamily() {
			out.usual, most = inv.Family, n
		}
	}
	if out.usual == "" {
		return offer{}, errors.New("reading rowen.yaml: defaults.inverter is blank, and no array names an inverter of catalogue.yaml whose family an expansion could follow; name the inverter that would be added")
	}
	return out, nil
}

// inverterFor is the inverter that would be added at a site; assumed is true
// where its own family is not known and the fleet's usual one stands in.
func (o *offer) inverterFor(site *ingest.Site, c *ingest.Catalogue) (inv ingest.Inverter, assumed bool) {
	if o.inverter != nil {
		return *o.inverter, false
	}
	family := familyOf(site, c)
	if family == "" {
		family, assumed = o.usual, true
	}
	return *c.Newest(family, o.module.Watts), assumed
}

// familyOf is the family of the inverters that most of a site's modules hang
// on; "" where no array names one of the catalogue.
func familyOf(site *ingest.Site, c *ingest.Catalogue) string {
	family, most, modules := "", 0, map[string]int{}
	for i := range site.Arrays {
		inv := c.Inverter(site.Arrays[i].InverterModel)
		if inv == nil {
			continue
		}
		modules[inv.Family] += site.Arrays[i].Modules
		if modules[inv.Family] > most {
			family, most = inv.Family, modules[inv.Family]
		}
	}
	return family
}
