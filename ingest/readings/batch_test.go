package readings

// batchRow is a row of a batch but for its values.
type batchRow struct {
	Stretch
	Time int64
	Line int32
}

// rowsOf lists a batch's rows.
func rowsOf(b *Batch) (rows []batchRow) {
	for _, s := range b.Stretch {
		for i := range s.N {
			rows = append(rows, batchRow{s, s.Time + int64(i)*s.Step, s.Line + i*s.Stride})
		}
	}
	return rows
}
