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

// csvFile writes rows of one type as RFC 4180 with a header. Text that a
// spreadsheet would take for a formula gets an apostrophe in front.
type csvFile[T any] struct {
	cols   []Column
	out    *csv.Writer
	record []string
}

func newCSV[T any](w io.Writer, cols []Column) (*csvFile[T], error) {
	c := &csvFile[T]{cols, csv.NewWriter(w), make([]string, len(cols))}
	for i, col := range cols {
		c.record[i] = col.Name
	}
	return c, c.out.Write(c.record)
}

func (c *csvFile[T]) write(row *T) error {
	v := reflect.ValueOf(row).Elem()
	for i, col := range c.cols {
		c.record[i] = cell(v.Field(col.index), col.Type == "date")
	}
	return c.out.Write(c.record)
}

func (c *csvFile[T]) close() error {
	c.out.Flush()
	return c.out.Error()
}

// writeCSV writes a whole table.
func writeCSV[T any](w io.Writer, rows []T) error {
	c, err := newCSV[T](w, columnsOf(reflect.TypeFor[T](), ""))
	if err != nil {
		return err
	}
	for r := range rows {
		if err := c.write(&rows[r]); err != nil {
			return err
		}
	}
	return c.close()
}

func writeCSVFile[T any](path string, rows []T) error {
	f, err := os.Create(path)
	if err != nil {
		return err
	}
	return errors.Join(writeCSV(f, rows), f.Close())
}

// cell is a value as text; what is not known is blank, as in the input tables.
func cell(v reflect.Value, date bool) string {
	if v.Kind() == reflect.Pointer {
		if v.IsNil() {
			return ""
		}
		v = v.Elem()
	}
	if date {
		return dayText(int32(v.Int()))
	}
	switch v.Kind() {
	case reflect.String:
		return plainText(v.String())
	case reflect.Float64:
		if x := v.Float(); math.IsNaN(x) || math.IsInf(x, 0) {
			return ""
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
