package main

import (
	"rowen/analyze"
	"rowen/analyze/headroom"
	"rowen/analyze/option"
	"rowen/analyze/rank"
	"rowen/analyze/sky"
	"rowen/analyze/sun"
	"rowen/config"
	"rowen/ingest"
	"rowen/ingest/readings"
)

// analyzeOptions turns the settings into what the stages take.
func analyzeOptions(set config.Settings, workers int) (analyze.Options, error) {
	o := analyze.Options{
		Workers:       workers,
		DefaultModule: set.Defaults.Module, DefaultInverter: set.Defaults.Inverter, DefaultTariff: set.Defaults.TariffID,
		WeatherMaxKM: set.Weather.MaxDistanceKM,
		Sky:          sky.Options{WeatherKm: set.Weather.MaxDistanceKM},
		Money:        money(set.Money),
		Headroom:     headroomOptions(set),
		Rank:         rankOptions(set),
	}
	o.SkyModel = sun.SkyModel{LinkeTurbidity: turbidity(set.Sky.LinkeTurbidity)}
	o.Array.DefaultModule, o.Array.DefaultInverter = "", ""
	if set.Month == "" {
		return o, nil
	}
	var err error
	o.Month, err = analyze.ParseMonth(set.Month)
	return o, err
}

func turbidity(v []float64) (tl [12]float64) {
	copy(tl[:], v)
	return tl
}

func money(m config.Money) option.Money {
	return option.Money{
		DiscountRatePct: m.DiscountRatePct, PriceEscalationPctYr: m.PriceEscalationPctYr, HorizonYears: m.HorizonYears,
		ModuleDegradationPctYr: m.ModuleDegradationPctYr, CostPerModule: m.CostPerModule, CostPerVisit: m.CostPerVisit,
		Doubt: option.DefaultDoubt(),
	}
}

func headroomOptions(set config.Settings) headroom.Options {
	o := headroom.DefaultOptions()
	o.RidgeSetbackM, o.EaveSetbackM = set.Roof.RidgeSetbackM, set.Roof.EaveSetbackM
	o.SideSetbackM, o.ModuleGapM = set.Roof.SideSetbackM, set.Roof.ModuleGapM
	o.CostOf = map[string]float64{
		headroom.SoftwareUpdate: set.Money.CostOf.SoftwareUpdate, headroom.PanelboardUpgrade: set.Money.CostOf.PanelboardUpgrade,
		headroom.NewPermission: set.Money.CostOf.NewPermission, headroom.GatewaySwap: set.Money.CostOf.GatewaySwap,
	}
	return o
}

func rankOptions(set config.Settings) rank.Options {
	o := rank.Defaults()
	o.MinModules, o.MaxPaybackYears = set.Rank.MinModules, set.Rank.MaxPaybackYears
	o.CoolDownMonths, o.CallsPerBranch = set.Rank.CoolDownMonths, set.Rank.CallsPerBranch
	o.RepairLossPct = set.Health.RepairLossPct
	return o
}

// mappings turns the settings' exports into what the readers take.
func mappings(set config.Settings) []readings.Mapping {
	if len(set.Readings) == 0 {
		return readings.Default()
	}
	ms := make([]readings.Mapping, 0, len(set.Readings))
	for _, m := range set.Readings {
		ms = append(ms, readings.Mapping{
			Glob: m.Glob, Format: m.Format, Layout: m.Layout, Delimiter: m.Delimiter, Decimal: m.Decimal,
			SiteID: readings.SiteID{Column: m.SiteID.Column, File: m.SiteID.File},
			Time: readings.Time{Column: m.Time.Column, Format: m.Time.Format, Zone: m.Time.Zone, Stamp: m.Time.Stamp,
				Start: m.Time.Start, Step: m.Time.Step},
			Channels: channels(m.Channels),
		})
	}
	return ms
}

func channels(c config.Channels) []readings.Channel {
	var cs []readings.Channel
	for i, ch := range []*config.Channel{c.Production, c.Consumption, c.Import, c.Export} {
		if ch != nil {
			cs = append(cs, readings.Channel{Channel: ingest.Channel(i), Column: ch.Column, Unit: ch.Unit,
				Quantity: ch.Quantity, Sign: ch.Sign, RollOver: ch.WrapsAt})
		}
	}
	return cs
}
