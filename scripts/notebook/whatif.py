"""Holds a what-if run with modules 80 cheaper against the run without, and three
months of runs against what one glob over them gives.

    whatif.py RUNS COMPARISON    COMPARISON is the text of rowen compare
"""
import json
import os
import sys

import duckdb

runs, comparison = sys.argv[1:]
month, other = os.path.join(runs, "2026-10"), os.path.join(runs, "2026-10_money.cost_per_module=700")
checks = 0


def check(ok, what):
    global checks
    checks += 1
    if not ok:
        sys.exit(f"FAILED: {what}")


record = json.load(open(os.path.join(other, "run.json")))
check(record["timings"]["files_read"] == 0, "the what-if run read the readings again and not the ledger")
check("cost_per_module: 780 → 700" in comparison and "settings: " in comparison and "readings: " not in comparison, "compare does not say what was run differently")

# By hand: 80 less for each module, everything else the same. A price may make the
# other way of laying the modules out the better one, where a row is doubtful: then
# the sizes of that site stand elsewhere and make other kWh, and are left out.
both = f"'{month}/options.parquet' a JOIN '{other}/options.parquet' b USING (site_id, modules)"
sizes, off, saving = duckdb.sql(f"""SELECT count(*), max(abs(b.net_benefit - a.net_benefit - 80 * modules)), max(abs(b.savings_first_year - a.savings_first_year))
                                    FROM {both} WHERE a.legal_case IS NOT DISTINCT FROM b.legal_case AND a.added_kwh_yr = b.added_kwh_yr""").fetchone()
elsewhere = duckdb.sql(f"SELECT count(DISTINCT site_id) FROM {both} WHERE a.added_kwh_yr <> b.added_kwh_yr").fetchone()[0]
check(elsewhere <= 5, f"{elsewhere} sites are laid out otherwise only because modules are cheaper")
check(sizes > 1000 and off < 0.01 and saving < 0.01, f"of {sizes} sizes one is off by {off}, its saving by {saving}")

# A year of runs reads with one glob: the table of all months is the sum of the months.
for table in "sites candidates options monthly events faults limits jobs reasons outcomes".split():
    together = dict(duckdb.sql(f"SELECT report_month, count(*) FROM '{runs}/[0-9][0-9][0-9][0-9]-[0-9][0-9]/{table}.parquet' GROUP BY ALL").fetchall())
    apart = {m: duckdb.sql(f"SELECT count(*) FROM '{runs}/{m}/{table}.parquet'").fetchone()[0] for m in ("2026-08", "2026-09", "2026-10")}
    check(together == {m: n for m, n in apart.items() if n}, f"{table}: one glob gives {together}, the months {apart}")

# The history holds what each month's table says.
columns = "site_id, report_month, lane, rank, modules_to_add, net_benefit, production_index, coverage_pct"
history = f"SELECT {columns} FROM '{runs}/history.parquet' WHERE change <> 'gone'"
tables = f"SELECT {columns} FROM '{runs}/[0-9][0-9][0-9][0-9]-[0-9][0-9]/sites.parquet'"
check(not duckdb.sql(f"({history}) EXCEPT ALL ({tables})").fetchall() and not duckdb.sql(f"({tables}) EXCEPT ALL ({history})").fetchall(), "history and sites differ")
moved = "SELECT count(*) FROM (SELECT lane, lag(lane) OVER (PARTITION BY site_id ORDER BY report_month) AS before FROM '%s') WHERE lane <> before"
changed, by_hand = duckdb.sql(f"SELECT count(*) FROM '{runs}/history.parquet' WHERE lane <> lane_before").fetchone(), duckdb.sql(moved % (runs + "/history.parquet")).fetchone()
check(changed == by_hand, f"history has {changed} changes of lane, its rows {by_hand}")
same = duckdb.sql(f"SELECT count(*) FROM read_csv('{runs}/history.csv')").fetchone() == duckdb.sql(f"SELECT count(*) FROM '{runs}/history.parquet'").fetchone()
check(same, "history.csv and history.parquet differ in their rows")
print(f"{checks} passed, 0 failed")
