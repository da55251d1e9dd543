/* Draws the charts of a page, saves figures and tables, and turns pages with the arrow keys. Classic script, one namespace. */
(function () {
  "use strict";
  var root = document.documentElement;
  root.classList.add("js");
  var NARROW = 430; // px: below it labels move inside and shorten
  var PRINT_ONE = 660, PRINT_MANY = 320; // px: widths of charts on A4
  var LARGER = 1.7; // height of a panel made larger
  var charts = []; // every chart of the page
  var drawn = new Map(); // chart element -> {payload, width, tall}
  var hidden = new Map(); // figure -> Set of numbers of series that are not shown
  var closer = new Map(); // figure over time -> [from, to] looked at [min]

  // ---- tooltips: on hover, on tap, and on focus, where arrow keys go from mark to mark ----
  var tip = null, at = new Map(); // chart -> number of the mark told
  function tell(told, x, y, aloud) {
    if (!tip) {
      tip = document.createElement("div");
      tip.className = "tip";
      tip.setAttribute("role", "status");
      document.body.appendChild(tip);
    }
    tip.setAttribute("aria-hidden", String(!aloud));
    tip.hidden = !told;
    tip.textContent = told || "";
    if (!told) { return; }
    tip.style.left = Math.max(4, Math.min(x + 12, window.innerWidth - tip.offsetWidth - 8)) + "px";
    tip.style.top = Math.max(4, y - tip.offsetHeight - 10) + "px";
  }
  function quiet() { if (tip) { tip.hidden = true; } }

  // What a chart has to tell, from left to right: its marks, or the points of a channel over time.
  function marksOf(el) {
    var svg = el.querySelector("svg"), entry = drawn.get(el);
    if (!svg || !entry) { return []; }
    var found = Array.prototype.filter.call(svg.querySelectorAll("path"), function (path) { return path.tip; }).map(function (path) {
      var box = path.getBoundingClientRect();
      return { x: box.left + box.width / 2, y: box.top + box.height / 2, tip: path.tip };
    });
    if (entry.over) {
      var box = svg.getBoundingClientRect();
      found = found.concat(entry.over.map(function (each) { return { x: box.left + each.px * entry.zoom, y: box.top + 24, tip: each.tip, along: true }; }));
    }
    return found.sort(function (a, b) { return a.x - b.x || b.y - a.y; });
  }

  function nearest(el, x, y, reach) {
    var best = null, least = reach;
    marksOf(el).forEach(function (mark) {
      var far = mark.along ? Math.abs(mark.x - x) + 0.5 : Math.hypot(mark.x - x, mark.y - y);
      if (far < least) { least = far; best = mark; }
    });
    return best;
  }

  function showTip(event) {
    var el = event.target.closest && event.target.closest(".chart");
    if (!el) { quiet(); return; }
    var mark = event.target.tip ? { tip: event.target.tip } : nearest(el, event.clientX, event.clientY, event.type === "click" ? 24 : 6);
    if (mark) { tell(mark.tip, event.clientX, event.clientY, false); } else { quiet(); }
  }

  function step(event) {
    var el = event.target, go = { ArrowRight: 1, ArrowLeft: -1, ArrowDown: 10, ArrowUp: -10, Home: -1e9, End: 1e9 }[event.key];
    if (event.key === "Escape") { quiet(); return; }
    if (!go || !el.matches(".chart") || event.altKey || event.ctrlKey || event.metaKey || event.shiftKey) { return; }
    var marks = marksOf(el);
    if (!marks.length) { return; }
    event.preventDefault();
    var next = Math.max(0, Math.min(marks.length - 1, (at.has(el) ? at.get(el) : -1) + go));
    at.set(el, next);
    tell(marks[next].tip, marks[next].x, marks[next].y, true);
  }

  document.addEventListener("keydown", step);

  // ---- charts ----
  // Rows travel by column: one value where all rows share it, [value, times, value, times ...] under "r", else a list.
  function unpacked(set) {
    var rows = Array.from({ length: set.n }, function () { return {}; });
    Object.keys(set.of).forEach(function (field) {
      var column = set.of[field];
      if (column !== null && typeof column === "object" && column.a) { // evenly apart: first, last, how many
        for (var k = 0, of = 0; k < column.a.length; k += 3) {
          for (var m = 0; m < column.a[k + 2]; m += 1) {
            rows[of][field] = column.a[k] + (column.a[k + 1] - column.a[k]) * m / Math.max(1, column.a[k + 2] - 1);
            of += 1;
          }
        }
      } else if (column !== null && typeof column === "object" && !Array.isArray(column)) {
        for (var i = 0, at = 0; i < column.r.length; i += 2) {
          for (var n = column.r[i + 1]; n > 0; n -= 1) { rows[at][field] = column.r[i]; at += 1; }
        }
      } else {
        rows.forEach(function (row, at) { row[field] = Array.isArray(column) ? column[at] : column; });
      }
    });
    return rows;
  }

  function payloadOf(el) {
    var payload = JSON.parse(document.querySelector('script[data-for="' + el.id + '"]').textContent);
    for (var name in payload.data) { payload.data[name] = unpacked(payload.data[name]); }
    if (payload.kind === "run") { inNumbers(payload.data.path || [], payload.signals.grains); }
    return payload;
  }

  // Values over time come in whole grains of the last digit, each from the one before.
  function inNumbers(rows, grains) {
    var last = 0;
    rows.forEach(function (row) {
      last += row.v;
      var told = row.lo || row.hi;
      row.lo = told ? (last - row.lo) / grains : null;
      row.hi = told ? (last + row.hi) / grains : null;
      row.v = last / grains;
    });
  }

  // Finer rows of a channel stand in a script beside the page, which is loaded when somebody looks closer.
  window.sitegenFiner = function (told) {
    var el = document.getElementById(told.panel), rows = unpacked(told.data.path), entry = drawn.get(el);
    inNumbers(rows, told.grains);
    if (!entry) { return; }
    var fine = new Set(rows.map(function (row) { return row.g; }));
    entry.finer = (entry.payload.data.path || []).filter(function (row) { return !fine.has(row.g); }).concat(rows)
      .sort(function (a, b) { return a.g - b.g || a.at - b.at; });
    paint(el, entry.width);
  };

  function askFiner(el, entry) {
    if (!el.dataset.finer || entry.asked) { return; }
    entry.asked = document.createElement("script");
    entry.asked.src = el.dataset.finer;
    entry.asked.onerror = function () { el.closest("figure").querySelector(".refused").textContent = "Not shown finer: " + el.dataset.finer + " is not there."; };
    document.head.appendChild(entry.asked);
  }

  function paint(el, wide) {
    var entry = drawn.get(el), payload = entry.payload, figure = el.closest("figure");
    var zoom = window.matchMedia("print").matches ? 1 : Math.max(1, parseFloat(getComputedStyle(root).fontSize) / 16);
    var width = wide / zoom; // on a wide screen, where the type is larger, the drawing is too
    var pad = Object.assign({}, payload.pad), narrow = width < NARROW;
    if (narrow) { pad.left = pad.leftNarrow || pad.left; }
    pad.right = narrow ? pad.narrow : pad.wide;
    if (Math.max(60, width - pad.left - pad.right) / payload.signals.n <= payload.signals.slim) { pad.bottom = pad.bottomNarrow || pad.bottom; } // labels in two rows
    var without = hidden.get(figure), rows = {};
    for (var name in payload.data) {
      rows[name] = without && without.size ? payload.data[name].filter(function (row) { return !without.has(row.q); }) : payload.data[name];
    }
    var size = { narrow: narrow, width: Math.max(60, width - pad.left - pad.right), height: Math.round(payload.height * (entry.tall ? LARGER : 1)), left: pad.left };
    var signals = Object.assign({}, payload.signals, size);
    if (payload.kind === "run") {
      if (closer.has(figure)) {
        askFiner(el, entry);
        if (entry.finer) { rows.path = entry.finer.filter(function (row) { return !without || !without.has(row.q); }); }
      }
      overTime(el, entry, rows, signals, pad);
    }
    var svg = window.sitegenPaint(payload.kind, rows, signals, pad);
    entry.width = wide;
    entry.zoom = zoom;
    if (zoom > 1) { ["width", "height"].forEach(function (side) { svg.setAttribute(side, svg.getAttribute(side) * zoom); }); }
    el.replaceChildren(svg);
    el.style.height = svg.getAttribute("height") + "px"; // known beforehand, so that nothing else has to be laid out anew
    if (entry.over || Array.prototype.some.call(svg.querySelectorAll("path"), function (path) { return path.tip; })) { el.tabIndex = 0; }
  }

  // ---- channels over time, stacked: runs one after the other with a gap between, names and circles on the first panel ----
  var GAP = 22, NAME = 16, APART = 25; // px; the last of circles, from middle to middle
  function scaleOf(least, most, floor) { // as _span and _ticks in charts.py
    if (0 <= least && least < 0.4 * most || floor !== null && -0.1 * most <= least && least < 0) { least = 0; }
    var s = stepOf(Math.max(most - least, Math.abs(most) * 1e-6, 1e-12), 3.3);
    var top = s * Math.ceil(+(most / s).toFixed(9)), bottom = s * Math.floor(+(least / s).toFixed(9)), ticks = [];
    if (top === bottom) { top = bottom + s; }
    for (var n = Math.round(bottom / s); n * s <= top + s * 1e-9; n += 1) { ticks.push(+(n * s).toPrecision(10)); }
    return { top: +top.toPrecision(10), bottom: +bottom.toPrecision(10), ticks: ticks, digits: ",." + decimals(s) + "f" };
  }
  function stepOf(span, most) { // as tick_step in charts.py
    var power = Math.pow(10, Math.floor(Math.log10(span)));
    return +(power * [0.1, 0.2, 0.25, 0.5, 1, 2, 2.5, 5].find(function (each) { return span / (each * power) <= (most || 6.5); })).toPrecision(10);
  }
  function decimals(step) { return (step.toFixed(10).replace(/0+$/, "").split(".")[1] || "").length; }
  function inDigits(value, digits) { var parts = value.toFixed(digits).replace("-", "\u2212").split("."); parts[0] = parts[0].replace(/\B(?=(\d{3})+$)/g, "\u202f"); return parts.join("."); }

  function overTime(el, entry, rows, signals, pad) {
    var figure = el.closest("figure"), part = closer.get(figure) || [signals.from, signals.to];
    var runs = rows.runs.map(function (run, g) { return Object.assign({ g: g }, run); })
      .filter(function (run) { return run.to > part[0] && run.at < part[1]; });
    var gap = GAP * (part[1] - part[0]) / Math.max(60, signals.width - GAP * (runs.length - 1)), first = runs[0].g;
    function moved(at, g) { return at + gap * (g - first); }
    var end = moved(part[1], first + runs.length - 1), scale = signals.width / (end - part[0]);
    function px(at, g) { return (moved(at, g) - part[0]) * scale; }
    function place(row) { return Object.assign({}, row, { at: moved(row.at, row.g) }, row.to === undefined ? {} : { to: moved(row.to, row.g) }); }
    var looked = cut(rows, part), y = [];
    looked.spread.forEach(function (row) { y.push(row.lo, row.hi); });
    looked.path.forEach(function (row) { y.push(row.v); });
    if (closer.has(figure) && y.length) { Object.assign(signals, scaleOf(Math.min.apply(null, y), Math.max.apply(null, y), signals.floor)); }
    function within(value) { return signals.floor === null ? value : Math.max(value, signals.bottom); }
    entry.over = looked.path.filter(function (row) { return row.lo !== undefined; }).map(function (row) {
      var run = rows.runs[row.g], digits = decimals(stepOf(signals.top - signals.bottom)) + 1, unit = entry.payload.unit;
      var ends = row.lo === null ? "" : " (" + inDigits(row.lo, digits) + " to " + inDigits(row.hi, digits) + ")";
      return { px: pad.left + px(row.at, row.g), tip: run.s + ", " + inDigits(row.at - run.at, 1) + " min: " + inDigits(row.v, digits) + (unit ? " " + unit : "") + ends };
    });
    rows.path = looked.path.map(function (row) { return Object.assign(place(row), { v: within(row.v) }); });
    rows.spread = looked.spread.map(function (row) { return Object.assign(place(row), { lo: within(row.lo), hi: within(row.hi) }); });
    rows.bands = looked.bands.map(place);
    rows.events = looked.events.map(place);
    Object.assign(signals, { from: part[0], to: end });
    var all = Array.prototype.filter.call(figure.querySelectorAll(".chart"), function (each) { return !each.closest(".panel").hidden; });
    Object.assign(signals, { up: pad.top, down: pad.bottom, rise: 16 });
    if (el === all[all.length - 1]) { timesOf(rows, runs, part, px, moved, signals); pad.bottom += 42; } else { rows.along = []; }
    if (el !== all[0]) { return; }
    rows.circles = spread(rows.events, part[0], scale, signals.width, figure);
    var rank = Math.max.apply(null, [0].concat(rows.circles.map(function (each) { return each.lane; })));
    var base = rows.circles.length ? 54 + APART * rank : 32, lanes = [];
    signals.mid = 36;
    rows.names = runs.map(function (run) {
      var wide = window.sitegenWidth(run.s, 13, 600), at = Math.max(0, px(Math.max(run.at, part[0]), run.g));
      at = Math.max(-pad.left, Math.min(at, signals.width + pad.right - wide));
      var lane = lanes.findIndex(function (end) { return end + 8 <= at; });
      if (lane < 0) { lane = lanes.length; }
      lanes[lane] = at + wide;
      return { px: at, lane: lane, s: run.s };
    });
    rows.names.forEach(function (name) { name.py = -base - NAME * (lanes.length - 1 - name.lane); });
    pad.top = base + NAME * lanes.length;
  }

  // Numbers under the last panel: minutes of each run, from its own start; fewer where it is narrow, none that would touch
  // the nought of the next run.
  function timesOf(rows, runs, part, px, moved, signals) {
    function wide(text) { return window.sitegenWidth(text, 13); }
    var long = Math.max.apply(null, runs.map(function (run) { return Math.min(part[1], run.to) - run.at; }));
    var room = signals.narrow ? wide(inDigits(long, 0)) + 12 : 42;
    var step = stepOf(Math.max((part[1] - part[0]) * room * 6.5 / signals.width, 1e-9)), digits = decimals(step);
    rows.times = [];
    runs.forEach(function (run, i) {
      var next = runs[i + 1] ? px(runs[i + 1].at, runs[i + 1].g) - wide("0") / 2 - 6 : Infinity;
      for (var n = Math.ceil((Math.max(part[0], run.at) - run.at) / step - 1e-9); run.at + n * step <= Math.min(part[1], run.to) + 1e-9; n += 1) {
        var at = run.at + n * step, text = inDigits(n * step, digits);
        rows.times.push({ at: moved(at, run.g), s: px(at, run.g) + wide(text) / 2 > next ? "" : text });
      }
    });
  }

  // Circles stand over their instant, or about the middle of theirs beside each other: clear of one another, in as many
  // rows as that takes.
  function spread(events, from, scale, width, figure) {
    var told = figure.querySelectorAll(".events li"), least = -6, most = width + 6;
    var made = events.map(function (row) {
      return { at: row.at, px: (row.at - from) * scale, s: String(row.n), wide: row.n > 9, t: told[row.n - 1] ? told[row.n - 1].textContent : "" };
    }).sort(function (a, b) { return a.at - b.at; });
    var count = Math.ceil(made.length / (1 + Math.floor((most - least) / APART))) || 1;
    made.forEach(function (each, i) { each.lane = i % count; });
    for (var lane = 0; lane < count; lane += 1) { aside(made.filter(function (each) { return each.lane === lane; }), least, most); }
    made.forEach(function (each) { each.over = from + each.px / scale; });
    return made;
  }

  function aside(row, least, most) { // nearest to where they belong: those that would touch share their middle
    var groups = [];
    row.forEach(function (each, i) {
      groups.push({ sum: each.px - i * APART, of: [each] });
      for (var n = groups.length - 1; n && groups[n].sum / groups[n].of.length < groups[n - 1].sum / groups[n - 1].of.length; n -= 1) {
        groups[n - 1].sum += groups[n].sum;
        groups[n - 1].of = groups[n - 1].of.concat(groups.pop().of);
      }
    });
    var i = 0, room = Math.max(least, most - (row.length - 1) * APART);
    groups.forEach(function (group) {
      var at = Math.min(Math.max(group.sum / group.of.length, least), room);
      group.of.forEach(function (each) { each.px = at + i * APART; i += 1; });
    });
  }

  function folded(el) { return !el.clientWidth || !!el.checkVisibility && !el.checkVisibility(); }

  function draw(el) {
    if (drawn.has(el) || folded(el)) { return; } // what is folded away is drawn when it is opened
    try {
      drawn.set(el, { payload: payloadOf(el), width: 0, tall: false });
      paint(el, el.clientWidth);
      el.dataset.drawn = "yes";
    } catch (error) {
      var p = document.createElement("p");
      p.className = "failed";
      p.textContent = "This chart could not be drawn (" + error.message + "). Its data are in the table below.";
      el.replaceChildren(p);
      el.style.height = "auto";
      el.dataset.drawn = "failed";
      drawn.set(el, null);
    }
  }

  function refit(el, width) {
    var entry = drawn.get(el);
    if (!entry && width) { draw(el); } else if (entry && width && entry.width !== width) { paint(el, width); }
  }
  function again(figure) {
    figure.querySelectorAll(".chart").forEach(function (el) { if (drawn.get(el)) { paint(el, drawn.get(el).width); } });
  }

  function printing() {
    charts.forEach(function (el) {
      draw(el);
      if (drawn.get(el)) { drawn.get(el).tall = false; paint(el, el.closest(".side") ? 400 : el.closest(".panels.one, .panels.stack") ? PRINT_ONE : PRINT_MANY); }
    });
  }
  function printed() {
    charts.forEach(function (el) {
      if (drawn.get(el) && !folded(el)) { drawn.get(el).tall = isLarge(el); paint(el, el.clientWidth); }
    });
  }

  // After what was drawn has come onto the screen; at once where nothing is ever painted.
  function afterPaint(then) {
    if (document.hidden) { setTimeout(then, 0); return; }
    window.requestAnimationFrame(function () { setTimeout(then, 0); });
  }

  function start() {
    charts = Array.prototype.slice.call(document.querySelectorAll(".chart"));
    if (!charts.length) { root.dataset.charts = "all"; return; }
    recall();
    var near = charts.filter(function (el) {
      var box = el.getBoundingClientRect();
      return box.top < window.innerHeight + 300 && box.bottom > -300;
    });
    // What is in sight comes first, its first panel before all; the rest when the page is idle, so that print is whole.
    draw(near[0] || charts[0]);
    afterPaint(function () {
      root.dataset.firstChart = String(Math.round(performance.now()));
      near.forEach(draw);
      root.dataset.charts = "near";
      var watch = new IntersectionObserver(function (entries) {
        entries.forEach(function (each) {
          if (each.isIntersecting) { watch.unobserve(each.target); draw(each.target); }
        });
      }, { rootMargin: "400px 0px" });
      charts.forEach(function (el) { if (!drawn.has(el)) { watch.observe(el); } });
      var sizes = new ResizeObserver(function (entries) {
        if (window.matchMedia("print").matches) { return; }
        entries.forEach(function (each) { refit(each.target, Math.round(each.contentRect.width)); });
      });
      charts.forEach(function (el) { sizes.observe(el); });
      var idle = window.requestIdleCallback || function (f) { return setTimeout(f, 50); };
      (function rest(at) {
        if (at >= charts.length) { root.dataset.charts = "all"; return; }
        idle(function () { draw(charts[at]); rest(at + 1); });
      })(0);
    });
    document.addEventListener("mousemove", showTip);
    document.addEventListener("click", showTip);
    document.addEventListener("focusout", quiet);
    document.addEventListener("toggle", function (event) {
      if (event.target.open) { charts.forEach(function (el) { if (event.target.contains(el)) { draw(el); } }); }
    }, true);
    window.addEventListener("beforeprint", printing);
    window.addEventListener("afterprint", printed);
    window.matchMedia("print").addEventListener("change", function (event) { (event.matches ? printing : printed)(); });
    window.addEventListener("hashchange", function () { recall(); document.querySelectorAll("figure").forEach(again); });
  }

  // ---- choice of series: what is not shown stands in the address: #anchor~figure.without=B1,B2 ----
  var WITHOUT = /^([a-z0-9-]+)\.without=(.*)$/, MINUTES = /^([a-z0-9-]+)\.minutes=([\d.]+)-([\d.]+)$/;
  function decoded(text) { try { return decodeURIComponent(text); } catch (broken) { return ""; } }
  function boxesOf(figure) { return Array.prototype.slice.call(figure.querySelectorAll("input[data-series]")); }

  function choose(figure) {
    var without = new Set();
    boxesOf(figure).forEach(function (box) { if (!box.checked) { without.add(+box.dataset.series); } });
    hidden.set(figure, without);
    figure.querySelectorAll(".stack > .panel").forEach(function (panel, n) { panel.hidden = without.has(n); });
    var line = figure.querySelector(".not-shown");
    if (line) { line.textContent = told(figure); }
  }

  // What a reader hid, or did not look at, stands in the figure, in print and in what is saved of it.
  function told(figure) {
    var names = boxesOf(figure).filter(function (box) { return !box.checked; }).map(function (box) { return box.value; });
    var parts = names.length ? ["Not shown: " + names.join(", ") + "."] : [];
    var part = closer.get(figure);
    if (part) { parts.push("Shown: " + saidOf(figure, part) + " only."); }
    return parts.join(" ");
  }

  function remember() {
    var parts = location.hash.slice(1).split("~").filter(function (part) { return !WITHOUT.test(part) && !MINUTES.test(part); });
    document.querySelectorAll("figure").forEach(function (figure) {
      var names = boxesOf(figure).filter(function (box) { return !box.checked; }).map(function (box) { return encodeURIComponent(box.value); });
      if (names.length) { parts.push(figure.id + ".without=" + names.join(",")); }
      if (closer.has(figure)) { parts.push(figure.id + ".minutes=" + closer.get(figure).join("-")); }
    });
    try { history.replaceState(null, "", "#" + parts.join("~")); } catch (refused) { /* a browser that keeps the address of a file as it is */ }
  }

  function recall() {
    var asked = new Map(), minutes = new Map();
    location.hash.slice(1).split("~").slice(1).forEach(function (part) {
      var found = WITHOUT.exec(part);
      if (found) { asked.set(found[1], found[2].split(",").map(decoded)); }
      found = MINUTES.exec(part);
      if (found) { minutes.set(found[1], [+found[2], +found[3]]); }
    });
    document.querySelectorAll("figure").forEach(function (figure) {
      var names = asked.get(figure.id) || [], boxes = boxesOf(figure);
      boxes.forEach(function (box) { box.checked = names.indexOf(box.value) < 0; });
      if (boxes.length) { choose(figure); }
      var part = minutes.get(figure.id), field = stretchOf(figure);
      if (field && !(part && look(figure, part[0], part[1]))) { closer.delete(figure); look(figure, +field.dataset.begin, +field.dataset.end); }
      if ((names.length || part) && !location.hash.slice(1).split("~")[0]) { figure.scrollIntoView(); }
    });
  }

  document.addEventListener("change", function (event) {
    if (!event.target.matches("input[data-series]")) { return; }
    var figure = event.target.closest("figure");
    choose(figure);
    again(figure);
    remember();
  });
  document.addEventListener("click", function (event) {
    var button = event.target.closest("button[data-all]");
    if (!button) { return; }
    var figure = button.closest("figure");
    boxesOf(figure).forEach(function (box) { box.checked = button.dataset.all === "yes"; });
    choose(figure);
    again(figure);
    remember();
  });

  // ---- part of a figure over time, in the address too: #anchor~figure.minutes=10-25 ----
  function stretchOf(figure) { return figure.querySelector("fieldset.stretch"); }

  function runsOf(figure) {
    return Array.prototype.map.call(figure.querySelectorAll("button[data-from]"), function (each) { return [+each.dataset.from, +each.dataset.to, each.textContent]; });
  }
  // The run that holds a stretch; minutes are told from its own start, as the text tells them.
  function runOf(figure, part) {
    var runs = runsOf(figure);
    return runs.find(function (run) { return part[0] >= run[0] - 0.006 && part[1] <= run[1] + 0.006; }) || runs[runs.length - 1];
  }
  function short(value) { return String(+value.toFixed(2)); }
  function saidOf(figure, part) {
    var run = runOf(figure, part);
    return run[2] + ", " + short(part[0] - run[0]) + " to " + short(part[1] - run[0]) + " min";
  }

  // Between which minutes of the figure; what is no stretch of it leaves what is shown as it is, and is said.
  function look(figure, from, to) {
    var field = stretchOf(figure), begin = +field.dataset.begin, end = +field.dataset.end;
    var edges = field.querySelectorAll("input[data-edge]"), whole = from === begin && to === end;
    var fine = from >= begin - 0.006 && to <= end + 0.006 && to - from >= 0.1;
    if (fine) { if (whole) { closer.delete(figure); } else { closer.set(figure, [from, to]); } }
    var shown = closer.get(figure) || [begin, end], run = runOf(figure, shown), single = shown[0] >= run[0] - 0.006 && shown[1] <= run[1] + 0.006 && run[2] !== "all of it";
    field.dataset.of = single ? short(run[0]) : "";
    field.querySelector(".of").textContent = single ? "min of " + run[2] : "min: choose a run first";
    edges.forEach(function (edge, n) {
      edge.disabled = !single;
      if (fine) { edge.value = single ? short(shown[n] - run[0]) : ""; }
      edge.setAttribute("aria-invalid", String(!fine));
    });
    figure.querySelector(".refused").textContent = fine ? "" : "No such stretch: " + run[2] + " lasts from 0 to " + short(run[1] - run[0]) +
      " min, and the end comes after the beginning. What is shown has not changed.";
    figure.querySelector(".not-shown").textContent = told(figure);
    return fine;
  }

  function cut(rows, part) {
    var from = part[0], to = part[1], made = {};
    function inside(row) { return row.at >= from && row.at <= to; }
    made.spread = (rows.path || []).filter(function (row) { return row.lo !== null && inside(row); });
    made.events = (rows.events || []).filter(inside);
    made.bands = (rows.bands || []).filter(function (row) { return row.to > from && row.at < to; }).map(function (row) {
      return Object.assign({}, row, { at: Math.max(from, row.at), to: Math.min(to, row.to) });
    });
    // The line goes on to the edge: between a point inside and one outside it is taken where it crosses.
    made.path = [];
    (rows.path || []).forEach(function (row, i) {
      var last = i ? rows.path[i - 1] : null;
      if (last && last.l === row.l) {
        [from, to].forEach(function (edge) {
          if (last.at < edge && row.at > edge) {
            made.path.push({ g: row.g, l: row.l, at: edge, v: last.v + (row.v - last.v) * (edge - last.at) / (row.at - last.at) });
          }
        });
      }
      if (inside(row)) { made.path.push(row); }
    });
    return made;
  }

  function lookAt(figure, from, to) {
    if (!look(figure, from, to)) { return; }
    again(figure);
    remember();
  }

  document.addEventListener("change", function (event) {
    if (!event.target.matches("input[data-edge]")) { return; }
    var field = event.target.closest("fieldset"), edges = field.querySelectorAll("input[data-edge]"), run = +field.dataset.of;
    lookAt(field.closest("figure"), +short(run + parseFloat(edges[0].value)), +short(run + parseFloat(edges[1].value)));
  });
  document.addEventListener("click", function (event) {
    var button = event.target.closest("button[data-from]");
    if (button) { lookAt(button.closest("figure"), +button.dataset.from, +button.dataset.to); }
  });

  // ---- a panel as wide as the text, and taller ----
  function isLarge(el) { return el.closest(".panel").classList.contains("large"); }

  function enlarge(panel, large) {
    var el = panel.querySelector(".chart"), button = panel.querySelector("button.larger");
    if (large) { document.querySelectorAll(".panel.large").forEach(function (other) { enlarge(other, false); }); }
    panel.classList.toggle("large", large);
    var word = large ? "Smaller" : "Larger";
    button.setAttribute("aria-label", button.getAttribute("aria-label").replace(/^\w+/, word));
    button.title = word;
    button.textContent = large ? "\u2921" : "\u2922";
    draw(el);
    if (drawn.get(el)) { drawn.get(el).tall = large; paint(el, el.clientWidth); }
  }

  document.addEventListener("click", function (event) {
    var button = event.target.closest("button.larger");
    if (!button) { return; }
    var panel = button.closest(".panel");
    enlarge(panel, !panel.classList.contains("large"));
    panel.scrollIntoView({ block: "nearest" });
  });
  document.addEventListener("keydown", function (event) {
    var panel = event.key === "Escape" ? document.querySelector(".panel.large") : null;
    if (!panel) { return; }
    enlarge(panel, false);
    panel.querySelector("button.larger").focus();
  });

  // ---- saving ----
  function save(name, blob) {
    var link = document.createElement("a");
    link.href = URL.createObjectURL(blob);
    link.download = name;
    document.body.appendChild(link);
    link.click();
    link.remove();
    setTimeout(function () { URL.revokeObjectURL(link.href); }, 10000);
  }

  // "b3-cylinder-2_leak-area.svg": the page's own name before that of the figure.
  function fileName(name, ending) {
    var steps = decodeURI(window.location.pathname).split("/").slice(-2).join("-").replace(/(-?index)?\.html$/, "");
    return (steps ? steps + "_" : "") + name + "." + ending;
  }

  function computed(text) {
    var style = getComputedStyle(root);
    return text.replace(/var\((--[a-z0-9-]+)\)/g, function (all, name) { return style.getPropertyValue(name).trim() || "#000"; });
  }

  function escaped(text) { return text.replace(/&/g, "&amp;").replace(/</g, "&lt;"); }

  // What stays with a picture that leaves the page: what is not shown, what its marks mean, and where it comes from.
  function lines(figure) {
    var source = document.querySelector(".foot [data-source]"), caption = figure.querySelector("figcaption");
    var events = Array.prototype.map.call(figure.querySelectorAll(".events li"), function (li, n) { return n + 1 + "  " + li.textContent; });
    var parts = caption ? Array.prototype.filter.call(caption.childNodes, function (part) { return !part.matches || !part.matches(".to-method"); }) : [];
    var key = parts.map(function (part) { return part.textContent; }).join("").trim();
    return events.concat([told(figure), key, source ? source.dataset.source : ""]).filter(Boolean);
  }

  function wrapped(text, width) {
    var most = Math.max(20, Math.floor(width / 7)), rows = [""]; // 13 px letters are about 7 px wide
    text.split(" ").forEach(function (word) {
      var row = rows[rows.length - 1];
      if (row && row.length + word.length + 1 > most) { rows.push(word); } else { rows[rows.length - 1] = row ? row + " " + word : word; }
    });
    return rows;
  }

  function line(text, x, y, weight) {
    return '<text x="' + x + '" y="' + y + '" font-family="sans-serif" font-size="13" font-weight="' + weight + '" fill="var(--ink)">' + escaped(text) + "</text>";
  }

  // All panels of a figure side by side, or stacked as they are, in one drawing under the name of page and section;
  // colours as they are on screen.
  function figureSvg(figure) {
    var x = 0, tall = 24, body = "", stacked = !!figure.querySelector(".stack"), widest = 0;
    var top = tall, heading = figure.closest("section") && figure.closest("section").querySelector("h2, summary b");
    var name = [document.title, heading ? heading.firstChild.textContent.trim() : ""].filter(Boolean).join(": ");
    figure.querySelectorAll(".chart").forEach(function (el) {
      if (el.closest(".panel").hidden) { return; }
      draw(el);
      var svg = el.querySelector("svg");
      if (!svg) { return; }
      var drawing = svg.cloneNode(true);
      var title = stacked ? "" : el.dataset.title, head = title ? 22 : 0, y = stacked ? tall : top;
      if (title) { body += line(title, x + 4, y + 15, 600); }
      drawing.setAttribute("x", x);
      drawing.setAttribute("y", y + head);
      body += new XMLSerializer().serializeToString(drawing);
      tall = Math.max(tall, y + parseFloat(drawing.getAttribute("height")) + head);
      widest = Math.max(widest, x + parseFloat(drawing.getAttribute("width")) + 16);
      if (!stacked) { x = widest; }
    });
    x = widest;
    body += line(wrapped(name, x - 24)[0], 4, 16, 600);
    var width = Math.max(1, x - 16);
    lines(figure).forEach(function (said) {
      wrapped(said, width - 8).forEach(function (text) {
        tall += 18;
        body += line(text, 4, tall - 3, 400);
      });
    });
    var style = "<style>text{paint-order:stroke;stroke:var(--paper);stroke-width:3px;stroke-linejoin:round}</style>";
    return {
      width: width, height: tall,
      text: computed('<svg xmlns="http://www.w3.org/2000/svg" width="' + width + '" height="' + tall + '" viewBox="0 0 ' + width +
        " " + tall + '">' + style + '<rect width="100%" height="100%" fill="var(--paper)"/>' + body + "</svg>")
    };
  }

  function pngOf(svg) {
    return new Promise(function (resolve, reject) {
      var image = new Image();
      image.onload = function () {
        var canvas = document.createElement("canvas");
        canvas.width = Math.round(2 * svg.width);
        canvas.height = Math.round(2 * svg.height);
        canvas.getContext("2d").drawImage(image, 0, 0, canvas.width, canvas.height);
        canvas.toBlob(function (blob) { if (blob) { resolve(blob); } else { reject(new Error("no picture")); } }, "image/png");
      };
      image.onerror = function () { reject(new Error("no picture")); };
      image.src = "data:image/svg+xml;charset=utf-8," + encodeURIComponent(svg.text);
    });
  }

  // Tables leave as a program reads them: plain minus, units in the heading, and a number alone in its field. What stands
  // beside it in its cell (an interval, a unit, a note) has a column of its own.
  var NUMBER = "[+-]?\\d+(?:\\.\\d+)?";
  var CELL = new RegExp("^(below |at most |more than )?(" + NUMBER + ")(?: ± (" + NUMBER + "))?(?: \\((" + NUMBER + ") to (" + NUMBER + ")\\))?(?: (?!of |to |and )([^\\d(),;\\s][^,;]{0,14}))?$");
  var PARTS = [["", 2], ["±", 3], ["from", 4], ["to", 5], ["unit", 6], ["mark", 1]];

  function plain(text) {
    return text.replace(/\u2212/g, "-").replace(/(\d)\u202f(?=\d)/g, "$1").replace(/[\u00a0\u202f\s]+/g, " ").trim();
  }
  function parted(cell) {
    var copy = cell.cloneNode(true), notes = [];
    copy.querySelectorAll("small").forEach(function (small) { notes.push(plain(small.textContent)); small.remove(); });
    copy.querySelectorAll("br, .unit").forEach(function (each) { each.remove(); });
    copy.querySelectorAll(".to-method").forEach(function (each) { if (each.textContent === "how") { each.remove(); } });
    return { text: plain(copy.textContent), note: notes.join("; ") };
  }
  function field(text) {
    if (/^([=@\t\r]|[+-](?![\d.,]+([eE][+-]?\d+)?$))[^]/.test(text)) { text = "'" + text; }  // as tables/neutral.py
    return /[",\n;]/.test(text) ? '"' + text.replace(/"/g, '""') + '"' : text;
  }

  // Headings of columns; a row above them may name groups, which are said with each of their columns.
  function headsOf(table) { return table.tHead.rows[table.tHead.rows.length - 1].cells; }

  // The columns one column of a table becomes, each a heading and its fields.
  function columnsOf(table, at) {
    var cells = [], head = headsOf(table)[at];
    Array.prototype.forEach.call(table.tBodies[0].rows, function (row) { cells.push(parted(row.cells[at])); });
    var group = head.dataset.group ? head.dataset.group + ", " : "";
    var title = group + parted(head).text, unit = head.dataset.unit ? " [" + head.dataset.unit + "]" : "";
    var found = cells.map(function (cell) { return CELL.exec(cell.text); });
    var known = cells.filter(function (cell) { return cell.text && cell.text !== "\u2013"; }).length;
    var numeric = known > 0 && (head.classList.contains("n") || found.filter(Boolean).length === known);
    var made = [];
    if (numeric && found.some(Boolean)) {
      var units = found.filter(Boolean).map(function (each) { return each[6] || ""; });
      if (units[0] && units.every(function (each) { return each === units[0]; })) { unit = " [" + units[0] + "]"; }
      else if (!units.some(Boolean)) { units = []; }
      PARTS.forEach(function (part) {
        if (part[0] === "unit" && (unit || !units.length)) { return; }
        var own = found.map(function (each) { return each ? (each[part[1]] || "").trim() : ""; });
        if (part[0] && !own.some(Boolean)) { return; }
        made.push([part[0] ? title + ", " + part[0] : title].concat(own));
        if (!/unit|mark/.test(part[0])) { made[made.length - 1][0] += unit; }
      });
      var rest = cells.map(function (cell, n) { return found[n] || cell.text === "\u2013" ? "" : cell.text; });
      if (rest.some(Boolean)) { made.push([title + ", in words"].concat(rest)); }
    } else {
      made.push([title + unit].concat(cells.map(function (cell) { return cell.text; })));
    }
    var notes = cells.map(function (cell) { return cell.note; });
    if (notes.some(Boolean)) { made.push([title + ", note"].concat(notes)); }
    return made;
  }

  // All points of the curves of a figure: its table shows some. Null where a figure draws none.
  function pointsOf(figure) {
    var rows = [], alongs = [], units = [], names = boxesOf(figure);
    figure.querySelectorAll(".chart").forEach(function (el) {
      draw(el);
      var payload = drawn.get(el) && drawn.get(el).payload;
      if (!payload || payload.kind !== "curves") { return; }
      [[alongs, payload.signals.along], [units, payload.signals.unit]].forEach(function (each) {
        if (each[0].indexOf(each[1]) < 0) { each[0].push(each[1]); }
      });
      (payload.data.path || []).forEach(function (row) {
        var box = names.find(function (each) { return +each.dataset.series === row.q; });
        rows.push({ panel: el.dataset.title, line: box ? box.value : row.g, along: payload.signals.along, unit: payload.signals.unit, at: row.at, v: row.v });
      });
    });
    if (!rows.length) { return null; }
    function each(title, units, unit, value) {
      return units.map(function (one) {
        return [title + (one ? " [" + one + "]" : "")].concat(rows.map(function (row) { return row[unit] === one ? String(row[value]) : ""; }));
      });
    }
    return [["Panel"].concat(rows.map(function (row) { return row.panel; })), ["Line"].concat(rows.map(function (row) { return row.line; }))]
      .concat(each("Along", alongs, "along", "at"), each("Value", units, "unit", "v"));
  }

  // Every row is saved, those too that a search hides. Invented data are marked in a column of their own: it stays with
  // the rows when they are sorted or copied, which a line above the header does not, and such a line breaks the header.
  function csvOf(table) {
    var main = table.closest("[data-invented]"), figure = table.closest("figure"), columns = figure && pointsOf(figure);
    if (!columns) {
      columns = [];
      Array.prototype.forEach.call(headsOf(table), function (head, at) { columns = columns.concat(columnsOf(table, at)); });
    }
    if (main) { columns.push(columns[0].map(function (cell, n) { return n ? main.dataset.invented : "data"; })); }
    return "\ufeff" + columns[0].map(function (cell, n) {
      return columns.map(function (column) { return field(column[n]); }).join(",");
    }).join("\r\n") + "\r\n";
  }

  document.addEventListener("click", function (event) {
    var button = event.target.closest("button[data-save]");
    if (!button) { return; }
    if (button.dataset.save === "page") { savePage(button); return; }
    var what = document.getElementById(button.dataset.of);
    var name = what.dataset.name || what.id;
    if (button.dataset.save === "csv") {
      window.sitegenWhole(what, function () { save(fileName(name, "csv"), new Blob([csvOf(what)], { type: "text/csv;charset=utf-8" })); });
      return;
    }
    var svg = figureSvg(what);
    if (button.dataset.save === "svg") { save(fileName(name, "svg"), new Blob([svg.text], { type: "image/svg+xml" })); return; }
    pngOf(svg).then(function (blob) { save(fileName(name, "png"), blob); });
  });

  // ---- the whole page as one file; what makes it is loaded when it is asked for ----
  function savePage(button) {
    function made() {
      var page = window.sitegenAlone(function () { charts.forEach(draw); });
      save(fileName("", "html").replace(/_?\.html$/, ".html"), new Blob([page], { type: "text/html;charset=utf-8" }));
    }
    if (window.sitegenAlone) { made(); return; }
    var script = document.createElement("script");
    script.src = button.dataset.script;
    script.onload = made;
    script.onerror = function () { button.textContent = "This page could not be saved: " + button.dataset.script + " is not there"; };
    document.head.appendChild(script);
  }

  // ---- a link to something folded opens it ----
  function unfold() {
    var target = document.getElementById(decoded(location.hash.slice(1).split("~")[0])), opened = false;
    for (var fold = target && target.closest("details"); fold; fold = fold.parentElement.closest("details")) {
      if (!fold.open) { fold.open = true; opened = true; }
    }
    if (opened) { target.scrollIntoView(); }
  }
  window.addEventListener("hashchange", unfold);

  // ---- turning pages ----
  document.addEventListener("keydown", function (event) {
    if (event.defaultPrevented || event.altKey || event.ctrlKey || event.metaKey || event.shiftKey) { return; }
    var rel = event.key === "ArrowLeft" ? "prev" : event.key === "ArrowRight" ? "next" : "";
    if (!rel || event.target.closest("input, textarea, select, [contenteditable], .scroll")) { return; }
    var link = document.querySelector('link[rel="' + rel + '"]');
    if (link) { window.location.href = link.href; }
  });

  unfold();
  if (document.readyState === "loading") { document.addEventListener("DOMContentLoaded", start); } else { start(); }
})();
