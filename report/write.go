package report

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"reflect"
	"strconv"
)

// writeCSV writes rows as RFC 4180 with a header. Text that a spreadsheet would
// take for a formula gets an apostrophe in front.
func writeCSV[T any](w io.Writer, rows []T) error {
	cols := columnsOf(reflect.TypeFor[T](), "")
	out := csv.NewWriter(w)
	record := make([]string, len(cols))
	for i, c := range cols {
		record[i] = c.Name
	}
	if err := out.Write(record); err != nil {
		return err
	}
	for r := range rows {
		v := reflect.ValueOf(&rows[r]).Elem()
		for i, c := range cols {
			record[i] = cell(v.Field(c.index))
		}
		if err := out.Write(record); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}

func writeCSVFile[T any](path string, rows []T) error {
	f, err := os.Create(path)
	if err != nil {
		return err
	}
	return errors.Join(writeCSV(f, rows), f.Close())
}

func cell(v reflect.Value) string {
	switch v.Kind() {
	case reflect.String:
		return plainText(v.String())
	case reflect.Float64:
		if x := v.Float(); math.IsNaN(x) || math.IsInf(x, 0) {
			return "" // not known, as in the input tables
		}
		return strconv.FormatFloat(v.Float(), 'f', -1, 64)
	case reflect.Bool:
		return strconv.FormatBool(v.Bool())
	case reflect.Int32, reflect.Int64:
		return strconv.FormatInt(v.Int(), 10)
	}
	return fmt.Sprint(v.Interface())
}

// plainText keeps a spreadsheet from running a cell: =, @ and tabs always, + and
// - where no digit follows (a telephone number is left as it is).
func plainText(s string) string {
	if s == "" {
		return s
	}
	switch s[0] {
	case '=', '@', '\t', '\r':
		return "'" + s
	case '+', '-':
		for _, r := range s[1:] {
			if (r < '0' || r > '9') && r != ' ' && r != '-' && r != '(' && r != ')' && r != '.' {
				return "'" + s
			}
		}
	}
	return s
}
