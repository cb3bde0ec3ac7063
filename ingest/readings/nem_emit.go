package readings

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"rowen/ingest"
)

// accumulated takes a 250 record of NEM13: one total over weeks, which holds no
// hours. It is a bill, and the reason says its row.
func (r *nemReader) accumulated(rec []string, line int32) {
	if len(rec) < 21 {
		r.bad(1, line, "", "record 250 is cut short")
		return
	}
	kind := "import_kwh"
	if strings.HasPrefix(strings.ToUpper(strings.TrimSpace(rec[4])), "B") || strings.EqualFold(strings.TrimSpace(rec[7]), "I") {
		kind = "export_kwh"
	}
	from, err1 := time.Parse("20060102", firstN(rec[9], 8))
	to, err2 := time.Parse("20060102", firstN(rec[14], 8))
	if err1 != nil || err2 != nil {
		r.bad(1, line, "", "the dates of the two register reads must read as YYYYMMDDhhmmss")
		return
	}
	r.bad(1, line, "Quantity", fmt.Sprintf("a total over %d days (NEM13) holds no hours: enter it in bills.csv as from %s, to %s, %s %s %s",
		int(to.Sub(from).Hours()/24), from.Format(time.DateOnly), to.Format(time.DateOnly), kind, clip([]byte(rec[18])), clip([]byte(rec[19]))))
}

func firstN(s string, n int) string {
	s = strings.TrimSpace(s)
	return s[:min(n, len(s))]
}

// flushNMI emits the current NMI's rows by start: per direction the sum of its
// streams. Where one of several streams has no value in the midst of its time,
// the sum is not known.
func (r *nemReader) flushNMI() error {
	streams := r.streams
	r.streams, r.now, r.day = nil, nil, nil
	bySeconds := map[int64][]*nemStream{}
	var lengths []int64
	for _, s := range streams {
		if len(s.values) == 0 {
			continue
		}
		if bySeconds[s.seconds] == nil {
			lengths = append(lengths, s.seconds)
		}
		bySeconds[s.seconds] = append(bySeconds[s.seconds], s)
	}
	slices.Sort(lengths)
	id := []byte(r.nmi)
	if v := r.file.mapping.SiteID; v.Value != "" {
		id = []byte(v.Value)
	} else if v.File != "" {
		site, err := siteOfFile(v.File, r.file.Path)
		if err != nil {
			return err
		}
		id = []byte(site)
	}
	for _, sec := range lengths {
		if err := r.emitStreams(r.sites.number(id), sec, bySeconds[sec]); err != nil {
			return err
		}
	}
	return nil
}

func (r *nemReader) emitStreams(site int32, sec int64, streams []*nemStream) error {
	starts := map[int64]bool{}
	for _, s := range streams {
		for t := range s.values {
			starts[t] = true
		}
	}
	sorted := make([]int64, 0, len(starts))
	for t := range starts {
		sorted = append(sorted, t)
	}
	slices.Sort(sorted)
	for _, t := range sorted {
		vals := [ingest.NumChannels]int64{Missing, Missing, Missing, Missing}
		var flags Flag
		var line int32
		var unknown [ingest.NumChannels]bool
		for _, s := range streams {
			v, ok := s.values[t]
			switch {
			case ok && v.milli != Missing:
				if vals[s.channel] == Missing {
					vals[s.channel] = 0
				}
				vals[s.channel] += v.milli
				flags |= v.flags
				line = max(line, v.line)
			case ok || t >= s.lo && t <= s.hi:
				unknown[s.channel] = true
			}
		}
		for c := range vals {
			if unknown[c] {
				vals[c] = Missing
			}
		}
		r.batch.add(site, t, line, flags, int32(sec), &vals)
		if r.batch.full() {
			if err := r.batch.flush(r.emit); err != nil {
				return err
			}
		}
	}
	return nil
}
