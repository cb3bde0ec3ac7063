"""Prints the columns of a sites.parquet that are held against the truth, as JSON."""
import json
import sys

import pyarrow.parquet as pq

COLUMNS = """site_id lane consumption_kwh_yr production_kwh_yr production_index consumption_growth_pct_yr
consumption_growth_low_pct_yr consumption_growth_high_pct_yr load_events array_faults roof_modules service_modules""".split()
table = pq.read_table(sys.argv[1], columns=COLUMNS)
json.dump(table.to_pylist(), sys.stdout, default=str)
