/* Makes one file of a page that opens alone: style inside, charts as they are drawn, no script. Loaded when it is asked for. */
(function () {
  "use strict";
  var GONE = "script, noscript, .tools, .choose, .refused, .tip, .to-here, .skip, .head nav + nav, .contents .row, .menu, link[rel=prev], link[rel=next], link[rel=stylesheet], input, template";

  // A picture as it is on the page; a browser does not let a page that was opened from a folder read its pictures.
  function dataOf(img) {
    try {
      var canvas = document.createElement("canvas");
      canvas.width = img.naturalWidth;
      canvas.height = img.naturalHeight;
      canvas.getContext("2d").drawImage(img, 0, 0);
      return img.complete && img.naturalWidth ? canvas.toDataURL("image/jpeg", 0.9) : "";
    } catch (refused) { return ""; }
  }

  function replaced(node, tag, name, text) {
    var made = document.createElement(tag);
    made.className = name;
    made.textContent = text;
    node.replaceWith(made);
  }

  // Drawings keep their shape at any width: what made them anew is not in the file.
  function loosened(svg) {
    var width = parseFloat(svg.getAttribute("width")), height = parseFloat(svg.getAttribute("height"));
    if (!svg.hasAttribute("viewBox")) { svg.setAttribute("viewBox", "0 0 " + width + " " + height); }
    svg.setAttribute("style", "max-width:100%;height:auto");
  }

  // `draw` draws every chart, those too that are folded away.
  window.sitegenAlone = function (draw) {
    var folds = Array.prototype.slice.call(document.querySelectorAll("details"));
    var open = folds.map(function (fold) { return fold.open; });
    folds.forEach(function (fold) { fold.open = true; });
    draw();
    var pictures = Array.prototype.map.call(document.images, dataOf), colours = getComputedStyle(document.documentElement);
    var copy = document.documentElement.cloneNode(true);
    folds.forEach(function (fold, n) { fold.open = open[n]; });
    copy.querySelectorAll("details").forEach(function (fold, n) { fold.open = open[n]; });
    copy.removeAttribute("class");
    Object.keys(copy.dataset).forEach(function (name) { delete copy.dataset[name]; });
    var missing = pictures.filter(function (data) { return !data; }).length;
    copy.querySelectorAll("img").forEach(function (img, n) {
      if (pictures[n]) { img.src = pictures[n]; img.removeAttribute("loading"); return; }
      if (img.nextElementSibling) { img.nextElementSibling.remove(); } // its scale
      replaced(img, "span", "note", img.alt);
    });
    copy.querySelectorAll(".chart").forEach(function (el) {
      el.removeAttribute("tabindex");
      el.style.height = "auto";
      el.querySelectorAll("svg").forEach(loosened);
      el.querySelectorAll("[fill], [stroke]").forEach(function (mark) {
        ["fill", "stroke"].forEach(function (side) {
          var name = /^var\((--[a-z0-9-]+)\)$/.exec(mark.getAttribute(side));
          if (name) { mark.setAttribute(side, "var(" + name[1] + ", " + colours.getPropertyValue(name[1]).trim() + ")"); }
        });
      });
    });
    copy.querySelectorAll("button.sort").forEach(function (button) { button.replaceWith(button.textContent); });
    copy.querySelectorAll(".contents p").forEach(function (p) { if (p.nextElementSibling && p.nextElementSibling.matches(".row")) { p.remove(); } });
    copy.querySelectorAll(GONE).forEach(function (each) { each.remove(); });
    copy.querySelectorAll("summary").forEach(function (summary) { // of a figure: nothing is chosen or saved here any more
      if (/, save$/.test(summary.textContent)) { summary.textContent = "Data"; }
    });
    copy.querySelectorAll("a[href]").forEach(function (link) {
      if (/^(#|https?:|mailto:)/.test(link.getAttribute("href"))) { return; }
      if (link.matches("figcaption .to-method, .note .to-method, .foot a")) { link.remove(); return; } // "How ... is worked out"
      ["href", "title", "aria-label"].forEach(function (name) { link.removeAttribute(name); });
      link.classList.remove("to-method");
    });
    copy.querySelectorAll(".lk").forEach(function (text) { text.classList.remove("lk"); });
    copy.querySelector("meta[http-equiv]").content = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; form-action 'none'";
    var style = document.createElement("style");
    style.textContent = window.sitegenStyle;
    copy.querySelector("head").appendChild(style);
    var told = document.createElement("p"), none = missing === 1 ? "one picture is" : missing + " pictures are";
    told.textContent = "Saved as one file, without what leads to other pages." + (missing ? " The browser did not hand out its pictures: " + none + " named by words." : "");
    copy.querySelector(".foot").appendChild(told);
    return "<!doctype html>\n" + copy.outerHTML + "\n";
  };
})();
