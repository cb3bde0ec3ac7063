"""Opens the fleet's page in a browser and uses it as a person does.

    browse.py PAGE [BROWSER]     PAGE is an index.html; needs playwright and axe-playwright-python

Search, filters, sorting and print are checked; opening, filtering and sorting
are timed (the medians of several goes, printed); axe-core looks at every width
in both schemes; no width may scroll sideways.
"""
import json
import shutil
import statistics
import sys
import tempfile

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import sync_playwright

page_file = sys.argv[1]
browser = sys.argv[2] if len(sys.argv) > 2 else shutil.which("chromium")
checks = 0


def check(ok, what):
    global checks
    checks += 1
    if not ok:
        sys.exit(f"FAILED: {what}")


def timed(p, script, times=7):
    """The median time until the next frame after a script, in milliseconds."""
    return statistics.median(p.evaluate("""async (s) => {
        const t = performance.now(); eval(s);
        document.body.offsetHeight;
        return performance.now() - t; }""", script) for _ in range(times))


with sync_playwright() as play:
    b = play.chromium.launch(executable_path=browser, args=["--no-sandbox"])
    p = b.new_page(viewport={"width": 1400, "height": 900}, bypass_csp=True)  # the clock below is a script of ours
    opens = []
    for _ in range(3):
        p.goto("file://" + page_file)
        opens.append(p.evaluate("performance.timing.loadEventEnd - performance.timing.navigationStart"))
    data = json.loads(p.locator("#rows").text_content())
    rows = [dict(zip(data["keys"], r)) for r in data["rows"]]
    shown = lambda: [int(x) for x in p.locator("table.ranked tbody tr").evaluate_all("rs => rs.map(r => r.dataset.rank)")]
    said = lambda: p.locator("#tools output").text_content()

    check(shown() == [r["rank"] for r in rows][:100], "the first rows, best first")
    find = p.locator("#tools").get_by_label("Find")
    for word in (rows[-1]["site"], rows[0]["postcode"], rows[0]["branch"], rows[0]["reasons"][0].split()[0], "prepare"):
        find.fill(word)
        hits = [r["rank"] for r in rows if word.lower() in " ".join(map(str, [r["site"], r["postcode"], r["branch"], r["lane"], r["found"], r["offer"], *r["reasons"], r["next"], r["first"], r["ask"]])).lower()]
        got = shown()
        check(set(got) <= set(hits) and len(got) == min(100, len(hits)), f"search for {word}: {len(got)} rows of {len(hits)}")
    find.fill("no such site anywhere")
    check(shown() == [] and p.locator("#nothing").is_visible(), "nothing found is said")
    find.fill("")
    p.locator("#tools").get_by_label("Lane").select_option("prepare")
    prepare = [r["rank"] for r in rows if r["lane"] == "prepare"]
    check(shown() == prepare[:100] and said().startswith(f"{len(prepare)} of "), "the lane's filter, and its count")
    p.locator("#tools").get_by_label("Lane").select_option("")
    p.get_by_role("button", name="Pays back").click()
    check(shown() == [r["rank"] for r in sorted(rows, key=lambda r: (r["paybackSort"], r["rank"]))][:100], "sorted by payback")
    p.get_by_role("button", name="Pays back").click()
    check(shown() == [r["rank"] for r in sorted(rows, key=lambda r: (-r["paybackSort"], r["rank"]))][:100], "sorted the other way")
    check(p.locator("th[aria-sort=descending]").count() == 1, "the sorted column is marked")
    if len(rows) > 100:
        p.locator("#more button").click()
        check(len(shown()) == min(200, len(rows)), "the next slice")
    p.emulate_media(media="print")
    check(p.locator("table.ranked thead").evaluate("e => getComputedStyle(e).display") == "table-header-group", "headings repeat in print")
    heads = p.locator("table.ranked thead th").evaluate_all("hs => hs.map(h => h.dataset.head ? getComputedStyle(h, '::after').content : h.textContent)")
    check(all(h not in ("", "none", "normal") for h in heads) and p.locator(".ranked thead button:visible").count() == 0, "every heading prints as text: " + str(heads))
    check(not p.locator("#tools").is_visible(), "no tools in print")
    with tempfile.NamedTemporaryFile(suffix=".pdf") as f:
        if len(rows) <= 500:
            p.pdf(path=f.name, prefer_css_page_size=True)
            check(len(f.read()) > 10000, "it prints")
    p.emulate_media(media="screen")

    filters = timed(p, """{ const i = document.querySelector('#tools input'); i.value = i.value ? '' : 'car'; i.dispatchEvent(new Event('input')); }""")
    sorts = timed(p, """document.querySelector('th[data-sort=benefitSort] button').click()""")
    for width in (1400, 1000, 400):
        for scheme in ("light", "dark"):
            q = b.new_page(viewport={"width": width, "height": 900}, color_scheme=scheme, bypass_csp=True)
            q.goto("file://" + page_file)
            check(q.evaluate("document.documentElement.scrollWidth") <= width, f"{width} px scrolls sideways: {q.evaluate('document.documentElement.scrollWidth')}")
            found = Axe().run(q).response["violations"]
            check(not found, f"axe-core at {width} px, {scheme}: " + "; ".join(f"{v['id']}: {v['nodes'][0]['html'][:120]}" for v in found))
            q.close()
    b.close()
print(f"{checks} passed, 0 failed; {len(rows)} rows: opens in {statistics.median(opens):.0f} ms, filters in {filters:.0f} ms, sorts in {sorts:.0f} ms")
