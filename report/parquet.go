package report

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"os"
	"path/filepath"
	"strings"

	"github.com/parquet-go/parquet-go"
	"github.com/parquet-go/parquet-go/compress/zstd"
)

// schemaVersion is that of the output tables: the first number rises when a
// column changes its meaning, the second when one is added.
const schemaVersion = "1.1"

// rowGroup is how many rows a row group holds at most: small enough that a
// reader who wants one site skips nearly all of a large fleet's (our choice).
const rowGroup = 20_000

// parquetFile writes rows of one type to a Parquet file, a batch at a time, in the
// order that its table says.
type parquetFile[T any] struct {
	table Table
	file  *os.File
	w     *parquet.GenericWriter[T]
}

// createParquet opens the file of a table in a run's folder.
func createParquet[T any](t Table, dir string) (*parquetFile[T], error) {
	f, err := os.Create(filepath.Join(dir, t.File))
	if err != nil {
		return nil, err
	}
	var by []parquet.SortingColumn
	for _, c := range t.Sorted {
		by = append(by, parquet.Ascending(c))
	}
	return &parquetFile[T]{t, f, parquet.NewGenericWriter[T](f,
		parquet.Compression(&zstd.Codec{Level: zstd.SpeedFastest}),
		parquet.CreatedBy("rowen", "1", "0"),
		parquet.MaxRowsPerRowGroup(rowGroup),
		parquet.SortingWriterConfig(parquet.SortingColumns(by...)),
	)}, nil
}

func (p *parquetFile[T]) write(rows ...T) error {
	_, err := p.w.Write(rows)
	return err
}

// close ends the file; its footer says what run wrote it and what its columns are.
func (p *parquetFile[T]) close(m Manifest) error {
	if p == nil { // it could not be made
		return nil
	}
	for _, kv := range metadata(p.table, m) {
		p.w.SetKeyValueMetadata(kv[0], kv[1])
	}
	return errors.Join(p.w.Close(), p.file.Close())
}

// metadata is what a table's file says of itself.
func metadata(t Table, m Manifest) [][2]string {
	columns, err := json.Marshal(fieldsOf(t.Columns, m.Currency))
	if err != nil {
		panic(err) // texts and booleans only
	}
	return [][2]string{{"rowen.table", t.Name}, {"rowen.schema_version", schemaVersion}, {"rowen.run_id", m.RunID},
		{"rowen.version", m.Version}, {"rowen.report_month", m.Month}, {"rowen.currency", m.Currency}, {"rowen.columns", string(columns)}}
}

// runID names a run by what went into it: the same version, settings and inputs
// give the same id.
func runID(m Manifest) (string, error) {
	b, err := json.Marshal([]any{m.Program, m.Version, m.Name, m.Month, m.Settings, m.Inputs})
	if err != nil {
		return "", err
	}
	sum := sha256.Sum256(b)
	return strings.Join([]string{m.Month, hex.EncodeToString(sum[:6])}, "-"), nil
}

// namedTable is the definition of one table.
func namedTable(name string) Table {
	for _, t := range Tables() {
		if t.Name == name {
			return t
		}
	}
	panic("report: no table " + name)
}
