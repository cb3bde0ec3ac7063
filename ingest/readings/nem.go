package readings

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"

	"rowen/ingest"
)

// isNEM tells whether a text begins as NEM12 or NEM13 files do.
func isNEM(start []byte) bool {
	return bytes.HasPrefix(start, []byte("100,NEM12")) || bytes.HasPrefix(start, []byte("100,NEM13")) || bytes.HasPrefix(start, []byte("200,")) // a body without its header record
}

// nemOffset is the clock of the files: Australian Eastern Standard Time all
// year.
const nemOffset = 10 * 3600

// nemReader reads a NEM12 file: 200 records open a data stream, 300 records
// hold a day of it, 400 records say the quality of stretches of that day.
//
// The stream's suffix says the direction seen from the grid: E streams are what
// the customer imports, B streams what the customer exports; several of one
// direction (a controlled load beside the general one) are added up. All other
// suffixes (reactive energy, volts) are left out with a note.
//
// Source: the market operator's published meter data file format, as its sample
// files show it; the meaning of the fields is from memory and held against them.
type nemReader struct {
	file   *File
	sites  siteNumbers
	limits Limits
	emit   func(*Batch) error
	batch  *Batch
	tally  Tally

	nmi     string
	streams []*nemStream // of the current NMI
	now     *nemStream   // the last 200 record's; nil: left out
	day     *nemDay      // the last 300 record's
	skipped map[string]bool
}

type nemStream struct {
	suffix  string
	channel ingest.Channel
	seconds int64
	perUnit int64
	power   bool
	values  map[int64]nemValue // by start
	lo, hi  int64
}

type nemValue struct {
	milli int64
	flags Flag
	line  int32
}

// nemDay is one 300 record, whose quality 400 records may still change.
type nemDay struct {
	stream *nemStream
	start  int64
	n      int
}

func (f *File) readNEM(ctx context.Context, names *Names, o Limits, emit func(*Batch) error) (Tally, error) {
	in, err := openText(f.abs, f.limits)
	if err != nil {
		return Tally{}, err
	}
	defer in.Close()
	r := nemReader{file: f, sites: siteNumbers{names, map[string]int32{}}, limits: o, emit: emit, skipped: map[string]bool{}}
	r.batch = newBatch([ingest.NumChannels]bool{ingest.Import: true, ingest.Export: true})
	err = r.read(ctx, in)
	return r.tally, err
}

func (r *nemReader) read(ctx context.Context, in io.Reader) error {
	c := newTextRows(in, ',', r.limits.lineBytes())
	c.loose = true
	var rec []string
	ended := false
	for n := 0; ; n++ {
		fields, _, err := c.next()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return err
		}
		rec = rec[:0]
		for _, f := range fields {
			rec = append(rec, string(f))
		}
		if n%1024 == 0 && ctx.Err() != nil {
			return ctx.Err()
		}
		line := c.line
		if ended = rec[0] == "900"; ended {
			continue
		}
		if err := r.record(rec, int32(line)); err != nil {
			return err
		}
	}
	if !ended {
		r.tally.Notes = append(r.tally.Notes, "the file has no end record (900): it may have been cut")
	}
	if err := r.flushNMI(); err != nil {
		return err
	}
	var left []string
	for s := range r.skipped {
		left = append(left, s)
	}
	slices.Sort(left)
	if len(left) > 0 {
		r.tally.Notes = append(r.tally.Notes, "data streams left out: "+strings.Join(left, ", "))
	}
	return r.batch.flush(r.emit)
}

func (r *nemReader) record(rec []string, line int32) error {
	switch rec[0] {
	case "100", "500", "550":
		return nil
	case "200":
		return r.stream(rec, line)
	case "300":
		r.interval(rec, line)
	case "400":
		r.quality(rec, line)
	case "250":
		r.accumulated(rec, line)
	default:
		r.bad(1, line, "", fmt.Sprintf("record %s is not one of 100, 200, 250, 300, 400, 500, 550, 900", clip([]byte(rec[0]))))
	}
	return nil
}

// bad sets n values aside for one reason.
func (r *nemReader) bad(n int, line int32, column, reason string) {
	r.tally.Rows += int64(n)
	r.tally.reject(r.limits, fault{column, "", reason}.reject(r.file.Path, int64(line)))
	r.tally.SetAside += int64(n) - 1
}

