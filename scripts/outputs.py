"""Reads a run's outputs as an analyst would, with engines other than the one
that wrote them, and opens the page as a customer of the program would.

    outputs.py WORK BROWSER    WORK holds demo/, schema.json; BROWSER may be empty
"""
import csv
import glob
import html
import json
import os
import re
import shutil
import subprocess
import sys
import tempfile

import duckdb
import frictionless
import polars
import pyarrow.ipc as ipc
import pyarrow.parquet as pq

import agree

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

# Every Parquet table: DuckDB, pyarrow, Polars and parquet-go read the same types,
# counts and values; the Arrow stream and file hold them too; no null is a NaN.
tables = sorted(os.path.basename(p)[:-len(".parquet")] for p in glob.glob(os.path.join(run, "*.parquet")))
check(len(tables) == 10, f"ten Parquet tables: {tables}")
by_go = json.load(open(os.path.join(work, "leaves.json")))
record = json.load(open(os.path.join(run, "run.json")))
KINDS = {"text": "text", "float64": "number", "int32": "integer", "boolean": "boolean", "date": "date"}


def differing(a, b):
    return [k for k in sorted(set(a) | set(b)) if a.get(k) != b.get(k)]


def described(columns, path=""):
    for c in columns:
        if c.get("fields"):
            yield from described(c["fields"], path + c["name"] + ".")
        else:
            yield path + c["name"], c


for table in tables:
    path = os.path.join(run, table + ".parquet")
    arrow = pq.read_table(path)
    want = agree.by_arrow(arrow)
    for engine, got in (("DuckDB", agree.by_duckdb(path)), ("Polars", agree.by_polars(path)), ("parquet-go", by_go[table])):
        check(got == want, f"{table}: {engine} and pyarrow differ in {differing(want, got)}")
    rows = arrow.to_pylist()
    check(duckdb.sql(f"SELECT * FROM '{path}'").fetchall() == [tuple(r.values()) for r in rows], f"{table}: DuckDB and pyarrow differ in the lists")
    check(polars.read_parquet(path).to_dicts() == rows, f"{table}: Polars and pyarrow differ in the lists")
    check(ipc.open_stream(os.path.join(work, table + ".arrows")).read_all().to_pylist() == rows, f"{table}: the Arrow stream differs from the Parquet file")
    with ipc.open_file(os.path.join(work, "arrow", table + ".arrow")) as file:
        check(file.read_all().to_pylist() == rows, f"{table}: the Arrow file differs from the Parquet file")
        check(file.schema.metadata[b"rowen.run_id"].decode() == record["run_id"], f"{table}: the Arrow file does not name its run")
    check("nan" not in str(rows), f"{table} holds a NaN")
    for name, column in described(schema[table]["columns"]):
        kind = KINDS[want[name]["type"]]
        check(kind == column["type"] or column["type"] == "list", f"{table}.{name} is described as {column['type']} and is {kind}")
        if "." not in name and arrow.column(name).null_count:
            check(not column["required"], f"{table}.{name} is required and null")
    file = pq.ParquetFile(path)
    meta = file.metadata.metadata
    check(meta[b"rowen.run_id"].decode() == record["run_id"] and meta[b"rowen.schema_version"] and meta[b"rowen.report_month"] == b"2026-10", f"{table}: the metadata do not name the run")
    check([c["name"] for c in json.loads(meta[b"rowen.columns"])] == arrow.column_names, f"{table}: the metadata do not describe the columns")
    check(set(arrow.column("report_month").to_pylist()) <= {"2026-10"}, f"{table}: report_month")
    group = file.metadata.row_group(0)
    order = [file.metadata.schema.column(s.column_index).path for s in group.sorting_columns]
    check(order, f"{table} does not say its order")
    keys = list(zip(*(arrow.column(c).to_pylist() for c in order)))
    check(keys == sorted(keys), f"{table} is not in the order that it says, {order}")
    for i in range(group.num_columns):
        column = group.column(i)
        check(column.compression == "ZSTD", f"{table}.{column.path_in_schema}: {column.compression}")
        check(column.statistics is not None or column.num_values == 0, f"{table}.{column.path_in_schema} has no statistics to prune by")
        if column.path_in_schema in ("lane", "report_month", "reasons.list.element", "kind", "code", "limit"):
            check("RLE_DICTIONARY" in column.encodings, f"{table}.{column.path_in_schema} has no dictionary")

# the data package, by the reference library; and a file that was touched is found out
package = frictionless.Package(os.path.join(run, "datapackage.json"))
check({r.path for r in package.resources} == {n for n in record["outputs"] if n.endswith((".parquet", ".csv", ".xlsx"))}, "the data package describes every table")
for resource in package.resources:
    result = resource.validate()
    check(result.valid, f"the data package: {resource.name}: {result.flatten(['type', 'fieldName', 'note'])[:3]}")
    check(resource.type == ("file" if resource.name in ("sites", "candidates", "options", "call_list_workbook") else "table"), f"{resource.name} is described as a {resource.type}")
