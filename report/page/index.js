// Search, filters and sorting of the ranked list. Without it the first rows are
// there, best first. Rows are made in slices from the page's own data, so that a
// list of ten thousand opens and answers at once.
(function () {
  "use strict";
  var table = document.querySelector("table.ranked");
  var source = document.getElementById("rows");
  if (!table || !source) return;
  var body = table.tBodies[0];
  var shape = body.rows[0].cloneNode(true);
  var tools = document.getElementById("tools");
  var nothing = document.getElementById("nothing");
  var more = document.getElementById("more");
  var data = JSON.parse(source.textContent);
  var slice = 100, shown = 0;

  var lanes = {};
  Array.prototype.forEach.call(document.querySelectorAll("table.lanes tbody th"), function (th) {
    var code = th.querySelector(".key").className.replace("key l-", "");
    lanes[code] = th.textContent;
  });
  var all = data.rows.map(function (cells) {
    var r = {};
    data.keys.forEach(function (k, i) { r[k] = cells[i]; });
    r.text = [r.site, r.postcode, r.branch, lanes[r.lane], r.found, r.offer, r.reasons.join(" "), r.next, r.first, r.ask,
      r.stops > 1 ? "trip " + r.trip + "," : "", r.fresh ? "new" : ""].join(" ").toLowerCase();
    return r;
  });
  var hits = all;
  var sortKey = "rank", up = true;

  function element(name, text) {
    var e = document.createElement(name);
    if (text) e.textContent = text;
    return e;
  }
  function labelled(text, control) {
    var l = element("label", text + " ");
    l.appendChild(control);
    tools.appendChild(l);
    return control;
  }
  function choice(text, key, words) {
    var values = {};
    all.forEach(function (r) { if (r[key]) values[r[key]] = true; });
    var names = Object.keys(values).sort();
    if (names.length < 2) return null;
    var s = element("select");
    s.appendChild(element("option", "all")).value = "";
    names.forEach(function (n) { s.appendChild(element("option", words[n] || n)).value = n; });
    labelled(text, s).addEventListener("change", filter);
    return s;
  }
  function tick(text, key) {
    var yes = all.filter(function (r) { return r[key]; }).length;
    if (yes === 0 || yes === all.length) return null;
    var b = element("input");
    b.type = "checkbox";
    labelled(text, b).addEventListener("change", filter);
    return b;
  }

  var search = element("input");
  search.type = "search";
  labelled("Find", search).addEventListener("input", filter);
  var lane = choice("Lane", "lane", lanes);
  var branch = choice("Branch", "branch", {});
  var month = tick("This month's calls only", "on");
  var fresh = tick("New only", "fresh");
  var count = tools.appendChild(element("output"));
  tools.hidden = false;

  function put(row, name, text) { row.querySelector("[data-f=" + name + "]").textContent = text; }
  function make(r) {
    var row = shape.cloneNode(true), link = row.querySelector("[data-f=site]");
    row.dataset.rank = r.rank;
    put(row, "rank", r.rank);
    put(row, "beyond", r.on ? "" : "○");
    if (!r.on) {
      var said = element("span", " beyond this month's calls");
      said.className = "hidden";
      row.querySelector("[data-f=beyond]").appendChild(said);
    }
    put(row, "fresh", r.fresh ? "new" : "");
    link.textContent = r.site;
    if (/^briefs\/[A-Za-z0-9._-]+$/.test(r.brief)) link.setAttribute("href", r.brief); else link.removeAttribute("href");
    put(row, "where", r.branch + (r.postcode ? " · " + r.postcode : ""));
    row.querySelector("[data-f=key]").className = "key l-" + r.lane;
    put(row, "lane", lanes[r.lane] || r.lane);
    put(row, "trip", r.stops > 1 ? "trip " + r.trip + ", " + r.stops + " sites" : "");
    put(row, "found", r.found);
    put(row, "offer", r.offer);
    put(row, "reasons", r.reasons.join(" "));
    put(row, "size", r.modules === 1 ? "1 module" : r.modules + " modules");
    put(row, "upTo", r.upTo > r.modules ? "up to " + r.upTo : "");
    put(row, "made", r.made + " kWh/yr");
    put(row, "cost", "costs " + r.cost);
    put(row, "benefit", r.benefit);
    put(row, "benefitSpan", r.benefitSpan);
    row.querySelector(".worth svg").setAttribute("class", r.low === "" ? "gone" : "");
    if (r.low !== "") {
      row.querySelector("[data-f=reach]").setAttribute("x", r.low);
      row.querySelector("[data-f=reach]").setAttribute("width", r.wide);
      row.querySelector("[data-f=dot]").setAttribute("cx", r.at);
    }
    put(row, "payback", r.payback);
    put(row, "saving", "saves " + r.saving + "/yr");
    put(row, "savingSpan", r.savingSpan);
    put(row, "next", r.next);
    put(row, "first", r.first ? "Comes first: " + r.first : "");
    put(row, "ask", r.ask ? "Could end the sale: " + r.ask : "");
    put(row, "sure", r.sure + " %");
    row.querySelector("[data-f=level]").style.width = r.sure + "%";
    put(row, "stays", r.stays ? "stays " + r.stays : "");
    return row;
  }

  function add(n) {
    var part = document.createDocumentFragment();
    for (var end = Math.min(shown + n, hits.length); shown < end; shown++) part.appendChild(make(hits[shown]));
    body.appendChild(part);
    more.hidden = shown >= hits.length;
    button.textContent = "Show " + Math.min(slice, hits.length - shown) + " more of " + (hits.length - shown);
  }
  function draw() {
    body.textContent = "";
    shown = 0;
    add(slice);
    nothing.hidden = hits.length > 0;
    count.textContent = hits.length === all.length ? all.length + (all.length === 1 ? " site" : " sites") : hits.length + " of " + all.length + " sites";
  }
  function order() {
    hits.sort(function (a, b) {
      var x = a[sortKey], y = b[sortKey];
      var d = x < y ? -1 : x > y ? 1 : 0;
      return (up ? d : -d) || a.rank - b.rank;
    });
  }
  function filter() {
    var words = search.value.toLowerCase().split(/\s+/).filter(Boolean);
    hits = all.filter(function (r) {
      return words.every(function (w) { return r.text.indexOf(w) >= 0; }) &&
        (!lane || !lane.value || r.lane === lane.value) &&
        (!branch || !branch.value || r.branch === branch.value) &&
        (!month || !month.checked || r.on) && (!fresh || !fresh.checked || r.fresh);
    });
    order();
    draw();
  }

  var button = more.appendChild(element("button"));
  button.type = "button";
  button.addEventListener("click", function () { add(slice); });
  Array.prototype.forEach.call(table.querySelectorAll("th[data-sort]"), function (th) {
    var key = th.dataset.sort;
    var b = element("button", th.textContent);
    th.dataset.head = th.textContent; // a repeated heading prints text, and no button
    b.type = "button";
    th.textContent = "";
    th.appendChild(b);
    b.addEventListener("click", function () {
      up = th.getAttribute("aria-sort") !== "ascending";
      sortKey = key;
      Array.prototype.forEach.call(table.querySelectorAll("th[aria-sort]"), function (o) { o.removeAttribute("aria-sort"); });
      th.setAttribute("aria-sort", up ? "ascending" : "descending");
      order();
      draw();
    });
  });
  // A printed list holds what is filtered, up to what a printer is asked for.
  window.addEventListener("beforeprint", function () { add(2000 - Math.min(2000, shown)); });
  filter();
})();
