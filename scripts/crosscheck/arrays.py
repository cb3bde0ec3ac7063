"""Makes testdata/checks/15_arrays.csv: what arrays that face different ways make of real light.

    python arrays.py WEATHER.csv OUT.csv

WEATHER.csv is a typical year of hours in TMY3 layout (Golden, Colorado: global, beam and
diffuse light, each of its own). Light on the planes by Perez 1990 and reflection by
Fresnel, both of pvlib: other models than the product's. Each array has an error of its
own of 3 % an hour and one of 3 % throughout, by a fixed seed; those named new have none.
"""
import sys

import numpy as np
import pandas as pd
import pvlib
from pvlib import iam, irradiance

LATITUDE, LONGITUDE, METRES, ZONE = 39.742, -105.179, 1829, -7
DAYS = slice(90 * 24, 210 * 24)  # April to July
ARRAYS = [(25, 180), (30, 170), (20, 195), (30, 135), (25, 225), (35, 160), (25, 100), (25, 265), (18, 180), (22, 150), (20, 90), (25, 280), (15, 20), (22, 240)]
NEW = [(25, 180), (25, 90), (25, 270), (25, 0), (35, 315)]

year = pd.read_csv(sys.argv[1], skiprows=1, low_memory=False).iloc[DAYS]
date = year.iloc[:, 0].str.split("/", expand=True).astype(int)  # the year of a typical year is of no account
day = pd.to_datetime({"year": 2025, "month": date[0], "day": date[1]})
hour = day + pd.to_timedelta(year.iloc[:, 1].str.split(":").str[0].astype(int) - 1, unit="h")
middle = (pd.DatetimeIndex(hour) - pd.Timedelta(hours=ZONE) + pd.Timedelta(minutes=30)).tz_localize("UTC")
sun = pvlib.location.Location(LATITUDE, LONGITUDE, altitude=METRES).get_solarposition(middle)
zenith, azimuth = sun["apparent_zenith"].values, sun["azimuth"].values
beyond = np.asarray(irradiance.get_extra_radiation(middle))
air = pvlib.atmosphere.get_relative_airmass(np.clip(zenith, 0, 89.9))
ghi, dni, dhi = (year[c].astype(float).values for c in ["GHI (W/m^2)", "DNI (W/m^2)", "DHI (W/m^2)"])


def watts(tilt, facing):
    """Output of 5 kW at 15 C, W."""
    on = irradiance.get_total_irradiance(tilt, facing, zenith, azimuth, dni, ghi, dhi, dni_extra=beyond, airmass=air, model="perez", albedo=0.2)
    on = {k: np.nan_to_num(np.asarray(v)) for k, v in on.items()}
    spread = iam.marion_diffuse("physical", tilt)
    beam = np.nan_to_num(iam.physical(np.asarray(irradiance.aoi(tilt, facing, zenith, azimuth))))
    e = np.where(zenith < 90, on["poa_direct"] * beam + on["poa_sky_diffuse"] * spread["sky"] + on["poa_ground_diffuse"] * spread["ground"], 0)
    return 5 * e * (1 - 0.0035 * (15 + 0.032 * e - 25)) * 0.965 * 0.93


rng = np.random.default_rng(7)
out = pd.DataFrame({"utc": middle.strftime("%Y-%m-%dT%H:00Z")})
for tilt, facing in ARRAYS:
    own = watts(tilt, facing) * (1 + 0.03 * rng.standard_normal(len(ghi))) * (1 + 0.03 * rng.standard_normal())
    out[f"array_{tilt}_{facing}"] = np.maximum(own, 0).round().astype(int)
for tilt, facing in NEW:
    out[f"new_{tilt}_{facing}"] = watts(tilt, facing).round().astype(int)
out[(out.iloc[:, 1:] > 0).any(axis=1)].to_csv(sys.argv[2], index=False)
