package readings

import (
	"context"
	"errors"
	"fmt"
	"os"
	"strings"

	"github.com/parquet-go/parquet-go"

	"rowen/ingest"
	"rowen/ingest/regular"
)

// prepareParquet finds the mapping's columns in the schema.
func (f *File) prepareParquet() error {
	in, err := f.openParquet()
	if err != nil {
		return err
	}
	defer in.close()
	names := make([]string, 0, len(in.Root().Columns()))
	for _, c := range in.Root().Columns() {
		names = append(names, c.Name())
	}
	if f.cols, err = bind(f.mapping, f.Path, names); err != nil {
		return err
	}
	f.Notes = f.cols.notes
	for i, c := range in.Root().Columns() {
		if f.cols.col[i].role == skipped {
			continue
		}
		if !c.Leaf() || c.Repeated() || c.Type().PhysicalType() == nil { // or a damaged schema calls it a map or a list
			return fmt.Errorf("column %q is nested: only plain columns can be mapped", c.Name())
		}
		if f.cols.col[i].role == stampRole {
			if _, err := stampReader(c.Type(), &f.cols.clock); err != nil {
				return fmt.Errorf("column %q: %w", c.Name(), err)
			}
		}
		if f.cols.col[i].role == clockRole {
			return errors.New("time.time_column is for text files")
		}
	}
	return nil
}

type openParquet struct {
	*parquet.File
	file *os.File
}

func (o openParquet) close() { o.file.Close() }

// damagedParquet turns what the library does with some damaged pages into the
// file's own error.
func damagedParquet(err *error) {
	if recover() != nil {
		*err = errors.New("a page of the file is damaged: write the file anew")
	}
}

func (f *File) openParquet() (_ openParquet, err error) {
	defer damagedParquet(&err)
	in, err := regular.Open(f.abs)
	if err != nil {
		return openParquet{}, err
	}
	if err := regular.FooterFits(in, f.Size); err != nil {
		return openParquet{}, errors.Join(err, in.Close())
	}
	p, err := parquet.OpenFile(in, f.Size, parquet.SkipPageIndex(true), parquet.SkipBloomFilters(true))
	if err == nil {
		err = unpacksTooFar(p, f.limits)
	}
	if err != nil {
		in.Close()
		return openParquet{}, err
	}
	return openParquet{p, in}, nil
}

// unpacksTooFar refuses a column that grows beyond what packed texts may: its
// pages would have to be held.
func unpacksTooFar(p *parquet.File, o Limits) error {
	for g, group := range p.Metadata().RowGroups {
		for _, c := range group.Columns {
			m := &c.MetaData
			if most := freeUnpacked + m.TotalCompressedSize*o.ratio(); m.TotalUncompressedSize > most {
				return fmt.Errorf("column %s of row group %d unpacks to %d MB, over %d times its size: limits.max_unpacked_ratio allows no more",
					strings.Join(m.PathInSchema, "."), g+1, m.TotalUncompressedSize>>20, o.ratio())
			}
		}
	}
	return nil
}

// parquetParts makes parts of some row groups each; from and to are the numbers
// of the first and of that after the last.
func (f *File) parquetParts() []Part {
	in, err := f.openParquet()
	if err != nil {
		return []Part{{f, 0, 1, true, f.Size, nil}}
	}
	defer in.close()
	if !f.cols.stamped {
		return []Part{{f, 0, int64(len(in.RowGroups())), true, f.Size, nil}}
	}
	var parts []Part
	from, bytes := 0, int64(0)
	groups := in.RowGroups()
	for i := range groups {
		for _, c := range in.Metadata().RowGroups[i].Columns {
			bytes += c.MetaData.TotalCompressedSize
		}
		if bytes >= parquetPart || i == len(groups)-1 {
			parts = append(parts, Part{f, int64(from), int64(i) + 1, from == 0, bytes, nil})
			from, bytes = i+1, 0
		}
	}
	return parts
}

// parquetPart is the least that one part of a file has, packed, for each opens
// the file anew (our choice).
const parquetPart = 4 << 20

// readParquet reads row groups page by page: every column is a stream of
// whole numbers (sites' numbers, seconds, thousandths) from which rows are
// taken in step.
func (p Part) readParquet(ctx context.Context, names *Names, o Limits, emit func(*Batch) error) (Tally, error) {
	in, err := p.file.openParquet()
	if err != nil {
		return Tally{}, err
	}
	defer in.close()
	r := &parquetReader{file: p.file, cols: p.file.cols, sites: siteNumbers{names, map[string]int32{}}, limits: o, emit: emit, batch: newBatch(p.file.cols.has)}
	for g := p.from; g < p.to && g < int64(len(in.RowGroups())); g++ {
		if err := r.group(ctx, in, g); err != nil {
			return r.tally, err
		}
	}
	r.tally.Lines = int64(r.row)
	return r.tally, r.batch.flush(r.emit)
}

type parquetReader struct {
	file   *File
	cols   *columns
	sites  siteNumbers
	limits Limits
	emit   func(*Batch) error
	batch  *Batch
	tally  Tally
	row    int32 // read so far in this part
}

