// A comfort only: the page says the same with scripts off.
"use strict";
function unfold() {
  var place = location.hash && document.getElementById(decodeURIComponent(location.hash.slice(1)));
  for (var node = place; node; node = node.parentElement) {
    if (node.tagName === "DETAILS") { node.open = true; }
    node.hidden = false;
  }
  if (place) { place.scrollIntoView(); }
}
addEventListener("hashchange", unfold);
addEventListener("beforeprint", function () {
  document.querySelectorAll("details").forEach(function (item) { item.open = true; });
});
unfold();
// A phone shows these tables as blocks, which takes their meaning away in some browsers.
document.querySelectorAll("table.words").forEach(function (table) {
  [["tr", "row"], ["td", "cell"], ["tbody th", "rowheader"], ["thead th", "columnheader"],
   ["thead, tbody", "rowgroup"]].forEach(function (pair) {
    table.querySelectorAll(pair[0]).forEach(function (node) { node.setAttribute("role", pair[1]); });
  });
  table.setAttribute("role", "table");
});

// The review: marks to a file that this page builds itself, and filters. Nothing is sent.
(function () {
  var form = document.getElementById("review");
  if (!form) { return; }
  // Written hundreds of times, so in a letter each: digest, part and basis of a row or a chain.
  var SHORT = { part: "p", basis: "b" };
  var rows = Array.from(document.querySelectorAll("tr[data-d]"));
  var chains = Array.from(document.querySelectorAll(".chain[data-b]"));
  var said = document.getElementById("said"), unsaved = false;
  function labelled(words, input, kind) {
    var label = document.createElement("label");
    if (kind) { label.className = kind; }
    label.append(kind === "free" ? words + " " : input, kind === "free" ? input : words);
    return label;
  }
  function free(key) {
    var input = document.createElement("input");
    input.dataset.key = key; input.maxLength = 2000; input.autocomplete = "off";
    return input;
  }
  function radio(number, value) {
    var input = document.createElement("input");
    input.type = "radio"; input.name = "m" + number; input.value = value; input.checked = !value;
    return input;
  }
  document.body.classList.add("scripted");
  rows.forEach(function (row) {  // beside the boxes of paper: buttons to choose from
    var number = row.cells[0].textContent.trim(), set = document.createElement("fieldset");
    var legend = document.createElement("legend");
    legend.textContent = "Mark of " + number;
    set.append(legend);
    form.dataset.marks.split("|").forEach(function (mark) {
      set.append(labelled(mark === "change" ? "change to" : mark, radio(number, mark)));
    });
    set.append(labelled("no mark", radio(number, ""), "none"), labelled("change to", free("change_to"), "free"),
      labelled("note", free("note"), "free"));
    row.cells[4].append(set);
  });
  form.addEventListener("submit", function (event) { event.preventDefault(); });
  document.querySelectorAll(".tools").forEach(function (part) { part.hidden = false; });

  function field(key) { return form.querySelector("[data-key=" + key + "]"); }
  function isDate(text) {
    var day = /^\d{4}-\d{2}-\d{2}$/.test(text) && new Date(text + "T00:00:00Z");
    return Boolean(day) && !isNaN(day) && day.toISOString().slice(0, 10) === text;
  }
  // As the reader judges it: no day to come, and none before the file; one day is let pass for another time zone.
  function impossible(text) {
    var issued = form.dataset.issued, day = Date.parse(text), night = 86400000;
    var now = new Date(), latest = Math.max(Date.UTC(now.getFullYear(), now.getMonth(), now.getDate()), Date.parse(issued) || 0);
    if (text < "2000") { return "is before the year 2000"; }
    if (day > latest + night) { return "lies in the future"; }
    return issued && day + night < Date.parse(issued) ? "lies before " + issued + ", the date of issue of this file" : "";
  }
  // What reads as a space becomes one; what turns the reading direction goes: the file holds no such thing.
  function clean(input) {
    var was = input.value, is = was.replace(/[\u2028\u2029\u000b\u000c\u0085\r\n\t]/g, " ")
      .replace(/[\u202a-\u202e\u2066-\u2069]/g, "").trim();
    if (is !== was) { input.value = is; }
    return is;
  }
  function odd(text) {  // a control or half character, which no file of marks may hold
    var found = /[\u0000-\u001f\u007f-\u009f]|[\ud800-\udbff](?![\udc00-\udfff])|(?:^|[^\ud800-\udbff])[\udc00-\udfff]/.exec(text);
    return found ? " holds a character that no text may hold: delete it and type it again." : "";
  }
  function refuse(node, words) { said.textContent = words; node.focus(); return null; }
  function plain(node) { return node.textContent.replace(/\s+/g, " ").trim(); }
  function entries() {  // what the brief said: a later void mark is told by it
    var found = {};
    document.querySelectorAll("#t-inputs tbody tr, #t-module_figures tbody tr").forEach(function (row) {
      var cells = Array.from(row.cells).map(plain), key = cells[0];
      if (row.closest("#t-module_figures")) { key += ": " + cells[1]; }
      if (cells.length > 3) { found[key] = cells[2] + (cells[3] === "–" ? "" : " (" + cells[3] + ")"); }
    });
    return found;
  }
  function collect() {
    var person = {}, marks = [], figures = {};
    ["name", "scope", "licence", "date", "scan"].forEach(function (key) {
      person[key] = clean(field(key));
    });
    for (var own in person) { if (odd(person[own])) { return refuse(field(own), "Your " + own + odd(person[own])); } }
    if (!person.name) { return refuse(field("name"), "Give your name first: a mark without a name is none."); }
    if (!isDate(person.date)) { return refuse(field("date"), "Give the date as year-month-day, for example 2026-11-24."); }
    if (impossible(person.date)) { return refuse(field("date"), "The date " + impossible(person.date) + ": give the day on which you mark."); }
    for (var i = 0; i < rows.length; i += 1) {
      var row = rows[i], mark = { decision_id: row.id.slice(2), digest: row.dataset.d };
      var chosen = row.querySelector("input[type=radio]:checked");
      mark.verdict = chosen ? chosen.value : "";
      ["change_to", "note"].forEach(function (key) {
        mark[key] = clean(row.querySelector("[data-key=" + key + "]"));
      });
      var number = row.cells[0].textContent.trim(), first = row.querySelector("input");
      var bad = odd(mark.note) ? "note" : odd(mark.change_to) ? "change_to" : "";
      if (bad) { return refuse(row.querySelector("[data-key=" + bad + "]"), "Line " + number + ": what you wrote" + odd(mark[bad])); }
      if (!mark.verdict && (mark.change_to || mark.note)) { return refuse(first, "Line " + number + " has words but no mark."); }
      if (mark.verdict === "change" && !mark.change_to) { return refuse(row.querySelector("[data-key=change_to]"), "Line " + number + ": say what it should change to."); }
      if (mark.verdict !== "change" && mark.change_to) { return refuse(first, "Line " + number + ": a new value goes with the mark change."); }
      if (mark.verdict) {
        marks.push(Object.assign(mark, person));
        figures[mark.decision_id] = plain(row.cells[1].querySelectorAll("p")[1]);
        row.querySelectorAll(".worked").forEach(function (p) { if (/^also: /.test(p.textContent)) { mark.also = plain(p).slice(6); } });
      }
    }
    if (!marks.length) { return refuse(field("name"), "Nothing is marked yet."); }
    return { packcalc_review: 1, cautions: [document.querySelector(".short").textContent.trim()], design: form.dataset.design, layout: form.dataset.layout,
             issued: form.dataset.issued, input_digest: form.dataset.inputDigest, decisions: form.dataset.decisions, entries: entries(), figures: figures, marks: marks };
  }
  document.getElementById("save").addEventListener("click", function () {
    var file = collect();
    if (!file) { return; }
    var link = document.createElement("a"), mark = file.marks[0];
    var who = mark.name.toLowerCase().replace(/[^a-z0-9]+/g, "-").slice(0, 40);
    link.href = URL.createObjectURL(new Blob([JSON.stringify(file, null, 1) + "\n"], { type: "application/json" }));
    link.download = "review-" + file.design.slice(0, 60) + "-" + who + "-" + mark.date + ".json";
    link.click();
    unsaved = false;
    said.textContent = file.marks.length + " marks saved as " + link.download + ". Hand the file back; packcalc report BRIEF --review FILE reads it.";
  });
  document.addEventListener("change", function (event) {
    var row = event.target.closest("tr[data-d]");
    if (!row) { return; }
    unsaved = true;  // paper shows what was chosen, else empty boxes
    row.classList.toggle("marked", Boolean(row.querySelector("input[type=radio]:checked").value));
  });
  addEventListener("beforeunload", function (event) { if (unsaved) { event.preventDefault(); } });

  var search = document.getElementById("search"), selects = {};
  ["part", "basis", "verdict", "standing"].forEach(function (key) {
    selects[key] = document.getElementById("by-" + key);
    selects[key].addEventListener("change", show);
  });
  search.addEventListener("input", show);
  document.getElementById("all").addEventListener("click", function () {
    search.value = "";
    Object.values(selects).forEach(function (select) { select.value = ""; });
    show();
  });
  function holds(node, key) {
    var wanted = selects[key].value;
    if (!wanted) { return true; }
    var between = key === "basis" ? "" : "|";  // a basis is one digit
    var own = (key === "verdict" ? node.cells[2].textContent.trim() : node.dataset[SHORT[key] || key] || "not marked").split(between);
    return wanted.split(between).some(function (word) { return own.indexOf(word) >= 0; });
  }
  function own(node) {  // what is decided, without the words of its boxes and of its mark
    return node.cells ? node.id.slice(2) + " " + Array.from(node.cells).slice(0, -1).map(function (cell) {
      return cell.textContent; }).join(" ") : node.textContent;
  }
  function finds(node) {
    var words = search.value.trim().toLowerCase();
    return !words || own(node).toLowerCase().indexOf(words) >= 0;
  }
  function filtered(nodes, keys) {
    return nodes.filter(function (node) {
      node.hidden = !(keys.every(function (key) { return holds(node, key); }) && finds(node));
      return !node.hidden;
    }).length;
  }
  function show() {
    var some = filtered(rows, ["part", "basis", "verdict", "standing"]);
    var worked = filtered(chains, ["basis"]);
    document.getElementById("shown").textContent = some + " of " + rows.length + " decisions and " +
      worked + " of " + chains.length + " worked figures are shown.";
  }
})();
