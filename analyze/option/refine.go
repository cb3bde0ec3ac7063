package option

import (
	"math"

	"rowen/ingest"
)

// meterMinutes is the interval that most utilities meter by (common practice);
// finer readings are brought together to it.
const meterMinutes = 15

// AtMeteringInterval brings a site from hours to the interval that the utility
// meters by, where its readings are that fine: its use by the shape of its use,
// all output by the shape of its output. False: the readings do not allow it,
// and the site stays by the hour.
//
// Cost: every later step takes as many times longer as an hour has intervals.
func (in *Input) AtMeteringInterval(fine *ingest.Fine) bool {
	load, shaped := Refine(in.LoadWh, in.Window, fine, ingest.Consumption)
	made, shapedOutput := Refine(in.ProductionWh, in.Window, fine, ingest.Production)
	if load == nil || made == nil || shaped < leastShaped || shapedOutput < leastShaped/3 {
		return false
	}
	in.LoadWh, in.ProductionWh = load, made
	if in.SickWh != nil {
		in.SickWh, _ = Refine(in.SickWh, in.Window, fine, ingest.Production)
	}
	planes := make([]Candidate, len(in.Planes))
	for i, p := range in.Planes {
		p.UnitWh, _ = Refine(p.UnitWh, in.Window, fine, ingest.Production)
		planes[i] = p
	}
	in.Planes = planes
	return true
}

// leastShaped is the share of the hours whose shape must be known; of the
// output's a third is enough, since there is none by night (our choice).
const leastShaped = 0.75

// Refine shares each hour of a series over the quarters (or halves) of finer
// readings, by the shape that the same hour had in them, so that use and output
// meet at the interval that the utility meters by.
//
// In:      hourly Wh of the window; the readings at their native step; the
// channel whose shape is taken.
// Out:     Wh at that step or at 15 minutes, whichever is longer, each hour's sum
// unchanged; nil where the readings are not finer than an hour or lack the
// channel.
// Edges:   an hour with a missing step, or without any energy in it, is shared
// evenly; the share of hours with a shape is returned.
// Source:  methods 11.1: bills net on the metering interval.
// Cost:    one walk, one slice.
func Refine(hourlyWh []float64, window ingest.Window, fine *ingest.Fine, channel ingest.Channel) (wh []float64, shaped float64) {
	if fine == nil || fine.StepMinutes <= 0 || fine.StepMinutes >= 60 || 60%fine.StepMinutes != 0 || fine.Wh[channel] == nil {
		return nil, 0
	}
	native, from := 60/fine.StepMinutes, fine.Wh[channel]
	steps := native
	if fine.StepMinutes < meterMinutes && native%(60/meterMinutes) == 0 {
		steps = 60 / meterMinutes
	}
	wh = make([]float64, len(hourlyWh)*steps)
	for h, energy := range hourlyWh {
		out := wh[h*steps : (h+1)*steps]
		at := (int(window.Start-fine.Start) + h) * native
		sum := math.NaN()
		if at >= 0 && at+native <= len(from) {
			sum = 0
			for i, v := range from[at : at+native] {
				out[i*steps/native] += float64(v) // NaN where one is missing
				sum += float64(v)
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
			out[i] *= energy / sum
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