// stream takes a 200 record.
func (r *nemReader) stream(rec []string, line int32) error {
	r.now, r.day = nil, nil
	if len(rec) < 9 {
		r.bad(1, line, "", fmt.Sprintf("record 200 has %d fields and must have 9", len(rec)))
		return nil
	}
	if nmi := strings.TrimSpace(rec[1]); nmi != r.nmi {
		if err := r.flushNMI(); err != nil {
			return err
		}
		r.nmi = nmi
	}
	suffix := strings.ToUpper(strings.TrimSpace(rec[4]))
	s := &nemStream{suffix: suffix, values: map[int64]nemValue{}}
	switch {
	case strings.HasPrefix(suffix, "E"):
		s.channel = ingest.Import
	case strings.HasPrefix(suffix, "B"):
		s.channel = ingest.Export
	default:
		r.skipped[suffix] = true
		return nil
	}
	switch strings.ToUpper(strings.TrimSpace(rec[7])) {
	case "WH":
		s.perUnit = perUnit("Wh")
	case "KWH":
		s.perUnit = perUnit("kWh")
	case "MWH":
		s.perUnit = perUnit("MWh")
	case "W":
		s.perUnit, s.power = perUnit("W"), true
	case "KW":
		s.perUnit, s.power = perUnit("kW"), true
	default:
		r.skipped[suffix+" in "+clip([]byte(rec[7]))] = true
		return nil
	}
	minutes, err := strconv.Atoi(strings.TrimSpace(rec[8]))
	if err != nil || minutes <= 0 || 60%minutes != 0 {
		r.bad(1, line, "IntervalLength", "interval length must be whole minutes that divide the hour")
		return nil
	}
	if reason := idReason([]byte(r.nmi)); reason != "" && r.file.mapping.SiteID.Value == "" && r.file.mapping.SiteID.File == "" {
		r.bad(1, line, "NMI", reason)
		return nil
	}
	s.seconds = int64(minutes) * 60
	for _, old := range r.streams {
		if old.suffix == suffix && old.seconds == s.seconds && old.perUnit == s.perUnit {
			r.now = old // the stream goes on after another one
			return nil
		}
	}
	r.streams = append(r.streams, s)
	r.now = s
	return nil
}

// interval takes a 300 record.
func (r *nemReader) interval(rec []string, line int32) {
	r.day = nil
	s := r.now
	if s == nil {
		return
	}
	n := int(day / s.seconds)
	if len(rec) < n+3 {
		r.bad(n, line, "", fmt.Sprintf("record 300 has %d fields and must have at least %d for intervals of %d minutes", len(rec), n+3, s.seconds/60))
		return
	}
	date, err := time.Parse("20060102", strings.TrimSpace(rec[1]))
	if err != nil {
		r.bad(n, line, "IntervalDate", "date must read as YYYYMMDD")
		return
	}
	if date.Unix() < minUnix+day || date.Unix() >= maxUnix {
		r.bad(n, line, "IntervalDate", "date lies outside the years 1970 to 2200")
		return
	}
	start := date.Unix() - nemOffset
	flags, present := nemQuality(rec[2+n])
	r.day = &nemDay{s, start, n}
	for i := range n {
		r.tally.Rows++
		v, reason := parseMilli([]byte(rec[2+i]), '.', s.perUnit)
		if reason != "" {
			r.tally.reject(r.limits, fault{fmt.Sprintf("IntervalValue%d", i+1), clip([]byte(rec[2+i])), reason}.reject(r.file.Path, int64(line)))
			continue
		}
		if !present || v == Missing {
			v = Missing
		} else if s.power {
			v = v * s.seconds / 3600
		}
		t := start + int64(i)*s.seconds
		if len(s.values) == 0 {
			s.lo, s.hi = t, t
		}
		s.lo, s.hi = min(s.lo, t), max(s.hi, t)
		s.values[t] = nemValue{v, flags, line}
	}
}

// nemQuality reads the first letter of a quality: A actual, E estimated, F and
// S substituted, N nothing there, V varies (400 records follow).
func nemQuality(q string) (f Flag, present bool) {
	q = strings.TrimSpace(q)
	if q == "" {
		return 0, true
	}
	switch q[0] {
	case 'E', 'F', 'S':
		return Estimated, true
	case 'N':
		return 0, false
	}
	return 0, true
}

// quality takes a 400 record: the quality of intervals first to last of the day.
func (r *nemReader) quality(rec []string, line int32) {
	d := r.day
	if d == nil {
		return
	}
	first, err1, last, err2 := 0, error(nil), 0, error(nil)
	if len(rec) >= 4 {
		first, err1 = strconv.Atoi(strings.TrimSpace(rec[1]))
		last, err2 = strconv.Atoi(strings.TrimSpace(rec[2]))
	}
	if err1 != nil || err2 != nil || first < 1 || last < first || last > d.n {
		r.tally.Notes = append(r.tally.Notes, fmt.Sprintf("line %d: a quality record (400) names no intervals of its day", line))
		return
	}
	flags, present := nemQuality(rec[3])
	for i := first - 1; i < last; i++ {
		t := d.start + int64(i)*d.stream.seconds
		v, ok := d.stream.values[t]
		if !ok {
			continue
		}
		v.flags = flags
		if !present {
			v.milli = Missing
		}
		d.stream.values[t] = v
	}
}
