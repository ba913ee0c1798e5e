/* Sort, filter, copy and save for tables of more than ten rows. Loaded by board.js where a page has such a table.
   Rows that the page holds are moved and hidden, never copied, so that buttons in them go on working; of a table that
   shows only its first rows all are fetched when they are wanted, and stand in a body of their own. What a person
   chose stays when new data come. */
(function () {
  "use strict";
  var FROM = 10;       // rows above which a table gets its tools
  var SHOWN = 300;     // rows of a fetched table that are drawn
  var NOTHING = "–";
  var tr = window.lineview.say;
  var signs = document.documentElement.dataset.separators || ".,", point = signs[0], group = signs[1];
  var language = document.documentElement.lang || "en";
  var slim = window.matchMedia("(max-width: 640px)");
  var words = new Intl.Collator(document.documentElement.lang, { numeric: true, sensitivity: "base" });
  var states = {};     // by the name of a table: how it is sorted and filtered
  var places = new WeakMap();  // of each row: its place as the board gave it
  var shapes = new WeakMap();  // of each table: its title and headings, by which it got its tools
  var page = window.location.pathname;

  function stateOf(box) {
    if (page !== window.location.pathname) { page = window.location.pathname; states = {}; }
    var title = box.getAttribute("aria-label") || "";
    var name = title.replace(/\(.*\)/, "").replace(/[\d.,]+/g, "");
    states[name] = states[name] || { column: -1, down: false, filter: "", all: null };
    return states[name];
  }
  function isChosen(state) { return state.column >= 0 || state.filter.trim() !== ""; }
  function textOf(cell) {
    var parts = [], walker = document.createTreeWalker(cell, NodeFilter.SHOW_TEXT);
    while (walker.nextNode()) { parts.push(walker.currentNode.data.trim()); }
    return parts.filter(Boolean).join(" ");  // a cell's lines stand apart in it
  }

  /* a table's rows as the board gave them: the text of each cell, and of moments their ISO form */
  function held(box) {
    var body = box.querySelector("tbody"), next = 0;
    var rows = Array.prototype.slice.call(body.rows);
    rows.forEach(function (row) { if (places.has(row)) { next = Math.max(next, places.get(row) + 1); } });
    rows.forEach(function (row) { if (!places.has(row)) { places.set(row, next); next += 1; } });
    rows.sort(function (a, b) { return places.get(a) - places.get(b); });
    return rows.map(function (row) {
      var cells = Array.prototype.slice.call(row.cells);
      return { row: row, text: cells.map(textOf),
        moment: cells.map(function (c) { return c.dataset.moment || ""; }), cells: cells };
    });
  }
  function isArranged(box) {
    return Array.prototype.some.call(box.querySelector("tbody").rows, function (row) { return places.has(row); });
  }
  function fetched(box, state) {
    if (state.all) { return Promise.resolve(state.all); }
    return window.fetch(box.dataset.rows).then(function (answer) {
      if (!answer.ok) { throw new Error(String(answer.status)); }
      return answer.json();
    }).then(function (said) {
      state.all = said.text.map(function (text, at) { return { text: text, moment: said.moment[at] }; });
      return state.all;
    });
  }
  function rowsOf(box, state) {
    return box.dataset.rows ? fetched(box, state) : Promise.resolve(held(box));
  }

  function numberOf(text) {
    var plain = text.replace("−", "-").split(group).join("").replace(point, ".");
    return /^-?\d+(\.\d+)?$/.test(plain) ? plain : "";
  }
  /* what a cell is sorted by: a moment, a number, or its text; null for what is not known */
  function keyOf(row, column) {
    var text = row.text[column];
    if (text === undefined || text === "" || text === NOTHING) { return null; }
    if (row.moment[column]) { return Date.parse(row.moment[column]); }
    var number = numberOf(text);
    return number === "" ? text : Number(number);
  }
  function compare(a, b) {
    if (typeof a === "number" && typeof b === "number") { return a - b; }
    if (typeof a !== typeof b) { return typeof a === "number" ? -1 : 1; }
    return words.compare(a, b);
  }
  /* the rows that a person wants to see, in that order; rows alike keep the board's order */
  function chosen(rows, state) {
    var parts = state.filter.toLocaleLowerCase().split(/\s+/).filter(Boolean);
    var kept = rows.filter(function (row) {
      var all = row.text.join("\n").toLocaleLowerCase();
      return parts.every(function (part) { return all.indexOf(part) >= 0; });
    });
    if (state.column < 0) { return kept; }
    return kept.map(function (row, at) { return { row: row, at: at, key: keyOf(row, state.column) }; })
      .sort(function (a, b) {
        if (a.key === null || b.key === null) { return (a.key === null) - (b.key === null) || a.at - b.at; }
        return (state.down ? -1 : 1) * compare(a.key, b.key) || a.at - b.at;
      }).map(function (one) { return one.row; });
  }

  function headings(box) { return Array.prototype.slice.call(box.querySelectorAll("thead tr > *")); }

  /* -- showing ---------------------------------------------------------------------------------- */

  function arrange(rows, kept) {
    var body = rows.length ? rows[0].row.parentNode : null;
    var shown = new Set(kept.map(function (row) { return row.row; }));
    var order = kept.concat(rows.filter(function (row) { return !shown.has(row.row); }));
    order.forEach(function (row, at) {
      if (row.row.hidden === shown.has(row.row)) { row.row.hidden = !shown.has(row.row); }
      if (body.rows[at] !== row.row) { body.insertBefore(row.row, body.rows[at]); }
    });
  }
  function draw(box, state, kept) {
    var table = box.querySelector("table"), body = table.querySelector("tbody");
    var whole = table.querySelector("tbody.all");
    if (!whole) {
      whole = document.createElement("tbody");
      whole.className = "all";
      table.appendChild(whole);
    }
    var heads = headings(box).map(function (cell) { return { text: textOf(cell), side: cell.className }; });
    whole.textContent = "";
    kept.slice(0, SHOWN).forEach(function (row) {
      var line = whole.insertRow();
      row.text.forEach(function (text, column) {
        var cell = line.insertCell();
        cell.textContent = text;
        cell.className = heads[column].side;
        cell.dataset.label = heads[column].text;
      });
    });
    body.hidden = isChosen(state);
    whole.hidden = !body.hidden;
  }
  function say(box, text) {
    var place = box.querySelector(".tools [role=status]");
    if (place && place.textContent !== text) { place.textContent = text; }
  }
  /* a text of how many rows, by one of them and by several */
  function counted(n, one, several, places) {
    return tr(n === 1 ? one : several, Object.assign({ count: n.toLocaleString(language) }, places));
  }

  function apply(box) {
    var state = stateOf(box);
    mark(box, state);
    if (box.dataset.rows && !isChosen(state)) { draw(box, state, []); say(box, ""); return; }
    if (box.dataset.rows && !state.all) { say(box, tr("Fetching all rows …")); }
    if (!box.dataset.rows && !isChosen(state) && !isArranged(box)) { say(box, ""); return; }
    rowsOf(box, state).then(function (rows) {
      var kept = chosen(rows, state);
      if (box.dataset.rows) { draw(box, state, kept); } else { arrange(rows, kept); }
      var several = box.dataset.rows && kept.length > SHOWN ? "{count} rows of {all}, the first {shown} shown" : "{count} rows of {all}";
      var places = { all: rows.length.toLocaleString(language), shown: SHOWN };
      say(box, isChosen(state) ? counted(kept.length, "{count} row of {all}", several, places) : "");
      watcher.takeRecords();
    }).catch(function () { say(box, tr("The rows could not be fetched; try again.")); });
  }

  /* -- the tools -------------------------------------------------------------------------------- */

  function isNumeric(box, column) {
    return headings(box)[column].classList.contains("number");
  }
  /* first the way that is wanted more often: most of a number, the beginning of an alphabet or of time; then the
     other; then as the board gave them */
  function turn(box, column) {
    var state = stateOf(box), first = isNumeric(box, column);
    if (state.column !== column) { state.column = column; state.down = first; }
    else if (state.down === first) { state.down = !first; }
    else { state.column = -1; }
    apply(box);
  }
  function mark(box, state) {
    headings(box).forEach(function (cell, column) {
      var way = state.column === column ? (state.down ? "descending" : "ascending") : null;
      if (way === cell.getAttribute("aria-sort")) { return; }
      if (way) { cell.setAttribute("aria-sort", way); } else { cell.removeAttribute("aria-sort"); }
    });
    var choice = box.querySelector(".tools select");
    var value = state.column < 0 ? "" : state.column + (state.down ? " down" : " up");
    if (choice && choice.value !== value) { choice.value = value; }
    var field = box.querySelector(".tools input");
    if (field && field.value !== state.filter) { field.value = state.filter; }
  }
  /* a spreadsheet takes a cell that begins so for a formula */
  function guarded(text) { return /^[=+\-@\t\r]/.test(text) ? "'" + text : text; }

  function copiedBySelection(text) {
    var field = document.createElement("textarea");
    field.value = text;
    field.className = "hidden";
    document.body.appendChild(field);
    field.select();
    var done = document.execCommand("copy");
    field.remove();
    if (!done) { throw new Error("refused"); }
  }
  /* on a network without encryption browsers have no clipboard, and some refuse it */
  function copied(text) {
    if (!navigator.clipboard) { return Promise.resolve(text).then(copiedBySelection); }
    return navigator.clipboard.writeText(text).catch(function () { copiedBySelection(text); });
  }
  function copy(box, button) {
    var state = stateOf(box);
    rowsOf(box, state).then(function (rows) {
      var kept = chosen(rows, state);
      var lines = kept.map(function (row) {
        return row.text.map(function (text) { return numberOf(text) ? text : guarded(text.replace(/\s+/g, " ")); }).join("\t");
      });
      return copied([headings(box).map(textOf).join("\t")].concat(lines).join("\n")).then(function () {
        say(box, counted(kept.length, "{count} row copied", "{count} rows copied"));
        button.focus();
      });
    }).catch(function () { say(box, tr("This browser did not let it be copied.")); });
  }
  /* spreadsheets that write a decimal comma take semicolons between columns */
  var between = point === "," ? ";" : ",";
  function quoted(text) { return /[",;\r\n]/.test(text) ? '"' + text.replace(/"/g, '""') + '"' : text; }
  function save(box) {
    var state = stateOf(box);
    rowsOf(box, state).then(function (rows) {
      var kept = chosen(rows, state);
      var lines = kept.map(function (row) {
        return row.text.map(function (text, column) {
          if (text === NOTHING) { return ""; }
          return quoted(row.moment[column] || numberOf(text).replace(".", point) || guarded(text));
        }).join(between);
      });
      var head = headings(box).map(function (cell) { return quoted(guarded(textOf(cell))); }).join(between);
      var link = document.createElement("a");
      var file = new Blob(["\ufeff" + [head].concat(lines).join("\r\n") + "\r\n"], { type: "text/csv" });
      link.href = window.URL.createObjectURL(file);
      link.download = fileName(box) + ".csv";
      link.click();
      window.setTimeout(function () { window.URL.revokeObjectURL(link.href); }, 60000);
      say(box, counted(kept.length, "{count} row saved", "{count} rows saved"));
    }).catch(function () { say(box, tr("The rows could not be fetched; try again.")); });
  }
  function fileName(box) {
    var title = (box.getAttribute("aria-label") || tr("table")).replace(/\(.*\)/, "");
    var page = box.dataset.file || window.location.pathname;
    return (page + " " + title).match(/[\p{L}\p{N}]+/gu).join("-").slice(0, 80).toLocaleLowerCase();
  }

  function element(tag, text, className) {
    var made = document.createElement(tag);
    made.textContent = text || "";
    if (className) { made.className = className; }
    return made;
  }
  function pressed(text, act) {
    var button = element("button", text, "small");
    button.type = "button";
    button.addEventListener("click", act);
    return button;
  }
  function sortChoice(box) {
    var label = element("label", tr("Sort by") + " ", "by"), choice = document.createElement("select");
    choice.appendChild(new Option(tr("as worked out"), ""));
    headings(box).forEach(function (cell, column) {
      if (cell.tagName !== "TH") { return; }
      choice.appendChild(new Option(tr("{column}, up", { column: textOf(cell) }), column + " up"));
      choice.appendChild(new Option(tr("{column}, down", { column: textOf(cell) }), column + " down"));
    });
    choice.addEventListener("change", function () {
      var state = stateOf(box), parts = choice.value.split(" ");
      state.column = choice.value ? Number(parts[0]) : -1;
      state.down = parts[1] === "down";
      apply(box);
    });
    label.appendChild(choice);
    return label;
  }
  function tools(box) {
    var title = box.getAttribute("aria-label") || tr("table");
    var bar = element("div", "", "tools");
    bar.setAttribute("role", "group");
    bar.setAttribute("aria-label", tr("Sort, filter, copy and save: {table}", { table: title }));
    var label = element("label", tr("Filter") + " "), field = document.createElement("input");
    field.type = "search";
    field.addEventListener("input", function () { stateOf(box).filter = field.value; apply(box); });
    label.appendChild(field);
    bar.appendChild(label);
    bar.appendChild(sortChoice(box));
    var copying = pressed(tr("Copy"), function () { copy(box, copying); });
    bar.appendChild(copying);
    bar.appendChild(pressed(tr("Save as CSV"), function () { save(box); }));
    var status = element("span", "", "soft");
    status.setAttribute("role", "status");
    bar.appendChild(status);
    box.insertBefore(bar, box.firstChild);
  }
  /* on a phone rows are cards without a head: there the choice in the bar sorts, elsewhere a column's heading */
  function buttons(box) {
    var wanted = !(slim.matches && box.classList.contains("cards"));
    headings(box).forEach(function (cell, column) {
      var button = cell.querySelector("button.sort");
      if (cell.tagName !== "TH" || wanted === Boolean(button)) { return; }
      var text = cell.textContent;
      cell.textContent = wanted ? "" : text;
      if (!wanted) { return; }
      button = element("button", text, "sort");
      button.type = "button";
      button.addEventListener("click", function () { turn(box, column); });
      cell.appendChild(button);
    });
  }

  function equip(box) {
    var body = box.querySelector("tbody"), bar = box.querySelector(":scope > .tools");
    var has = Boolean(body) && (body.rows.length > FROM || Boolean(box.dataset.rows));
    var shape = has ? [box.getAttribute("aria-label"), box.dataset.rows].concat(headings(box).map(textOf)).join("|") : "";
    var isOther = shapes.get(box) !== shape;  // a page that follows another may take its tables over
    shapes.set(box, shape);
    if (bar && (isOther || !has)) { bar.remove(); bar = null; }
    if (!has) { return; }
    if (!bar) { tools(box); }
    buttons(box);
    var whole = box.querySelector("tbody.all");
    if (whole && !box.dataset.rows) { whole.remove(); body.hidden = false; }
    if (isOther || isChosen(stateOf(box))) { apply(box); }
  }
  function all() {
    document.querySelectorAll("main .table").forEach(function (box) {
      if (!box.closest("details:not([open])")) { equip(box); }  // a folded one gets its tools when it is unfolded
    });
    watcher.takeRecords();
  }

  var due = false;
  var watcher = new MutationObserver(function (changes) {
    var fresh = false;
    changes.forEach(function (change) {
      var at = change.target.nodeType === 1 ? change.target : change.target.parentElement;
      if (!at || at.closest(".js-plotly-plot, #wall-clock, .tools, tbody.all")) { return; }
      var box = at.closest(".table");
      if (box) { stateOf(box).all = null; }  // the board gave other rows
      fresh = true;
    });
    if (!fresh || due) { return; }
    due = true;
    window.requestAnimationFrame(function () { due = false; all(); });
  });
  watcher.observe(document.body, { childList: true, subtree: true, characterData: true });
  slim.addEventListener("change", all);
  document.addEventListener("toggle", all, true);
  all();
})();
