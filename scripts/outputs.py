"""Reads a run's outputs as an analyst would, with engines other than the one
that wrote them, and opens the page as a customer of the program would.

    outputs.py WORK BROWSER    WORK holds demo/, schema.json; BROWSER may be empty
"""
import csv
import glob
import json
import os
import subprocess
import sys
import tempfile

import duckdb
import pyarrow.ipc as ipc
import pyarrow.parquet as pq

work, browser = sys.argv[1], sys.argv[2]
run = sorted(glob.glob(os.path.join(work, "demo", "runs", "*")))[-1]
schema = {t["name"]: t for t in json.load(open(os.path.join(work, "schema.json")))}
checks = 0


def check(ok, what):
    global checks
    checks += 1
    if not ok:
        sys.exit(f"FAILED: {what}")


# The columns that other people's notebooks rely on, by the contract of the outputs.
SHARED = """site_id rank lane reasons next_step consumption_kwh_yr production_kwh_yr consumption_normal_kwh_yr consumption_filled_pct production_filled_pct coverage_pct report_month
consumption_growth_pct_yr consumption_growth_low_pct_yr consumption_growth_high_pct_yr consumption_change_12m_pct
coverage_change_pct load_events production_index production_index_trend_pct_yr array_faults array_fault_details
roof_modules service_modules branch_modules gateway_modules permission_modules modules_possible binding_limit
enabling_jobs modules_to_add added_kw_dc added_kw_ac added_kwh_yr added_self_use_pct coverage_after_pct
cost savings_first_year savings_first_year_low savings_first_year_high net_benefit net_benefit_low net_benefit_high
simple_payback_years irr_pct priority confidence data_days data_coverage_pct""".split()
OPTIONS = """site_id modules feasible enabling_jobs added_kwh_yr added_self_use_pct bill_before bill_after cost
savings_first_year savings_first_year_low savings_first_year_high net_benefit net_benefit_low net_benefit_high
simple_payback_years irr_pct chosen report_month""".split()
MONTHLY = """site_id month production_kwh expected_production_kwh consumption_kwh import_kwh export_kwh
data_coverage_pct production_index report_month""".split()

for table, wanted in {"sites": SHARED, "candidates": SHARED, "options": OPTIONS, "monthly": MONTHLY}.items():
    path = os.path.join(run, table + ".parquet")
    arrow = pq.read_table(path)
    check(set(wanted) <= set(arrow.column_names), f"{table}.parquet lacks {set(wanted) - set(arrow.column_names)}")
    check(arrow.column_names == [c["name"] for c in schema[table]["columns"]], f"{table}: columns as the data dictionary lists them")
    duck = duckdb.sql(f"SELECT count(*) FROM '{path}'").fetchone()[0]
    check(duck == arrow.num_rows > 0, f"{table}: DuckDB counts {duck}, pyarrow {arrow.num_rows}")

# the Arrow stream says the same as the Parquet file, value by value
for table in ("sites", "candidates", "options", "monthly"):
    stream = ipc.open_stream(os.path.join(work, table + ".arrow")).read_all()
    check(stream.to_pylist() == pq.read_table(os.path.join(run, table + ".parquet")).to_pylist(), f"{table}: the Arrow stream differs from the Parquet file")

sites = pq.read_table(os.path.join(run, "sites.parquet"))
lanes = sites.column("lane").to_pylist()
check(len(set(sites.column("site_id").to_pylist())) == sites.num_rows == 80, "every site stands once")
ranks = sorted(r for r in sites.column("rank").to_pylist() if r is not None)
check(ranks == list(range(1, len(ranks) + 1)), "ranks run from 1 without a hole")
check(all((r is not None) == (l in ("call", "prepare")) for r, l in zip(sites.column("rank").to_pylist(), lanes)), "only call and prepare are ranked")

# net benefit, recomputed from the options by the settings' formula, in SQL
money = json.load(open(os.path.join(run, "run.json")))["settings"]["money"]
worst = duckdb.sql(f"""
    SELECT max(abs(net_benefit - (-cost + savings_first_year * list_sum([
        power((1 + {money['price_escalation_pct_yr']}/100.0) * (1 - {money['module_degradation_pct_yr']}/100.0), y - 1)
        / power(1 + {money['discount_rate_pct']}/100.0, y) for y in range(1, {money['horizon_years']} + 1)]))))
    FROM '{run}/options.parquet'""").fetchone()[0]
check(worst < 0.01, f"net benefit is off its formula by {worst}")
off = duckdb.sql(f"SELECT max(abs(savings_first_year - (bill_before - bill_after))) FROM '{run}/options.parquet'").fetchone()[0]
check(off < 0.01, f"saving is not the difference of the bills: {off}")

calls = list(csv.DictReader(open(os.path.join(run, "call_list.csv"), encoding="utf-8")))
check([int(c["rank"]) for c in calls] == sorted(int(c["rank"]) for c in calls), "the call list is in order")
check(all(c["cautions"] for c in calls), "every row carries the cautions")

# personal data: in the call list and the briefs only
people = [(r["customer"], r["contact"]) for r in csv.DictReader(open(os.path.join(work, "demo", "sites.csv"), encoding="utf-8"))]
words = {w for pair in people for w in pair if len(w) > 5}
for name in ("sites.parquet", "candidates.parquet", "options.parquet", "monthly.parquet", "rejects.csv", "index.html", "visits.json", "run.json", "datapackage.json"):
    path = os.path.join(run, name)
    text = open(path, "rb").read()
    if name.endswith(".parquet"):
        text = str(pq.read_table(path).to_pydict()).encode()
    hit = [w for w in words if w.encode() in text]
    check(not hit, f"{name} holds personal data")
for log in ("out.txt", "log.txt"):
    text = open(os.path.join(work, log)).read()
    check(not [w for w in words if w in text], f"{log} holds personal data")

if browser:
    shot = os.path.join(work, "page.png")
    with tempfile.TemporaryDirectory() as profile:
        subprocess.run([browser, "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
                        "--disable-component-update", "--disable-sync", f"--user-data-dir={profile}", "--window-size=1200,1600",
                        f"--screenshot={shot}", "file://" + os.path.join(run, "index.html")], check=True, capture_output=True, timeout=120)
        dom = subprocess.run([browser, "--headless", "--no-sandbox", "--disable-gpu", "--disable-background-networking", f"--user-data-dir={profile}", "--dump-dom",
                              "file://" + os.path.join(run, "index.html")], check=True, capture_output=True, text=True, timeout=120).stdout
    check(os.path.getsize(shot) > 20000, "the page shows something")
    check(all(c["site_id"] in dom for c in calls[:10]), "the page shows the first ten of the list")
    check("http://" not in dom.replace("http://www.w3.org", "") and "https://" not in dom, "the page asks for nothing from the network")
print(f"{checks} passed, 0 failed")
