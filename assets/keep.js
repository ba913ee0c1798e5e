/* New data make parts of a page anew. What a person opened, where they had scrolled to, what they had the focus on
   and what they were typing stay as they were. */
(function () {
  "use strict";
  var folds = {};
  var typed = {};
  var focus = null;
  var wanted = 0;
  var place = window.location.pathname;
  var owed = 0;

  function foldName(fold) {
    var head = fold.querySelector("summary");
    var own = fold.id || (head ? head.textContent.replace(/\(.*\)/, "").replace(/[\d.,]+/g, "").trim() : "");
    var outer = fold.parentElement ? fold.parentElement.closest("details") : null;
    return outer ? foldName(outer) + " > " + own : own;
  }
  function fresh() {
    if (window.location.pathname === place) { return; }
    place = window.location.pathname;
    folds = {};
    typed = {};
    focus = null;
    wanted = owed = 0;
  }
  function nameOf(element) {
    var picker = element.closest("details.picker");
    if (picker) { return { id: picker.id, within: "summary" }; }
    if (element.id) { return { id: element.id }; }
    var holder = element.closest("[id]");
    var alike = holder ? holder.querySelectorAll(element.tagName) : [];
    return holder ? { id: holder.id, within: element.tagName, at: Array.prototype.indexOf.call(alike, element) } : null;
  }
  function elementOf(name) {
    var holder = name ? document.getElementById(name.id) : null;
    if (!holder || !name.within) { return holder; }
    return holder.querySelectorAll(name.within)[name.at || 0] || null;
  }

  document.addEventListener("toggle", function (event) {
    var fold = event.target;
    if (fold.tagName === "DETAILS" && !fold.classList.contains("picker")) { folds[foldName(fold)] = fold.open; }
  }, true);
  document.addEventListener("input", function (event) {
    if (event.target.id && event.target.closest("#page")) { typed[event.target.id] = event.target.value; }
  });
  document.addEventListener("focusin", function (event) {
    focus = { element: event.target, name: nameOf(event.target) };
  });
  document.addEventListener("click", function (event) {
    var choice = event.target.closest ? event.target.closest(".choices a") : null;
    if (choice) { choice.closest("details").querySelector("summary").focus(); }
    if (event.target.closest && event.target.closest("[data-entry] button[data-act]")) { typed = {}; }
  });
  /* a page that is shorter for a moment pushes the window up: it goes back down when the page is as long again,
     unless somebody has scrolled since */
  window.addEventListener("scroll", function () {
    var pushed = window.scrollY < wanted && window.scrollY >= lowest() - 2;
    if (pushed) { owed = wanted; } else { owed = 0; }
    wanted = window.scrollY;
  }, { passive: true });
  function lowest() { return document.documentElement.scrollHeight - window.innerHeight; }
  function back() {
    if (owed && lowest() >= owed) { window.scrollTo(0, owed); }
  }

  function restore() {
    fresh();
    document.querySelectorAll("main details").forEach(function (fold) {
      var name = foldName(fold);
      if (name in folds && fold.open !== folds[name]) { fold.open = folds[name]; }
    });
    Object.keys(typed).forEach(function (id) {
      var field = document.getElementById(id);
      if (field && field.value !== typed[id]) { window.dash_clientside.set_props(id, { value: typed[id] }); }
    });
    if (focus && focus.name && !focus.element.isConnected && document.activeElement === document.body) {
      var again = elementOf(focus.name);
      if (again) { again.focus({ preventScroll: true }); }
    }
  }
  function watch() {
    var board = document.getElementById("board");
    if (!board) { window.setTimeout(watch, 100); return; }
    new MutationObserver(function (changes) {
      var made = changes.some(function (change) {
        return change.addedNodes.length && !(change.target.closest && change.target.closest(".js-plotly-plot, #wall-clock"));
      });
      if (made) { restore(); }
    }).observe(board, { childList: true, subtree: true });
    new ResizeObserver(back).observe(board);
  }
  watch();
})();
