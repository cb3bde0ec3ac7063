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

	// careful sets the answer that protects somebody, for a cell that cannot be
	// read; nil: such a cell sets its row aside.
	careful     func(r *R)
	carefulText string
}

func (c column[R]) required() column[R] { c.Required = true; return c }
func (c column[R]) mayBeBlank() column[R] {
	c.blankOK = true
	return c
}
func (c column[R]) hidden() column[R] { c.personal = true; return c }

// countsAsYes keeps a row whose cell cannot be read: it counts as yes, which is the
// careful answer where the column protects somebody.
func (c column[R]) countsAsYes(at func(*R) *ingest.Opt[bool]) column[R] {
	c.careful = func(r *R) { *at(r) = ingest.Some(true) }
	c.carefulText = "the row is kept, and the cell counts as yes, the careful answer"
	return c
}

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
		v, err := parseDate(cell)
		if err != nil {
			return err
		}
		if v.Year() < 1900 || v.Year() > 2200 {
			return errors.New("must be a date from 1900 to 2200, as 2026-10-31")
		}
		*at(r) = v
		return nil
	}}
}

// dateForms are the ways to write a date that can mean one day only. A stamp's
// time of day is left off: spreadsheets and notebooks write midnight.
var dateForms = []string{
	time.DateOnly, "2006/01/02", "2006.01.02", "2.1.2006", "2 Jan 2006", "2-Jan-2006", "Jan 2, 2006",
	"2006-01-02 15:04:05", "2006-01-02T15:04:05", time.RFC3339,
}

// parseDate reads a date that can mean one day only. Of 03/04/2026 nobody can
// say whether it is March or April; 31/10/2026 is clear.
func parseDate(cell string) (time.Time, error) {
	for _, form := range dateForms {
		if v, err := time.Parse(form, cell); err == nil {
			return time.Date(v.Year(), v.Month(), v.Day(), 0, 0, 0, 0, time.UTC), nil
		}
	}
	dayFirst, err1 := time.Parse("2/1/2006", cell)
	monthFirst, err2 := time.Parse("1/2/2006", cell)
	switch {
	case err1 == nil && err2 == nil && !dayFirst.Equal(monthFirst):
		return time.Time{}, fmt.Errorf("may be %s or %s: write it as 2026-10-31", monthFirst.Format(time.DateOnly), dayFirst.Format(time.DateOnly))
	case err1 == nil:
		return dayFirst, nil
	case err2 == nil:
		return monthFirst, nil
	}
	return time.Time{}, errors.New("must be a date as 2026-10-31")
}

func flag[R any](name, text string, at func(*R) *ingest.Opt[bool]) column[R] {
	return column[R]{Column: Column{Name: name, Type: "yes or no", Text: text}, set: func(r *R, cell string) error {
		switch strings.ToLower(cell) {
		case "":
			*at(r) = ingest.Opt[bool]{}
		case "true", "t", "yes", "y", "1":
			*at(r) = ingest.Some(true)
		case "false", "f", "no", "n", "0":
			*at(r) = ingest.Some(false)
		default:
			return errors.New("must be one of true, false, yes, no, t, f, y, n, 1, 0")
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
