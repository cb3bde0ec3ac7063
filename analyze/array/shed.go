package array

// Shed drops what is as long as the readings, and the sun's tables behind the
// candidates, so that the rest of a result can be kept for a whole fleet.
// ModuleOutput cannot be asked afterwards.
func (r *Result) Shed() {
	r.ExpectedWh, r.YearWh, r.IndexByDay, r.Months = nil, nil, nil, nil
	r.candidate = candidateBasis{}
}
