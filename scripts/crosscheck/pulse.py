#!/usr/bin/env python3
"""Writes testdata/checks/15_pulse.json: what an independent implementation in Python of the search for
regular pulses (analyze/demand/pulse) says of homes that both sides make from the same numbers.

    python3 -m venv /tmp/venv && /tmp/venv/bin/pip install -r scripts/crosscheck/requirements.txt
    /tmp/venv/bin/python scripts/crosscheck/pulse.py > testdata/checks/15_pulse.json

numba makes it fast and changes no number.
"""
import datetime as dt
import json
import math
import sys
from collections import namedtuple

import numpy as np

try:
    from numba import njit
except ImportError:                                   # slow, the same numbers
    def njit(*a, **k):
        return a[0] if a and callable(a[0]) else (lambda f: f)

# ---------------------------------------------------------------- constants
BASE_DAYS, BASE_Q = 14, 0.30          # baseline: 30th percentile of the same slot of the day over +-14 days
LOW_KW = 1.2                          # a pulse is a run of intervals this far above the baseline
HEIGHTS = ((1.5, 99), (2.5, 99), (3.2, 99), (4.5, 99), (6, 99), (8.5, 99),
           (1.5, 2.6), (2.5, 4.4), (3.2, 5.5), (4.5, 8), (6, 9), (8.5, 13))     # kW: open, and bands
ENERGIES = (2, 6, 14)                 # kWh in the run, at least
WINDOWS = ((0, 24), (21, 7), (15, 23))   # hour that the run starts in
BIN = 7                               # days a bin
MIN_BEFORE, MIN_AFTER = 4, 8          # bins
LEAST_PULSES = 6
COARSE, EM_COARSE, EM_FINE = 3, 12, 25
EARLY, AHEAD = 3.0, 36                # the earliest date within EARLY of the best is taken; the day is sought this far on
TOP = 8                               # cells that are looked at with the season
SEASON_COST = 1.0                     # log odds that a season as strong as the mean rate costs
LEAST_KWH = 200                       # a year: an arrival without new energy is a shift of habits
MARGIN = 2.0                          # log odds needed to say it
Finding = namedtuple("Finding", "day score since kwh_year pulses_week before_week height hours energy")


