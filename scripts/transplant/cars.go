package main

import (
	"math"
	"math/rand/v2"
	"path/filepath"
	"slices"
	"time"
)

// user is one household's charging: sessions in order, from plug-in on.
type user struct {
	kw       float64
	sessions []session
	span     int // days
}

type session struct {
	at  time.Time
	kwh float64
}

// users are the households with at least 190 days and 20 sessions.
func users(data string) ([]user, error) {
	dir := filepath.Join(data, "norway-home-ev-sessions")
	rows, err := table(filepath.Join(dir, "users.csv.gz"))
	if err != nil {
		return nil, err
	}
	by, names := map[string]*user{}, []string{}
	for _, r := range rows {
		u := &user{kw: number(r["charging_power"])}
		if math.IsNaN(u.kw) {
			u.kw = 3.6
		}
		by[r["user"]] = u
		names = append(names, r["user"])
	}
	if rows, err = table(filepath.Join(dir, "sessions.csv.gz")); err != nil {
		return nil, err
	}
	for _, r := range rows {
		t, err := time.Parse("2006-01-02 15:04", r["plug_in"])
		if err != nil {
			return nil, err
		}
		if u := by[r["user"]]; u != nil {
			u.sessions = append(u.sessions, session{t, number(r["kwh"])})
		}
	}
	slices.Sort(names)
	var out []user
	for _, name := range names {
		u := by[name]
		slices.SortStableFunc(u.sessions, func(a, b session) int { return a.at.Compare(b.at) })
		if len(u.sessions) < 20 {
			continue
		}
		u.span = int(day(u.sessions[len(u.sessions)-1].at).Sub(day(u.sessions[0].at)).Hours() / 24)
		if u.span >= 190 {
			out = append(out, *u)
		}
	}
	return out, nil
}

func day(t time.Time) time.Time { return t.Truncate(24 * time.Hour) }

// plant gives the kWh by interval of a user's sessions, moved so that the first
// falls on day arrive of a home, begun again by whole weeks when they end.
func plant(u *user, h *home, arrive int) []float64 {
	add := make([]float64, len(h.kwh))
	end := h.days() * 1440
	shift := h.first.AddDate(0, 0, arrive).Sub(day(u.sessions[0].at))
	for {
		some := false
		for _, s := range u.sessions {
			at := int(s.at.Add(shift).Sub(h.first).Minutes())
			if at >= end {
				break
			}
			some = true
			for left := s.kwh; left > 1e-9 && at >= 0 && at < end; {
				k := at / h.step
				e := math.Min(left, float64((k+1)*h.step-at)/60*u.kw)
				add[k] += e
				left -= e
				at = (k + 1) * h.step
			}
		}
		if !some {
			return add
		}
		shift += time.Duration(7*(u.span/7+1)) * 24 * time.Hour
	}
}

// planted is a home with a load from a day on; perDay: its kWh a day after.
type planted struct {
	*home
	arrive      int
	perDay      float64
	source      string  // the home's name
	kW, perWeek float64 // of its charging
}

// transplants draws n homes with a car: a third with 61 to 119 days before it,
// a fifth with more than a year where the home has as much, the rest between;
// half of them at 15 or 30 minutes where there are such homes.
func transplants(homes []*home, us []user, seed uint64, n int) []planted {
	rng := rand.New(rand.NewPCG(seed, 1))
	names := rng.Perm(len(us))
	var fine, hourly []*home
	for _, h := range homes {
		if h.days() < 61+190 {
			continue
		}
		if h.step < 60 {
			fine = append(fine, h)
		} else {
			hourly = append(hourly, h)
		}
	}
	kinds := slices.DeleteFunc([][]*home{fine, hourly}, func(l []*home) bool { return len(l) == 0 })
	var out []planted
	for i := range n {
		l := kinds[i%len(kinds)]
		h := l[(i/len(kinds))%len(l)]
		days := h.days()
		before := 120 + rng.IntN(180)
		switch r := rng.Float64(); {
		case r < 0.33:
			before = 61 + rng.IntN(58)
		case r > 0.78:
			before = 365 + rng.IntN(235)
		}
		if before+190 > days {
			before = 61 + rng.IntN(days-190-61+1)
		}
		after := 184 + rng.IntN(max(1, min(400, days-before)-184+1))
		a := rng.IntN(max(1, days-before-after+1))
		u := &us[names[i%len(names)]]
		// The same day of the week.
		before += (int(u.sessions[0].at.Weekday()) - int(h.first.AddDate(0, 0, a+before).Weekday()) + 7) % 7
		b := min(days, a+before+after)
		p := planted{home: h.cut(a, b), arrive: before, source: h.name, kW: u.kw}
		sum := 0.0
		for k, e := range plant(u, p.home, before) {
			p.kwh[k] += e
			sum += e
		}
		p.perDay = sum / float64(p.days()-before)
		p.perWeek = float64(len(u.sessions)) / float64(u.span) * 7
		out = append(out, p)
	}
	return out
}