func (r *parquetReader) group(ctx context.Context, in openParquet, group int64) error {
	cols, err := r.open(in, group)
	defer cols.close()
	if err != nil {
		return err
	}
	for left := in.RowGroups()[group].NumRows(); left > 0; left-- {
		if n, err := r.bulk(left, cols.fixed, cols.site, cols.stamp, cols.values); err != nil {
			return err
		} else if left -= n; left == 0 {
			break
		}
		for _, c := range cols.all {
			if ok, err := c.more(); err != nil {
				return err
			} else if !ok {
				return fmt.Errorf("column %q ends before the others", c.name)
			}
		}
		r.row++
		if r.row&0xffff == 0 && ctx.Err() != nil {
			return ctx.Err()
		}
		flags, t, bad := r.stamp(cols.stamp)
		if r.cols.wide {
			err = r.wideRow(cols.values, cols.wide, flags, t, bad)
		} else {
			err = r.longRow(&cols, flags, t, bad)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// bulk passes on as many rows at once as the pages allow, where all of them are
// whole: no value missing or bad, none turned round or cut in two. Their values
// stay where the pages have them. It takes none elsewhere, and the rows go one
// by one.
func (r *parquetReader) bulk(left int64, fixed int32, site, stamp *parquetColumn, values []*parquetColumn) (int64, error) {
	if r.cols.wide || stamp == nil {
		return 0, nil
	}
	n := min(left, stamp.whole())
	if site != nil {
		n = min(n, site.whole())
	}
	for _, c := range values {
		if n = min(n, c.whole()); c.neg || c.net {
			n = 0
		}
	}
	if n <= 0 {
		return 0, nil
	}
	if err := r.batch.flush(r.emit); err != nil {
		return 0, err
	}
	b := r.batch
	times := stamp.skip(int(n))
	var sites []int64
	if site != nil {
		sites = site.skip(int(n))
	}
	for i := 0; i < len(times); {
		if sites != nil {
			fixed = int32(sites[i])
		}
		b.place(fixed, times[i]>>1, r.row+int32(i)+1, Flag(times[i]&1)*Civil, 0)
		i++
		i += b.goOn(times[i:], sites[min(i, len(sites)):])
	}
	own := b.Value
	for _, c := range values {
		b.Value[c.channel] = c.skip(int(n))
	}
	err := r.batch.flush(r.emit)
	b.Value = own
	r.row += int32(n)
	r.tally.Rows += n
	return n, err
}

// goOn takes the rows that go on evenly with the last stretch, line by line, and
// counts them: their stamps as stampReader gives them, and their sites, unless
// all are of one.
func (b *Batch) goOn(times, sites []int64) int {
	s := b.last()
	if s.N < 2 || s.Stride != 1 {
		return 0
	}
	if len(sites) > 0 {
		site := int64(s.Site)
		for i, v := range sites {
			if v != site {
				times = times[:i]
				break
			}
		}
	}
	n, next := len(times), s.next()<<1
	if s.Flags&Civil != 0 {
		next |= 1
	}
	for i, t := range times {
		if t != next {
			n = i
			break
		}
		next += s.Step << 1
	}
	s.N += int32(n)
	b.rows += n
	return n
}

// stamp takes the row's stamp, or makes it where the file has none.
func (r *parquetReader) stamp(c *parquetColumn) (Flag, int64, fault) {
	if c == nil {
		f := Flag(0)
		if r.cols.civil {
			f = Civil
		}
		return f, r.cols.start + int64(r.row-1)*r.cols.step, fault{}
	}
	v := c.take()
	if v == Missing || v == badCell {
		return 0, 0, fault{c.name, "", "stamp is blank, unreadable or outside the years 1970 to 2200"}
	}
	// The decoder keeps one bit for the clock.
	if v&1 != 0 {
		return Civil, v >> 1, fault{}
	}
	return 0, v >> 1, fault{}
}

func (r *parquetReader) wideRow(values []*parquetColumn, site []int32, flags Flag, t int64, bad fault) error {
	r.tally.Rows += int64(len(values))
	if bad.bad() {
		for _, c := range values {
			c.take()
		}
		r.tally.reject(r.limits, bad.reject(r.file.Path, int64(r.row)))
		r.tally.SetAside += int64(len(values)) - 1
		return nil
	}
	for i, c := range values {
		v := c.take()
		if v == badCell {
			rej := fault{c.name, "", "must be a number below 100 GWh"}.reject(r.file.Path, int64(r.row))
			rej.SiteID = c.site
			r.tally.reject(r.limits, rej)
			v = Missing
		}
		vals := [ingest.NumChannels]int64{Missing, Missing, Missing, Missing}
		c.fill(v, &vals)
		f := flags
		if c.net && v != Missing {
			f |= Netted
		}
		r.batch.add(site[i], t, r.row, f, 0, &vals)
		if r.batch.full() {
			if err := r.batch.flush(r.emit); err != nil {
				return err
			}
		}
	}
	return nil
}
