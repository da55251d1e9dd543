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

  // ---- tooltips ----
  var tip = null;
  function showTip(event) {
    var told = event.target.tip;
    if (!told) {
      if (tip) { tip.hidden = true; }
      return;
    }
    if (!tip) {
      tip = document.createElement("div");
      tip.className = "tip";
      tip.setAttribute("aria-hidden", "true");
      document.body.appendChild(tip);
    }
    tip.textContent = String(told);
    tip.hidden = false;
    var left = Math.min(event.clientX + 12, window.innerWidth - tip.offsetWidth - 8);
    tip.style.left = Math.max(4, left) + "px";
    tip.style.top = Math.max(4, event.clientY - tip.offsetHeight - 10) + "px";
  }

  // ---- charts ----
  // Rows travel by column: one value where all rows share it, [value, times, value, times ...] under "r", else a list.
  function unpacked(set) {
    var rows = Array.from({ length: set.n }, function () { return {}; });
    Object.keys(set.of).forEach(function (field) {
      var column = set.of[field];
      if (column !== null && typeof column === "object" && !Array.isArray(column)) {
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
    return payload;
  }

  function paint(el, width) {
    var entry = drawn.get(el), payload = entry.payload, pad = payload.pad;
    var narrow = width < NARROW;
    var left = narrow && pad.leftNarrow ? pad.leftNarrow : pad.left, right = narrow ? pad.narrow : pad.wide;
    var without = hidden.get(el.closest("figure"));
    var rows = {};
    for (var name in payload.data) {
      rows[name] = without && without.size ? payload.data[name].filter(function (row) { return !without.has(row.q); }) : payload.data[name];
    }
    var part = closer.get(el.closest("figure")), signals = payload.signals;
    if (part) { rows = cut(rows, part); signals = Object.assign({}, signals, pace(part)); }
    var size = { narrow: narrow, width: Math.max(60, width - left - right), height: Math.round(payload.height * (entry.tall ? LARGER : 1)) };
    var svg = window.sitegenPaint(payload.kind, rows, Object.assign({}, signals, size),
      { left: left, right: right, top: pad.top, bottom: pad.bottom });
    entry.width = width;
    el.replaceChildren(svg);
    el.style.height = svg.getAttribute("height") + "px"; // known beforehand, so that nothing else has to be laid out anew
  }

  function draw(el) {
    if (drawn.has(el)) { return; }
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
    if (entry && width && entry.width !== width) { paint(el, width); }
  }
  function again(figure) {
    figure.querySelectorAll(".chart").forEach(function (el) { if (drawn.get(el)) { paint(el, drawn.get(el).width); } });
  }

  function printing() {
    charts.forEach(function (el) {
      draw(el);
      if (drawn.get(el)) { drawn.get(el).tall = false; paint(el, el.closest(".side") ? 400 : el.closest(".panels.one") ? PRINT_ONE : PRINT_MANY); }
    });
  }
  function printed() {
    charts.forEach(function (el) {
      if (drawn.get(el)) { drawn.get(el).tall = isLarge(el); paint(el, el.clientWidth); }
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
    var line = figure.querySelector(".not-shown");
    if (line) { line.textContent = told(figure); }
  }

  // What a reader hid, or did not look at, stands in the figure, in print and in what is saved of it.
  function told(figure) {
    var names = boxesOf(figure).filter(function (box) { return !box.checked; }).map(function (box) { return box.value; });
    var parts = names.length ? ["Not shown: " + names.join(", ") + "."] : [];
    var part = closer.get(figure);
    if (part) { parts.push("Shown: " + part[0] + " to " + part[1] + " min only."); }
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
      if (field) { look(figure, part ? part[0] : +field.dataset.begin, part ? part[1] : +field.dataset.end); }
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

  // Between which minutes; what is not a stretch of the figure is brought into it, and the whole is no stretch.
  function look(figure, from, to) {
    var field = stretchOf(figure), begin = +field.dataset.begin, end = +field.dataset.end;
    from = Math.min(Math.max(begin, from || 0), end);
    to = Math.max(begin, Math.min(end, to === to ? to : end));
    if (to <= from) { from = begin; to = end; }
    field.querySelector("[data-edge=from]").value = String(from);
    field.querySelector("[data-edge=to]").value = String(to);
    if (from > begin || to < end) { closer.set(figure, [from, to]); } else { closer.delete(figure); }
    figure.querySelector(".not-shown").textContent = told(figure);
  }

  function cut(rows, part) {
    var from = part[0], to = part[1], made = Object.assign({}, rows);
    function inside(row) { return row.at >= from && row.at <= to; }
    ["spread", "marks"].forEach(function (name) { made[name] = rows[name] ? rows[name].filter(inside) : undefined; });
    // What began before the stretch is named at its edge.
    var before = (rows.marks || []).filter(function (row) { return !row.e && row.at < from; }).pop();
    if (before && !made.marks.some(function (row) { return row.at === from; })) {
      made.marks.unshift(Object.assign({}, before, { at: from }));
    }
    made.bands = rows.bands && rows.bands.filter(function (row) { return row.to > from && row.at < to; }).map(function (row) {
      return Object.assign({}, row, { at: Math.max(from, row.at), to: Math.min(to, row.to) });
    });
    // The line goes on to the edge: between a point inside and one outside it is taken where it crosses.
    made.path = [];
    (rows.path || []).forEach(function (row, i) {
      var last = i ? rows.path[i - 1] : null;
      if (last && last.g === row.g && last.q === row.q) {
        [from, to].forEach(function (edge) {
          if (last.at < edge && row.at > edge) {
            made.path.push(Object.assign({}, row, { at: edge, v: last.v + (row.v - last.v) * (edge - last.at) / (row.at - last.at) }));
          }
        });
      }
      if (inside(row)) { made.path.push(row); }
    });
    return made;
  }

  // Ends and numbers of the time axis: four to eight steps of 1, 2, 2.5 or 5 times a power of ten.
  function pace(part) {
    var power = Math.pow(10, Math.floor(Math.log10(part[1] - part[0])));
    var step = power * [0.1, 0.2, 0.25, 0.5, 1, 2, 2.5].find(function (s) { return (part[1] - part[0]) / (s * power) <= 6.5; });
    var times = [];
    for (var n = Math.ceil(part[0] / step - 1e-9); n * step <= part[1] + step * 1e-9; n += 1) { times.push(n * step); }
    var digits = step >= 1 && step % 1 === 0 ? 0 : Math.max(1, Math.ceil(-Math.log10(step) + (String(step).indexOf("25") > 0 ? 1 : 0)));
    return { from: part[0], to: part[1], times: times, minutes: ",." + digits + "f" };
  }

  function lookAt(figure, from, to) {
    look(figure, from, to);
    again(figure);
    remember();
  }

  document.addEventListener("change", function (event) {
    if (!event.target.matches("input[data-edge]")) { return; }
    var edges = event.target.closest("fieldset").querySelectorAll("input[data-edge]");
    lookAt(event.target.closest("figure"), parseFloat(edges[0].value), parseFloat(edges[1].value));
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
    button.setAttribute("aria-pressed", String(large));
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

  // What stays with a picture that leaves the page: what is not shown, and where it comes from.
  function lines(figure) {
    var source = document.querySelector(".foot [data-source]");
    return [told(figure), source ? source.dataset.source : ""].filter(Boolean);
  }

  function wrapped(text, width) {
    var most = Math.max(20, Math.floor(width / 7)), rows = [""]; // 13 px letters are about 7 px wide
    text.split(" ").forEach(function (word) {
      var row = rows[rows.length - 1];
      if (row && row.length + word.length + 1 > most) { rows.push(word); } else { rows[rows.length - 1] = row ? row + " " + word : word; }
    });
    return rows;
  }

  // All panels of a figure side by side in one drawing, colours as they are on screen.
  function figureSvg(figure) {
    var x = 0, tall = 0, body = "";
    figure.querySelectorAll(".chart").forEach(function (el) {
      draw(el);
      var svg = el.querySelector("svg");
      if (!svg) { return; }
      var drawing = svg.cloneNode(true);
      var title = el.dataset.title;
      var head = title ? 22 : 0;
      if (title) {
        body += '<text x="' + (x + 4) + '" y="15" font-family="sans-serif" font-size="13" font-weight="600" fill="var(--ink)">' +
          escaped(title) + "</text>";
      }
      drawing.setAttribute("x", x);
      drawing.setAttribute("y", head);
      body += new XMLSerializer().serializeToString(drawing);
      x += parseFloat(drawing.getAttribute("width")) + 16;
      tall = Math.max(tall, parseFloat(drawing.getAttribute("height")) + head);
    });
    var width = Math.max(1, x - 16);
    lines(figure).forEach(function (line) {
      wrapped(line, width - 8).forEach(function (text) {
        tall += 18;
        body += '<text x="4" y="' + (tall - 3) + '" font-family="sans-serif" font-size="13" fill="var(--ink)">' + escaped(text) + "</text>";
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

  // Cells as a spreadsheet reads them: plain minus, no spaces between thousands, units in the heading.
  function cellText(cell) {
    var copy = cell.cloneNode(true);
    var notes = [];
    copy.querySelectorAll("small").forEach(function (small) { notes.push(small.textContent.trim()); small.remove(); });
    copy.querySelectorAll("br, .unit, .to-method").forEach(function (each) { each.remove(); });
    var text = copy.textContent.replace(/\u2212/g, "-").replace(/(\d)\u202f(?=\d)/g, "$1").replace(/[\u00a0\u202f\s]+/g, " ").trim();
    if (cell.dataset.group) { text = cell.dataset.group + ", " + text; }
    if (cell.dataset.unit) { text += " [" + cell.dataset.unit + "]"; }
    if (notes.length) { text += (text ? "; " : "") + notes.join("; "); }
    if (/^[=+@]/.test(text) && !/^\+[\d.]/.test(text)) { text = "'" + text; }
    return /[",\n;]/.test(text) ? '"' + text.replace(/"/g, '""') + '"' : text;
  }

  // Every row is saved, those too that a search hides. Invented data are marked in a column of their own: it stays with
  // the rows when they are sorted or copied, which a line above the header does not, and such a line breaks the header.
  function csvOf(table) {
    var main = table.closest("[data-invented]");
    return "\ufeff" + Array.prototype.map.call(table.rows, function (row) {
      if (row.classList.contains("groups")) { return null; } // said with each of its columns
      var cells = Array.prototype.map.call(row.cells, cellText);
      if (main) { cells.push(row.closest("thead") ? "data" : main.dataset.invented); }
      return cells.join(",");
    }).filter(function (line) { return line !== null; }).join("\r\n") + "\r\n";
  }

  document.addEventListener("click", function (event) {
    var button = event.target.closest("button[data-save]");
    if (!button) { return; }
    var what = document.getElementById(button.dataset.of);
    var name = what.dataset.name || what.id;
    if (button.dataset.save === "csv") {
      save(fileName(name, "csv"), new Blob([csvOf(what)], { type: "text/csv;charset=utf-8" }));
      return;
    }
    var svg = figureSvg(what);
    if (button.dataset.save === "svg") { save(fileName(name, "svg"), new Blob([svg.text], { type: "image/svg+xml" })); return; }
    pngOf(svg).then(function (blob) { save(fileName(name, "png"), blob); });
  });

  // ---- turning pages ----
  document.addEventListener("keydown", function (event) {
    if (event.defaultPrevented || event.altKey || event.ctrlKey || event.metaKey || event.shiftKey) { return; }
    var rel = event.key === "ArrowLeft" ? "prev" : event.key === "ArrowRight" ? "next" : "";
    if (!rel || event.target.closest("input, textarea, select, [contenteditable], .scroll")) { return; }
    var link = document.querySelector('link[rel="' + rel + '"]');
    if (link) { window.location.href = link.href; }
  });

  if (document.readyState === "loading") { document.addEventListener("DOMContentLoaded", start); } else { start(); }
})();
