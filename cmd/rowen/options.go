package main

import (
	"rowen/analyze"
	"rowen/analyze/array"
	"rowen/analyze/headroom"
	"rowen/analyze/option"
	"rowen/analyze/rank"
	"rowen/analyze/sky"
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
		Sky:          sky.Options{RadiusKm: set.Sky.RadiusKM, WeatherKm: set.Weather.LightKM, PreferWeather: set.Weather.Prefer},
		Array:        array.Options{MinLossPct: set.Health.MinLossPct, CapacityPct: set.Health.CapacityPct, AzimuthDeg: set.Health.AzimuthDeg},
		Money:        money(set.Money, set.Rank.MaxPaybackYears),
		Headroom:     headroomOptions(set),
		Rank:         rankOptions(set),
	}
	copy(o.SkyModel.LinkeTurbidity[:], set.Sky.LinkeTurbidity)
	if set.Month == "" {
		return o, nil
	}
	var err error
	o.Month, err = analyze.ParseMonth(set.Month)
	return o, err
}

func money(m config.Money, paybackYears float64) option.Money {
	return option.Money{
		DiscountRatePct: m.DiscountRatePct, PriceEscalationPctYr: m.PriceEscalationPctYr, HorizonYears: m.HorizonYears,
		ModuleDegradationPctYr: m.ModuleDegradationPctYr, CostPerModule: m.CostPerModule, CostPerVisit: m.CostPerVisit,
		UpkeepPerModuleYr: m.UpkeepPerModuleYr, ReplacementPerModule: m.ReplacementPerModule, ReplacementYear: m.ReplacementYear,
		SalesTaxPct: m.SalesTaxPct, IncentivePctOfCost: m.IncentivePctOfCost, IncentivePerKW: m.IncentivePerKW,
		IncentiveMax: m.IncentiveMax, ExportIncomeTaxPct: m.ExportIncomeTaxPct,
		LoanSharePct: m.LoanSharePct, LoanRatePct: m.LoanRatePct, LoanYears: m.LoanYears, CO2KgPerKWh: m.CO2KgPerKWh,
		PaybackWithinYears: int(paybackYears),
		Doubt:              option.DefaultDoubt(),
	}
}

func headroomOptions(set config.Settings) headroom.Options {
	r, c := set.Roof, set.Money.CostOf
	o := headroom.DefaultOptions()
	o.RidgeSetbackM, o.EaveSetbackM, o.SideSetbackM, o.ModuleGapM = r.RidgeSetbackM, r.EaveSetbackM, r.SideSetbackM, r.ModuleGapM
	o.AreaSharePct, o.WideRidgeSetbackM, o.ObstacleMarginM = r.AreaSharePct, r.WideRidgeSetbackM, r.ObstacleMarginM
	o.CostOf = map[string]float64{
		headroom.SoftwareUpdate: c.SoftwareUpdate, headroom.PanelboardUpgrade: c.PanelboardUpgrade,
		headroom.Subpanel: c.Subpanel, headroom.NewPermission: c.NewPermission, headroom.GatewaySwap: c.GatewaySwap,
	}
	if c.SupplySideConnection != nil {
		o.CostOf[headroom.SupplySideConnection] = *c.SupplySideConnection
	}
	return o
}

func rankOptions(set config.Settings) rank.Options {
	r, o := set.Rank, rank.Defaults() // an option without a setting keeps its default
	o.MinModules, o.MaxPaybackYears, o.CoolDownMonths = r.MinModules, r.MaxPaybackYears, r.CoolDownMonths
	o.MinDataDays, o.MinChance, o.Order = r.MinDataDays, r.MinChance, r.Order
	o.AfterSaleMonths, o.AfterDeclineMonths, o.AfterNoAnswerMonths = r.AfterSaleMonths, r.AfterDeclineMonths, r.AfterNoAnswerMonths
	o.AfterNotSuitableMonths, o.MaxAttempts = r.AfterNotSuitableMonths, r.MaxAttempts
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
		delimiter := m.Delimiter
		if delimiter == "tab" {
			delimiter = "\t"
		}
		ms = append(ms, readings.Mapping{
			Glob: m.Glob, Format: m.Format, Layout: m.Layout, Delimiter: delimiter, Decimal: m.Decimal, HeaderLine: m.HeaderLine,
			NoHeader: m.NoHeader, DataLine: m.DataLine, Thousands: m.Thousands, Register: m.Register, Scale: m.Scale, Records: m.Records, Sheet: m.Sheet,
			SiteID: readings.SiteID{Column: m.SiteID.Column, File: m.SiteID.File, Value: m.SiteID.Value, Header: m.SiteID.Header, Sheet: m.SiteID.Sheet},
			Time: readings.Time{Column: m.Time.Column, TimeColumn: m.Time.TimeColumn, Format: m.Time.Format, Zone: m.Time.Zone,
				Stamp: m.Time.Stamp, Start: m.Time.Start, Step: m.Time.Step, EndColumn: m.Time.EndColumn, Pattern: m.Time.Pattern},
			Channels: channels(m.Channels),
		})
	}
	return ms
}

func channels(c config.Channels) []readings.Channel {
	var cs []readings.Channel
	add := func(ch *config.Channel, is ingest.Channel, net bool) {
		if ch != nil {
			cs = append(cs, readings.Channel{Channel: is, Net: net, Column: ch.Column, Header: ch.Header, Unit: ch.Unit, Quantity: ch.Quantity,
				Sign: ch.Sign, Also: ch.Also, Rows: ch.Rows, RollOver: ch.WrapsAt, SpreadGap: ch.SpreadGap})
		}
	}
	add(c.Production, ingest.Production, false)
	add(c.Consumption, ingest.Consumption, false)
	add(c.Import, ingest.Import, false)
	add(c.Export, ingest.Export, false)
	add(c.Net, ingest.Import, true)
	return cs
}
