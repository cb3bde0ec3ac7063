package demo

import (
	"bufio"
	"compress/gzip"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"time"

	"github.com/klauspost/compress/zstd"
	"golang.org/x/sync/errgroup"

	"rowen/ingest"
)

// WriteOptions say how the readings are cut into files.
type WriteOptions struct {
	SitesPerFile int // 0: 12
	Workers      int // 0: one a core
}

// Write writes the fleet as the contract's folder: settings, catalogue,
// tariffs, register tables, bills, outcomes, weather and readings. The
// readings come in plain, .gz and .zst files with columns in more than one
// order, one of them with its rows shuffled. The truth is not written.
//
// It refuses a folder that already holds readings: old files would be read
// with the new ones. The bytes do not depend on the number of workers.
func (m *Made) Write(dir string, o WriteOptions) error {
	if o.SitesPerFile <= 0 {
		o.SitesPerFile = 12
	}
	if o.Workers <= 0 {
		o.Workers = runtime.GOMAXPROCS(0)
	}
	readings := filepath.Join(dir, "readings")
	if old, err := os.ReadDir(readings); err == nil && len(old) > 0 {
		return fmt.Errorf("writing the demo fleet: %s already holds readings: choose another folder or remove it", readings)
	}
	if err := os.MkdirAll(readings, 0o755); err != nil {
		return fmt.Errorf("writing the demo fleet: %w", err)
	}
	if err := m.writeRegister(dir); err != nil {
		return fmt.Errorf("writing the demo fleet: %w", err)
	}
	var g errgroup.Group
	g.SetLimit(o.Workers)
	for i := 0; i*o.SitesPerFile < len(m.sites); i++ {
		sites := m.sites[i*o.SitesPerFile : min((i+1)*o.SitesPerFile, len(m.sites))]
		g.Go(func() error {
			if err := m.writePart(readings, i, sites); err != nil {
				return fmt.Errorf("writing the demo fleet: %w", err)
			}
			return nil
		})
	}
	return g.Wait()
}

// writePart writes the readings of some sites into one file.
func (m *Made) writePart(dir string, part int, sites []*site) (err error) {
	name := fmt.Sprintf("part-%03d.csv", part+1)
	switch part % 8 {
	case 2:
		name += ".gz"
	case 5:
	default:
		name += ".zst"
	}
	f, err := os.Create(filepath.Join(dir, name))
	if err != nil {
		return err
	}
	defer func() {
		if e := f.Close(); err == nil {
			err = e
		}
	}()
	var w io.WriteCloser
	switch filepath.Ext(name) {
	case ".gz":
		w, err = gzip.NewWriterLevel(f, gzip.BestSpeed)
	case ".zst":
		w, err = zstd.NewWriter(f, zstd.WithEncoderLevel(zstd.SpeedFastest), zstd.WithEncoderConcurrency(1))
	default:
		w = nopCloser{bufio.NewWriterSize(f, 1<<18)}
	}
	if err != nil {
		return err
	}
	layout := &layouts[part%len(layouts)]
	buf := append([]byte(nil), layout.header...)
	shuffle := part == 1 && !m.opts.PlainHomes && m.opts.StepMinutes == 60
	for _, s := range sites {
		rows := m.appendRows(buf, s, layout)
		if shuffle {
			rows = shuffled(rows, len(buf), s.seed)
		}
		if _, err := w.Write(rows); err != nil {
			return err
		}
		buf = rows[:0]
	}
	return w.Close()
}

type nopCloser struct{ *bufio.Writer }

func (n nopCloser) Close() error { return n.Flush() }

// layout is an order of columns.
type layout struct {
	header  string
	columns []int // -2 site, -1 start, else the channel
}

var layouts = []layout{
	{"site_id,start,production_wh,consumption_wh,import_wh,export_wh\n",
		[]int{-2, -1, int(ingest.Production), int(ingest.Consumption), int(ingest.Import), int(ingest.Export)}},
	{"site_id,start,production_wh,consumption_wh,import_wh,export_wh\n",
		[]int{-2, -1, int(ingest.Production), int(ingest.Consumption), int(ingest.Import), int(ingest.Export)}},
	{"start,production_wh,import_wh,export_wh,consumption_wh,site_id\n",
		[]int{-1, int(ingest.Production), int(ingest.Import), int(ingest.Export), int(ingest.Consumption), -2}},
}

