package main

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"rowen/analyze"
	"rowen/config"
	"rowen/ingest"
	"rowen/ingest/ledger"
)

// lacking is what a job on a fleet's folder has to do without, the heaviest
// first. check and run both go by it, so that both end with the same exit code
// on the same folder.
type lacking struct {
	says    []string // each a whole sentence without its full stop
	noList  string   // why no call list may be published; "": it may
	files   int      // readings' files that are missing
	tariffs int      // tariffs that cannot be used
}

func lackingOf(fleet *ingest.Fleet, book *ledger.Report, job *analyze.Fleet, limits config.Limits) lacking {
	var l lacking
	l.readings(book, limits)
	l.tariffs = len(fleet.Tariffs) - len(job.Tariffs)
	switch {
	case len(fleet.Tariffs) == 0:
		l.say("there is no tariff, so no bill can be worked out: add tariffs.yaml")
	case l.tariffs == len(fleet.Tariffs):
		l.say("none of the %s can be used, so no bill can be calculated", count(l.tariffs, "tariff"))
	case l.tariffs > 0:
		l.say("%d of %d tariffs cannot be used", l.tariffs, len(fleet.Tariffs))
	}
	l.weather(fleet, limits)
	away, files := 0, []string(nil)
	for _, r := range fleet.Rejects {
		switch {
		case r.Kept:
			continue
		case ofWeather(r):
			continue
		case r.Line == 0:
			l.say("%s cannot be used: %s", r.File, r.Reason)
		case strings.HasSuffix(r.File, ".yaml"): // a tariff, or an entry of the catalogue
			l.say("%s", describe(r))
		}
		if away++; !slices.Contains(files, r.File) {
			files = append(files, r.File)
		}
	}
	l.rows("readings", book.Rows.SetAside, book.Rows.Read, limits)
	l.rows("register's rows (of "+firstFew(files, 3)+")", int64(away), int64(fleet.RowsRead), limits)
	return l
}

// tariffFaults says what is wrong with the tariffs that cannot be used, a line each.
func tariffFaults(job *analyze.Fleet) []string {
	if job.TariffErr == nil {
		return nil
	}
	lines := strings.Split(job.TariffErr.Error(), "\n")
	for i, l := range lines {
		lines[i] = ingest.Short(l)
	}
	return lines
}

// ofWeather tells a row of the weather that was set aside.
func ofWeather(r ingest.Reject) bool {
	return r.Line > 0 && !r.Kept && strings.HasPrefix(r.File, "weather/")
}

// weather says which stations are lost, and where too many of the weather's rows were
// set aside.
func (l *lacking) weather(fleet *ingest.Fleet, limits config.Limits) {
	away, hours := 0, 0
	var lost []string
	for _, r := range fleet.Rejects {
		if !ofWeather(r) {
			continue
		}
		away++
		if r.Column == "station_id" {
			lost = append(lost, describe(r))
		}
	}
	for i := range fleet.Stations {
		hours += fleet.Stations[i].Len()
	}
	if len(lost) > 0 {
		l.say("a station's weather is left out: %s", firstFew(lost, 3))
	}
	l.rows("weather's rows", int64(away), int64(hours+away), limits)
}

// reached adds what only the readings themselves show: whether they and the
// register name the same sites, and whether they hold the report month.
func (l *lacking) reached(unknown, without, sites int, month analyze.Month, reach *analyze.Reach) {
	l.unmatched(unknown, without, sites)
	l.month(month, reach)
}

func (l *lacking) say(format string, args ...any) {
	l.says = append(l.says, fmt.Sprintf(format, args...))
}

// month says that the month of the settings lies outside the readings.
func (l *lacking) month(asked analyze.Month, reach *analyze.Reach) {
	if says := reach.Outside(asked); says != "" {
		l.say("%s: bring the newer exports, or leave month out of the settings to take the last complete month, %s", says, reach.Complete())
	}
}

