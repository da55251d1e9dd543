/* Paints a compiled drawing (pages/compiled.py) as SVG. What marks and channels mean is as in the Vega documentation;
   a test holds the two against each other. Classic script: sets sitegenPaint; sitegenDrawings stands beside it. */
(function () {
  "use strict";
  var NS = "http://www.w3.org/2000/svg";
  var ANCHOR = { left: "start", center: "middle", right: "end" };
  var RISE = { top: 0.79, middle: 0.3, bottom: -0.21, alphabetic: 0 }; // baseline below the place asked for [font sizes]
  var H = Math.sqrt(3) / 2;
  var SHAPES = { // in a box from -1 to 1
    "circle": "M1,0A1,1,0,1,1,-1,0A1,1,0,1,1,1,0Z",
    "triangle-up": "M0," + -H + "L-1," + H + "L1," + H + "Z",
    "triangle-right": "M" + H + ",0L" + -H + ",-1L" + -H + ",1Z"
  };
  var FUNCTIONS = {
    abs: Math.abs, ceil: Math.ceil, floor: Math.floor, max: Math.max, min: Math.min, round: Math.round, toNumber: Number,
    isValid: function (value) { return value !== null && value !== undefined && value === value; },
    length: function (value) { return value.length; },
    // Fixed decimals, thousands parted by narrow spaces if asked for with a comma: "1 250.0".
    format: function (value, form) {
      var asked = /^(,?)\.(\d+)f$/.exec(form);
      if (!asked) { throw new Error("no number format " + form); }
      var parts = Math.abs(value).toFixed(+asked[2]).split(".");
      if (asked[1]) { parts[0] = parts[0].replace(/\B(?=(\d{3})+$)/g, "\u202f"); }
      return (value < 0 && +parts.join(".") ? "\u2212" : "") + parts.join(".");
    }
  };
  var drawings = null;

  function round(value) { return Math.round(value * 100) / 100; }

  function add(to, name, attributes) {
    var made = document.createElementNS(NS, name);
    for (var key in attributes) {
      if (attributes[key] !== null && attributes[key] !== undefined) { made.setAttribute(key, attributes[key]); }
    }
    to.appendChild(made);
    return made;
  }

  function linear(ends) {
    var from = ends[0], to = ends[1], slope = (to[1] - to[0]) / (from[1] - from[0]);
    return function (value) { return to[0] + (value - from[0]) * slope; };
  }

  function dash(c) { return c.strokeDash && c.strokeDash.length ? c.strokeDash.join(",") : null; }
  function faint(c) { return c.opacity === undefined || c.opacity === 1 ? null : c.opacity; }

  var MARKS = {
    rect: function (to, c) {
      add(to, "path", { d: "M" + round(c.x) + "," + round(c.y) + "H" + round(c.x2) + "V" + round(c.y2) + "H" + round(c.x) + "Z",
        fill: c.fill, opacity: faint(c) });
    },
    rule: function (to, c) {
      var x2 = c.x2 === undefined ? c.x : c.x2, y2 = c.y2 === undefined ? c.y : c.y2;
      add(to, "line", { x1: round(c.x), y1: round(c.y), x2: round(x2), y2: round(y2), stroke: c.stroke,
        "stroke-width": c.strokeWidth, "stroke-dasharray": dash(c), opacity: faint(c) });
    },
    symbol: function (to, c) {
      var half = Math.sqrt(c.size) / 2; // a shape fills the box of its size [px²]
      var made = add(to, "path", { d: SHAPES[c.shape] || c.shape, fill: c.fill || "none", opacity: faint(c),
        transform: "translate(" + round(c.x) + "," + round(c.y) + ") scale(" + round(half) + ")" });
      if (c.stroke) { made.setAttribute("stroke", c.stroke); made.setAttribute("stroke-width", round(c.strokeWidth / half)); }
      if (c.tooltip) { made.tip = c.tooltip; } else { made.setAttribute("pointer-events", "none"); }
    },
    text: function (to, c) {
      var lines = Array.isArray(c.text) ? c.text : [c.text];
      if (c.opacity === 0 || !lines.join("")) { return; }
      var x = round(c.x + (c.dx || 0)), y = round(c.y + (c.dy || 0) + Math.round(RISE[c.baseline || "alphabetic"] * c.fontSize));
      var made = add(to, "text", { x: x, y: y, "text-anchor": ANCHOR[c.align || "left"], "font-size": c.fontSize,
        "font-weight": c.fontWeight, fill: c.fill, opacity: faint(c), "pointer-events": "none" });
      if (lines.length === 1) { made.textContent = lines[0]; return made; }
      lines.forEach(function (line, i) {
        add(made, "tspan", { x: x, dy: i ? c.lineHeight || c.fontSize + 2 : null }).textContent = line;
      });
      return made;
    }
  };

  function lines(to, mark, rows, s, k) {
    var groups = new Map();
    rows.forEach(function (row) {
      var key = row[mark.by];
      if (groups.has(key)) { groups.get(key).push(row); } else { groups.set(key, [row]); }
    });
    groups.forEach(function (group) {
      group.sort(function (a, b) { return a[mark.sort] - b[mark.sort]; });
      var c = mark.channels(group[0], s, k);
      var d = group.map(function (row) { var at = mark.channels(row, s, k); return round(at.x) + "," + round(at.y); }).join("L");
      add(to, "path", { d: "M" + d, fill: "none", stroke: c.stroke, "stroke-width": c.strokeWidth,
        "stroke-dasharray": dash(c), "stroke-linejoin": c.strokeJoin, opacity: faint(c), "pointer-events": "none" });
    });
  }

  function axis(to, made, s, k) {
    var left = made.orient === "left";
    to = add(to, "g", { transform: "translate(0.5,0.5)" }); // lines of 1 px on whole pixels
    var values = made.values(s), each = values[1] - values[0] || 1, every = 1;
    if (made.text && !left) { // where numbers stand too close, every second is written, or fewer
      var widest = Math.max.apply(null, values.map(function (value) { return window.sitegenWidth(made.text({ value: value }, s), made.size); }));
      every = Math.max(1, Math.ceil((widest + 6) / Math.abs(k[made.scale](each) - k[made.scale](0))));
    }
    values.forEach(function (value) {
      var at = k[made.scale](value);
      if (made.grid) {
        add(to, "line", { x1: left ? 0 : round(at), x2: left ? s.width : round(at), y1: left ? round(at) : 0,
          y2: left ? round(at) : s.height, stroke: made.grid, "stroke-width": 1 });
      }
      if (made.text && Math.round(value / each) % every === 0) {
        MARKS.text(to, { x: left ? -made.padding : at, y: left ? at : s.height + made.padding, align: left ? "right" : "center",
          baseline: left ? "middle" : "top", fontSize: made.size, fill: made.colour, text: made.text({ value: value }, s) });
      }
    });
  }

  // ---- no text over another, none cut at the edge ----
  var pen = null;
  window.sitegenWidth = function (text, size, weight) {
    pen = pen || document.createElement("canvas").getContext("2d");
    pen.font = (weight || 400) + " " + size + "px " + (drawings ? drawings.slope.font : "sans-serif");
    return pen.measureText(text).width;
  };

  function boxOf(text, shift) {
    var size = +text.getAttribute("font-size"), own = text.children.length ? Array.prototype.slice.call(text.children) : [text];
    var width = Math.max.apply(null, own.map(function (line) { return window.sitegenWidth(line.textContent, size, text.getAttribute("font-weight")); }));
    var anchor = text.getAttribute("text-anchor"), x = +text.getAttribute("x") - (anchor === "end" ? width : anchor === "middle" ? width / 2 : 0);
    var y = +text.getAttribute("y") + shift, deep = own.slice(1).reduce(function (sum, line) { return sum + +line.getAttribute("dy"); }, 0);
    return { left: x, right: x + width, top: y - 0.8 * size, bottom: y + 0.22 * size + deep };
  }

  // What comes first stays; what would cover it moves up or down by at most a line, and is left out where that is not enough.
  function clear(plot, left, right) {
    var kept = [];
    var texts = Array.prototype.slice.call(plot.querySelectorAll("text"));
    texts.filter(function (text) { return text.title; }).concat(texts.filter(function (text) { return !text.title; })).forEach(function (text) {
      var box = boxOf(text, 0), over = box.right - right, short = left - box.left;
      if (over > 0 || short > 0) {
        var by = over > 0 ? -over : short;
        [text].concat(Array.prototype.slice.call(text.children)).forEach(function (each) { each.setAttribute("x", round(+each.getAttribute("x") + by)); });
      }
      var place = [0, -5, 5, -9, 9, -14, 14].find(function (shift) {
        var own = boxOf(text, shift);
        return kept.every(function (other) {
          return own.right <= other.left || own.left >= other.right || own.bottom <= other.top || own.top >= other.bottom;
        });
      });
      if (place === undefined) { text.remove(); return; }
      if (place) { text.setAttribute("y", round(+text.getAttribute("y") + place)); }
      kept.push(boxOf(text, 0));
    });
  }

  /* The drawing of one panel. kind: name of a drawing; rows: name -> rows; signals: name -> value, with width and height
     of the plot [px]; pad: space around it [px] for labels. */
  window.sitegenPaint = function (kind, rows, signals, pad) {
    drawings = drawings || window.sitegenDrawings(FUNCTIONS);
    var drawing = drawings[kind];
    var s = Object.assign({}, drawing.signals, signals);
    var own = Object.assign({}, rows);
    drawing.derive(own, s);
    var ends = drawing.scales(s), k = {};
    for (var name in ends) { k[name] = linear(ends[name]); }
    var width = s.width + pad.left + pad.right, height = s.height + pad.top + pad.bottom;
    var svg = document.createElementNS(NS, "svg");
    var about = { xmlns: NS, width: width, height: height, viewBox: "0 0 " + width + " " + height,
      "aria-hidden": "true", focusable: "false", "font-family": drawing.font };
    for (var key in about) { svg.setAttribute(key, about[key]); }
    var plot = add(svg, "g", { transform: "translate(" + pad.left + "," + pad.top + ")" });
    drawing.axes.forEach(function (each) { axis(plot, each, s, k); });
    drawing.marks.forEach(function (mark) {
      var of = own[mark.from] || [];
      if (mark.type === "line") { lines(plot, mark, of, s, k); return; }
      of.forEach(function (row) {
        var made = MARKS[mark.type](plot, mark.channels(row, s, k));
        if (made) { made.title = mark.from === "axis" || mark.from === "along"; } // what is measured always stands
      });
    });
    clear(plot, -pad.left, s.width + pad.right);
    return svg;
  };
})();