// appendRows appends a site's readings as CSV rows.
func (m *Made) appendRows(buf []byte, s *site, l *layout) []byte {
	sc := m.scratch.Get().(*scratch)
	defer m.scratch.Put(sc)
	s.simulate(m, sc, s.faults, s.events)
	s.read(m, sc)
	mt := &s.meters
	per := m.opts.StepMinutes / m.tl.dtMinutes
	lo, hi := max(0, (mt.from-s.first)/per), min((mt.to-s.first)/per, len(sc.wh[0]))
	repeatEvery := 0
	if mt.repeated > 0 {
		repeatEvery = (hi - lo) / (mt.repeated + 1)
	}
	bad := mt.bad
	clock := stamps{loc: s.region.loc, unix: int64(m.tl.unix(mt.from)), step: int64(m.opts.StepMinutes) * 60}
	for i := lo; i < hi; i++ {
		stamp := clock.next()
		missing := math.IsNaN(sc.wh[ingest.Production][i])
		if missing && bad == 0 {
			if !s.shortGap(i*per + s.first) {
				continue // a long gap leaves no rows, a short one leaves blanks
			}
		}
		from := len(buf)
		for k, c := range l.columns {
			if k > 0 {
				buf = append(buf, ',')
			}
			switch {
			case c == -2:
				buf = append(buf, s.reg.ID...)
			case c == -1:
				if missing && bad == 2 {
					buf = append(buf, "the meter was read late"...)
				} else {
					buf = append(buf, stamp...)
				}
			case missing && bad == 3 && c == int(ingest.Production):
				buf = append(buf, "error 7"...)
			case missing && bad == 1 && c == int(ingest.Production):
				buf = append(buf, "1.2.3"...)
			case missing || !s.metered(ingest.Channel(c)):
			default:
				buf = strconv.AppendInt(buf, int64(sc.wh[c][i]), 10)
			}
		}
		buf = append(buf, '\n')
		if missing && bad > 0 {
			bad--
		}
		if repeatEvery > 0 && (i-lo)%repeatEvery == repeatEvery-1 {
			buf = append(buf, buf[from:]...)
		}
	}
	return buf
}

// shortGap tells whether the gap that a step lies in is at most six hours.
func (s *site) shortGap(step int) bool {
	for _, g := range s.meters.gaps {
		if step >= g[0] && step < g[1] && g[1]-g[0] > 6*s.region.tl.perHour {
			return false
		}
	}
	return true
}

// shuffled puts the rows after the first skip bytes into another order.
func shuffled(rows []byte, skip int, seed uint64) []byte {
	var at []int
	start := skip
	for i := skip; i < len(rows); i++ {
		if rows[i] == '\n' {
			at = append(at, start)
			start = i + 1
		}
	}
	at = append(at, start)
	order := stream(seed, 13).Perm(len(at) - 1)
	out := append(make([]byte, 0, len(rows)), rows[:skip]...)
	for _, i := range order {
		out = append(out, rows[at[i]:at[i+1]]...)
	}
	return out
}

// stamps writes the local beginnings of steps, RFC 3339 with the offset.
type stamps struct {
	loc        *time.Location
	unix, step int64
	until      int64 // the offset holds before this
	offset     int64
	zone       string
	day        int64
	buf        [25]byte
}

func (c *stamps) next() []byte {
	if c.unix >= c.until {
		t := time.Unix(c.unix, 0).In(c.loc)
		_, off := t.Zone()
		_, end := t.ZoneBounds()
		c.offset, c.until = int64(off), math.MaxInt64
		if !end.IsZero() {
			c.until = end.Unix()
		}
		c.zone = t.Format("-07:00")
		c.day = -1
	}
	local := c.unix + c.offset
	if d := local / 86400; d != c.day {
		c.day = d
		copy(c.buf[:], time.Unix(local, 0).UTC().AppendFormat(c.buf[:0], "2006-01-02T15:04:05"))
		copy(c.buf[19:], c.zone)
	}
	minute := local / 60 % 1440
	h, mi := minute/60, minute%60
	c.buf[11], c.buf[12] = byte('0'+h/10), byte('0'+h%10)
	c.buf[14], c.buf[15] = byte('0'+mi/10), byte('0'+mi%10)
	c.unix += c.step
	return c.buf[:]
}
