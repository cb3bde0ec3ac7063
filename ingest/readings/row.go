package readings

import (
	"fmt"
	"strconv"

	"rowen/ingest"
)

// row is one line of a long table, understood.
type row struct {
	site   int32
	time   int64
	flags  Flag
	values [ingest.NumChannels]int64
}

// fault is why a line cannot be used.
type fault struct{ column, value, reason string }

func (f fault) bad() bool { return f.reason != "" }

// understand reads the fields of one line of a long table with care: the fast
// scanner comes here with every line that it is not sure of.
func (p *columns) understand(fields [][]byte, sites *siteNumbers, r *row) fault {
	if len(fields) != len(p.col) {
		return fault{reason: fmt.Sprintf("the row has %d fields and the header %d: a cut line, or a wrong delimiter or decimal sign", len(fields), len(p.col))}
	}
	r.flags = 0
	r.values = [ingest.NumChannels]int64{Missing, Missing, Missing, Missing}
	for i := range p.col {
		c := &p.col[i]
		switch c.role {
		case siteRole:
			id := trimBlanks(fields[i])
			if reason := idReason(id); reason != "" {
				return fault{c.name, clip(id), reason}
			}
			r.site = sites.number(id)
		case valueRole:
			v, reason := parseMilli(fields[i], p.decimal, c.perUnit)
			if reason != "" {
				return fault{c.name, clip(fields[i]), reason}
			}
			c.fill(v, &r.values)
			if c.net && v != Missing {
				r.flags |= Netted
			}
		}
	}
	if p.site != "" {
		r.site = sites.number([]byte(p.site))
	}
	if !p.stamped {
		return fault{}
	}
	return p.stampOf(fields, r)
}

// stampOf reads the stamp of a line.
func (p *columns) stampOf(fields [][]byte, r *row) fault {
	stamp := fields[p.stampAt]
	if p.clockAt >= 0 {
		stamp = append(append(append([]byte{}, trimBlanks(stamp)...), ' '), trimBlanks(fields[p.clockAt])...)
	}
	t, civil, reason := p.clock.parse(stamp)
	if reason != "" {
		return fault{p.col[p.stampAt].name, clip(stamp), reason}
	}
	r.time = t
	if civil {
		r.flags |= Civil
	}
	return fault{}
}

// clip makes a value fit to be shown: it may hold nothing but what a stamp, an
// id or a number is made of, and no more than 40 bytes.
func clip(f []byte) string {
	const most = 40
	if len(f) > most {
		f = f[:most]
	}
	s := strconv.Quote(string(f))
	return s[1 : len(s)-1]
}

func (f fault) reject(file string, line int64) ingest.Reject {
	return ingest.Reject{File: file, Line: int(line), Column: f.column, Value: f.value, Reason: f.reason}
}
