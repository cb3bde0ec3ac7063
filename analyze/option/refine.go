package option

import (
	"math"

	"rowen/ingest"
)

// Refine shares each hour of a series over the steps of finer readings, by the
// shape that the same hour had in them, so that use and output meet at the
// interval that the utility meters.
//
// In:      hourly Wh of the window; the readings at their native step; the
// channel whose shape is taken.
// Out:     Wh at that step, each hour's sum unchanged; nil where the readings
// are not finer than an hour or lack the channel.
// Edges:   an hour with a missing step, or without any energy in it, is shared
// evenly; the share of hours with a shape is returned.
// Source:  contract section 4 leaves the interval open; methods 11.1 nets on the
// metering interval.
// Cost:    one walk, one slice.
func Refine(hourlyWh []float64, window ingest.Window, fine *ingest.Fine, channel ingest.Channel) (wh []float64, shaped float64) {
	if fine == nil || fine.StepMinutes <= 0 || fine.StepMinutes >= 60 || 60%fine.StepMinutes != 0 || fine.Wh[channel] == nil {
		return nil, 0
	}
	steps, from := 60/fine.StepMinutes, fine.Wh[channel]
	wh = make([]float64, len(hourlyWh)*steps)
	for h, energy := range hourlyWh {
		out := wh[h*steps : (h+1)*steps]
		at := (int(window.Start-fine.Start) + h) * steps
		sum := math.NaN()
		if at >= 0 && at+steps <= len(from) {
			sum = 0
			for _, v := range from[at : at+steps] {
				sum += float64(v) // NaN where one is missing
			}
		}
		if !(sum > 0) {
			for i := range out {
				out[i] = energy / float64(steps)
			}
			continue
		}
		shaped++
		for i := range out {
			out[i] = energy * float64(from[at+i]) / sum
		}
	}
	return wh, shaped / float64(len(hourlyWh))
}

// HourlyBias is how much more is sold, as a share of the output, when use and
// output meet by the step of the readings instead of by the hour.
//
// In:      the readings at their native step, with output and use.
// Out:     (sold by the step - sold by the hour) / output, over the hours that
// have both in full; NaN where there are none.
// Edges:   never negative: what nets within a step nets within its hour.
func HourlyBias(fine *ingest.Fine) float64 {
	if fine == nil || fine.StepMinutes >= 60 || fine.Wh[ingest.Production] == nil || fine.Wh[ingest.Consumption] == nil {
		return math.NaN()
	}
	steps := 60 / fine.StepMinutes
	made, used := fine.Wh[ingest.Production], fine.Wh[ingest.Consumption]
	total, byStep, byHour := 0.0, 0.0, 0.0
	for at := 0; at+steps <= min(len(made), len(used)); at += steps {
		sold, net, output := 0.0, 0.0, 0.0
		for i := at; i < at+steps; i++ {
			d := float64(made[i]) - float64(used[i])
			net += d
			output += float64(made[i])
			sold += max(0, d)
		}
		if math.IsNaN(net) {
			continue
		}
		total += output
		byStep += sold
		byHour += max(0, net)
	}
	if !(total > 0) {
		return math.NaN()
	}
	return (byStep - byHour) / total
}
