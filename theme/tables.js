/* Sorts and filters tables in the browser. Without scripts a table stays as it was written; the order as written comes
   back with the third press. What is chosen stands in the address, so that it can be sent: #anchor~table.column.direction~table=words */
(function () {
  "use strict";
  var SORTED = 3, FOUND = 12; // rows from which a table can be sorted, and filtered
  var tables = new Map(); // id -> {table, rows, column, down, words, input, count, line}
  var COLLATOR = new Intl.Collator("en", { numeric: true, sensitivity: "base" });

  // The row of headings over single columns; groups of columns may stand above it.
  function headsOf(table) { return table.tHead.rows[table.tHead.rows.length - 1].cells; }

  function textOf(cell) {
    var copy = cell.cloneNode(true);
    copy.querySelectorAll("small").forEach(function (small) { small.remove(); });
    return copy.textContent.replace(/\s+/g, " ").trim();
  }

  // A number first in its cell, "below 0.04" a little under 0.04; null where there is none.
  function numberOf(text) {
    var found = /^(below |at most )?([+\u2212-]?[\d\u202f]+(?:\.\d+)?)/.exec(text);
    if (!found) { return null; }
    var value = parseFloat(found[2].replace(/\u202f/g, "").replace("\u2212", "-"));
    return found[1] ? value * 0.999 : value;
  }

  function compare(a, b) {
    if (a.empty || b.empty) { return a.empty - b.empty; }
    if (a.number !== null && b.number !== null) { return a.number - b.number; }
    if (a.number !== null || b.number !== null) { return a.number === null ? 1 : -1; }
    return COLLATOR.compare(a.text, b.text);
  }

  function keyOf(row, column) {
    var text = row.cells[column] ? textOf(row.cells[column]) : "";
    var numeric = row.cells[column] && row.cells[column].classList.contains("n");
    return { text: text, number: numeric ? numberOf(text) : null, empty: text === "" || text === "\u2013" ? 1 : 0 };
  }

  function arrange(state) {
    if ((state.column !== null || state.words) && more(state.table)) {
      window.sitegenWhole(state.table, function () { if (!more(state.table)) { arrange(state); } });
      return;
    }
    var order = state.rows.slice();
    if (state.column !== null) {
      var keys = new Map(order.map(function (row) { return [row, keyOf(row, state.column)]; }));
      order.sort(function (a, b) {
        var x = keys.get(a), y = keys.get(b), found = compare(x, y);
        return x.empty || y.empty || !state.down ? found : -found; // empty cells stay last either way
      });
    }
    var body = state.table.tBodies[0];
    order.forEach(function (row) { body.appendChild(row); });
    Array.prototype.forEach.call(headsOf(state.table), function (head, column) {
      if (state.column === column) { head.setAttribute("aria-sort", state.down ? "descending" : "ascending"); }
      else { head.removeAttribute("aria-sort"); }
    });
    var words = state.words.toLowerCase().split(/\s+/).filter(Boolean);
    var shown = 0;
    state.rows.forEach(function (row) {
      var text = row.textContent.toLowerCase();
      var fits = words.every(function (word) { return text.indexOf(word) >= 0; });
      row.hidden = !fits;
      shown += fits ? 1 : 0;
    });
    if (state.count) {
      state.count.textContent = words.length ? shown + " of " + state.rows.length + " rows" : "";
      state.line.classList.toggle("some", words.length > 0);
    }
  }

  // ---- long tables: rows beyond the first stand in a script of their own, which is loaded when all of them are needed ----
  window.sitegenRows = function (told) {
    var table = document.getElementById(told.table), state = tables.get(told.table);
    table.tBodies[0].insertAdjacentHTML("beforeend", told.rows);
    more(table).parentNode.parentNode.remove();
    if (state) { state.rows = Array.prototype.slice.call(table.tBodies[0].rows); }
  };

  function more(table) { return document.querySelector('[data-more][data-of="' + table.id + '"]'); }

  // Calls `then` once all rows of a table stand on the page: at once where they do.
  window.sitegenWhole = function (table, then) {
    var button = more(table), script = button && button.asked;
    if (!button) { then(); return; }
    if (!script) {
      script = button.asked = document.createElement("script");
      script.src = button.dataset.more;
      script.onerror = function () { button.textContent = "Not shown: " + button.dataset.more + " is not there"; };
      document.head.appendChild(script);
    }
    script.addEventListener("load", then);
  };

  document.addEventListener("click", function (event) {
    var button = event.target.closest("button[data-more]");
    if (!button) { return; }
    var table = document.getElementById(button.dataset.of);
    window.sitegenWhole(table, function () { table.parentNode.focus({ preventScroll: true }); if (tables.has(table.id)) { arrange(tables.get(table.id)); } });
  });

  // ---- finding among folded entries: what does not hold the words goes, a dozen that do are opened ----
  var folds = []; // {id, line, input, count, entries, words}

  function sift(state) {
    var words = state.words.toLowerCase().split(/\s+/).filter(Boolean);
    var found = state.entries.filter(function (entry) {
      var text = entry.textContent.toLowerCase();
      entry.hidden = !words.every(function (word) { return text.indexOf(word) >= 0; });
      return !entry.hidden;
    });
    state.groups.forEach(function (group) { group.hidden = words.length > 0 && !group.querySelector(".entry:not([hidden])"); });
    state.entries.forEach(function (entry) {
      var open = words.length > 0 && found.length <= FOUND && !entry.hidden;
      if (open && entry.open === false) { entry.open = true; state.opened.add(entry); }
      else if (!open && state.opened.delete(entry)) { entry.open = false; }
    });
    state.count.textContent = words.length ? found.length + " of " + state.entries.length + " " + state.what : "";
    state.line.classList.toggle("some", words.length > 0);
  }

  function fieldOf(state, text, before) {
    var label = document.createElement("label");
    state.line = document.createElement("p");
    state.line.className = "find";
    label.textContent = text + " ";
    state.input = document.createElement("input");
    state.input.type = "search";
    state.count = document.createElement("span");
    state.count.setAttribute("role", "status");
    label.appendChild(state.input);
    state.line.append(label, state.count);
    before.parentNode.insertBefore(state.line, before);
  }

  function siftable(block) {
    var state = { id: block.id, what: block.dataset.what, words: "", opened: new Set() };
    state.entries = Array.prototype.slice.call(block.querySelectorAll(".entry"));
    state.groups = Array.prototype.slice.call(block.querySelectorAll("section"));
    fieldOf(state, "Find", block);
    folds.push(state);
    state.input.addEventListener("input", function () {
      state.words = state.input.value.trim();
      sift(state);
      remember();
    });
  }

  // ---- the address ----
  function decoded(text) { try { return decodeURIComponent(text); } catch (broken) { return ""; } }
  function anchor() { return decoded(location.hash.slice(1).split("~")[0]); }

  function remember() {
    var parts = [encodeURIComponent(anchor())]; // what others keep in the address stays there
    location.hash.slice(1).split("~").slice(1).forEach(function (part) {
      var id = (/^([a-z0-9-]+)(=|\.\d+\.)/.exec(part) || [])[1];
      if (!tables.has(id) && !folds.some(function (state) { return state.id === id; })) { parts.push(part); }
    });
    folds.forEach(function (state) { if (state.words) { parts.push(state.id + "=" + encodeURIComponent(state.words)); } });
    tables.forEach(function (state, id) {
      if (state.column !== null) { parts.push(id + "." + state.column + "." + (state.down ? "down" : "up")); }
      if (state.words) { parts.push(id + "=" + encodeURIComponent(state.words)); }
    });
    try { history.replaceState(null, "", "#" + parts.join("~")); } catch (refused) { /* a browser that keeps the address of a file as it is */ }
  }

  function recall() {
    folds.forEach(function (state) {
      var own = location.hash.slice(1).split("~").slice(1).find(function (part) { return part.indexOf(state.id + "=") === 0; });
      state.words = own ? decoded(own.slice(state.id.length + 1)) : "";
      state.input.value = state.words;
      sift(state);
    });
    tables.forEach(function (state) { state.column = null; state.down = false; state.words = ""; });
    location.hash.slice(1).split("~").slice(1).forEach(function (part) {
      var sort = /^([a-z0-9-]+)\.(\d+)\.(up|down)$/.exec(part), find = /^([a-z0-9-]+)=(.*)$/.exec(part);
      var state = tables.get((sort || find || [])[1]);
      if (!state) { return; }
      if (sort && +sort[2] < headsOf(state.table).length) { state.column = +sort[2]; state.down = sort[3] === "down"; }
      if (find && state.input) { state.words = decoded(find[2]); }
    });
    tables.forEach(function (state) {
      if (state.input) { state.input.value = state.words; }
      arrange(state);
    });
    if (location.hash.indexOf("~") >= 0) {
      var chosen = Array.from(tables.values()).find(function (state) { return state.column !== null || state.words; });
      for (var fold = chosen && chosen.table.closest("details"); fold; fold = fold.parentElement.closest("details")) { fold.open = true; }
      var target = document.getElementById(anchor()) || (chosen && chosen.table.parentNode.parentNode);
      for (var fold = chosen && chosen.table.closest("details"); fold; fold = fold.parentNode.closest("details")) { fold.open = true; }
      if (target) { target.scrollIntoView(); }
    }
  }

  // ---- buttons and fields ----
  function sortable(state) {
    Array.prototype.forEach.call(headsOf(state.table), function (head, column) {
      if (!head.textContent.trim()) { return; }
      var button = document.createElement("button");
      button.type = "button";
      button.className = "sort";
      button.setAttribute("aria-label", "Sort by " + textOf(head));
      var unit = head.querySelector("br");
      head.insertBefore(button, unit);
      button.addEventListener("click", function () {
        if (state.column !== column) { state.column = column; state.down = false; }
        else if (!state.down) { state.down = true; }
        else { state.column = null; state.down = false; }
        arrange(state);
        remember();
      });
    });
  }

  function filterable(state) {
    fieldOf(state, "Rows with", state.table.parentNode);
    state.input.addEventListener("input", function () {
      state.words = state.input.value.trim();
      arrange(state);
      remember();
    });
  }

  function start() {
    document.querySelectorAll(".scroll > table[id]:not(.axis)").forEach(function (table) {
      var rows = table.tBodies.length && table.tHead ? Array.prototype.slice.call(table.tBodies[0].rows) : [];
      if (rows.length < SORTED) { return; }
      var state = { table: table, rows: rows, column: null, down: false, words: "", input: null, count: null, line: null };
      tables.set(table.id, state);
      sortable(state);
      if (rows.length >= FOUND) { filterable(state); }
    });
    document.querySelectorAll("[data-find]").forEach(siftable);
    recall();
    window.addEventListener("hashchange", recall);
    document.documentElement.setAttribute("data-tables", "ready");
  }

  // After the first picture of the page: charts come before buttons in headings.
  if (document.hidden) { setTimeout(start, 0); } else { requestAnimationFrame(function () { setTimeout(start, 0); }); }
})();
