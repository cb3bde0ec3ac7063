"""A fleet made by other models than the product's and its demo's.

    python fleet.py WEATHER SEED SITES FOLDER

WEATHER is a typical year of hours, EPW or TMY3 layout: its global, beam and diffuse light
stand over all sites for two years. Light on planes by Perez 1990 and reflection by Fresnel,
both of pvlib; clouds of each roof's own; one array in seven loses a third towards the end.
Each site has one free plane; FOLDER/truth.csv says what a new module there made in the last
year. No customers, no contacts. The rules are our choice.
"""
import pathlib
import sys

import numpy as np
import pandas as pd
import pvlib
from pvlib import iam, irradiance

weather, seed, sites, folder = sys.argv[1], int(sys.argv[2]), int(sys.argv[3]), pathlib.Path(sys.argv[4])
rng = np.random.default_rng(seed)


def typical_year(path):
    """Hour of the year (no leap day) -> global, beam, diffuse; and where the station is."""
    if path.lower().endswith(".epw"):
        head = open(path, encoding="latin-1").readline().split(",")
        d = pd.read_csv(path, skiprows=8, header=None)
        when = pd.to_datetime({"year": 2025, "month": d[1], "day": d[2]}) + pd.to_timedelta(d[3] - 1, unit="h")
        place = float(head[6]), float(head[7]), float(head[9]), float(head[8])
        light = d[[13, 14, 15]]
    else:
        head = open(path).readline().split(",")
        d = pd.read_csv(path, skiprows=1, low_memory=False)
        date = d.iloc[:, 0].str.split("/", expand=True).astype(int)
        when = pd.to_datetime({"year": 2025, "month": date[0], "day": date[1]}) + pd.to_timedelta(d.iloc[:, 1].str.split(":").str[0].astype(int) - 1, unit="h")
        place = float(head[4]), float(head[5]), float(head[6]), float(head[3])
        light = d[["GHI (W/m^2)", "DNI (W/m^2)", "DHI (W/m^2)"]]
    light = pd.DataFrame(light.to_numpy(float), index=pd.DatetimeIndex(when), columns=["ghi", "dni", "dhi"])
    return light.groupby(level=0).first(), place


