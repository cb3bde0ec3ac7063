package report

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"reflect"
	"strings"

	"github.com/apache/arrow/go/v17/arrow"
	"github.com/apache/arrow/go/v17/arrow/array"
	"github.com/apache/arrow/go/v17/arrow/ipc"
	"github.com/apache/arrow/go/v17/arrow/memory"
)

// arrowBatch is how many rows go into one record batch (our choice: a few MB).
const arrowBatch = 16_384

// arrowTables are the tables of a run that can be exported: those in Parquet. The
// CSV tables hold personal data or are text as they stand.
var arrowTables = map[string]func(run string, t Table, to arrowSink) error{
	"sites": exportArrow[SiteRow], "candidates": exportArrow[SiteRow], "options": exportArrow[OptionRow], "monthly": exportArrow[MonthRow],
	"events": exportArrow[EventRow], "faults": exportArrow[FaultTableRow], "limits": exportArrow[LimitRow], "jobs": exportArrow[JobTableRow],
	"reasons": exportArrow[ReasonRow], "outcomes": exportArrow[OutcomeRow],
}

// ArrowTables names the tables that can be exported, in their order.
func ArrowTables() []string {
	var names []string
	for _, t := range Tables() {
		if arrowTables[t.Name] != nil {
			names = append(names, t.Name)
		}
	}
	return names
}

// arrowSink opens the writer of record batches once the schema is known.
type arrowSink func(*arrow.Schema) (arrowWriter, error)

type arrowWriter interface {
	Write(arrow.Record) error
	Close() error
}

// ExportArrow writes one table of a run as an Arrow IPC stream, for programs that
// take columns from a pipe. Units and meanings travel as the fields' metadata.
//
// Refuses: a table that is no Parquet table of a run; the call list, which holds
// personal data, is not one.
func ExportArrow(w io.Writer, run, table string) error {
	return export(run, table, func(s *arrow.Schema) (arrowWriter, error) { return ipc.NewWriter(w, ipc.WithSchema(s)), nil })
}

// ExportArrowFile writes one table of a run as an Arrow IPC file, which readers
// map into memory. The file appears whole or not at all.
func ExportArrowFile(path, run, table string) error {
	f, err := os.CreateTemp(filepath.Dir(path), ".unfinished-*")
	if err != nil {
		return fmt.Errorf("exporting table %q: %w", table, err)
	}
	err = export(run, table, func(s *arrow.Schema) (arrowWriter, error) { return ipc.NewFileWriter(f, ipc.WithSchema(s)) })
	if err = errors.Join(err, f.Close()); err == nil {
		err = os.Rename(f.Name(), path)
	}
	if err != nil {
		return errors.Join(err, os.Remove(f.Name()))
	}
	return nil
}

func export(run, table string, to arrowSink) error {
	write := arrowTables[table]
	if write == nil {
		return fmt.Errorf("exporting table %q: must be one of %s", table, strings.Join(ArrowTables(), ", "))
	}
	if err := write(run, namedTable(table), to); err != nil {
		return fmt.Errorf("exporting table %q: %w", table, err)
	}
	return nil
}

func exportArrow[T any](run string, t Table, to arrowSink) error {
	kept, err := tableMetadata(filepath.Join(run, t.File))
	if err != nil {
		return err
	}
	schema := arrow.NewSchema(arrowFields(t.Columns, reflect.TypeFor[T]()), kept)
	var out arrowWriter
	b := array.NewRecordBuilder(memory.DefaultAllocator, schema)
	defer b.Release()
	flush := func() error {
		rec := b.NewRecord()
		defer rec.Release()
		return out.Write(rec)
	}
	if out, err = to(schema); err != nil {
		return err
	}
	n := 0
	err = eachRow(run, t.File, func(row *T) error {
		v := reflect.ValueOf(row).Elem()
		for c := range t.Columns {
			appendArrow(b.Field(c), v.Field(t.Columns[c].index))
		}
		if n++; n%arrowBatch == 0 {
			return flush()
		}
		return nil
	})
	if err == nil && n%arrowBatch != 0 {
		err = flush()
	}
	return errors.Join(err, out.Close())
}

// tableMetadata is what a table's file says of its run, but for the columns,
// which the fields say one by one.
func tableMetadata(path string) (*arrow.Metadata, error) {
	f, p, err := openTable(path)
	if err != nil {
		return nil, readingRun(path, err)
	}
	defer f.Close()
	kept := map[string]string{}
	for _, kv := range p.Metadata().KeyValueMetadata {
		if kv.Key != "rowen.columns" {
			kept[kv.Key] = kv.Value
		}
	}
	m := arrow.MetadataFrom(kept)
	return &m, nil
}

// arrowFields are the columns' definitions in Arrow's types.
func arrowFields(cols []Column, t reflect.Type) []arrow.Field {
	fields := make([]arrow.Field, len(cols))
	for i, c := range cols {
		keys, values := []string{"description", "source"}, []string{c.Says, c.Source}
		if c.Unit != "" {
			keys, values = append(keys, "unit"), append(values, c.Unit)
		}
		if c.How != "" {
			keys, values = append(keys, "method"), append(values, c.How)
		}
		fields[i] = arrow.Field{Name: c.Name, Type: arrowType(c, t.Field(c.index).Type), Nullable: c.Nullable, Metadata: arrow.NewMetadata(keys, values)}
	}
	return fields
}
func arrowType(c Column, t reflect.Type) arrow.DataType {
	if t.Kind() == reflect.Pointer {
		t = t.Elem()
	}
	switch {
	case c.Type == "date":
		return arrow.FixedWidthTypes.Date32
	case t.Kind() == reflect.String:
		return arrow.BinaryTypes.String
	case t.Kind() == reflect.Bool:
		return arrow.FixedWidthTypes.Boolean
	case t.Kind() == reflect.Float64:
		return arrow.PrimitiveTypes.Float64
	case t.Kind() == reflect.Int32:
		return arrow.PrimitiveTypes.Int32
	case t.Kind() == reflect.Slice && len(c.Fields) > 0:
		return arrow.ListOfNonNullable(arrow.StructOf(arrowFields(c.Fields, t.Elem())...))
	case t.Kind() == reflect.Slice:
		return arrow.ListOfNonNullable(arrow.BinaryTypes.String)
	}
	panic("report: no Arrow type for " + t.String())
}

// appendArrow appends one value; a nil pointer is a null.
func appendArrow(b array.Builder, v reflect.Value) {
	if v.Kind() == reflect.Pointer {
		if v.IsNil() {
			b.AppendNull()
			return
		}
		v = v.Elem()
	}
	switch b := b.(type) {
	case *array.StringBuilder:
		b.Append(v.String())
	case *array.BooleanBuilder:
		b.Append(v.Bool())
	case *array.Float64Builder:
		b.Append(v.Float())
	case *array.Int32Builder:
		b.Append(int32(v.Int()))
	case *array.Date32Builder:
		b.Append(arrow.Date32(v.Int()))
	case *array.ListBuilder:
		b.Append(true)
		for i := range v.Len() {
			appendArrow(b.ValueBuilder(), v.Index(i))
		}
	case *array.StructBuilder:
		b.Append(true)
		for i := range v.NumField() {
			appendArrow(b.FieldBuilder(i), v.Field(i))
		}
	default:
		panic(fmt.Sprintf("report: no way to append to %T", b))
	}
}
