package config

import "reflect"

// fillMapping gives an entry's blank keys their defaults; none of them has a
// meaning of its own when blank or 0.
func fillMapping(m *Mapping) {
	fill(root.child("readings").entry, reflect.ValueOf(m).Elem())
	if m.SiteID == (SiteID{}) && m.Layout == "long" {
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

// checkMappings holds the keys of each entry against one another.
func (r *reader) checkMappings(ms []Mapping) {
	for i, m := range ms {
		key := entryKey("readings", i)
		if m.SiteID.Column != "" && m.SiteID.File != "" {
			r.say(key+".site_id", "", "must have a column or a file, not both", "leave one out")
		}
		if (m.Time.Start == "") != (m.Time.Step == "") {
			r.say(key+".time", "", "must have start and step together", "give both for a file without stamps, neither for one with")
		}
		if m.Time.Start != "" && m.Time.Column != "" {
			r.say(key+".time", "", "must have a column or a start, not both", "leave one out")
		}
		if m.Format == "csv" && m.Delimiter == m.Decimal {
			r.say(key+".decimal", m.Decimal, "must differ from the delimiter", "give the delimiter that the file has")
		}
		if m.Format != "green_button" {
			r.checkChannels(key, m)
		}
	}
}

func (r *reader) checkChannels(key string, m Mapping) {
	given := 0
	for _, c := range []struct {
		name    string
		channel *Channel
	}{
		{"production", m.Channels.Production}, {"consumption", m.Channels.Consumption},
		{"import", m.Channels.Import}, {"export", m.Channels.Export},
	} {
		if c.channel == nil {
			continue
		}
		given++
		at := key + ".channels." + c.name
		if m.Layout == "long" && c.channel.Column == "" {
			r.say(at+".column", "", "must be given", "name the column that holds the values")
		}
		if m.Layout == "wide" && c.channel.Column != "" {
			r.say(at+".column", c.channel.Column, "must be blank in a wide layout", "there every column is a site's")
		}
		if c.channel.WrapsAt > 0 && c.channel.Quantity != "counter" {
			r.say(at+".wraps_at", "", "is for quantity counter only", "set the quantity or leave it out")
		}
	}
	switch {
	case given == 0:
		r.say(key+".channels", "", "must name a channel", "one of production, consumption, import, export")
	case given > 1 && m.Layout == "wide":
		r.say(key+".channels", "", "must name one channel in a wide layout", "write one entry a channel")
	}
}
