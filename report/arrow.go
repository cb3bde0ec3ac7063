package report

import (
	"fmt"
	"io"
	"reflect"

	"github.com/apache/arrow/go/v17/arrow"
	"github.com/apache/arrow/go/v17/arrow/array"
	"github.com/apache/arrow/go/v17/arrow/ipc"
	"github.com/apache/arrow/go/v17/arrow/memory"
)

// arrowBatch is how many rows go into one record batch (our choice: a few MB).
const arrowBatch = 16_384

// ExportArrow writes one table of a run as an Arrow IPC stream, for programs that
// take columns from a pipe. Units and meanings travel as the fields' metadata.
//
// Refuses: a table that is no Parquet table of a run; the call list, which holds
// personal data, is not one.
func ExportArrow(w io.Writer, run, table string) error {
	switch table {
	case "sites", "candidates":
		return exportArrow[SiteRow](w, run, table)
	case "options":
		return exportArrow[OptionRow](w, run, table)
	case "monthly":
		return exportArrow[MonthRow](w, run, table)
	}
	return fmt.Errorf("exporting table %q: must be one of sites, candidates, options, monthly", table)
}

func exportArrow[T any](w io.Writer, run, table string) error {
	rows, err := readTable[T](run, table+".parquet")
	if err != nil {
		return err
	}
	cols := columnsOf(reflect.TypeFor[T]())
	schema := arrow.NewSchema(arrowFields(cols, reflect.TypeFor[T]()), nil)
	out := ipc.NewWriter(w, ipc.WithSchema(schema))
	b := array.NewRecordBuilder(memory.DefaultAllocator, schema)
	defer b.Release()
	for from := 0; from < len(rows); from += arrowBatch {
		for i := from; i < min(from+arrowBatch, len(rows)); i++ {
			v := reflect.ValueOf(&rows[i]).Elem()
			for c := range cols {
				appendArrow(b.Field(c), v.Field(cols[c].index))
			}
		}
		rec := b.NewRecord()
		err := out.Write(rec)
		rec.Release()
		if err != nil {
			return fmt.Errorf("exporting table %q: %w", table, err)
		}
	}
	if err := out.Close(); err != nil {
		return fmt.Errorf("exporting table %q: %w", table, err)
	}
	return nil
}

// arrowFields are the columns' definitions in Arrow's types.
func arrowFields(cols []Column, t reflect.Type) []arrow.Field {
	fields := make([]arrow.Field, len(cols))
	for i, c := range cols {
		meta := map[string]string{"description": c.Says}
		if c.Unit != "" {
			meta["unit"] = c.Unit
		}
		fields[i] = arrow.Field{Name: c.Name, Type: arrowType(c, t.Field(c.index).Type), Nullable: c.Nullable, Metadata: arrow.MetadataFrom(meta)}
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
