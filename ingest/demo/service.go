package demo

import (
	"math"
	"math/rand/v2"

	"rowen/ingest"
)

// installed is what the old inverters take of the electrical side.
type installed struct {
	amps, acKW float64
	inverters  int
	branches   float64
	micro      bool
	generation int
}

func installedOn(arrays []ingest.Array, c *ingest.Catalogue) (in installed) {
	for i, a := range arrays {
		inv := c.Inverter(a.InverterModel)
		if i == 0 {
			in.micro, in.generation = inv.Kind == "micro", inv.Generation
		}
		in.amps += float64(a.Inverters.V) * inv.ACWatts / 240
		in.acKW += float64(a.Inverters.V) * inv.ACWatts / 1000
		in.inverters += a.Inverters.V
		if inv.Kind == "micro" {
			in.branches += math.Ceil(float64(a.Inverters.V) / float64(inv.PerBranch))
		} else if a.Inverters.V > 0 {
			in.branches++
		}
	}
	return in
}

// wire draws the electrical service, the gateway and the permission, and books
// their limits.
func (b *builder) wire() {
	old := installedOn(b.reg.Arrays, &b.m.catalogue)
	b.reg.Service, b.truth.ServiceModules = drawService(b.rnd, b.tight, old, b.m.newInverter)
	b.truth.BranchModules = ingest.Some(b.reg.Service.FreeSpaces.V / 2 * b.m.newInverter.PerBranch)
	b.wireGateway(old)
	b.reg.PermissionLimitKW = permitKW(b.rnd, b.tight, old.acKW)
	if limit := b.reg.PermissionLimitKW; !math.IsNaN(limit) {
		b.truth.PermissionModules = ingest.Some(max(int(math.Floor((limit-old.acKW)*1000/b.m.newInverter.ACWatts+1e-9)), 0))
	}
}

// panelboard is the rating of a busbar and of its main breaker, in amps.
type panelboard struct{ busbar, main float64 }

// drawService draws the panelboard, and says how many new inverters it takes.
func drawService(rnd *rand.Rand, tight string, old installed, inv *ingest.Inverter) (*ingest.Service, ingest.Opt[int]) {
	bus := []panelboard{{225, 200}, {200, 175}, {225, 175}, {200, 150}}
	if tight == "service" {
		bus = []panelboard{{200, 200}, {125, 125}, {125, 100}, {100, 100}}
	}
	svc := &ingest.Service{Phases: ingest.Some(2), Volts: 240, PVBreakerAmps: 20 * old.branches, OtherSupplyAmps: 0,
		FreeSpaces: ingest.Some(4 + 2*rnd.IntN(4)), BranchSpareAmps: 0, Feed: "end", Profile: "split-phase-200",
		UpstreamBusbarAmps: math.NaN(), UpstreamMainBreakerAmps: math.NaN(), LoadBreakersAmps: math.NaN()}
	spare := func(p panelboard) int {
		amps := (float64(1.2*p.busbar)-p.main-svc.OtherSupplyAmps)/1.25 - old.amps
		return max(int(math.Floor(amps/(inv.ACWatts/240)+1e-9)), 0)
	}
	// One of some that leave enough, or where it shall be tight the tightest.
	first := rnd.IntN(len(bus))
	chosen := bus[first]
	for i := range bus {
		c := bus[(first+i)%len(bus)]
		n, now := spare(c), spare(chosen)
		if tight == "service" && n < now || tight != "service" && now < 14 && n > now {
			chosen = c
		}
	}
	svc.BusbarAmps, svc.MainBreakerAmps = chosen.busbar, chosen.main
	if tight == "service" && spare(chosen) > 1 { // something else feeds it as well
		svc.OtherSupplyAmps = 20
	}
	if tight == "spaces" {
		svc.FreeSpaces = ingest.Some(rnd.IntN(2))
	}
	return svc, ingest.Some(spare(chosen))
}

// wireGateway draws the gateway and books what it and the mixing rules allow.
func (b *builder) wireGateway(old installed) {
	gw := &ingest.Gateway{Model: "HG-2", SoftwareVersion: "5.2.1180", ReportingInverters: ingest.Some(old.inverters),
		LastSeenOn: dateOf(timeOf(b.m.tl, b.meters.to-1).In(b.region.loc)), BackupController: ingest.Some(false), StorageKWh: 0}
	mixable := true
	switch b.gateway {
	case "old_software":
		gw.SoftwareVersion = pick(b.rnd, []string{"5.1.960", "5.0.1204", "4.10.77"})
		mixable = !old.micro || old.generation == 2
	case "hg1":
		gw.Model, gw.SoftwareVersion = "HG-1", pick(b.rnd, []string{"3.9.40", "3.9.8"})
		mixable = !old.micro || old.generation == 2
	case "backup":
		gw.BackupController, b.reg.GridType = ingest.Some(true), "backup"
		mixable = old.generation == 2 && old.micro
	case "storage":
		gw.StorageKWh = 10
		mixable = old.generation == 2 && old.micro
	case "off_grid":
		b.reg.GridType = "off_grid"
		mixable = old.generation == 2 && old.micro
	}
	most := b.m.catalogue.Gateway(gw.Model).MaxInverters
	if rule := b.m.catalogue.Mixing[0]; old.generation != b.m.newInverter.Generation && old.micro {
		most = min(most, rule.MaxInverters)
	}
	b.reg.Gateway, b.truth.Mixable = gw, mixable
	b.truth.GatewayModules = ingest.Some(max(most-old.inverters, 0))
}

// permitKW draws what the utility permits; NaN: it sets no limit.
func permitKW(rnd *rand.Rand, tight string, oldKW float64) float64 {
	if tight == "permission" {
		return math.Ceil(oldKW*10) / 10
	}
	if rnd.Float64() < 0.35 {
		return math.Ceil(oldKW + (7 + float64(5*rnd.Float64())))
	}
	return math.NaN()
}
