package headroom

import (
	"fmt"
	"math"
	"strings"

	"rowen/ingest"
)

const (
	// The years after which a roof's covering is usually due (common practice): caution from three quarters on;
	// modules live 25 years and should not have to come off for it.
	shingleLifeYears, flatLifeYears, tileLifeYears, metalLifeYears = 20, 20, 40, 40

	// shadedPct is the loss of beam light from which on a plane deserves a look
	// before it is counted on (our choice).
	shadedPct = 15

	// rackKgPerM2 and moduleKgPerM2 are the usual weights: 12 to 20 kg/m2
	// together, 14.6 (3 lb/ft2) in the middle (common practice).
	rackKgPerM2, moduleKgPerM2 = 3.1, 11.5
	// deadLoadKgPerM2 is the expedited-permit screen of 5 lb/ft2 (published,
	// Solar ABCs): above it a structural review is needed.
	deadLoadKgPerM2 = 24.4
)

// roofCautions says what a person must look at on the planes that take modules.
func roofCautions(in Input, rooms []PlaneRoom) []Caution {
	var out []Caution
	say := func(code, format string, a ...any) {
		out = append(out, Caution{Code: code, Says: fmt.Sprintf(format, a...)})
	}
	var ageless, shadeless, kindless, ventless []string
	for _, pr := range rooms {
		pl := pr.Plane
		if pr.High == 0 || pl.RoofKind == "ground" {
			continue
		}
		if why := outlineProblem(pl.PolygonM); len(pl.PolygonM) > 0 && why != "" {
			say("outline_unusable", "Plane %s: %s.", pl.ID, why)
		}
		life := map[string]int{"shingle": shingleLifeYears, "flat": flatLifeYears, "tile": tileLifeYears, "metal": metalLifeYears}[pl.RoofKind]
		switch {
		case !pl.RoofYear.Known || in.AsOf.IsZero():
			ageless = append(ageless, pl.ID)
		case life > 0 && in.AsOf.Year()-pl.RoofYear.V > life*3/4:
			say("roof_old", "Plane %s: its %s roof is of %d, %d years old, and usually lasts about %d: decide about the roof before modules go on it.",
				pl.ID, pl.RoofKind, pl.RoofYear.V, in.AsOf.Year()-pl.RoofYear.V, life)
		}
		switch {
		case pl.ShadingPct > shadedPct:
			say("plane_shaded", "Plane %s loses %g %% of its beam light to shade: find what casts the shade before counting on the plane.", pl.ID, pl.ShadingPct)
		case !(pl.ShadingPct >= 0):
			shadeless = append(shadeless, pl.ID)
		}
		if math.IsNaN(pl.BlockedM2) && len(pl.ObstaclesM) == 0 {
			ventless = append(ventless, pl.ID)
		}
		switch pl.RoofKind {
		case "tile":
			say("tile_roof", "Plane %s is tiled: hooks, broken tiles, and a second layer underneath need a look; the dead-load screen for light coverings does not apply to it.", pl.ID)
		case "flat":
			say("flat_roof", "Plane %s is flat: ballast and wind uplift need a structural check, and tilted rows stand apart so as not to shade each other.", pl.ID)
		case "":
			kindless = append(kindless, pl.ID)
		}
	}
	for _, u := range []struct {
		code, what string
		planes     []string
	}{{"roof_age_unknown", "the roof's age", ageless}, {"shading_unknown", "the shading", shadeless}, {"roof_kind_unknown", "the kind of roof", kindless}, {"blocked_unknown", "vents and skylights", ventless}} {
		if len(u.planes) > 0 {
			say(u.code, "Not in the register: %s of plane %s.", u.what, strings.Join(u.planes, ", "))
		}
	}
	if kg := LoadKgPerM2(in.Module); kg > deadLoadKgPerM2 {
		say("dead_load_review", "Modules and rails weigh %s kg/m2, above the screen of %g kg/m2: a structural review is needed.", num(kg), deadLoadKgPerM2)
	}
	return out
}

// LoadKgPerM2 is the dead load of modules and rails on the roof.
func LoadKgPerM2(m ingest.Module) float64 {
	if m.WeightKg > 0 && m.WidthM > 0 && m.HeightM > 0 {
		return m.WeightKg/(m.WidthM*m.HeightM) + rackKgPerM2
	}
	return moduleKgPerM2 + rackKgPerM2
}
