package demand

// Scratch is the working memory of one worker, kept from site to site so that
// a fleet does not pass through the garbage collector. It holds nothing that
// reaches a Result. Not safe for concurrent use.
type Scratch struct {
	model   linear
	cal     calendar
	use     []float64   // hours of use
	kelvin  []float64   // degree days by balance point
	maskedY [][]float64 // targets of the model
}

// lend gives a site the worker's memory; keep takes it back.
func (m *Scratch) lend(s *site) {
	s.model, s.cal, s.maskedY = m.model, m.cal, m.maskedY
}

func (m *Scratch) keep(s *site) {
	m.model, m.cal, m.maskedY = s.model, s.cal, s.maskedY
	if s.basis.wh != nil {
		m.use = s.basis.wh
	}
}
