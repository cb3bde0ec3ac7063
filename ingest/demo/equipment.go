package demo

import (
	"rowen/ingest"
	"rowen/ingest/register/profiles"
)

// installer is the business whose fleet this is. Invented, as are its
// branches, its customers and the equipment.
const installer = "Ottermoor Rooftop Works"

// branches by region.
var branches = map[string][2]string{
	"foothills": {"Fernhollow", "Copperbank"},
	"valley":    {"Saltmarrow", "Tanglewick"},
	"basin":     {"Fernhollow", "Fernhollow"},
}

// setbacks of the roof in metres, as in the demo's settings.
const (
	ridgeSetbackM = 0.46
	wideRidgeM    = 0.91 // where modules cover more than a third of the whole roof
	eaveSetbackM  = 0.0
	sideSetbackM  = 0.30
	gapM          = 0.02
)

func catalogue() ingest.Catalogue {
	return ingest.Catalogue{
		Modules: []ingest.Module{
			{Model: "TN-430", Watts: 430, WidthM: 1.134, HeightM: 1.762, TempCoefficientPctPC: -0.34},
			{Model: "TN-370", Watts: 370, WidthM: 1.038, HeightM: 1.755, TempCoefficientPctPC: -0.35},
			{Model: "TN-340", Watts: 340, WidthM: 1.046, HeightM: 1.690, TempCoefficientPctPC: -0.37},
			{Model: "TN-300", Watts: 300, WidthM: 0.992, HeightM: 1.640, TempCoefficientPctPC: -0.39},
		},
		// Per branch: the whole inverters within 80 % of the breaker at 240 V.
		Inverters: []ingest.Inverter{
			{Model: "KV1-265", Family: "KV", Generation: 1, Kind: "micro", ACWatts: 265, MaxModuleWatts: 350, EfficiencyPct: 96.5, PerBranch: 14, BranchBreakerAmps: 20},
			{Model: "KV2-325", Family: "KV", Generation: 2, Kind: "micro", ACWatts: 325, MaxModuleWatts: 440, EfficiencyPct: 97.0, PerBranch: 11, BranchBreakerAmps: 20},
			{Model: "KV2-410", Family: "KV", Generation: 2, Kind: "micro", ACWatts: 410, MaxModuleWatts: 560, EfficiencyPct: 97.0, PerBranch: 9, BranchBreakerAmps: 20},
			{Model: "OD-40", Family: "OD", Generation: 1, Kind: "string", ACWatts: 4000, MaxModuleWatts: 0, EfficiencyPct: 96.0, BranchBreakerAmps: 25},
			{Model: "OD-54", Family: "OD", Generation: 1, Kind: "string", ACWatts: 5400, MaxModuleWatts: 0, EfficiencyPct: 96.0, BranchBreakerAmps: 30},
			{Model: "OD-72", Family: "OD", Generation: 1, Kind: "string", ACWatts: 7200, MaxModuleWatts: 0, EfficiencyPct: 96.5, BranchBreakerAmps: 40},
		},
		Gateways: []ingest.GatewayModel{
			{Model: "HG-2", MaxInverters: 120, LatestSoftware: "5.2.1180"},
			{Model: "HG-1", MaxInverters: 50, LatestSoftware: "3.9.40"},
		},
		Mixing: []ingest.MixingRule{
			{Family: "KV", Generations: []int{1, 2}, Gateways: []string{"HG-2"}, MinSoftware: "5.2.1180",
				GridTypes: []string{"grid_tied"}, BlockedBy: []string{"backup_controller", "storage"}, SameBranch: new(bool), MaxInverters: 84},
		},
		Profiles: profiles.Shipped(), // the demo has none of its own
	}
}

