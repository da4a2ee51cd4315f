"use strict";
// Walks the saved plan. It looks positions up and compares prices; every number was worked out before.
(function () {
  var sheet = JSON.parse(document.getElementById("plan").textContent);
  var plan = sheet.plan;
  var SIGNS = "0123456789abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ-_";
  var KEY = "driveout-sheet " + sheet.car_id + " " + sheet.made;
  var state = { answers: [], price: sheet.price, notes: "", decision: "open", photos: [] };

  function el(id) { return document.getElementById(id); }
  function put(id, text) { el(id).textContent = text; }
  function money(amount) { return String(amount).replace(/\B(?=(\d{3})+(?!\d))/g, ",") + " " + sheet.currency; }

  // The same reading as in packed.py: positions follow the walk from the start, first met, first listed.
  function unpack(table, starts) {
    var found = {}, met = {}, before = {}, waiting = starts.slice();
    var words = table.steps.match(/[~_!]|(?:[0-9a-z](?!\.)|[A-Z]\+)*(?:[A-Z]|[0-9a-z]\.)/g) || [];
    var limits = numbers(table.limits), stops = numbers(table.stops), gap = 0, limit = 0, stop = 0, odd = 0;
    starts.forEach(function (position) { met[position] = true; });
    for (var n = 0; n < waiting.length; n++) {
      var position = waiting[n], word = words[n], node;
      if (word === "_") continue;
      if (word === "~") node = { ceiling: null, stop: 0, steps: [{ from: null, step: table.last }] };
      else if (word === "!") {
        var row = table.odd[odd++];
        node = { ceiling: row.ceiling, stop: row.stop, steps: row.steps.map(function (pair) { return { from: pair[0], step: pair[1] }; }) };
      } else {
        var parent = found[before[position]], signs = word.match(/[0-9a-zA-Z]/g), left = 0;
        var ceiling = (parent && typeof parent.ceiling === "number" ? parent.ceiling : 0) + limits[limit++];
        node = { ceiling: ceiling, stop: ceiling, steps: [{ from: ceiling, step: table.last }] };
        while (left < table.edges.length && table.edges[left] <= ceiling) left++;
        signs.forEach(function (sign, m) {
          var lowest = m === signs.length - 1;
          if (!lowest) left -= 1 + SIGNS.indexOf(table.gaps[gap++]);
          node.steps.unshift({ from: lowest ? null : table.edges[left], step: sign >= "A" && sign <= "Z" ? -1 - (sign.charCodeAt(0) - 65) : SIGNS.indexOf(sign) });
        });
        if (checksOf(node).length) node.stop = ceiling - stops[stop++];
      }
      found[position] = node;
      checksOf(node).forEach(function (check) {
        for (var o = 0; o < plan.outcomes[check]; o++) {
          var child = after(position, check, o);
          if (!(child in before)) before[child] = position;
          if (!met[child]) { met[child] = true; waiting.push(child); }
        }
      });
    }
    return { nodes: found, order: waiting };
  }

  function checksOf(node) {
    return node.steps.map(function (pair) { return pair.step; }).filter(function (step, n, all) { return step >= 0 && all.indexOf(step) === n; });
  }

  function numbers(column) {
    return (column.digits[0] || "").split("").map(function (sign, n) {
      return column.digits.reduce(function (sum, digits) { return sum * 64 + SIGNS.indexOf(digits[n]); }, 0) + column.least;
    });
  }

  function after(position, check, outcome) {
    return position.slice(0, check) + SIGNS[outcome] + position.slice(check + 1);
  }

  function advice(node, price) {
    var found = node.steps[0].step;
    node.steps.forEach(function (pair) { if (pair.from !== null && pair.from <= price) found = pair.step; });
    return found;
  }

  var main = unpack(sheet.advice, [plan.start]), lacking = {};

  // The advice where one check cannot be done, from every position at which the plan asks for it.
  function without(check) {
    if (!lacking[check] && sheet.lacking[check]) {
      lacking[check] = unpack(sheet.lacking[check], main.order.filter(function (position) {
        return main.nodes[position] && checksOf(main.nodes[position]).indexOf(plan.checks.indexOf(check)) >= 0;
      }));
    }
    return lacking[check] ? lacking[check].nodes : {};
  }

  function stepAfter(position, answer) {
    return answer.outcome === null ? position : after(position, plan.checks.indexOf(answer.check), answer.outcome);
  }

  function refusedIn(answers) {
    return answers.filter(function (a) { return a.outcome === null; }).map(function (a) { return a.check; });
  }

  // What is known best after these answers. `best` is false once the saved plan holds no best way any more.
  function known(answers) {
    var position = answers.reduce(stepAfter, plan.start), refused = refusedIn(answers), node, seen = null;
    if (refused.length < 2) {
      node = (refused.length ? without(refused[0]) : main.nodes)[position];
      if (node) return { node: node, best: true };
    }
    // Where stopping is best although more checks could be done, it is best with fewer of them too.
    var more = [main.nodes].concat(refused.map(without)), others = Object.keys(sheet.lacking).map(without);
    for (var n = 0; n < more.length; n++) {
      node = more[n][position];
      if (node && advice(node, state.price) < 0) return { node: stopped(node), best: true };
    }
    var tables = more.concat(others);
    for (var m = 0; m < tables.length; m++) {
      node = tables[m][position];
      if (!node) continue;
      seen = seen || node;
      var step = advice(node, state.price);
      if (step >= 0 && refused.indexOf(plan.checks[step]) < 0) return { node: node, best: false };
    }
    // No check is left that the plan knows a way from: the limit without any further check still holds.
    return seen ? { node: stopped(seen), best: false } : null;
  }

  function stopped(node) {
    return { ceiling: node.stop > 0 ? node.stop : null, stop: node.stop, steps: decideNow(node.stop) };
  }

  function decideNow(limit) {
    var buy = { from: null, step: -1 - plan.actions.indexOf("buy") }, walk = { from: limit, step: -1 - plan.actions.indexOf("walk") };
    return limit > 0 ? [buy, walk] : [{ from: null, step: walk.step }];
  }

  function limitWords(node) { return node.ceiling === null ? "at any price" : node.ceiling === "any" ? "at no price" : money(node.ceiling); }

  function draw(moveFocus) {
    var now = known(state.answers), node = now ? now.node : null;
    put("currency", "(" + sheet.currency + ")");
    if (document.activeElement !== el("price")) el("price").value = state.price;
    el("undo").disabled = state.answers.length === 0;
    el("answers").textContent = "";
    el("caution").hidden = true;
    put("facts", ""); put("stop", "");
    if (!node) {
      put("limit-words", "No advice"); put("limit", "");
      put("what", "The plan does not reach this far");
      put("say", "Undo the last answer, or go by the last limit under So far.");
    } else {
      put("limit-words", node.ceiling === null ? "Walk away" : now.best ? "Walk away above" : "Walk away above, at most");
      put("limit", limitWords(node));
      var step = advice(node, state.price);
      if (step < 0) ended(node, plan.actions[-1 - step]); else ask(node, plan.checks[step]);
    }
    el("not-best").hidden = !now || now.best;
    el("cannot").hidden = !node || advice(node, state.price) < 0;
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
        answered(node, check, outcome, answer.found, answer.words);
      });
      el("answers").appendChild(button);
    });
  }

  function answered(node, check, outcome, found, words) {
    state.answers.push({ check: check, outcome: outcome, found: found, words: words, title: sheet.cards[check].title,
      price: state.price, note: el("note").value.trim(), at: new Date().toISOString(), before: node.ceiling });
    el("note").value = "";
    draw(true);
  }

  function trail() {
    var list = el("trail");
    list.textContent = "";
    el("nothing").hidden = state.answers.length > 0;
    put("moved", "");
    state.answers.forEach(function (answer, n) {
      var now = known(state.answers.slice(0, n + 1)), node = now ? now.node : null, item = document.createElement("li");
      item.textContent = answer.title + ": " + answer.words + (node ? " → walk away " + (node.ceiling === null ? "" : "above ") + limitWords(node) : "") +
        (answer.note ? " (" + answer.note + ")" : "");
      list.appendChild(item);
      if (n === state.answers.length - 1) {
        put("moved", "Before the last answer: " + (limitWords({ ceiling: answer.before })));
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
  el("cannot").addEventListener("click", function () {
    var now = known(state.answers);
    answered(now.node, plan.checks[advice(now.node, state.price)], null, {}, "could not be done");
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
    var file = el("photo").files[0], now = known(state.answers), node = now ? now.node : null;
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
