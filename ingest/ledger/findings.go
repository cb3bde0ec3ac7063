package ledger

import (
	"fmt"
	"math"
	"strings"

	"rowen/ingest"
	"rowen/ingest/readings"
)

var (
	nan   = math.NaN()
	nan32 = float32(math.NaN())
)

// findings is what laying the files over each other has shown.
type findings struct {
	repeated, differing [ingest.NumChannels]span
	superseded          [ingest.NumChannels]span
	reset, rolledOver   [ingest.NumChannels]span
	lump, lumpOut       [ingest.NumChannels]span
	onlyOnce, netted    span
	owner, suspect      span
	inFile              span                     // two values for one stamp in one file
	cut                 [ingest.NumChannels]span // pieces of intervals that cross the hour
	estimated           []stretch
	stepless            span // readings whose interval's length is not known
	untangled           span // intervals cut at the rows of another file
}

// span counts something and remembers from when to when.
type span struct {
	n        int
	from, to ingest.Hour
}

type stretch struct{ from, to int64 }

func (f *findings) clear() {
	*f = findings{estimated: f.estimated[:0], stepless: f.stepless, untangled: f.untangled}
}

// overlaps tells whether files tell the same time in other steps.
func (f *findings) overlaps() bool {
	for c := range f.superseded {
		if f.superseded[c].n > 0 {
			return true
		}
	}
	return false
}

func (f *findings) add(s *span, h ingest.Hour, n int) {
	if s.n == 0 || h < s.from {
		s.from = h
	}
	if s.n == 0 || h >= s.to {
		s.to = h + 1
	}
	s.n += n
}

func (f *findings) repeat(c ingest.Channel, h ingest.Hour, differs bool) {
	if differs {
		f.add(&f.differing[c], h, 1)
	} else {
		f.add(&f.repeated[c], h, 1)
	}
}

// note takes the flags of a row.
func (f *findings) note(flags readings.Flag, t, sec int64) {
	h := ingest.Hour(floorDiv(t, 3600))
	if flags&readings.Estimated != 0 {
		f.add(&f.owner, h, 1)
		f.estimated = append(f.estimated, stretch{t, t + sec})
	}
	if flags&readings.Suspect != 0 {
		f.add(&f.suspect, h, 1)
	}
	if flags&readings.Differs != 0 {
		f.add(&f.inFile, h, 1)
	}
	if flags&readings.OnlyOnce != 0 {
		f.add(&f.onlyOnce, h, 1)
	}
	if flags&readings.Netted != 0 {
		f.add(&f.netted, h, 1)
	}
}

// describe writes the findings into the series, in a fixed order.
func (g *ground) describe(s *ingest.Series) {
	f := &g.found
	say := func(code string, c ingest.Channel, p *span, format string, a ...any) {
		if p.n > 0 {
			s.Quality = append(s.Quality, ingest.Quality{Code: code, Channel: c, Says: fmt.Sprintf(format, a...), From: p.from, To: p.to, Hours: p.n})
		}
	}
	for c := range ingest.NumChannels {
		day := func(p *span) string { return p.from.Time().Format("2006-01-02") }
		say("repeated_stamp", c, &f.repeated[c], "%s of %s say again what another file says, the first on %s; each is counted once", plural(int64(f.repeated[c].n), "reading"), c, day(&f.repeated[c]))
		say("repeated_stamp_differs", c, &f.differing[c], "%s of %s differ between two files, the first on %s; the file with the later name is kept", plural(int64(f.differing[c].n), "reading"), c, day(&f.differing[c]))
		say("step_overlap", c, &f.superseded[c], "%s of %s overlap a later export's in another step, the first on %s; the later export is kept", plural(int64(f.superseded[c].n), "reading"), c, day(&f.superseded[c]))
		say("counter_reset", c, &f.reset[c], "the counter of %s fell %s, the first on %s; the interval of the fall is missing", c, ingest.Times(f.reset[c].n), day(&f.reset[c]))
		say("counter_rolled_over", c, &f.rolledOver[c], "the counter of %s rolled over %s, the first on %s; its stated roll-over value is added", c, ingest.Times(f.rolledOver[c].n), day(&f.rolledOver[c]))
		say("counter_gap_spread", c, &f.lump[c], "the counter of %s ran on over gaps of %s in all, the first on %s; the lump is spread evenly and marked as estimated", c, plural(int64(f.lump[c].n), "hour"), day(&f.lump[c]))
		say("counter_gap_out", c, &f.lumpOut[c], "the counter of %s ran on over gaps of %s in all, the first on %s; the lump is kept out", c, plural(int64(f.lumpOut[c].n), "hour"), day(&f.lumpOut[c]))
	}
	for c := range ingest.NumChannels {
		say("interval_cut", c, &f.cut[c], "the intervals of %s cross the hours of UTC: each is shared out by time between the two it lies in, %d pieces in all", c, f.cut[c].n)
	}
	g.describeSteps(s)
	whole := func(code string, p *span, format string) {
		say(code, ingest.NumChannels, p, format, plural(int64(p.n), "row"), p.from.Time().Format("2006-01-02"))
	}
	whole("repeated_stamp_differs", &f.inFile, "%s stand twice in one file with different values, the first on %s; the later line is kept")
	whole("estimated_by_owner", &f.owner, "%s are estimates of the meter's owner, the first on %s")
	whole("suspect_by_owner", &f.suspect, "%s are questionable by the meter's owner, the first on %s")
	say("step_unknown", ingest.NumChannels, &f.stepless, "%s have an interval whose length cannot be told, the first on %s; they are left out: state time.step in the mapping", plural(int64(f.stepless.n), "row"), f.stepless.from.Time().Format("2006-01-02"))
	say("files_interleaved", ingest.NumChannels, &f.untangled, "%s of one file have rows of another one in their midst, the first on %s; each is taken to end where the next row begins", plural(int64(f.untangled.n), "interval"), f.untangled.from.Time().Format("2006-01-02"))
	say("clock_hour_once", ingest.NumChannels, &f.onlyOnce, "%s of an hour that the clock shows twice are there only once, the first on %s; taken for the first of the two", plural(int64(f.onlyOnce.n), "row"), f.onlyOnce.from.Time().Format("2006-01-02"))
	say("net_reading", ingest.Import, &f.netted, "import and export are cut out of one net reading (%s): what flowed both ways inside an interval is not in them", plural(int64(f.netted.n), "row"))
}

// describeSteps says where readings come in more than one step.
func (g *ground) describeSteps(s *ingest.Series) {
	var text []string
	total := int64(0)
	for _, covered := range g.tally {
		total += covered
	}
	for step, covered := range g.tally {
		if covered == 0 {
			continue
		}
		name := fmt.Sprintf("%d-minute", step)
		if step == 1440 {
			name = "daily"
		}
		text = append(text, fmt.Sprintf("%s (%.0f %%)", name, 100*float64(covered)/float64(total)))
	}
	if len(text) > 1 {
		s.Quality = append(s.Quality, ingest.Quality{Code: "step_change", Channel: ingest.NumChannels, Says: "readings come in several steps: " + strings.Join(text, ", "), From: s.Start, To: s.End(), Hours: s.Len()})
	}
}