# ---------------------------------------------------------------- 1. baseline
@njit(cache=True)
def baseline(x, n, per, base_days, base_q):
    """x: n*per kW (NaN: missing). One value a week and slot, held for the week's seven days."""
    out = np.full(n * per, np.nan)
    buf = np.empty(2 * base_days + 8)
    for w in range((n + 6) // 7):
        lo, hi = max(0, w * 7 + 3 - base_days), min(n, w * 7 + 4 + base_days)
        for s in range(per):
            m = 0
            for d in range(lo, hi):
                v = x[d * per + s]
                if v == v:                     # insertion sort: 29 values
                    i = m
                    while i > 0 and buf[i - 1] > v:
                        buf[i] = buf[i - 1]
                        i -= 1
                    buf[i] = v
                    m += 1
            if m < 7:
                continue
            q = buf[int(base_q * (m - 1))]
            for d in range(w * 7, min(n, w * 7 + 7)):
                out[d * per + s] = q
    return out


# ---------------------------------------------------------------- 2. pulses
@njit(cache=True)
def pulses(x, base, per, low):
    """Runs above the baseline by low kW: rows of (first interval, intervals, height kW, kWh).
    Height: the mean of the run's highest hour (the highest interval, hourly)."""
    n, h = len(x), 24.0 / per
    out = np.empty((n // 2 + 1, 4))
    k, i = 0, 0
    hour = max(1, per // 24)
    while i < n:
        if not (x[i] - base[i] >= low):
            i += 1
            continue
        j, e = i, 0.0
        while j < n and x[j] - base[j] >= low:
            e += (x[j] - base[j]) * h
            j += 1
        m = min(hour, j - i)
        top = 0.0
        for a in range(i, j - m + 1):
            s = 0.0
            for b in range(a, a + m):
                s += x[b] - base[b]
            top = max(top, s / m)
        out[k, 0], out[k, 1], out[k, 2], out[k, 3] = i, j - i, top, e
        k += 1
        i = j
    return out[:k]


# ---------------------------------------------------------------- 3. one rate against two, season beside them
@njit(cache=True)
def em(n, X, theta, iters):
    """Poisson with an additive, non-negative rate X theta: multiplicative updates; returns the log-likelihood."""
    m, p = X.shape
    col = np.zeros(p)
    for j in range(p):
        for i in range(m):
            col[j] += X[i, j]
    price = SEASON_COST * col[0] / max(n.sum(), 1e-9)
    for j in range(1, p - 1):
        if col[j] > 0:
            col[j] += price
    lam = np.empty(m)
    for it in range(iters + 1):
        for i in range(m):
            s = 1e-9
            for j in range(p):
                s += X[i, j] * theta[j]
            lam[i] = s
        if it == iters:
            break
        for j in range(p):
            if col[j] <= 0:
                theta[j] = 0.0
                continue
            s = 0.0
            for i in range(m):
                if n[i] > 0:
                    s += n[i] / lam[i] * X[i, j]
            theta[j] *= s / col[j]
    ll = 0.0
    for i in range(m):
        if X[i, 0] > 0:
            ll += n[i] * math.log(lam[i]) - lam[i]
    for j in range(1, p - 1):
        ll -= price * theta[j]
    return ll


@njit(cache=True)
def dispersion(n, X, theta, group):
    """Pearson's chi-square a degree of freedom of sums over `group` bins, under theta."""
    m, p = X.shape
    c, k = 0.0, 0
    for a in range(0, m - group + 1, group):
        s, l, e = 0.0, 0.0, 0.0
        for i in range(a, a + group):
            s += n[i]
            e += X[i, 0]
            for j in range(p):
                l += X[i, j] * theta[j]
        if e > 0.5 * group:
            c += (s - l) ** 2 / (l + 0.5)
            k += 1
    return c / max(1.0, k - 2.0) if k > 2 else 1.0


@njit(cache=True)
def at(n, X, t, th0, iters, th):
    """Gain in log-likelihood of a step at bin t, its dispersion, the step's rate and the rate without it."""
    m, p = X.shape
    a, ea, b, eb = 0.0, 0.0, 0.0, 0.0
    for i in range(m):
        X[i, p - 1] = X[i, 0] if i >= t else 0.0
        if i >= t:
            a += n[i]
            ea += X[i, 0]
        else:
            b += n[i]
            eb += X[i, 0]
    if ea < 1 or eb < 1:
        return -1e9, 1.0
    tot = (a + b) / (ea + eb)
    for j in range(p):
        th[j] = max(th0[j] * 0.5, 0.02 * tot + 1e-4)
    th[p - 1] = max(a / ea - 0.5 * b / eb, 0.1 * tot) + 1e-4
    l1 = em(n, X, th, iters)
    return l1, max(1.0, dispersion(n, X, th, 1), dispersion(n, X, th, 4))


@njit(cache=True)
def plain_gain(n, expo, lo, hi):
    """The most that two Poisson rates gain over one, rises only, no season: n log(n / exposure) by parts."""
    T, E = n.sum(), expo.sum()
    best, a, e = 0.0, 0.0, 0.0
    for t in range(hi):
        if t >= lo and e > 0 and E - e > 0 and (T - a) * e > a * (E - e):
            g = (T - a) * math.log((T - a) / (E - e)) - T * math.log(T / E)
            if a > 0:
                g += a * math.log(a / e)
            best = max(best, g)
        a += n[t]
        e += expo[t]
    return best


@njit(cache=True)
def scan(n, X, lo, hi, coarse, em_coarse, em_fine, disp, score):
    """score[t]: (gain / dispersion, step rate, base rate) over the dates: every third first, then around the two best."""
    m, p = X.shape
    X[:, p - 1] = 0
    tot = n.sum() / max(1e-9, X[:, 0].sum())
    th0, th = np.full(p, max(tot, 1e-3) / 2), np.zeros(p)
    th0[p - 1] = 0.0
    l0 = em(n, X, th0, 2 * em_fine)
    for t in range(lo, hi, coarse):
        l1, phi = at(n, X, t, th0, em_coarse, th)
        score[t, 0] = max(0.0, l1 - l0) / (phi if disp else 1.0)
    done = np.zeros(len(score))
    for again in range(2):
        best = -1
        for t in range(lo, hi, coarse):
            if done[t] == 0 and (best < 0 or score[t, 0] > score[best, 0]):
                best = t
        if best < 0:
            break
        done[best] = 1
        for t in range(max(lo, best - coarse + 1), min(hi, best + coarse)):
            l1, phi = at(n, X, t, th0, em_fine, th)
            score[t, 0] = max(0.0, l1 - l0) / (phi if disp else 1.0)
            score[t, 1], score[t, 2] = th[p - 1], th[0]


def season_columns(first, n):
    """Winter and summer bumps by the calendar, broad and narrow (either hemisphere: both stand in the model)."""
    a = [2 * math.pi * ((first + dt.timedelta(days=i)).timetuple().tm_yday - 20) / 365.25 for i in range(n)]
    c = np.cos(a)
    w, s = np.clip(c, 0, None), np.clip(-c, 0, None)
    return np.stack([w, w ** 3, s, s ** 3], 1)


# ---------------------------------------------------------------- 4. the whole
def inside(hour, w):
    a, b = w
    return (hour >= a) & (hour < b) if a < b else (hour >= a) | (hour < b)


def detect(kwh, step, first, margin=MARGIN, season=True, disp=True, heights=HEIGHTS, energies=ENERGIES, windows=WINDOWS, base_days=BASE_DAYS, early=EARLY, ahead=AHEAD, top=TOP):
    """kwh: one value an interval from midnight of `first` on (local time, whole days; NaN: missing). A net meter: its import."""
    per = 1440 // step
    n = len(kwh) // per
    nb = n // BIN
    lo, hi = MIN_BEFORE, nb - MIN_AFTER + 1
    if hi <= lo:
        return None
    x = np.asarray(kwh[:n * per], float) * (60 / step)
    base = baseline(x, n, per, base_days, BASE_Q)
    p = pulses(x, base, per, LOW_KW)
    day, hour = (p[:, 0] // per).astype(int), (p[:, 0] % per) * 24 / per
    seen = (~np.isnan(x)).reshape(n, per).mean(1) > 0.9

    def bins(v):
        return np.where(seen, v, 0.0)[:nb * BIN].reshape(nb, BIN).sum(1)
    expo = bins(np.ones(n)) / BIN
    cols = [expo]
    if season:
        cols += [bins(c) / BIN for c in season_columns(first, n).T]
    X = np.ascontiguousarray(np.stack(cols + [np.zeros(nb)], 1))
    last = X.shape[1] - 1
    tries = math.log(len(heights) * len(energies) * len(windows) / 3 * (hi - lo))   # a third: neighbouring cells say the same
    # cells: counts a bin; the `top` of them by the plain gain of two rates over one (no season) are looked at closely
    cells, had = [], set()
    for h in heights:
        for e in energies:
            for w in windows:
                k = (p[:, 2] >= h[0]) & (p[:, 2] < h[1]) & (p[:, 3] >= e) & inside(hour, w)
                daily = np.bincount(day[k], minlength=n)[:n].astype(float)
                c = bins(daily)
                if c.sum() >= LEAST_PULSES and c.tobytes() not in had:
                    had.add(c.tobytes())
                    cells.append((plain_gain(c, expo, lo, hi), h, e, w, daily, c))
    cells.sort(key=lambda r: -r[0])            # stable: equal gains stay in the order of the lists
    best, score, kept = None, np.zeros((nb + 1, 3)), []
    for g, h, e, w, daily, c in cells[:top]:
        score[:] = 0
        scan(c, X, lo, hi, COARSE, EM_COARSE, EM_FINE, disp, score)
        t = lo + int(np.argmax(score[lo:hi, 0]))
        kept.append((score[lo:hi, 0].copy(), h, e, w, daily, c))
        if best is None or score[t, 0] > best[0]:
            best = (score[t, 0], t, h, e, w, score[t].copy(), daily, c)
    if best is None or best[0] - tries <= margin:
        return None
    s, t, h, e, w, o, daily, c = best
    # the earliest date that explains as much but for `early`: use grows, cars come before their habits
    first_t = t
    for z, h2, e2, w2, d2, c2 in kept:
        for i in np.flatnonzero(z >= s - early):
            if lo + i < first_t - 2:
                first_t, h, e, w, daily, c = lo + i, h2, e2, w2, d2, c2
                break
    if first_t < t:
        score[:] = 0
        a, b = max(lo, first_t - 2), min(hi, first_t + 3)
        scan(c, X, a, b, 1, EM_COARSE, EM_FINE, disp, score)
        t = a + int(np.argmax(score[a:b, 0]))
    # the day: rates and season held, the split of the days that explains most; and all days within 2 of it
    th0, th = np.full(last + 1, max(c.sum() / max(1e-9, expo.sum()), 1e-3) / 2), np.zeros(last + 1)
    at(c, X, t, th0, 3 * EM_FINE, th)
    bg = np.maximum(X[:, :last] @ th[:last] / np.maximum(expo, 1e-9), 0.02) / BIN
    bg = np.concatenate([np.repeat(bg, BIN), np.full(n - nb * BIN, bg[-1])])
    up = max(th[last], 0.1) / BIN
    gain = np.cumsum(np.where(seen, daily * np.log1p(up / bg) - up, 0.0)[::-1])[::-1]
    d0, d1 = max(0, t * BIN - 21), min(n, t * BIN + ahead)
    d = d0 + int(np.argmax(gain[d0:d1]))
    near = np.flatnonzero(gain[d0:d1] >= gain[d] - 2.0) + d0
    # kWh a year: the energy of all pulses of about that height, season and background taken off
    k = (p[:, 2] >= 0.75 * h[0]) & (p[:, 3] >= 1.5)
    y = bins(np.bincount(day[k], weights=p[k, 3], minlength=n)[:n])
    th0[:] = max(y.sum() / max(1e-9, expo.sum()), 1e-3) / 2
    at(y, X, t, th0, 3 * EM_FINE, th)
    if th[last] / BIN * 365.25 < LEAST_KWH:
        return None
    return Finding(int(d), float(s - tries), (int(near[0]), int(near[-1])), th[last] / BIN * 365.25, o[1], o[2], h, w, e)


# ---------------------------------------------------------------- 5. homes that both sides make
class Random:
    """Knuth's MMIX generator: the top 53 bits over 2^53."""
    def __init__(self, seed):
        self.x = seed

    def __call__(self):
        self.x = (self.x * 6364136223846793005 + 1442695040888963407) % 2 ** 64
        return (self.x >> 11) / 2 ** 53


HOMES = [dict(seed=s, step=step, first=first, days=days, arrive=arrive, kw=kw, hours=hours, every=every, heat_kw=heat, holes=holes)
         for s, step, first, days, arrive, kw, hours, every, heat, holes in (
             (1, 60, "2024-03-01", 500, 250, 7.0, 3, 3, 0.0, 0.0),
             (2, 60, "2023-08-15", 620, 180, 3.6, 2, 4, 2.0, 0.01),
             (3, 15, "2024-01-10", 430, 300, 11.0, 1, 5, 0.0, 0.02),
             (4, 30, "2022-11-05", 730, 365, 2.3, 3, 3, 3.0, 0.0),
             (5, 60, "2024-06-01", 400, 99999, 7.0, 3, 3, 4.0, 0.0),
             (6, 15, "2023-05-20", 300, 90, 1.8, 4, 2, 0.0, 0.0),
             (7, 60, "2023-10-01", 900, 640, 3.6, 2, 3, 3.0, 0.01))]


def make(h):
    """kWh by interval: a base and an evening, an appliance now and then, heating that comes and goes in winter, a car."""
    rnd, per = Random(h["seed"]), 1440 // h["step"]
    hour, first = h["step"] / 60, dt.date.fromisoformat(h["first"])
    out = []
    for d in range(h["days"]):
        yday = (first + dt.timedelta(days=d)).timetuple().tm_yday
        cold = max(0.0, 1 - abs((yday + 172) % 365 - 182) / 110)      # 1 in the middle of January, 0 from May to September
        heat, wash, at, car = rnd() < cold, rnd() < 0.2, int(rnd() * per), h["arrive"] <= d and rnd() < 1 / h["every"]
        begin = (22 + int(rnd() * 3)) % 24
        for s in range(per):
            t = s * 24 / per
            kw = 0.3 + 0.3 * rnd() + (0.6 if 18 <= t < 22 else 0.0)
            if heat and 5 <= t < 7:
                kw += h["heat_kw"]
            if wash and at <= s < at + per // 12:
                kw += 2.1
            if car and begin <= t < begin + h["hours"]:
                kw += h["kw"]
            out.append(math.nan if rnd() < h["holes"] else kw * hour)
    return np.array(out)


def steps(h):
    """What the search says step by step."""
    kwh, per, n = make(h), 1440 // h["step"], h["days"]
    x = kwh * (60 / h["step"])
    base = baseline(x, n, per, BASE_DAYS, BASE_Q)
    p = pulses(x, base, per, LOW_KW)
    out = dict(kwh=float(np.nansum(kwh)), base=float(np.nansum(base)), pulses=len(p), height=float(p[:, 2].sum()), energy=float(p[:, 3].sum()))
    f = detect(kwh, h["step"], dt.date.fromisoformat(h["first"]), margin=-99)
    if f:
        out.update(score=f.score, day=f.day, low=f.since[0], top=f.since[1], kwh_year=float(f.kwh_year), min_kw=f.height[0], min_kwh=f.energy, from_hour=f.hours[0])
    return out


if __name__ == "__main__":
    json.dump(dict(source="scripts/crosscheck/pulse.py, numpy " + np.__version__, homes=[{**h, "expected": steps(h)} for h in HOMES]), sys.stdout, indent=1)
    print()
