package register

import (
	"errors"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"rowen/ingest"
	"rowen/ingest/nearest"
)

// column is a Column together with how its cells are read into a row of type
// R. set gets every cell, "" where it is blank or the column is absent.
type column[R any] struct {
	Column
	set      func(r *R, cell string) error // the error says what must be, and the mend
	blankOK  bool                          // a required column whose cells may be blank
	personal bool                          // its values are never repeated in a message
}

func (c column[R]) required() column[R] { c.Required = true; return c }
func (c column[R]) mayBeBlank() column[R] {
	c.blankOK = true
	return c
}
func (c column[R]) hidden() column[R] { c.personal = true; return c }

var errBlank = errors.New("must not be blank")

var idPattern = regexp.MustCompile(`^[A-Za-z0-9._-]{1,64}$`)

func id[R any](name, text string, at func(*R) *string) column[R] {
	return column[R]{Column: Column{Name: name, Type: "id", Text: text}, set: func(r *R, cell string) error {
		*at(r) = cell
		if cell != "" && !idPattern.MatchString(cell) {
			return errors.New("must be 1 to 64 of A-Z a-z 0-9 . _ -")
		}
		return nil
	}}
}

func text[R any](name, text string, at func(*R) *string) column[R] {
	return column[R]{Column: Column{Name: name, Type: "text", Text: text}, set: func(r *R, cell string) error {
		*at(r) = cell
		return nil
	}}
}

func choice[R any](name, text string, among []string, at func(*R) *string) column[R] {
	return column[R]{Column: Column{Name: name, Type: "one of " + strings.Join(among, ", "), Text: text}, set: func(r *R, cell string) error {
		*at(r) = cell
		if cell == "" || slices.Contains(among, cell) {
			return nil
		}
		return errors.New("must be one of " + strings.Join(among, ", ") + nearest.Hint(cell, among))
	}}
}

// number reads lo <= value <= hi; blank is NaN. Leave the upper limit open with
// math.Inf(1).
func number[R any](name, unit string, lo, hi float64, text string, at func(*R) *float64) column[R] {
	c := Column{Name: name, Type: "number", Unit: unit, Limit: limitText(lo, hi), Text: text}
	return column[R]{Column: c, set: func(r *R, cell string) error {
		*at(r) = math.NaN()
		if cell == "" {
			return nil
		}
		v, err := parseNumber(cell)
		if err != nil {
			return err
		}
		if v < lo || v > hi {
			return errors.New(strings.TrimSpace("must be " + c.Limit + " " + unit))
		}
		*at(r) = v
		return nil
	}}
}

// count reads a whole number, blank is not known.
func count[R any](name, unit string, lo, hi int, text string, at func(*R) *ingest.Opt[int]) column[R] {
	c := Column{Name: name, Type: "whole number", Unit: unit, Limit: limitText(float64(lo), float64(hi)), Text: text}
	return column[R]{Column: c, set: func(r *R, cell string) error {
		*at(r) = ingest.Opt[int]{}
		if cell == "" {
			return nil
		}
		v, err := strconv.Atoi(cell)
		if err != nil {
			return errors.New("must be a whole number")
		}
		if v < lo || v > hi {
			return errors.New(strings.TrimSpace("must be " + c.Limit + " " + unit))
		}
		*at(r) = ingest.Some(v)
		return nil
	}}
}

func date[R any](name, text string, at func(*R) *time.Time) column[R] {
	return column[R]{Column: Column{Name: name, Type: "date", Text: text}, set: func(r *R, cell string) error {
		*at(r) = time.Time{}
		if cell == "" {
			return nil
		}
		v, err := time.Parse(time.DateOnly, cell)
		if err != nil {
			return errors.New("must be a date as 2026-10-31")
		}
		if v.Year() < 1900 || v.Year() > 2200 {
			return errors.New("must be a date from 1900 to 2200, as 2026-10-31")
		}
		*at(r) = v
		return nil
	}}
}

func flag[R any](name, text string, at func(*R) *ingest.Opt[bool]) column[R] {
	return column[R]{Column: Column{Name: name, Type: "yes or no", Text: text}, set: func(r *R, cell string) error {
		switch cell {
		case "":
			*at(r) = ingest.Opt[bool]{}
		case "true", "yes", "1":
			*at(r) = ingest.Some(true)
		case "false", "no", "0":
			*at(r) = ingest.Some(false)
		default:
			return errors.New("must be one of true, false, yes, no, 1, 0")
		}
		return nil
	}}
}

// plainNumber is how a number is written: no grouping, no unit, no hexadecimal.
var plainNumber = regexp.MustCompile(`^[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?$`)

func parseNumber(s string) (float64, error) {
	v, err := strconv.ParseFloat(s, 64)
	if err != nil || math.IsInf(v, 0) || !plainNumber.MatchString(s) {
		return 0, errors.New("must be a number with a decimal point, without unit or grouping")
	}
	return v, nil
}

func limitText(lo, hi float64) string {
	if math.IsInf(hi, 1) {
		return fmt.Sprintf(">= %g", lo)
	}
	return fmt.Sprintf(">= %g and <= %g", lo, hi)
}

var softwarePattern = regexp.MustCompile(`^\d+(\.\d+)*$`)

func software[R any](name, text string, at func(*R) *string) column[R] {
	return column[R]{Column: Column{Name: name, Type: "version", Text: text}, set: func(r *R, cell string) error {
		*at(r) = cell
		if cell != "" && !softwarePattern.MatchString(cell) {
			return errors.New("must be numbers with points, as 5.2.1180")
		}
		return nil
	}}
}
