package ingest

// Catalogue is the equipment and the rules that change by place and year.
type Catalogue struct {
	Modules   []Module         `yaml:"modules"`
	Inverters []Inverter       `yaml:"inverters"`
	Gateways  []GatewayModel   `yaml:"gateways"`
	Mixing    []MixingRule     `yaml:"mixing"`
	Profiles  []ServiceProfile `yaml:"profiles"`
}

// Module makes electricity on the roof.
type Module struct {
	Model                string  `yaml:"model"`
	Watts                float64 `yaml:"watts"` // STC
	WidthM               float64 `yaml:"width_m"`
	HeightM              float64 `yaml:"height_m"`
	TempCoefficientPctPC float64 `yaml:"temp_coefficient_pct_per_c"`
}

// Inverter is one model of inverter.
type Inverter struct {
	Model             string  `yaml:"model"`
	Family            string  `yaml:"family"`
	Generation        int     `yaml:"generation"`
	Kind              string  `yaml:"kind"` // micro or string
	ACWatts           float64 `yaml:"ac_watts"`
	MaxModuleWatts    float64 `yaml:"max_module_watts"`
	EfficiencyPct     float64 `yaml:"efficiency_pct"`
	PerBranch         int     `yaml:"per_branch"`
	BranchBreakerAmps float64 `yaml:"branch_breaker_amps"`
}

// GatewayModel is one model of monitoring gateway.
type GatewayModel struct {
	Model          string `yaml:"model"`
	MaxInverters   int    `yaml:"max_inverters"`
	LatestSoftware string `yaml:"latest_software"`
}

// MixingRule says which inverter generations may share a gateway, and when.
type MixingRule struct {
	Family      string   `yaml:"family"`
	Generations []int    `yaml:"generations"`
	Gateways    []string `yaml:"gateways"`
	MinSoftware string   `yaml:"min_software"`
	GridTypes   []string `yaml:"grid_types"`
	BlockedBy   []string `yaml:"blocked_by"` // backup_controller, storage
}

// ServiceProfile is the electrical rule set of a place and edition.
type ServiceProfile struct {
	ID                 string    `yaml:"id"`
	Volts              float64   `yaml:"volts"`
	Phases             int       `yaml:"phases"`
	BusbarPct          float64   `yaml:"busbar_pct"` // PV and main breaker together against the busbar, feed at opposite ends; 0: no busbar rule
	ContinuousFactor   float64   `yaml:"continuous_factor"`
	BreakerSizesAmps   []float64 `yaml:"breaker_sizes_amps"`
	ProgramCapPctOfUse float64   `yaml:"program_cap_pct_of_use"` // 0: none
	PerPhaseLimitKW    float64   `yaml:"per_phase_limit_kw"`     // 0: none
	Source             string    `yaml:"source"`
	Edition            string    `yaml:"edition"`
}

// Module finds a module model; nil where the catalogue has none.
func (c *Catalogue) Module(model string) *Module {
	for i := range c.Modules {
		if c.Modules[i].Model == model {
			return &c.Modules[i]
		}
	}
	return nil
}

// Inverter finds an inverter model; nil where the catalogue has none.
func (c *Catalogue) Inverter(model string) *Inverter {
	for i := range c.Inverters {
		if c.Inverters[i].Model == model {
			return &c.Inverters[i]
		}
	}
	return nil
}

// Gateway finds a gateway model; nil where the catalogue has none.
func (c *Catalogue) Gateway(model string) *GatewayModel {
	for i := range c.Gateways {
		if c.Gateways[i].Model == model {
			return &c.Gateways[i]
		}
	}
	return nil
}

// Profile finds a service profile; nil where the catalogue has none.
func (c *Catalogue) Profile(id string) *ServiceProfile {
	for i := range c.Profiles {
		if c.Profiles[i].ID == id {
			return &c.Profiles[i]
		}
	}
	return nil
}
