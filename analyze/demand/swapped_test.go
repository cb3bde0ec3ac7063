package demand

import (
	"math"
	"slices"
	"testing"

	"rowen/ingest"
)

// withSun gives a home an array of a plain bell from 7 to 19 o'clock.
func withSun(h home) Input {
	in := h.input(true)
	made := make([]float64, in.Series.Len())
	for i := range made {
		if hour := i % 24; hour > 6 && hour < 19 {
			made[i] = 3000 * math.Sin(math.Pi*float64(hour-6)/13)
		}
	}
	in.Series.Wh[ingest.Production] = made
	return in
}

// Two channels that swap places in the last 44 days change nothing of what is
// said, but for the day on which it began.
func TestSwappedChannels(t *testing.T) {
	want := Assess(withSun(plain(5)))
	in := withSun(plain(5))
	use, made := in.Series.Wh[ingest.Consumption], in.Series.Wh[ingest.Production]
	for i := len(use) - 44*24 + 9; i < len(use); i++ {
		use[i], made[i] = made[i], use[i]
	}
	before := slices.Clone(use)
	got := Assess(in)
	if len(got.Events) > 0 {
		t.Errorf("swapped channels are an event: %s", got.Events[0].Says)
	}
	near(t, "next year", got.NextYearKWh, want.NextYearKWh, 0.01*want.NextYearKWh)
	for k, m := range want.Months {
		near(t, "production of a month", got.Months[k].ProductionKWh, m.ProductionKWh, 0.05*m.ProductionKWh)
	}
	has := func(r Result) bool {
		return slices.ContainsFunc(r.Caveats, func(c ingest.Caveat) bool { return c.Code == "channels_swapped" })
	}
	if !has(got) || has(want) {
		t.Errorf("said: %v; of channels in order: %v", has(got), has(want))
	}
	for i := range before {
		if math.Float64bits(before[i]) != math.Float64bits(use[i]) {
			t.Fatal("the readings were changed")
		}
	}
}
