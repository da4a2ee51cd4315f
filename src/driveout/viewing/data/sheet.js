"use strict";
// Walks the saved plan. It looks positions up and compares prices; every number was worked out before.
(function () {
  var sheet = JSON.parse(document.getElementById("plan").textContent);
  var plan = sheet.policy;
  var SIGNS = "0123456789abcdefghijklmnopqrstuvwxyz";
  var KEY = "driveout-sheet " + sheet.car_id + " " + sheet.made;
  var state = { answers: [], price: sheet.price, notes: "", decision: "open", photos: [] };

  function el(id) { return document.getElementById(id); }
  function put(id, text) { el(id).textContent = text; }
  function money(amount) { return String(amount).replace(/\B(?=(\d{3})+(?!\d))/g, ",") + " " + sheet.currency; }

  // The list of nodes follows the walk from the start: first met, first listed.
  function unpack() {
    var nodes = {}, met = {}, waiting = [plan.start];
    met[plan.start] = true;
    for (var n = 0; n < waiting.length; n++) {
      var position = waiting[n], row = plan.nodes[n];
      if (row === null || row === undefined) continue;
      var node = steps(row);
      node.stop = sheet.stop[n];
      nodes[position] = node;
      node.steps.forEach(function (pair) {
        if (pair.step < 0) return;
        for (var o = 0; o < plan.outcomes[pair.step].length; o++) {
          var child = after(position, pair.step, o);
          if (!met[child]) { met[child] = true; waiting.push(child); }
        }
      });
    }
    return nodes;
  }

  function steps(row) {
    var list = [], rest, c;
    if (row === "no") return { ceiling: null, steps: [{ from: null, step: plan.usual[1] }] };
    if (typeof row === "object" && !Array.isArray(row)) {
      c = row.ceiling; rest = row.steps.slice(1); list.push({ from: null, step: row.steps[0] });
    } else {
      c = Array.isArray(row) ? row[0] : row;
      rest = Array.isArray(row) ? row.slice(1) : [];
      list.push({ from: null, step: plan.usual[0] });
    }
    for (var i = 0; i < rest.length; i += 2) list.push({ from: plan.edges[rest[i]], step: rest[i + 1] });
    if (typeof row !== "object" || Array.isArray(row)) list.push({ from: c, step: plan.usual[1] });
    return { ceiling: c, steps: list };
  }

  function after(position, check, outcome) {
    return position.slice(0, check) + SIGNS[outcome] + position.slice(check + 1);
  }

  function advice(node, price) {
    var found = node.steps[0].step;
    node.steps.forEach(function (pair) { if (pair.from !== null && pair.from <= price) found = pair.step; });
    return found;
  }

  var nodes = unpack();

  function place() {
    var position = plan.start;
    state.answers.forEach(function (a) { position = after(position, plan.checks.indexOf(a.check), a.outcome); });
    return position;
  }

  function limitWords(node) { return node.ceiling === null ? "at any price" : node.ceiling === "any" ? "at no price" : money(node.ceiling); }

  function draw(moveFocus) {
    var node = nodes[place()];
    put("currency", "(" + sheet.currency + ")");
    if (document.activeElement !== el("price")) el("price").value = state.price;
    el("undo").disabled = state.answers.length === 0;
    el("answers").textContent = "";
    el("caution").hidden = true;
    put("facts", ""); put("stop", "");
    if (!node) {
      put("limit-words", "No advice"); put("limit", "");
      put("what", "The plan does not reach this far");
      put("say", "Undo the last answer, or go by the last limit above.");
    } else {
      put("limit-words", node.ceiling === null ? "Walk away" : "Walk away above");
      put("limit", limitWords(node));
      var step = advice(node, state.price);
      if (step < 0) ended(node, plan.actions[-1 - step]); else ask(node, plan.checks[step]);
    }
    el("note-part").hidden = !node;
    trail();
    pictures();
    keep();
    if (moveFocus) { el("what").focus(); el("what").scrollIntoView({ block: "nearest" }); }
  }

  function ended(node, action) {
    if (action === "buy") {
      put("what", "Buy at " + money(state.price));
      put("say", "Nothing more to check is worth its time. Do not go above " + limitWords(node) + ".");
    } else {
      put("what", "Walk away at " + money(state.price));
      put("say", node.ceiling === null ? "By your rules no price makes it worth buying." :
        "Type a new price if the seller comes down to " + limitWords(node) + " or less.");
    }
  }

  function ask(node, check) {
    var card = sheet.cards[check];
    put("what", card.title);
    put("say", card.how);
    put("facts", card.minutes + " min" + (card.money > 0 ? ", " + money(card.money) : "") + (card.needs ? ". Needs: " + card.needs : ""));
    if (card.caution) { put("caution-words", card.caution); el("caution").hidden = false; }
    if (node.stop !== null && node.stop !== undefined) {
      put("stop", node.stop > 0 ? "If you stop checking here: buy only up to " + money(node.stop) + "." : "If you stop checking here: do not buy.");
    }
    card.answers.forEach(function (answer, outcome) {
      var button = document.createElement("button");
      button.type = "button";
      button.textContent = answer.words;
      button.addEventListener("click", function () {
        var before = node.ceiling;
        state.answers.push({ check: check, outcome: outcome, found: answer.found, words: answer.words, title: card.title,
          price: state.price, note: el("note").value.trim(), at: new Date().toISOString(), before: before });
        el("note").value = "";
        draw(true);
      });
      el("answers").appendChild(button);
    });
  }

  function trail() {
    var list = el("trail"), position = plan.start;
    list.textContent = "";
    el("nothing").hidden = state.answers.length > 0;
    put("moved", "");
    state.answers.forEach(function (answer, n) {
      position = after(position, plan.checks.indexOf(answer.check), answer.outcome);
      var node = nodes[position], item = document.createElement("li");
      item.textContent = answer.title + ": " + answer.words + (node ? " → walk away " + (node.ceiling === null ? "" : "above ") + limitWords(node) : "") +
        (answer.note ? " (" + answer.note + ")" : "");
      list.appendChild(item);
      if (n === state.answers.length - 1) {
        put("moved", "Before the last answer: " + (answer.before === null ? "at any price" : money(answer.before)));
      }
    });
  }

  function pictures() {
    var box = el("photos");
    box.textContent = "";
    state.photos.forEach(function (photo) {
      var image = document.createElement("img");
      image.src = photo.data;
      image.alt = "Photo: " + (photo.title || "car");
      box.appendChild(image);
    });
  }

  // What the browser lets the page keep; without it the sheet still works until it is closed.
  function keep() {
    try {
      localStorage.setItem(KEY, JSON.stringify(state));
      put("kept", "Kept on this phone until you clear it.");
    } catch (full) {
      put("kept", "This browser does not keep the answers when the page is closed. Save the record before you close it.");
    }
  }

  function recall() {
    try {
      var kept = JSON.parse(localStorage.getItem(KEY) || "null");
      if (kept && Array.isArray(kept.answers)) state = kept;
    } catch (refused) { /* a page from a file may not be allowed to keep anything */ }
    el("notes").value = state.notes;
    el("decision").value = state.decision;
  }

  function record(withPhotos) {
    return {
      schema: "driveout-record/1", car_id: sheet.car_id, car: sheet.car, made: sheet.made, currency: sheet.currency,
      price: state.price, decision: state.decision, notes: state.notes,
      steps: state.answers.map(function (a) {
        return { check: a.check, found: a.found, words: a.words, price: a.price, note: a.note, at: a.at };
      }),
      photos: withPhotos ? state.photos : []
    };
  }

  el("price-form").addEventListener("submit", function (event) {
    event.preventDefault();
    var typed = el("price").value.replace(/[\s,']/g, "");
    if (!/^\d{1,8}(\.\d{1,2})?$/.test(typed)) { put("price-wrong", "Type the price in digits, for example 1450."); return; }
    put("price-wrong", "");
    state.price = Number(typed);
    el("price").blur();
    draw(true);
  });
  el("undo").addEventListener("click", function () { state.answers.pop(); draw(true); });
  el("notes").addEventListener("input", function () { state.notes = el("notes").value; keep(); });
  el("decision").addEventListener("change", function () { state.decision = el("decision").value; keep(); });
  el("save").addEventListener("click", function () {
    var link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob([JSON.stringify(record(true), null, 1)], { type: "application/json" }));
    link.download = "viewing-record-" + sheet.car_id + ".json";
    document.body.appendChild(link);
    link.click();
    link.remove();
  });
  el("copy").addEventListener("click", function () {
    el("text").hidden = false;
    el("text").value = JSON.stringify(record(false));
    el("text").focus();
    el("text").select();
    try { document.execCommand("copy"); put("kept", "Copied. If it is not, copy the text above by hand."); } catch (refused) { /* it stands there to be copied by hand */ }
  });
  el("clear").addEventListener("click", function () {
    state = { answers: [], price: sheet.price, notes: "", decision: "open", photos: [] };
    try { localStorage.removeItem(KEY); } catch (refused) { /* nothing was kept */ }
    recall();
    draw(true);
  });
  // A smaller copy keeps the record light enough to hand back; it also drops where it was taken.
  function smaller(file) {
    return createImageBitmap(file).then(function (whole) {
      return whole.width > 1280 ? createImageBitmap(file, { resizeWidth: 1280, resizeQuality: "medium" }) : whole;
    }).then(function (bitmap) {
      var canvas = document.createElement("canvas");
      canvas.width = bitmap.width;
      canvas.height = bitmap.height;
      canvas.getContext("2d").drawImage(bitmap, 0, 0);
      return canvas.toDataURL("image/jpeg", 0.75);
    });
  }

  el("photo").addEventListener("change", function () {
    var file = el("photo").files[0], node = nodes[place()];
    if (!file) return;
    var step = node ? advice(node, state.price) : -1;
    var check = step >= 0 ? plan.checks[step] : "";
    smaller(file).then(function (data) {
      state.photos.push({ check: check, title: check ? sheet.cards[check].title : sheet.car, data: data, at: new Date().toISOString() });
      el("photo").value = "";
      put("photo-words", "Photo kept with this sheet.");
      pictures();
      keep();
    }).catch(function () {
      put("photo-words", "This browser does not let the page keep the photo. It is still in your camera.");
    });
  });

  recall();
  draw(false);
})();