// unmatchedShare is the share of sites, of the readings' and of the register's,
// without the other from which on their ids do not match (our choice; a new site
// without readings and a customer who left are usual).
const unmatchedShare = 0.2

// unmatched says that the readings and the register name different sites.
func (l *lacking) unmatched(unknown, without, sites int) {
	read := sites - without
	if float64(unknown) > unmatchedShare*float64(read+unknown) && float64(without) > unmatchedShare*float64(sites) {
		l.say("%s with readings %s not in sites.csv, and %d of %d sites of the register have no readings: their ids do not match: mend site_id in the settings' readings, or the register", count(unknown, "site"), are(unknown), without, sites)
	}
}

// readings says which files are missing, and whether too much is.
func (l *lacking) readings(book *ledger.Report, limits config.Limits) {
	var unread, gone, stale []string
	for _, m := range book.Missing {
		switch {
		case m.Gone:
			gone = append(gone, m.Path)
		case m.Stale:
			stale = append(stale, m.Path)
		default:
			unread = append(unread, m.String())
		}
	}
	l.files = len(unread) + len(gone)
	all := len(book.Files) + len(gone)
	if pct := book.MissingPct(); pct > limits.MaxMissingReadingsPct {
		l.noList = fmt.Sprintf("no call list is published: %.1f %% of the readings are missing, and limits.max_missing_readings_pct is %g", pct, limits.MaxMissingReadingsPct)
		l.say("%s", l.noList)
	}
	if len(unread) > 0 {
		l.say("%d of %s of readings could not be read: %s", len(unread), count(all, "file"), firstFew(unread, 5))
	}
	if len(gone) > 0 {
		l.say("%s of readings that an earlier run read %s gone: %s: bring them back, or give --accept-missing once if they were taken away on purpose", count(len(gone), "file"), are(len(gone)), firstFew(gone, 5))
	}
	if len(stale) > 0 {
		l.say("%s of readings cannot be opened now; what an earlier run read is used: %s", count(len(stale), "file"), firstFew(stale, 5))
	}
}

// unrecorded says which files of the register or the weather could not be read, but
// for those that a reject has told of already.
func (l *lacking) unrecorded(unread []string, rejects []ingest.Reject) {
	unread = slices.DeleteFunc(slices.Clone(unread), func(name string) bool {
		return slices.ContainsFunc(rejects, func(r ingest.Reject) bool { return r.File == name && r.Line == 0 && !r.Kept })
	})
	if len(unread) > 0 {
		l.say("%s of the fleet's folder could not be read for the record of the run: %s: look who may read them", count(len(unread), "file"), firstFew(unread, 5))
	}
}

// rows says where more rows were set aside than the settings allow.
func (l *lacking) rows(of string, aside, read int64, limits config.Limits) {
	if pct := 100 * float64(aside) / float64(max(read, 1)); pct > limits.MaxRejectedPct {
		l.say("%.2f %% of the %s were set aside, the limit is %g %%", pct, of, limits.MaxRejectedPct)
	}
}

// verdict is the exit code's error; nil: nothing is lacking.
func (l *lacking) verdict(see string) error {
	if len(l.says) == 0 {
		return nil
	}
	return fmt.Errorf("%w: %s; %s", errPartly, strings.Join(l.says, "; "), see)
}

// noReadings ends a job that has nothing to judge, with what was set aside first.
func noReadings(rejects []ingest.Reject) error {
	if len(rejects) == 0 {
		return fmt.Errorf("%w; put interval files under readings/, or map them in rowen.yaml (rowen check --sample FILE proposes a mapping)", errNoReadings)
	}
	return fmt.Errorf("%w; %d rows or files were set aside, the first: %s", errNoReadings, len(rejects), describe(rejects[0]))
}

var errNoReadings = errors.New("reading the fleet: no site of sites.csv has readings")

func count(n int, one string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %ss", n, one)
}

func are(n int) string {
	if n == 1 {
		return "is"
	}
	return "are"
}
