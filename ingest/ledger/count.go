package ledger

import (
	"cmp"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"slices"
	"time"

	"rowen/ingest"
	"rowen/ingest/readings"
)

// collect takes over what a worker had to set aside.
func (m *merger) collect(s *settler) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.aside = append(m.aside, s.aside...)
}

// count settles the entries of the files that were read: their rows, and their
// rejects with the line in the file.
func (m *merger) count() {
	slices.SortFunc(m.aside, func(a, b setAside) int {
		if c := cmp.Compare(a.source, b.source); c != 0 {
			return c
		}
		return cmp.Compare(a.order, b.order)
	})
	for _, j := range m.jobs {
		e := &j.entry
		if j.err != nil {
			e.Failed = ingest.Short(withoutPath(j.err))
			e.Rejects = []ingest.Reject{{File: e.Path, Reason: "the file cannot be read: " + e.Failed}}
			m.next.Files = append(m.next.Files, *e)
			continue
		}
		lines := int64(0)
		first := make([]int64, len(j.tallies))
		for i, t := range j.tallies {
			first[i] = j.file.FirstLine(lines)
			e.Rows.Read += t.Rows
			e.Rows.SetAside += t.SetAside
			for _, r := range t.Rejects {
				r.Line += int(first[i])
				e.Rejects = append(e.Rejects, r)
			}
			e.Notes = append(e.Notes, t.Notes...)
			m.compareClock(e, t.Clock)
			lines += t.Lines
		}
		from, _ := slices.BinarySearchFunc(m.aside, e.Source, func(a setAside, s int32) int { return cmp.Compare(a.source, s) })
		for ; from < len(m.aside) && m.aside[from].source == e.Source; from++ {
			a := m.aside[from]
			e.Rows.SetAside++
			e.Rejects = append(e.Rejects, ingest.Reject{
				File: e.Path, Line: int(first[a.order>>32] + a.order&0xffffffff), Column: j.mapping.Time.Column, Reason: a.reason, SiteID: m.ids[a.site],
			})
		}
		e.Rows.Kept = e.Rows.Read - e.Rows.SetAside
		e.Rows.Repeated = m.repeats[e.Source]
		if n := m.rounded[e.Source]; n > 0 {
			e.Notes = append(e.Notes, plural(n, "stamp")+" moved to the nearest whole minute")
		}
		slices.SortStableFunc(e.Rejects, func(a, b ingest.Reject) int { return cmp.Compare(a.Line, b.Line) })
		if len(e.Rejects) > m.o.MaxRejects {
			e.Rejects = e.Rejects[:m.o.MaxRejects]
		}
		m.next.Files = append(m.next.Files, *e)
	}
}

// compareClock notes where a file's own idea of its site's clock is not the
// register's. The readings are in UTC and do not depend on it.
func (m *merger) compareClock(e *fileEntry, claim *readings.ClockClaim) {
	if claim == nil || m.sites.zone(claim.SiteID) == nil {
		return
	}
	e.Zones = map[string]string{claim.SiteID: m.sites.zoneName(claim.SiteID)}
	loc := m.sites.zone(claim.SiteID)
	_, january := time.Date(2026, 1, 1, 0, 0, 0, 0, loc).Zone()
	_, july := time.Date(2026, 7, 1, 0, 0, 0, 0, loc).Zone()
	if standard := min(january, july); int64(standard) != claim.OffsetSeconds || claim.DST != (january != july) {
		e.Notes = append(e.Notes, fmt.Sprintf("the file's clock is %+.1f h from UTC (summer time: %v), but the site's zone %s is %+.1f h (summer time: %v): check the register's timezone",
			float64(claim.OffsetSeconds)/3600, claim.DST, loc, float64(standard)/3600, january != july))
	}
}

// withoutPath says an error without the path of this machine.
func withoutPath(err error) string {
	if errors.Is(err, io.ErrUnexpectedEOF) {
		return "it ends too early: export or copy it again"
	}
	if p := (*fs.PathError)(nil); errors.As(err, &p) {
		return p.Op + ": " + p.Err.Error()
	}
	return err.Error()
}
