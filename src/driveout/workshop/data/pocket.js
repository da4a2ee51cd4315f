"use strict";
// Keeps ticks, counts, notes and hours on this phone and hands them back as one text. It works nothing out.
(function () {
  var sheet = JSON.parse(document.getElementById("cards").textContent);
  var KEY = "driveout-pocket " + sheet.car_id + " " + sheet.made;
  var state = { phone: mark(), entries: {}, order: [], hours: 0 };

  function el(id) { return document.getElementById(id); }
  function mark() {
    var bytes = new Uint8Array(12);
    crypto.getRandomValues(bytes);
    return Array.prototype.map.call(bytes, function (byte) { return ("0" + byte.toString(16)).slice(-2); }).join("");
  }
  function add(parent, tag, text, kind) {
    var node = document.createElement(tag);
    if (text) node.textContent = text;
    if (kind) node.className = kind;
    parent.appendChild(node);
    return node;
  }
  function key(kind, job, name) { return kind + ":" + job + ":" + name; }

  function put(kind, job, name, values) {
    var at = key(kind, job, name);
    if (!values) {
      delete state.entries[at];
      state.order = state.order.filter(function (one) { return one !== at; });
    } else {
      var before = state.entries[at] || { kind: kind, job: job, name: name, text: "", pieces: null };
      if (!state.entries[at]) state.order.push(at);
      Object.keys(values).forEach(function (field) { before[field] = values[field]; });
      before.at = new Date().toISOString();
      state.entries[at] = before;
    }
    keep();
    progress();
  }
  function held(kind, job, name) { return state.entries[key(kind, job, name)]; }

  function input(parent, label, id, value, mode, changed) {
    var words = add(parent, "label", label);
    words.htmlFor = id;
    var field = add(parent, "input");
    field.id = id;
    field.value = value;
    field.autocomplete = "off";
    if (mode) field.inputMode = mode;
    field.addEventListener("change", function () { changed(field.value.trim(), field); });
    return field;
  }

  function draw() {
    el("made").textContent = "Saved " + sheet.made.replace("T", " ").replace(/\+00:00$/, " UTC");
    var place = el("jobs");
    place.textContent = "";
    el("hours-job").textContent = "";
    sheet.jobs.forEach(function (job) {
      var option = add(el("hours-job"), "option", job.title);
      option.value = job.job;
      var part = add(place, "section");
      add(part, "h2", job.title);
      job.cautions.forEach(function (one) { caution(part, one); });
      if (job.renewals.length) {
        var need = add(part, "details");
        add(need, "summary", "Needed new");
        var list = add(need, "ul");
        job.renewals.forEach(function (words) { add(list, "li", words); });
      }
      job.phases.forEach(function (phase) {
        add(part, "h3", phase.title);
        var cards = add(part, "ol");
        phase.cards.forEach(function (card) { drawCard(add(cards, "li", "", "card " + card.kind), job.job, card); });
      });
    });
    hours();
    progress();
  }

  function caution(parent, one) {
    var box = add(parent, "p", "", "caution");
    add(box, "strong", "Caution. " + one.title + ". ");
    box.appendChild(document.createTextNode(one.text + (one.source ? " (" + one.source + ")" : "")));
  }

  function drawCard(box, job, card) {
    var id = job + "-" + card.number;
    add(box, "h4", card.number + ". " + (card.do.indexOf(card.verb) === 0 ? "" : card.verb + ": ") + card.do);
    (card.cautions || []).forEach(function (one) { caution(box, one); });
    if (card.mind) add(box, "p", "Mind: " + card.mind.join("; "));
    if (card.facts) add(box, "p", card.facts.join(" · "));
    if (card.bag) add(box, "p", "Bag " + card.bag, "mark");
    if (card.minutes) add(box, "p", "Wait " + card.minutes + " minutes");
    if (card.helper) add(box, "p", "Two people");
    if (card.note) add(box, "p", card.note, "soft");
    if (card.torque) add(box, "p", card.torque, "torque");
    if (card.origin) add(box, "p", "From: " + card.origin, "soft");
    if (card.stages) add(box, "p", "Stages: " + card.stages.join(", "));
    if (card.warning) add(box, "p", "✕ " + card.warning, "wrong");
    (card.remarks || []).forEach(function (words) { add(box, "p", words, "soft"); });
    if (card.kind === "hold") return drawHold(box, job, card, id);
    if (card.link) {
      var counted = held("tick", job, card.task);
      var pieces = input(box, card.kind === "undo" ? "Pieces taken out" : card.once ? "New pieces fitted" : "Pieces put back",
        "pieces-" + id, counted && counted.pieces !== null ? counted.pieces : card.pieces, "numeric", function (text) {
          if (held("tick", job, card.task)) put("tick", job, card.task, { pieces: /^\d{1,3}$/.test(text) ? Number(text) : null });
        });
      pieces.className = "pieces";
      if (card.kind === "refit" && card.torque) {
        var applied = held("torque", job, card.link);
        input(box, "Tightened to, with unit", "torque-" + id, applied ? applied.text : "", "", function (text) {
          put("torque", job, card.link, text ? { text: text } : null);
        });
      }
    }
    tick(box, "Done", id, card, !!held("tick", job, card.task), function (on) {
      var text = card.link ? el("pieces-" + id).value.trim() : "";
      put("tick", job, card.task, on ? { pieces: /^\d{1,3}$/.test(text) ? Number(text) : null } : null);
    });
  }

  function drawHold(box, job, card, id) {
    if (card.look && card.look.length) {
      add(box, "p", "Look at each of these yourself:");
      var list = add(box, "ul");
      card.look.forEach(function (words) { add(list, "li", words); });
    }
    (card.items || []).forEach(function (item, number) {
      var written = held("item", job, item.key);
      input(box, item.text, "item-" + id + "-" + number, written ? written.text : item.here, "", function (text) {
        put("item", job, item.key, text ? { text: text } : null);
      });
      if (item.miss) add(box, "p", "Forgotten: " + item.miss, "soft");
    });
    var passed = held("pass", job, card.task);
    var why = input(box, "If something stays open: why", "why-" + id, passed ? passed.text : "", "", function (text) {
      if (held("pass", job, card.task)) put("pass", job, card.task, { text: text });
    });
    tick(box, "I have looked at everything here and go past", id, card, !!passed, function (on) {
      put("pass", job, card.task, on ? { text: why.value.trim() } : null);
    });
  }

  function tick(box, words, id, card, on, changed) {
    if (card.done) {
      add(box, "p", "✓ Done on the machine before these cards were saved", "mark");
      box.classList.add("done");
      return;
    }
    var label = add(box, "label", "", "tick");
    var field = add(label, "input");
    field.type = "checkbox";
    field.id = "tick-" + id;
    field.checked = on;
    label.appendChild(document.createTextNode(words));
    box.classList.toggle("done", on);
    field.addEventListener("change", function () { box.classList.toggle("done", field.checked); changed(field.checked); });
  }

  function hours() {
    var list = el("hours-list");
    list.textContent = "";
    state.order.map(function (at) { return state.entries[at]; }).filter(function (one) { return one.kind === "hours"; }).forEach(function (one) {
      var job = sheet.jobs.filter(function (each) { return each.job === one.job; })[0];
      var row = add(list, "li", one.text + " h, " + (job ? job.title : "") + " ");
      var drop = add(row, "button", "Take out", "quiet");
      drop.type = "button";
      drop.setAttribute("aria-label", "Take out " + one.text + " h");
      drop.addEventListener("click", function () { put("hours", one.job, one.name, null); hours(); });
    });
  }

  function progress() {
    var all = 0, done = 0;
    sheet.jobs.forEach(function (job) { job.phases.forEach(function (phase) { phase.cards.forEach(function (card) {
      all += 1;
      if (card.done || held(card.kind === "hold" ? "pass" : "tick", job.job, card.task)) done += 1;
    }); }); });
    el("progress").textContent = done + " of " + all + " done, " + state.order.length + (state.order.length === 1 ? " entry" : " entries") + " to hand back";
  }

  function keep() {
    try {
      localStorage.setItem(KEY, JSON.stringify(state));
      el("kept").textContent = "Kept on this phone until you clear it.";
    } catch (full) {
      el("kept").textContent = "This browser does not keep the ticks when the page is closed. Save the record before you close it.";
    }
  }
  function recall() {
    try {
      var kept = JSON.parse(localStorage.getItem(KEY) || "null");
      if (kept && kept.entries && Array.isArray(kept.order)) state = kept;
    } catch (refused) { /* a page from a file may not be allowed to keep anything */ }
  }
  function record() {
    return JSON.stringify({
      schema: "driveout-pocket-record/1", car_id: sheet.car_id, car: sheet.car, phone: state.phone, made: sheet.made,
      entries: state.order.map(function (at) { return state.entries[at]; })
    }, null, 1);
  }

  el("add-hours").addEventListener("click", function () {
    var text = el("hours").value.trim().replace(",", ".");
    if (!/^\d{1,2}(\.\d{1,2})?$/.test(text)) {
      el("hours-wrong").textContent = "Write hours as a number, for example 1.5.";
      return;
    }
    el("hours-wrong").textContent = "";
    state.hours += 1;
    put("hours", Number(el("hours-job").value), state.phone + "-" + state.hours, { text: text });
    el("hours").value = "";
    hours();
  });
  el("save").addEventListener("click", function () {
    var link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob([record()], { type: "application/json" }));
    link.download = "job-cards-record-" + sheet.car_id + ".json";
    link.click();
    URL.revokeObjectURL(link.href);
  });
  el("copy").addEventListener("click", function () {
    el("text").hidden = false;
    el("text").value = record();
    el("text").select();
  });
  el("clear").addEventListener("click", function () {
    try { localStorage.removeItem(KEY); } catch (refused) { /* nothing was kept */ }
    state = { phone: mark(), entries: {}, order: [], hours: 0 };
    draw();
  });
  recall();
  draw();
  keep();
})();
