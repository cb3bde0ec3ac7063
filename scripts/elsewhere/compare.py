"""What a run says of a fleet of fleet.py, against its truth.

    python compare.py FLEET RUN
"""
import sys

import pandas as pd

truth = pd.read_csv(f"{sys.argv[1]}/truth.csv")
options, sites = (pd.read_parquet(f"{sys.argv[2]}/{t}.parquet") for t in ["options", "sites"])
four = options[options.modules == 4][["site_id", "added_kwh_yr"]]
m = truth.merge(four, on="site_id").merge(sites[["site_id", "lane", "production_index", "array_faults"]], on="site_id")
m["error"] = 100 * (m.added_kwh_yr / 4 / m.new_module_kwh - 1)
for name, x in [("all", m), ("turned by 90", m[m.turned_deg < 120]), ("turned by 180", m[m.turned_deg >= 120])]:
    size = x.error.abs()
    print(f"yearly output of a new module, {name}: {len(x)} planes, bias {x.error.mean():+.1f} %, error {size.median():.1f} %, 95th percentile {size.quantile(0.95):.1f} %")
well, sick = m[~m.sick], m[m.sick]
print(f"healthy arrays in the lane repair: {(well.lane == 'repair').sum()} of {len(well)}; index 5 % {well.production_index.quantile(0.05):.3f}, 95 % {well.production_index.quantile(0.95):.3f}")
print(f"arrays that lost a third, found: {sick.array_faults.apply(lambda f: f is not None and 'inverters_down' in list(f)).sum()} of {len(sick)}")
