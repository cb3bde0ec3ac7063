package readings

import (
	"errors"
	"fmt"
	"io"
	"sync"

	"github.com/parquet-go/parquet-go"
)

// parquetColumn is one column chunk being read.
type parquetColumn struct {
	*column
	pages  parquet.Pages
	name   string
	decode decoder
	page   parquet.Page
	levels []byte // of the page, 1 = present; nil: all are
	rows   int    // left in the page
	at     int    // next row of the page
	values []int64
	buffer *[]int64 // what values lies in
	next   int      // next of values
	clean  bool     // no row of the page is missing or bad
}

// valueBuffers are the columns' buffers, to be used by the next row group.
var valueBuffers = sync.Pool{New: func() any { return new([]int64) }}

// take gives the next row's value.
func (c *parquetColumn) take() int64 {
	c.at++
	c.rows--
	if c.levels != nil && c.levels[c.at-1] == 0 {
		return Missing
	}
	v := c.values[c.next]
	c.next++
	return v
}

// more makes sure that the page has rows left; false at the end.
func (c *parquetColumn) more() (bool, error) {
	for c.rows == 0 {
		err := c.turn()
		if errors.Is(err, io.EOF) {
			return false, nil
		}
		if err != nil {
			return false, fmt.Errorf("column %q: %w", c.name, err)
		}
	}
	return true, nil
}

// turn goes to the next page; io.EOF: there is none. What the library does not
// survive in a page ends here, and nothing of our own is hidden with it.
func (c *parquetColumn) turn() (err error) {
	defer damagedParquet(&err)
	if c.page != nil {
		parquet.Release(c.page)
		c.page = nil
	}
	p, err := c.pages.ReadPage()
	if err != nil {
		return err
	}
	c.page, c.rows, c.at, c.next = p, int(p.NumValues()), 0, 0
	c.levels = p.DefinitionLevels()
	usable := false
	if c.values, usable, err = c.decode(p, (*c.buffer)[:0]); err != nil {
		return err
	}
	*c.buffer = c.values
	if c.present() != len(c.values) || c.levels != nil && len(c.levels) != c.rows {
		return fmt.Errorf("a page of %d rows has %d values: it is damaged", c.rows, len(c.values))
	}
	c.clean = usable && len(c.values) == c.rows
	return nil
}

// present is how many values the page's rows ask for.
func (c *parquetColumn) present() int {
	if c.levels == nil || len(c.values) == c.rows {
		return c.rows
	}
	n := 0
	for _, l := range c.levels {
		if l != 0 {
			n++
		}
	}
	return n
}

// allUsable tells whether no value is missing or bad: of those the two highest
// bits differ, and of no other.
func allUsable(values []int64) bool {
	mixed := int64(0)
	for _, v := range values {
		mixed |= v ^ v<<1
	}
	return mixed >= 0
}

// whole is how many rows of the page are left, where none of them is missing or
// bad; else 0.
func (c *parquetColumn) whole() int64 {
	if !c.clean {
		return 0
	}
	return int64(c.rows)
}

// skip takes the next n rows, of which none is missing.
func (c *parquetColumn) skip(n int) []int64 {
	c.at += n
	c.next += n
	c.rows -= n
	return c.values[c.next-n : c.next]
}
