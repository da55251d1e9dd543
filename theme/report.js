/* Draws the charts of a page, saves figures and tables, and turns pages with the arrow keys. Classic script, one namespace. */
(function () {
  "use strict";
  var root = document.documentElement;
  root.classList.add("js");
  var NARROW = 430; // px: below it labels move inside and shorten
  var PRINT_ONE = 660, PRINT_MANY = 320; // px: widths of charts on A4
  var drawn = new Map(); // chart element -> {view, pad}

  // ---- tooltips ----
  var tip = null;
  function showTip(handler, event, item, value) {
    if (value === null || value === undefined || value === "") {
      if (tip) { tip.hidden = true; }
      return;
    }
    if (!tip) {
      tip = document.createElement("div");
      tip.className = "tip";
      tip.setAttribute("aria-hidden", "true");
      document.body.appendChild(tip);
    }
    tip.textContent = String(value);
    tip.hidden = false;
    var left = Math.min(event.clientX + 12, window.innerWidth - tip.offsetWidth - 8);
    tip.style.left = Math.max(4, left) + "px";
    tip.style.top = Math.max(4, event.clientY - tip.offsetHeight - 10) + "px";
  }

  // ---- charts ----
  function rowsOf(el) {
    return JSON.parse(document.querySelector('script[data-for="' + el.id + '"]').textContent);
  }

  function layout(pad, width) {
    var narrow = width < NARROW;
    var left = narrow && pad.leftNarrow ? pad.leftNarrow : pad.left;
    var right = narrow ? pad.narrow : pad.wide;
    return { narrow: narrow, padding: { left: left, right: right, top: pad.top, bottom: pad.bottom }, width: Math.max(60, width - left - right) };
  }

  function specOf(payload, width) {
    var spec = JSON.parse(JSON.stringify(window.sitegenCharts[payload.kind]));
    spec.data.forEach(function (set) {
      if (payload.data[set.name]) { set.values = payload.data[set.name]; }
    });
    var place = layout(payload.pad, width);
    spec.signals.forEach(function (signal) {
      if (signal.name in payload.signals) { signal.value = payload.signals[signal.name]; }
      if (signal.name === "narrow") { signal.value = place.narrow; }
    });
    spec.width = place.width;
    spec.height = payload.height;
    spec.padding = place.padding;
    return spec;
  }

  function draw(el) {
    if (drawn.has(el)) { return drawn.get(el).ready; }
    var entry = { view: null, pad: null, ready: null };
    drawn.set(el, entry);
    entry.ready = Promise.resolve().then(function () {
      var payload = rowsOf(el);
      entry.pad = payload.pad;
      entry.width = el.clientWidth;
      return window.sitegenEmbed(el, specOf(payload, el.clientWidth), {
        mode: "vega", ast: true, renderer: "svg", actions: false, defaultStyle: false, tooltip: showTip
      });
    }).then(function (result) {
      entry.view = result.view;
      var svg = el.querySelector("svg");
      svg.setAttribute("aria-hidden", "true");
      svg.setAttribute("focusable", "false");
      el.style.height = "auto";
      el.dataset.drawn = "yes";
      if (!root.dataset.firstChart) { root.dataset.firstChart = String(Math.round(performance.now())); }
    }).catch(function (error) {
      el.innerHTML = "";
      var p = document.createElement("p");
      p.className = "failed";
      p.textContent = "This chart could not be drawn (" + error.message + "). Its data are in the table below.";
      el.appendChild(p);
      el.style.height = "auto";
      el.dataset.drawn = "failed";
    });
    return entry.ready;
  }

  function refit(el, width) {
    var entry = drawn.get(el);
    if (!entry || !entry.view || !width || entry.width === width) { return; }
    entry.width = width;
    var place = layout(entry.pad, width);
    entry.view.padding(place.padding).width(place.width).signal("narrow", place.narrow);
    entry.view.run();
  }

  function printing() {
    drawn.forEach(function (entry, el) { refit(el, el.closest(".panels.one") ? PRINT_ONE : PRINT_MANY); });
    document.querySelectorAll(".side .chart").forEach(function (el) { refit(el, 400); });
  }
  function printed() {
    drawn.forEach(function (entry, el) { refit(el, el.clientWidth); });
  }

  function start() {
    var charts = Array.prototype.slice.call(document.querySelectorAll(".chart"));
    if (!charts.length) { root.dataset.charts = "all"; return; }
    var near = charts.filter(function (el) {
      var box = el.getBoundingClientRect();
      return box.top < window.innerHeight + 300 && box.bottom > -300;
    });
    var watch = new IntersectionObserver(function (entries) {
      entries.forEach(function (each) {
        if (each.isIntersecting) { watch.unobserve(each.target); draw(each.target); }
      });
    }, { rootMargin: "400px 0px" });
    // What is in sight comes first, one after the other; the rest follows when the page is idle, so that print is whole.
    var chain = near.reduce(function (before, el) { return before.then(function () { return draw(el); }); }, Promise.resolve());
    chain.then(function () {
      root.dataset.charts = "near";
      charts.forEach(function (el) { if (!drawn.has(el)) { watch.observe(el); } });
      var idle = window.requestIdleCallback || function (f) { return setTimeout(f, 50); };
      (function rest(at) {
        if (at >= charts.length) { root.dataset.charts = "all"; return; }
        idle(function () { draw(charts[at]).then(function () { rest(at + 1); }); });
      })(0);
    });
    var sizes = new ResizeObserver(function (entries) {
      if (window.matchMedia("print").matches) { return; }
      entries.forEach(function (each) { refit(each.target, Math.round(each.contentRect.width)); });
    });
    charts.forEach(function (el) { sizes.observe(el); });
    window.addEventListener("beforeprint", printing);
    window.addEventListener("afterprint", printed);
    window.matchMedia("print").addEventListener("change", function (event) { (event.matches ? printing : printed)(); });
  }

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

  // All panels of a figure side by side in one drawing, colours as they are on screen.
  function figureSvg(figure) {
    var charts = Array.prototype.slice.call(figure.querySelectorAll(".chart"));
    return Promise.all(charts.map(draw)).then(function () {
      return Promise.all(charts.map(function (el) { return drawn.get(el).view.toSVG(); }));
    }).then(function (texts) {
      var x = 0, tall = 0, body = "";
      texts.forEach(function (text, i) {
        var size = /width="([\d.]+)" height="([\d.]+)"/.exec(text);
        var title = charts[i].dataset.title;
        var head = title ? 22 : 0;
        if (title) {
          body += '<text x="' + (x + 4) + '" y="15" font-family="sans-serif" font-size="13" font-weight="600" fill="var(--ink)">' +
            title.replace(/&/g, "&amp;").replace(/</g, "&lt;") + "</text>";
        }
        body += text.replace("<svg ", '<svg x="' + x + '" y="' + head + '" ');
        x += parseFloat(size[1]) + 16;
        tall = Math.max(tall, parseFloat(size[2]) + head);
      });
      var width = Math.max(1, x - 16);
      var style = "<style>text{paint-order:stroke;stroke:var(--paper);stroke-width:3px;stroke-linejoin:round}</style>";
      return {
        width: width, height: tall,
        text: computed('<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" width="' + width +
          '" height="' + tall + '" viewBox="0 0 ' + width + " " + tall + '">' + style +
          '<rect width="100%" height="100%" fill="var(--paper)"/>' + body + "</svg>")
      };
    });
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
    copy.querySelectorAll("br, .unit").forEach(function (each) { each.remove(); });
    var text = copy.textContent.replace(/\u2212/g, "-").replace(/(\d)\u202f(?=\d)/g, "$1").replace(/[\u00a0\u202f\s]+/g, " ").trim();
    if (cell.dataset.unit) { text += " [" + cell.dataset.unit + "]"; }
    if (notes.length) { text += (text ? "; " : "") + notes.join("; "); }
    if (/^[=+@]/.test(text) && !/^\+[\d.]/.test(text)) { text = "'" + text; }
    return /[",\n;]/.test(text) ? '"' + text.replace(/"/g, '""') + '"' : text;
  }

  function csvOf(table) {
    return "\ufeff" + Array.prototype.map.call(table.rows, function (row) {
      return Array.prototype.map.call(row.cells, cellText).join(",");
    }).join("\r\n") + "\r\n";
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
    figureSvg(what).then(function (svg) {
      if (button.dataset.save === "svg") { return new Blob([svg.text], { type: "image/svg+xml" }); }
      return pngOf(svg);
    }).then(function (blob) { save(fileName(name, button.dataset.save), blob); });
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