year, (latitude, longitude, metres, zone) = typical_year(weather)
hours = pd.date_range("2024-11-01", "2026-10-31 23:00", freq="h")  # standard time
same = [pd.Timestamp(2025, t.month, t.day, t.hour) for t in hours + pd.to_timedelta(np.where(hours >= "2025-11-01", 7, 0), unit="D")]
light = year.reindex(same).ffill()
ghi, dni, dhi = (light[c].to_numpy() for c in light)
utc = hours - pd.Timedelta(hours=zone)
middle = (utc + pd.Timedelta(minutes=30)).tz_localize("UTC")
sun = pvlib.location.Location(latitude, longitude, altitude=metres).get_solarposition(middle)
zenith, azimuth = sun["apparent_zenith"].to_numpy(), sun["azimuth"].to_numpy()
beyond = np.asarray(irradiance.get_extra_radiation(middle))
air = pvlib.atmosphere.get_relative_airmass(np.clip(zenith, 0, 89.9))
n, day = len(hours), middle.day_of_year.to_numpy()
warm = 13 - 8 * np.cos(2 * np.pi * (day - 20) / 365.25) + 5 * np.sin((hours.hour.to_numpy() - 9) / 24 * 2 * np.pi) + 2 * np.repeat(rng.standard_normal(n // 24), 24)
cloudy = (dhi > 0.25 * ghi) & (dhi < 0.9 * ghi)
last_year = hours >= "2025-11-01"


def effective(tilt, facing):
    on = irradiance.get_total_irradiance(tilt, facing, zenith, azimuth, dni, ghi, dhi, dni_extra=beyond, airmass=air, model="perez", albedo=0.2)
    on = {k: np.nan_to_num(np.asarray(v)) for k, v in on.items()}
    spread, beam = iam.marion_diffuse("physical", tilt), np.nan_to_num(iam.physical(np.asarray(irradiance.aoi(tilt, facing, zenith, azimuth))))
    return np.where(zenith < 90, on["poa_direct"] * beam + on["poa_sky_diffuse"] * spread["sky"] + on["poa_ground_diffuse"] * spread["ground"], 0)


def power(e, watts, per_degree, efficiency):
    return watts * e / 1000 * (1 + per_degree * (warm + 0.032 * e - 25)) * efficiency


def own_clouds():
    shock, x, out = rng.standard_normal(n), 0.0, np.empty(n)
    for i in range(n):
        x = 0.6 * x + 0.8 * shock[i]
        out[i] = x
    return np.maximum(0, 1 + 0.015 * rng.standard_normal(n) + 0.07 * out * cloudy)


tables = {name: [] for name in ["sites", "arrays", "planes", "services", "gateways", "truth"]}
(folder / "readings").mkdir(parents=True)
for i in range(sites):
    site, tilt = f"S{i:03d}", float(rng.integers(14, 36))
    facing = float(rng.choice([180 + rng.normal(0, 25), 90 + rng.normal(0, 12), 270 + rng.normal(0, 12), rng.uniform(0, 360)], p=[0.6, 0.15, 0.15, 0.1]) // 1 % 360)
    free = (facing + float(rng.choice([180, 90, 270]))) % 360
    modules, born = int(rng.integers(10, 24)), int(rng.integers(2016, 2023))
    roof = 0.93 * (1 + 0.02 * rng.standard_normal())  # dirt and wiring, of new modules too
    age = 1 - 0.005 * (2025 - born + np.arange(n) / 8766)
    watts = power(effective(tilt, facing), 330 * modules, -0.0036, 0.965) * roof * (1 + 0.003 * rng.standard_normal()) * age * own_clouds()
    watts = np.minimum(watts, 280 * modules)
    sick = rng.random() < 1 / 7
    if sick:
        watts[rng.integers(n - 200 * 24, n - 40 * 24):] *= 0.65
    use = 0.12 * (6 + 4 * np.sin((hours.hour.to_numpy() - 14) / 24 * 2 * np.pi) ** 2) * rng.uniform(0.7, 1.6) * (1 + 0.2 * rng.standard_normal(n))
    pd.DataFrame({"site_id": site, "start": utc.strftime("%Y-%m-%dT%H:00:00Z"), "production_wh": watts.round(), "consumption_wh": (1000 * np.maximum(use, 0.05)).round()}).to_csv(folder / "readings" / f"{site}.csv", index=False)
    since = f"{born}-06-01"
    tables["sites"].append(dict(site_id=site, latitude=round(latitude + rng.uniform(-0.2, 0.2), 4), longitude=round(longitude + rng.uniform(-0.2, 0.2), 4), timezone=f"Etc/GMT{-zone:+.0f}", elevation_m=metres, grid_type="grid_tied", commissioned_on=since, tariff_id="flat"))
    tables["arrays"].append(dict(site_id=site, array_id="A", modules=modules, module_watts=330, module_model="M-330", tilt_deg=tilt, azimuth_deg=facing, plane_id="P1", inverter_model="I-280", inverters=modules, commissioned_on=since))
    tables["planes"] += [dict(site_id=site, plane_id=p, width_m=w, slope_m=s, tilt_deg=tilt, azimuth_deg=a, shading_pct=0) for p, w, s, a in [("P1", 4, 3, facing), ("P2", 14, 7, free)]]
    tables["services"].append(dict(site_id=site, phases=2, volts=240, busbar_amps=225, main_breaker_amps=150, pv_breaker_amps=30, other_supply_amps=0, free_spaces=8, feed="end", profile="split-phase-200"))
    tables["gateways"].append(dict(site_id=site, gateway_model="G-1", software_version="5.1", reporting_inverters=modules, last_seen_on="2026-10-31", backup_controller="false", storage_kwh=0))
    new = np.minimum(power(effective(tilt, free), 430, -0.0034, 0.97) * roof, 410)[last_year].sum() / 1000
    tables["truth"].append(dict(site_id=site, new_module_kwh=new, turned_deg=abs((free - facing + 180) % 360 - 180), sick=sick))
for name, rows in tables.items():
    pd.DataFrame(rows).to_csv(folder / f"{name}.csv", index=False)
(folder / "catalogue.yaml").write_text("""modules:
  - {model: M-430, watts: 430, width_m: 1.134, height_m: 1.762, temp_coefficient_pct_per_c: -0.34}
  - {model: M-330, watts: 330, width_m: 1.0, height_m: 1.69, temp_coefficient_pct_per_c: -0.36}
inverters:
  - {model: I-280, family: I, generation: 1, kind: micro, ac_watts: 280, max_module_watts: 400, efficiency_pct: 96.5, per_branch: 14, branch_breaker_amps: 20}
  - {model: I-410, family: I, generation: 2, kind: micro, ac_watts: 410, max_module_watts: 560, efficiency_pct: 97, per_branch: 9, branch_breaker_amps: 20}
gateways: [{model: G-1, max_inverters: 120, latest_software: "5.1"}]
mixing: [{family: I, generations: [1, 2], gateways: [G-1], min_software: "5.0", grid_types: [grid_tied]}]
""")
(folder / "tariffs.yaml").write_text("""tariffs:
  - id: flat
    fixed_per_day: 0.3
    import: [{name: all, price: 0.3}]
    export: {credit: rate, price: 0.1}
    settlement: interval
    surplus_price: 0
""")
(folder / "rowen.yaml").write_text(f"currency: USD\ndefaults: {{timezone: Etc/GMT{-zone:+.0f}, tariff_id: flat, profile: split-phase-200, module: M-430, inverter: I-410}}\n")