with tempfile.TemporaryDirectory() as touched:
    shutil.copytree(run, touched, dirs_exist_ok=True)
    with open(os.path.join(touched, "rejects.csv"), "a", encoding="utf-8") as f:
        f.write("x,1,,x,,\n")
    check(not frictionless.Package(os.path.join(touched, "datapackage.json")).get_resource("rejects").validate().valid, "a touched file passes for the run's")

# the lists of sites and their tidy tables say the same
for tidy, column in {"events": "load_events", "faults": "array_fault_details", "jobs": "enabling_jobs"}.items():
    fields = ", ".join('"%s"' % c["name"] for c in next(c for c in schema["sites"]["columns"] if c["name"] == column)["fields"])
    nested = f"SELECT site_id, report_month, e.* FROM (SELECT site_id, report_month, unnest({column}) AS e FROM '{run}/sites.parquet')"
    apart = duckdb.sql(f"(SELECT site_id, report_month, {fields} FROM ({nested}) EXCEPT ALL SELECT site_id, report_month, {fields} FROM '{run}/{tidy}.parquet')").fetchall()
    check(not apart and duckdb.sql(f"SELECT count(*) FROM ({nested})").fetchone() == duckdb.sql(f"SELECT count(*) FROM '{run}/{tidy}.parquet'").fetchone(), f"{tidy} and {column} of sites differ")

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

# Headline figures of the run, recomputed from the tables alone.
page = html.unescape(re.sub(r"<[^>]+>", " ", open(os.path.join(run, "index.html"), encoding="utf-8").read()))


def one(query):
    return duckdb.sql(query.replace("{", "'" + run + "/").replace("}", ".parquet'")).fetchone()[0]


def all_of(query):
    return duckdb.sql(query.replace("{", "'" + run + "/").replace("}", ".parquet'")).fetchall()


counts, earlier = record["counts"], record["earlier_calls"]
listed = one("SELECT count(*) FROM {candidates} WHERE on_call_list")
ready = one("SELECT count(*) FROM {sites} WHERE on_call_list AND lane = 'call'")
for what, want, got in (
    ("sites", counts["sites"], one("SELECT count(*) FROM {sites}")),
    ("sites by lane", {l["lane"]: l["sites"] for l in record["lanes"]}, dict(all_of("SELECT lane, count(*) FROM {sites} GROUP BY lane"))),
    ("sites ranked", counts["ranked"], one("SELECT max(rank) FROM {candidates}")),
    ("customers to call", counts["on_call_list"], listed),
    ("sizes simulated", counts["options"], one("SELECT count(*) FROM {options}")),
    ("site months", counts["months"], one("SELECT count(*) FROM {monthly}")),
    ("sites failed", counts["sites_failed"], one("SELECT count(*) FROM {sites} WHERE failed IS NOT NULL")),
    ("earlier calls", earlier["made"], one("SELECT count(*) FROM {outcomes}")),
    ("earlier calls answered", earlier["answered"], one("SELECT count(*) FROM {outcomes} WHERE result <> 'no_answer'")),
    ("modules sold before, calls", earlier["sold"], one("SELECT count(*) FROM {outcomes} WHERE result = 'sold'")),
    ("calls by no known list", earlier["proposed_by_no_known_list"], one("SELECT count(*) FROM {outcomes} WHERE list_month IS NULL")),
    ("page: customers to call", True, f"{listed} customers to call this month" in page),
    ("page: ready and to prepare", True, f"{ready} now, {listed - ready} once something is prepared" in page),
    ("page: arrays to repair", True, "%d arrays need repair first" % one("SELECT count(*) FROM {sites} WHERE lane = 'repair'") in page),
    ("modules on the list", sum(int(c["modules_to_add"]) for c in calls), one("SELECT sum(o.modules) FROM {options} o JOIN {sites} s USING (site_id, report_month) WHERE o.chosen AND s.on_call_list")),
    ("cost of the list", round(sum(float(c["cost"]) for c in calls)), round(one("SELECT sum(o.cost) FROM {options} o JOIN {sites} s USING (site_id, report_month) WHERE o.chosen AND s.on_call_list"))),
    ("sites with a saving on the list", [c["site_id"] for c in calls], [r[0] for r in all_of("SELECT site_id FROM {candidates} WHERE on_call_list ORDER BY rank")]),
):
    check(want == got, f"headline {what}: the run says {want}, the tables {got}")

# personal data: in the call list and the briefs only
people = [(r["customer"], r["contact"]) for r in csv.DictReader(open(os.path.join(work, "demo", "sites.csv"), encoding="utf-8"))]
words = {w for pair in people for w in pair if len(w) > 5}
for name in (*(t + ".parquet" for t in tables), "rejects.csv", "index.html", "visits.json", "run.json", "datapackage.json"):
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
