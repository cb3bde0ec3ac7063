package config

import "reflect"

// fillMapping gives an entry's blank keys their defaults; none of them has a
// meaning of its own when blank or 0.
func fillMapping(m *Mapping) {
	fill(root.child("readings").entry, reflect.ValueOf(m).Elem())
	if m.SiteID == (SiteID{}) && m.Layout != "wide" {
		m.SiteID.Column = "site_id"
	}
	if m.Time.Column == "" && m.Time.Start == "" {
		m.Time.Column = "start"
	}
}

func fill(n *node, v reflect.Value) {
	if v.Kind() == reflect.Pointer {
		if v.IsNil() {
			return
		}
		v = v.Elem()
	}
	for _, c := range n.children {
		f := v.Field(c.index)
		if c.kind == group {
			fill(c, f)
			continue
		}
		if def, ok := c.defaultValue(); ok && f.IsZero() {
			f.Set(reflect.ValueOf(def))
		}
	}
}

// checkMoney holds the money's keys against one another.
func (r *reader) checkMoney(m Money) {
	if m.LoanSharePct > 0 && m.LoanYears == 0 {
		r.say("money.loan_years", "", "must be given where loan_share_pct is", "say how long the loan runs")
	}
	if m.ReplacementPerModule > 0 && m.ReplacementYear == 0 {
		r.say("money.replacement_year", "", "must be given where replacement_per_module is", "say in which year it is paid")
	}
}

// checkMappings holds the keys of each entry against one another.
func (r *reader) checkMappings(ms []Mapping) {
	for i, m := range ms {
		key := entryKey("readings", i)
		if n := given(m.SiteID.Column, m.SiteID.File, m.SiteID.Value, m.SiteID.Sheet); n > 1 {
			r.say(key+".site_id", "", "must have one of column, file, sheet and value", "leave the others out")
		}
		if m.SiteID.Header != "" && m.Layout != "wide" {
			r.say(key+".site_id.header", "", "is for the wide layout only", "set the layout or leave it out")
		}
		if m.Time.Start != "" && m.Time.Step == "" {
			r.say(key+".time", "", "must have a step beside start", "a file without stamps needs both")
		}
		if m.Time.Start != "" && m.Time.Column != "" {
			r.say(key+".time", "", "must have a column or a start, not both", "leave one out")
		}
		if m.Delimiter == m.Decimal {
			r.say(key+".decimal", m.Decimal, "must differ from the delimiter", "give the delimiter that the file has")
		}
		r.checkChannels(key+".channels", m)
	}
}

// given counts the texts that are not blank.
func given(texts ...string) (n int) {
	for _, s := range texts {
		if s != "" {
			n++
		}
	}
	return n
}

func (r *reader) checkChannels(key string, m Mapping) {
	count, headless := 0, 0
	c := m.Channels
	for _, c := range []struct {
		name    string
		channel *Channel
	}{{"production", c.Production}, {"consumption", c.Consumption}, {"import", c.Import}, {"export", c.Export}, {"net", c.Net}} {
		if c.channel == nil {
			continue
		}
		count++
		if c.channel.Header == "" {
			headless++
		}
		r.checkChannel(key+"."+c.name, *c.channel, m.Layout)
	}
	if m.Layout == "wide" && count == 0 {
		r.say(key, "", "must name a channel in a wide layout", "say which its columns are")
	}
	if m.Layout == "wide" && count > 1 && headless > 0 {
		r.say(key, "", "must have a header each, where a wide layout has several", "give each a regular expression with a group site_id, on its columns' names")
	}
	if c.Net != nil && (c.Import != nil || c.Export != nil) {
		r.say(key+".net", "", "must stand alone: it is import and export in one", "leave import and export out")
	}
}

func (r *reader) checkChannel(key string, c Channel, layout string) {
	if layout == "wide" && c.Column != "" {
		r.say(key+".column", c.Column, "must be blank in a wide layout", "there every column is a site's")
	}
	if c.Header != "" && layout != "wide" {
		r.say(key+".header", c.Header, "is for the wide layout only", "set the layout or leave it out")
	}
	if c.WrapsAt > 0 && c.Quantity != "counter" {
		r.say(key+".wraps_at", "", "is for quantity counter only", "set the quantity or leave it out")
	}
	power := c.Unit == "W" || c.Unit == "kW"
	if power != (c.Quantity == "power") {
		r.say(key+".quantity", c.Quantity, "must go with unit "+c.Unit, "power is in W or kW, energy and counters are in Wh, kWh or MWh")
	}
}
