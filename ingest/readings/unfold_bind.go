package readings

import (
	"cmp"
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"rowen/ingest"
)

// prepareFolded binds the plain export that the file unfolds to.
func (f *File) prepareFolded() error {
	m := f.mapping
	if len(m.Channels) == 0 {
		var err error
		if m.Channels, err = f.contractChannels(); err != nil {
			return err
		}
		f.mapping = m
	}
	plain := m
	plain.Layout = "long"
	plain.Time.TimeColumn = ""
	header := []string{"\x00stamp"}
	if plain.Time.Start == "" {
		plain.Time.Column = header[0]
	} else {
		header = nil
	}
	if m.SiteID.Column != "" || m.SiteID.Sheet != "" || m.Layout == "wide" {
		plain.SiteID = SiteID{Column: "\x00site"}
		header = append(header, plain.SiteID.Column)
	}
	plain.Channels = slices.Clone(m.Channels)
	for i := range plain.Channels {
		plain.Channels[i].Column = fmt.Sprintf("\x00%d", i)
		header = append(header, plain.Channels[i].Column)
	}
	var err error
	if f.cols, err = bind(plain, f.Path, header); err != nil {
		return err
	}
	f.body, f.bodyLine = 0, 0
	return nil
}

// contractChannels are the contract's own columns that the file has.
func (f *File) contractChannels() ([]Channel, error) {
	in, err := openCells(f.abs, f.mapping, f.limits)
	if err != nil {
		return nil, err
	}
	defer in.Close()
	var channels []Channel
	r, err := in.next()
	for err == nil && r.line < f.mapping.HeaderLine {
		r, err = in.next()
	}
	for c := range ingest.NumChannels {
		if slices.Contains(r.cells, contractColumn[c]) {
			channels = append(channels, Channel{Channel: c, Column: contractColumn[c], Unit: "Wh", Quantity: "energy", Sign: 1, SpreadGap: "6h"})
		}
	}
	if len(channels) == 0 {
		return nil, fmt.Errorf("none of the columns %s is there: map the file's own in readings", strings.Join(contractColumn[:], ", "))
	}
	return channels, nil
}

func (u *unfolder) begin() error {
	var err error
	compile := func(s string) *regexp.Regexp {
		if s == "" || err != nil {
			return nil
		}
		var re *regexp.Regexp
		re, err = regexp.Compile(s)
		return re
	}
	u.pattern, u.sheet = compile(u.m.Time.Pattern), compile(u.m.SiteID.Sheet)
	for _, c := range u.m.Channels {
		u.register = append(u.register, compile(c.Rows))
	}
	if u.m.Register != "" || u.m.Time.EndColumn != "" {
		u.held = map[heldKey]*heldRow{}
	}
	return err
}

// bind finds the mapping's columns in the header.
func (u *unfolder) bind() error {
	var missing []string
	find := func(name string) int {
		if name == "" {
			return -1
		}
		i := positionOf(name)
		if i < 0 {
			i = slices.IndexFunc(u.header, func(h string) bool { return strings.TrimSpace(h) == name })
		}
		if i < 0 || i >= len(u.header) {
			missing = append(missing, strconv.Quote(name))
			return -1
		}
		return i
	}
	u.at = folded{
		site: find(u.m.SiteID.Column), stamp: find(u.m.Time.Column), clock: find(u.m.Time.TimeColumn), end: find(u.m.Time.EndColumn),
		register: find(u.m.Register), scale: find(u.m.Scale),
	}
	if u.m.Layout == "days" {
		if u.at.intervals = intervalColumns(u.header); len(u.at.intervals) == 0 {
			return errors.New("layout days: no column's name begins with a time of day, as 00:15")
		}
		return missingColumns(missing, u.header)
	}
	if u.m.Layout == "wide" {
		return cmp.Or(missingColumns(missing, u.header), u.bindWide())
	}
	for _, c := range u.m.Channels {
		columns := []int{find(c.Column)}
		for name := range strings.SplitSeq(c.Also, "|") {
			if name = strings.TrimSpace(name); name != "" {
				columns = append(columns, find(name))
			}
		}
		u.at.values = append(u.at.values, columns)
	}
	return missingColumns(missing, u.header)
}

func missingColumns(missing, header []string) error {
	if len(missing) == 0 {
		return nil
	}
	return fmt.Errorf("column %s is missing (the header has %s): map it in readings", strings.Join(missing, ", "), nameList(header))
}

var beginsWithTime = regexp.MustCompile(`^([01]?[0-9]|2[0-4])[:.h]([0-5][0-9])`)

// intervalColumns are the columns whose names begin with a time of day.
func intervalColumns(header []string) [][2]int {
	var out [][2]int
	for i, h := range header {
		if m := beginsWithTime.FindStringSubmatch(strings.TrimSpace(h)); m != nil {
			hour, _ := strconv.Atoi(m[1])
			minute, _ := strconv.Atoi(m[2])
			out = append(out, [2]int{i, hour*60 + minute})
		}
	}
	return out
}

// bindWide gives the columns of a wide table their sites and channels.
func (u *unfolder) bindWide() error {
	patterns := make([]*regexp.Regexp, len(u.m.Channels))
	for k, c := range u.m.Channels {
		pattern := u.m.SiteID.Header
		if c.Header != "" {
			pattern = c.Header
		}
		if pattern != "" {
			var err error
			if patterns[k], err = regexp.Compile(pattern); err != nil {
				return err
			}
		}
	}
	for i, h := range u.header {
		if h = strings.TrimSpace(h); h == "" || i == u.at.stamp || i == u.at.clock {
			continue
		}
		if k, id := siteOfHeader(patterns, h); k >= 0 && idReason([]byte(id)) == "" {
			u.at.wide = append(u.at.wide, wideCell{i, k, id})
		}
	}
	if len(u.at.wide) == 0 {
		return errors.New("no column names a site: give site_id.header in the mapping")
	}
	return nil
}
