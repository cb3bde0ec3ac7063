package demand

// Shed drops what is as long as the readings, so that the rest of a result can be
// kept for a whole fleet.
func (r *Result) Shed() {
	r.NextYearWh, r.Months = nil, nil
	for i := range r.Events {
		r.Events[i].profile = profile{}
	}
}