// Tariff IDs of the demo.
const (
	tariffFlat   = "flat-net"    // flat, net metering by the year
	tariffTiers  = "tiers-net"   // tiers, net metering by the month
	tariffPoor   = "flat-export" // flat and cheap, poor export credit
	tariffLegacy = "tou-a"       // time of use, net metering by the year, closed to new arrays
	tariffTOU    = "tou-b"       // time of use, net billing
	tariffCoop   = "tou-net"     // time of use, net metering by the year, open
)

func tariffs() []ingest.Tariff {
	return []ingest.Tariff{
		{ID: tariffFlat, FixedPerDay: 0.33,
			Import: []ingest.TariffPeriod{{Name: "all", Price: 0.196}},
			Export: ingest.TariffExport{Credit: "retail"}, Settlement: "yearly", SurplusPrice: 0.035},
		{ID: tariffTiers, FixedPerDay: 0.30,
			Import:     []ingest.TariffPeriod{{Name: "summer", Months: []int{6, 7, 8, 9}, Price: 0.185}, {Name: "base", Price: 0.152}},
			Tiers:      []ingest.TariffTier{{UpToKWhPerMonth: 400, Add: 0}, {Add: 0.058}},
			Export:     ingest.TariffExport{Credit: "retail"},
			Settlement: "monthly", SurplusPrice: 0.03},
		{ID: tariffPoor, FixedPerDay: 0.52,
			Import:     []ingest.TariffPeriod{{Name: "all", Price: 0.118}},
			Export:     ingest.TariffExport{Credit: "rate", Price: 0.031},
			Settlement: "interval"},
		{ID: tariffLegacy, FixedPerDay: 0.35,
			Import: []ingest.TariffPeriod{
				{Name: "peak", Months: []int{6, 7, 8, 9}, Days: "weekday", Hours: "16-21", Price: 0.46},
				{Name: "evening", Hours: "16-21", Price: 0.33},
				{Name: "base", Price: 0.25}},
			Export: ingest.TariffExport{Credit: "retail"}, Settlement: "yearly", SurplusPrice: 0.04,
			Legacy: &ingest.TariffLegacy{LostWhenAddedPct: 10, Successor: tariffTOU}},
		{ID: tariffTOU, FixedPerDay: 0.48,
			Import: []ingest.TariffPeriod{
				{Name: "peak", Months: []int{6, 7, 8, 9}, Hours: "16-21", Price: 0.52},
				{Name: "evening", Hours: "16-21", Price: 0.40},
				{Name: "night", Hours: "23-6", Price: 0.24},
				{Name: "base", Price: 0.31}},
			Export: ingest.TariffExport{Credit: "rate", Price: 0.06, Periods: []ingest.TariffPeriod{
				{Name: "late summer evenings", Months: []int{8, 9}, Hours: "18-21", Price: 0.21}}},
			Settlement: "interval"},
		{ID: tariffCoop, FixedPerDay: 0.41,
			Import: []ingest.TariffPeriod{
				{Name: "evening", Hours: "16-21", Price: 0.29},
				{Name: "base", Price: 0.21}},
			Export: ingest.TariffExport{Credit: "retail"}, Settlement: "yearly", SurplusPrice: 0.03},
	}
}

// givenNames and surnames are put together to names that nobody has.
var (
	givenNames = []string{"Ada", "Bram", "Clover", "Dorian", "Elowen", "Fitch", "Greta", "Hollis", "Ida", "Jory",
		"Kestrel", "Linnet", "Moss", "Nell", "Orrin", "Posy", "Quill", "Rue", "Sorrel", "Tansy", "Una", "Vesper", "Wren", "Yarrow"}
	surnames = []string{"Applethwart", "Bramblewick", "Candlemere", "Dapplegate", "Eiderdown", "Featherbrook", "Gooseberry",
		"Hollowoak", "Inkpenny", "Jackdaw", "Kettlewhistle", "Lanternjaw", "Mossbottom", "Nettleboots", "Oddsocks",
		"Puddlewright", "Quillfeather", "Rumblethorn", "Saltspoon", "Thistledown", "Umberly", "Vellumsby", "Wobblestone", "Yesterbrook"}
)
