/* The little that the browser itself must do: say whether it is night or narrow, name the window, and let
   the pickers behave as menus do. No other script is loaded but Dash's own and plotly's. */
(function () {
  "use strict";
  var root = document.documentElement;
  var dark = window.matchMedia("(prefers-color-scheme: dark)");
  var slim = window.matchMedia("(max-width: 640px)");
  var KEPT = "lineview-theme";

  /* a text in the language of the works, its places in braces filled */
  var words = JSON.parse(root.dataset.words || "{}");
  function say(text, places) {
    return (words[text] || text).replace(/\{(\w+)\}/g, function (place, name) { return places && name in places ? places[name] : place; });
  }
  window.lineview = { say: say };

  function kept() {
    try { return window.localStorage.getItem(KEPT); } catch (e) { return null; }
  }
  function keep(theme) {
    try { window.localStorage.setItem(KEPT, theme); } catch (e) { /* a browser that keeps nothing */ }
  }
  function theme() {
    return kept() || root.dataset.start || (dark.matches ? "night" : "day");
  }
  /* what the head needs room for is known from the address alone */
  function place(pathname) {
    var page = pathname.replace(/\//g, "");
    root.dataset.page = ["", "rope", "weight", "shift", "wrap", "order", "week", "wall"].indexOf(page) < 0 ? "none" : page;
    return page;
  }
  function screen() {
    root.dataset.theme = theme();
    /* so that the board can begin with the page while the scripts are fetched */
    document.cookie = "lineview-screen=" + root.dataset.theme + (slim.matches ? ".narrow" : ".wide") + "; path=/; samesite=strict";
    return { theme: root.dataset.theme, narrow: slim.matches };
  }
  function other() {
    return say(root.dataset.theme === "night" ? "Day" : "Night");
  }
  function told() {
    if (window.dash_clientside && window.dash_clientside.set_props) {
      window.dash_clientside.set_props("screen", { data: screen() });
      window.dash_clientside.set_props("theme", { children: other() });
    }
  }

  /* the plain pages and a document's start have the same button for day and night, without Dash behind it */
  var plain = document.querySelector("body.plain #theme, #start .theme");
  if (plain) {
    plain.addEventListener("click", function () {
      keep(root.dataset.theme === "night" ? "day" : "night");
      screen();
      plain.textContent = other();
      told(); /* what Dash has asked for by now is of before */
    });
    /* the browser knows its zone where the computer that serves the page does not */
    var zone = document.querySelector("select[data-zone-of-browser]");
    if (zone) {
      var here = Intl.DateTimeFormat().resolvedOptions().timeZone;
      Array.prototype.forEach.call(zone.options, function (one) { one.selected = one.value === here || one.selected; });
    }
  }

  screen();
  place(window.location.pathname);
  if (plain) { plain.textContent = other(); }
  dark.addEventListener("change", told);
  slim.addEventListener("change", told);

  window.dash_clientside = window.dash_clientside || {};
  window.dash_clientside.lineview = {
    screen: function (clicks) {
      if (clicks) { keep(root.dataset.theme === "night" ? "day" : "night"); }
      var now = screen();
      return [now, other()];
    },
    rests: function (working) {
      return !working;
    },
    titled: function (title, pathname) {
      if (title) { document.title = title; }
      return place(pathname || "") === "wall" ? "wall" : "";
    },
    /* the stops as they are by now, in the order in which they stand, so that none moves under a finger */
    stopsNow: function (now, before, ticked) {
      function at(value) { return before.map(function (one) { return one.value; }).indexOf(value); }
      var old = now.options.filter(function (one) { return at(one.value) >= 0; });
      old.sort(function (a, b) { return at(a.value) - at(b.value); });
      var options = old.concat(now.options.filter(function (one) { return at(one.value) < 0; }));
      return [options, ticked.filter(function (value) { return options.some(function (one) { return one.value === value; }); }), now.alike];
    },
    ticked: function (stops, choices) {
      if (stops.length > 1) { return say("{count} stops are ticked.", { count: stops.length }); }
      var one = choices.filter(function (choice) { return stops.indexOf(choice.value) >= 0; })[0];
      return one ? say("Ticked: {stop}.", { stop: one.label }) : "";
    }
  };

  /* what draws pictures is half of all bytes and a quarter of a second's work: fetched beside the rest, run by Dash
     once a picture stands on the page, and not before its sentence */
  if (root.dataset.pictures) {
    Object.defineProperty(window, "_dashPlotlyJSURL", { get: function () { return root.dataset.pictures; }, set: function () {} });
    if (root.dataset.page !== "none") { window.fetch(root.dataset.pictures, { priority: "low" }).catch(function () {}); }
  }

  /* the wall's clock; what it shows is of now only while readings come in: after this time it turns plain */
  var STALE_MS = 60 * 60 * 1000;
  function look() {
    var clock = document.getElementById("wall-clock");
    var read = document.querySelector(".wall .read-at time");
    var now = new Date();
    if (clock) {
      clock.textContent = now.toLocaleTimeString(clock.dataset.units === "US" ? "en-US" : "en-GB", {
        hour: clock.dataset.units === "US" ? "numeric" : "2-digit", minute: "2-digit", timeZone: clock.dataset.zone
      });
    }
    root.dataset.stale = read && now - new Date(read.dateTime) > STALE_MS ? "yes" : "";
  }
  window.setInterval(look, 1000);

  /* whoever is signed in no more, or a screen that was revoked, is shown nothing further: the board's next
     question is refused, and the page gives way to the one for signing in */
  var ask = window.fetch;
  window.fetch = function (to, what) {
    return ask.apply(this, arguments).then(function (answer) {
      if (answer.status === 401) { window.location.reload(); }
      return answer;
    }, function (error) {
      var body = String(what && what.body), ofPage = body.indexOf('{"output":"..head.children') === 0;
      if (!ofPage && body.indexOf('{"output":"..version.data') !== 0) { throw error; }
      var line = document.querySelector("#start .under-way"), lost = say("The board cannot be reached") + ".";
      if (line) { line.textContent = lost; }
      window.dash_clientside.set_props("under-way", { children: lost });
      if (!ofPage) { throw error; }
      /* a page that the network lost is asked for until it is there: nothing else would ask for it again */
      return new Promise(function (go) { window.setTimeout(go, 2000); }).then(function () { return window.fetch(to, what); });
    });
  };

  /* Dash resets each component of a page that is shown anew by an action of its own, and every action asks every
     component: seconds to minutes in which a phone answers no finger. Resets that follow each other are gathered and
     carried out before any other action: once for a path and all below it, and not at all where nothing is kept to be
     reset, as on a page's first showing. */
  var RESET = "RESET_COMPONENT_STATE";
  function gathering(store) {
    var dispatch = store.dispatch;
    var resets = [];
    function reset() {
      var paths = resets.sort(function (a, b) { return a.join() < b.join() ? -1 : 1; });
      var last = null;
      var kept = Object.keys(store.getState().layoutHashes || {});
      resets = [];
      paths.forEach(function (path) {
        if (last !== null && path.join().indexOf(last) === 0) { return; }
        if (!kept.some(function (one) { return one.indexOf(path.join()) === 0; })) { return; }
        last = path.join();
        dispatch({ type: RESET, payload: { itempath: path } });
      });
    }
    store.dispatch = function (action) {
      if (action.type !== RESET) { reset(); return dispatch.apply(this, arguments); }
      if (!resets.length) { window.queueMicrotask(reset); }
      resets.push(action.payload.itempath);
      return action;
    };
  }
  var stores = window.dash_stores = window.dash_stores || [];
  stores.forEach(gathering);
  stores.push = function (store) {
    gathering(store);
    return Array.prototype.push.call(stores, store);
  };

  /* paper is day, and narrower than a screen: pictures are scaled to it whole, with the colours that night drew
     turned to those of day, since they are not drawn anew before the page is sent to the printer */
  window.addEventListener("beforeprint", function () {
    root.dataset.printed = root.dataset.theme;
    root.dataset.theme = "day";
    document.querySelectorAll(".svg-container").forEach(function (box) {
      var wide = box.clientWidth, high = box.clientHeight;
      if (!wide || !high) { return; }
      box.style.setProperty("--shape", wide + " / " + high);
      box.querySelectorAll(".main-svg").forEach(function (one) {
        one.setAttribute("viewBox", "0 0 " + wide + " " + high);
      });
    });
  });
  window.addEventListener("afterprint", function () {
    root.dataset.theme = root.dataset.printed || theme();
    delete root.dataset.printed;
    document.querySelectorAll(".svg-container .main-svg").forEach(function (one) { one.removeAttribute("viewBox"); });
  });

  /* the document's start gives way once the frame holds a page; a picker that is open stays open, and the focus where it is */
  function giveWay() {
    var start = document.getElementById("start"), said = document.getElementById("sentence");
    if (!start || !said || said.querySelector(".waiting")) { return; }
    var there = "header summary, header a, button.theme, #theme";
    var open = start.querySelector("details.picker[open] > summary"), held = start.contains(document.activeElement) && document.activeElement;
    var places = Array.prototype.slice.call(start.querySelectorAll(there));
    var at = places.indexOf(held || open), opened = places.indexOf(open);
    start.remove();
    var same = document.querySelectorAll("#board " + there.split(", ").join(", #board "));
    if (same[opened]) { same[opened].parentNode.open = true; }
    if (same[at]) { same[at].focus(); }
  }
  if (document.getElementById("start")) {
    new MutationObserver(giveWay).observe(document.body, { childList: true, subtree: true });
  }

  /* a picker closes when a choice is made, on Escape, and when one presses elsewhere */
  function close(but) {
    document.querySelectorAll("details.picker[open]").forEach(function (one) {
      if (one !== but) { one.open = false; }
    });
  }
  document.addEventListener("click", function (event) {
    var inside = event.target.closest ? event.target.closest("details.picker") : null;
    close(event.target.closest && event.target.closest(".choices a") ? null : inside);
  });
  document.addEventListener("keydown", function (event) {
    if (event.key === "Escape") {
      var open = document.querySelector("details.picker[open]");
      close(null);
      if (open) { open.querySelector("summary").focus(); }
    }
    /* the place to drop a file is pressed with the keyboard too */
    var role = event.target.getAttribute ? event.target.getAttribute("role") : "";
    if ((event.key === "Enter" || event.key === " ") && role === "button") {
      event.preventDefault();
      event.target.click();
    }
  });
  document.addEventListener("focusin", function (event) {
    var inside = event.target.closest ? event.target.closest("details.picker") : null;
    close(inside);
  });

  /* Dash calls its lists of choices list boxes with options, and its choices hold boxes to tick, which an option may
     not: they are groups. Its field for files has no name. */
  function plainRoles() {
    document.querySelectorAll('.dash-options-list[role="listbox"]').forEach(function (list) { list.setAttribute("role", "group"); });
    document.querySelectorAll(".dash-options-list-option[role], .dash-options-list-option[aria-selected]").forEach(function (choice) {
      choice.removeAttribute("role");
      choice.removeAttribute("aria-selected");
    });
    document.querySelectorAll('input[type="file"]:not([aria-label])').forEach(function (field) {
      if (!field.labels || !field.labels.length) { field.setAttribute("aria-label", say("Choose a file")); }
    });
  }
  /* the tools of long tables weigh nothing where there is none */
  var hasTools = false;
  function tableTools() {
    if (hasTools) { return; }
    var long = document.querySelectorAll("main .table tbody tr:nth-child(11), main .table[data-rows]");
    if (!Array.prototype.some.call(long, function (part) { return !part.closest("details:not([open])"); })) { return; }
    hasTools = true;
    var script = document.createElement("script");
    script.src = "/assets/tables.later.js";
    document.head.appendChild(script);
  }
  tableTools();
  document.addEventListener("toggle", tableTools, true);
  new MutationObserver(tableTools).observe(root, { childList: true, subtree: true });
  new MutationObserver(plainRoles).observe(root, {
    childList: true, subtree: true, attributes: true, attributeFilter: ["role", "aria-selected"]
  });

  /* a stop that is tapped on the timeline is ticked in the form; a reason that is tapped is set at once */
  function tick(stops) {
    var form = document.getElementById("reasons");
    if (!form) { return; }
    window.dash_clientside.set_props("stops", { value: stops });
    form.open = true;
    window.dash_clientside.set_props("reason-told", { children: "" });
    (form.querySelector(".offered") || form).scrollIntoView({ block: "center" });
    window.setTimeout(function () { /* once it is drawn, the list shows what was ticked */
      var list = document.getElementById("stops"), box = list && list.querySelector("input:checked");
      if (box) { list.scrollTop += box.getBoundingClientRect().top - list.getBoundingClientRect().top - list.clientHeight / 2; }
    }, 200);
  }
  /* a strip that is tapped opens its shift, day or week */
  function open(period) {
    var asked = new URLSearchParams(window.location.search);
    asked.set("period", period);
    window.dash_clientside.set_props("address", { search: "?" + asked });
  }
  /* a link in a table goes to its page as the board's other links do, without loading the board anew */
  document.addEventListener("click", function (event) {
    var link = event.target.closest ? event.target.closest("a[data-go]") : null;
    if (!link || link.closest("#start") || event.button || event.ctrlKey || event.metaKey || event.shiftKey || event.altKey) { return; }
    event.preventDefault();
    window.dash_clientside.set_props("address", { pathname: link.pathname, search: link.search });
  });
  /* a finger's click follows its tap, and would hit whatever the page has scrolled beneath it */
  function dropClick() {
    function drop(event) {
      if (event.target.closest(".js-plotly-plot")) { return; }
      event.preventDefault();
      event.stopPropagation();
      end();
    }
    function end() { document.removeEventListener("click", drop, { capture: true }); }
    document.addEventListener("click", drop, { capture: true });
    window.setTimeout(end, 400);
  }
  function taps() {
    document.querySelectorAll("#page .js-plotly-plot").forEach(function (graph) {
      if (graph.takesTaps || !graph.on) { return; }
      graph.takesTaps = true;
      graph.on("plotly_click", function (event) {
        var said = event.points.map(function (point) { return point.customdata; }).filter(function (value) {
          return typeof value === "string";
        });
        var stop = said.filter(function (value) { return value.indexOf("|") > 0; })[0];
        var strip = said.filter(function (value) { return value.indexOf("period=") === 0; })[0];
        var byFinger = window.matchMedia("(pointer: coarse)").matches;
        if ((stop || strip) && byFinger) { dropClick(); }
        if (stop) { tick([stop]); } else if (strip) { open(strip.slice(7)); }
      });
    });
  }
  window.setInterval(taps, 500);
  document.addEventListener("click", function (event) {
    var button = event.target.closest ? event.target.closest("button[data-stops], button[data-reason]") : null;
    if (!button) { return; }
    if (button.dataset.stops) { tick(button.dataset.stops.split(";")); return; }
    window.dash_clientside.set_props("reason", { value: button.dataset.reason });
    document.getElementById("set-reason").click();
  });
})();
