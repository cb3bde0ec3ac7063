package change

// The targets that are watched side by side. The first is what counts, the
// day's consumption; the others see one kind of load with less noise around it,
// and lend their sharpness to its date. All in kWh a day.
const (
	DayTotal   = iota
	NightFloor // 24 x the third lowest hour: what runs all the time
	PeakHour   // the highest hour: fast charging
	NightSum   // 22 to 6 o'clock: slow or timed charging
	MiddayFlat // 10 x the median hour from 8 to 18 o'clock: a pump on a timer
	NumTargets
)
