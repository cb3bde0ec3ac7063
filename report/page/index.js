// Sorting and filtering of the ranked list. Without it the list is complete,
// best first.
(function () {
  "use strict";
  var table = document.querySelector("table.ranked");
  if (!table) return;
  var body = table.tBodies[0];
  var rows = Array.prototype.slice.call(body.rows);
  var tools = document.getElementById("tools");
  var nothing = document.getElementById("nothing");

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
  function choice(text, key) {
    var values = {};
    rows.forEach(function (r) { if (r.dataset[key]) values[r.dataset[key]] = true; });
    var names = Object.keys(values).sort();
    if (names.length < 2) return null;
    var s = element("select");
    s.appendChild(element("option", "all")).value = "";
    names.forEach(function (n) { s.appendChild(element("option", n.replace(/_/g, " "))).value = n; });
    labelled(text, s).addEventListener("change", filter);
    return s;
  }

  var search = element("input");
  search.type = "search";
  labelled("Find", search).addEventListener("input", filter);
  var lane = choice("Lane", "lane");
  var branch = choice("Branch", "branch");
  var count = tools.appendChild(element("output"));
  tools.hidden = false;

  function filter() {
    var words = search.value.toLowerCase();
    var shown = 0;
    rows.forEach(function (r) {
      var ok = r.textContent.toLowerCase().indexOf(words) >= 0 &&
        (!lane || !lane.value || r.dataset.lane === lane.value) &&
        (!branch || !branch.value || r.dataset.branch === branch.value);
      r.hidden = !ok;
      if (ok) shown++;
    });
    nothing.hidden = shown > 0;
    count.textContent = shown === rows.length ? "" : shown + " of " + rows.length;
  }

  Array.prototype.forEach.call(table.querySelectorAll("th[data-sort]"), function (th) {
    var key = th.dataset.sort;
    var button = element("button", th.textContent);
    button.type = "button";
    th.textContent = "";
    th.appendChild(button);
    button.addEventListener("click", function () {
      var up = th.getAttribute("aria-sort") !== "ascending";
      Array.prototype.forEach.call(table.querySelectorAll("th[aria-sort]"), function (o) { o.removeAttribute("aria-sort"); });
      th.setAttribute("aria-sort", up ? "ascending" : "descending");
      rows.sort(function (a, b) {
        var x = a.dataset[key], y = b.dataset[key];
        var d = key === "site" ? x.localeCompare(y) : x - y;
        return (up ? d : -d) || a.dataset.rank - b.dataset.rank;
      });
      rows.forEach(function (r) { body.appendChild(r); });
    });
  });
})();
