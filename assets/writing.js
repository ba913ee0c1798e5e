/* What people write goes to the board one entry at a time. An entry gets its name here, before it is sent: where
   the board cannot be reached it is kept in this browser and sent later, and the board keeps each name only once. */
(function () {
  "use strict";
  var KEPT = "lineview-unsent-";
  var PATIENCE_MS = 15000;
  function tr(text, places) { return window.lineview.say(text, places); }

  function kept() {
    var found = [];
    try {
      for (var i = 0; i < window.localStorage.length; i += 1) {
        var key = window.localStorage.key(i);
        if (key.indexOf(KEPT) === 0) { found.push(JSON.parse(window.localStorage.getItem(key))); }
      }
    } catch (e) { return []; }
    return found.sort(function (a, b) { return a.pressed < b.pressed ? -1 : 1; });
  }
  function keep(entry) {
    try { window.localStorage.setItem(KEPT + entry.entry, JSON.stringify(entry)); return true; } catch (e) { return false; }
  }
  function drop(entry) {
    try { window.localStorage.removeItem(KEPT + entry.entry); } catch (e) { /* it was never kept */ }
  }
  function name() {
    var parts = window.crypto.getRandomValues(new Uint32Array(4));
    return Array.prototype.map.call(parts, function (n) { return ("0000000" + n.toString(16)).slice(-8); }).join("");
  }

  /* gives what the board said, refuses with `refused` where it will never take it, and fails else */
  function send(body) {
    var fields = new URLSearchParams();
    Object.keys(body).forEach(function (key) { if (key !== "refused") { fields.append(key, body[key]); } });
    var stop = new AbortController();
    var timer = window.setTimeout(function () { stop.abort(); }, PATIENCE_MS);
    return window.fetch("/written", { method: "POST", body: fields, signal: stop.signal }).then(function (answer) {
      window.clearTimeout(timer);
      if (answer.ok) { return answer.json(); }
      if (answer.status !== 400 && answer.status !== 403) {
        var missed = new Error("not taken now");
        missed.why = answer.status === 401 ? tr("Nobody is signed in here any more") : "";
        throw missed;
      }
      return answer.text().then(function (text) {
        var refused = new Error(text);
        refused.refused = answer.status === 400 ? text : tr("This takes the right to write notes.");
        throw refused;
      });
    });
  }
  function look(version) {
    if (window.dash_clientside && window.dash_clientside.set_props) {
      window.dash_clientside.set_props("version", { data: version });
    }
  }

  var sending = false;
  var underway = "";
  function sendKept() {
    var waiting = kept().filter(function (one) { return !one.refused && one.entry !== underway; });
    show();
    if (sending || !waiting.length) { return Promise.resolve(); }
    sending = true;
    return waiting.reduce(function (before, one) {
      return before.then(function () {
        return send(one).then(function (said) { drop(one); look(said.version); }, function (error) {
          if (!error.refused) { throw error; }
          one.refused = error.refused;
          keep(one);
        });
      });
    }, Promise.resolve()).catch(function () { /* tried again later */ }).then(function () { sending = false; show(); });
  }

  /* what is not sent yet stands on every page, with what the board would not take */
  function show() {
    var list = kept().filter(function (one) { return one.entry !== underway; });
    var bar = document.getElementById("unsent");
    if (!bar) {
      if (!list.length || !document.body) { return; }
      bar = document.createElement("div");
      bar.id = "unsent";
      bar.setAttribute("role", "status");
      document.body.appendChild(bar);
    }
    var text = JSON.stringify(list);
    if (bar.dataset.shows === text) { return; }
    bar.dataset.shows = text;
    bar.textContent = "";
    bar.hidden = !list.length;
    list.forEach(function (one) {
      var line = document.createElement("p");
      line.textContent = one.refused ? tr("Not taken: “{entry}”: {why}", { entry: one.what, why: one.refused }) + " "
        : tr("Kept on this device, not sent yet: “{entry}” ({at}). It is sent when the board answers.", { entry: one.what, at: one.at });
      if (one.refused) {
        var away = document.createElement("button");
        away.type = "button";
        away.textContent = tr("Throw it away");
        away.addEventListener("click", function () { drop(one); show(); });
        line.appendChild(away);
      }
      bar.appendChild(line);
    });
  }

  function value(id) {
    var field = document.getElementById(id);
    return field ? field.value.trim() : "";
  }
  function clear(ids) {
    ids.forEach(function (id) {
      if (document.getElementById(id)) { window.dash_clientside.set_props(id, { value: "" }); }
    });
  }
  function write(button, kind) {
    var form = document.getElementById(kind);
    var told = document.getElementById(kind + "-told");
    var body = {
      act: "write", kind: kind, machine: form.dataset.machine, entry: name(), pressed: new Date().toISOString(),
      what: value(kind + "-what"), at: value(kind + "-at"), note: value(kind + "-note")
    };
    if (!body.what) {
      told.textContent = tr(kind === "note" ? "Enter the note." : "Enter what was done.");
      document.getElementById(kind + "-what").focus();
      return;
    }
    button.disabled = true;
    told.textContent = tr("Sending …");
    var isKept = keep(body);  // before it is sent, so that a page closed meanwhile loses nothing
    underway = body.entry;
    send(body).then(function (said) {
      drop(body);
      told.textContent = said.said;
      clear([kind + "-what", kind + "-note"]);
      setByHand = {};
      look(said.version);
    }, function (error) {
      if (error.refused) { drop(body); told.textContent = error.refused; return; }
      if (!isKept) { told.textContent = tr("The board cannot be reached, and this browser keeps nothing: write it on paper."); return; }
      told.textContent = error.why ? tr("{why}. Kept on this device; it is sent when somebody signs in.", { why: error.why })
        : tr("The board cannot be reached. Kept on this device; it is sent when the board answers.");
      clear([kind + "-what", kind + "-note"]);
    }).then(function () { underway = ""; button.disabled = false; show(); });
  }
  /* the list is made anew by what was changed in it: what was said of it is said in its new place too, and where
     there is none any more, below the sentence */
  var saidOf = null;
  function sayAgain() {
    if (!saidOf || saidOf.place.isConnected && saidOf.place.textContent) { return; }
    var item = saidOf.item && document.getElementById(saidOf.item);
    var place = item ? item.querySelector(".told-of") : document.getElementById("reason-told");
    if (!place || place.textContent) { return; }
    place.textContent = saidOf.text;
    saidOf.place = place;
  }
  new MutationObserver(sayAgain).observe(document.documentElement, { childList: true, subtree: true });
  function change(button, body, told) {
    button.disabled = true;
    send(body).then(function (said) {
      told.textContent = said.said;
      saidOf = { item: told.parentElement.id, text: said.said, place: told };
      look(said.version);
    }, function (error) {
      told.textContent = error.refused || tr("{why}; nothing was changed.", { why: error.why || tr("The board cannot be reached") });
    }).then(function () { button.disabled = false; });
  }

  document.addEventListener("click", function (event) {
    var button = event.target.closest ? event.target.closest("button[data-act]") : null;
    if (!button) { return; }
    var act = button.dataset.act;
    saidOf = null;
    if (act === "write") { write(button, button.dataset.kind); return; }
    var item = button.closest("li");
    var told = item.querySelector(".told-of");
    var entry = item.dataset.entry || "";
    change(button, {
      act: act, kind: button.dataset.kind || "", entry: entry, mark: button.dataset.mark || "", pressed: new Date().toISOString(),
      what: value("what-" + entry), at: value("at-" + entry), note: value("note-" + entry)
    }, told);
  });
  /* a form that starts at the present moment does so when it is opened and filled in, not when the page was made;
     what somebody wrote in its place stays */
  var setByHand = {};
  function now(zone) {
    var form = document.documentElement.lang === "de" ? "de-DE" : "sv-SE";
    return new Date().toLocaleString(form, {
      timeZone: zone, year: "numeric", month: "2-digit", day: "2-digit", hour: "2-digit", minute: "2-digit"
    }).replace(",", "");
  }
  function moveOn() {
    document.querySelectorAll(".write[data-now]").forEach(function (form) {
      var field = document.getElementById(form.id + "-at");
      var moment = now(form.dataset.now);
      if (!field || setByHand[field.id] || field === document.activeElement || field.value === moment) { return; }
      window.dash_clientside.set_props(field.id, { value: moment });
    });
  }
  document.addEventListener("input", function (event) {
    if (event.target.closest && event.target.closest(".write[data-now]") && /-at$/.test(event.target.id)) {
      setByHand[event.target.id] = true;
    }
  });
  document.addEventListener("toggle", moveOn, true);
  window.setInterval(moveOn, 1000);

  /* Enter in a field of the form saves it */
  document.addEventListener("keydown", function (event) {
    var form = event.key === "Enter" && event.target.matches("input[type=text]") ? event.target.closest(".write, #reasons") : null;
    if (form) { form.querySelector("button[data-act], #set-reason").click(); }
  });
  window.addEventListener("online", sendKept);
  window.setInterval(sendKept, PATIENCE_MS);
  document.addEventListener("DOMContentLoaded", sendKept);
  sendKept();
})();
