package readings

import (
	"fmt"

	"github.com/parquet-go/parquet-go"

	"rowen/ingest"
)

// groupColumns are the columns of a row group that are read.
type groupColumns struct {
	site, stamp *parquetColumn // nil: the file has none
	values, all []*parquetColumn
	fixed       int32   // the site of all rows, where there is one
	wide        []int32 // the site of each value's column, where it has one
}

// open makes the columns of a row group ready; what it opened is to be closed
// also where there is an error.
func (r *parquetReader) open(in openParquet, group int64) (cols groupColumns, err error) {
	chunks := in.RowGroups()[group].ColumnChunks()
	for i, root := range in.Root().Columns() {
		c := &parquetColumn{column: &r.cols.col[i], name: r.cols.col[i].name}
		if c.role == skipped {
			continue // it may be nested, and has no chunk of its own then
		}
		chunk, typ := chunks[root.Index()], root.Type()
		switch c.role {
		case siteRole:
			cols.site = c
			c.decode, err = r.siteDecoder(typ)
		case stampRole:
			cols.stamp = c
			c.decode, err = stampReader(typ, &r.cols.clock)
		case valueRole:
			cols.values = append(cols.values, c)
			c.decode, err = valueDecoder(typ, r.cols.decimal, c.perUnit)
		}
		if err == nil {
			err = pagesFit(in.file, &in.Metadata().RowGroups[group].Columns[root.Index()].MetaData)
		}
		if err != nil {
			return cols, fmt.Errorf("column %q: %w", c.name, err)
		}
		c.pages, c.buffer = chunk.Pages(), valueBuffers.Get().(*[]int64)
		cols.all = append(cols.all, c)
	}
	if r.cols.site != "" {
		cols.fixed = r.sites.number([]byte(r.cols.site))
	}
	cols.wide = make([]int32, len(cols.values))
	for i, c := range cols.values {
		if c.site != "" {
			cols.wide[i] = r.sites.number([]byte(c.site))
		}
	}
	return cols, nil
}

func (cols *groupColumns) close() {
	for _, c := range cols.all {
		if c.page != nil {
			parquet.Release(c.page)
		}
		c.pages.Close()
		valueBuffers.Put(c.buffer)
	}
}

// longRow takes one row of a site with all its channels.
func (r *parquetReader) longRow(cols *groupColumns, flags Flag, t int64, bad fault) error {
	r.tally.Rows++
	number := cols.fixed
	if cols.site != nil {
		n := cols.site.take()
		if n == Missing || n == badCell {
			bad = fault{cols.site.name, "", "site id is blank or holds other than A-Z a-z 0-9 . _ -, or more than 64 of them"}
		}
		number = int32(n)
	}
	vals := [ingest.NumChannels]int64{Missing, Missing, Missing, Missing}
	for _, c := range cols.values {
		v := c.take()
		if v == badCell {
			bad = fault{c.name, "", "must be a number below 100 GWh"}
			continue
		}
		c.fill(v, &vals)
		if c.net && v != Missing {
			flags |= Netted
		}
	}
	if bad.bad() {
		r.tally.reject(r.limits, bad.reject(r.file.Path, int64(r.row)))
		return nil
	}
	r.batch.add(number, t, r.row, flags, 0, &vals)
	if r.batch.full() {
		return r.batch.flush(r.emit)
	}
	return nil
}
