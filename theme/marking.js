/* Takes the marks of a review, keeps them while the browser lets it, and saves them as one file. Classic script. */
(function () {
  "use strict";
  var home = document.getElementById("marking"), data = document.getElementById("subjects");
  if (!home || !data) { return; }
  var all = JSON.parse(data.textContent);
  var KEY = "review " + all.program + " " + all.results;
  var ABOUT_CYLINDER = [["", "–"], ["agrees", "agrees with its state"], ["objects", "objects to its state"], ["open question", "open question"]];
  var ABOUT_BUILD = [["", "–"], ["agrees", "agrees"], ["objects", "objects"], ["open question", "open question"]];
  var ABOUT_READING = [["", "–"], ["agrees", "agrees"], ["objects", "objects"], ["read again", "read it again"], ["open question", "open question"]];
  var marks = {}; // what it is about -> {says, cause, why, build, cylinder, reading}
  var reviewer = "", unsaved = false, kept = true, at = 0;
  var fields = {};

  function make(name, attributes, children) {
    var el = document.createElement(name);
    Object.keys(attributes || {}).forEach(function (key) {
      if (key === "text") { el.textContent = attributes[key]; } else if (key === "on") {
        Object.keys(attributes.on).forEach(function (event) { el.addEventListener(event, attributes.on[event]); });
      } else { el.setAttribute(key, attributes[key]); }
    });
    (children || []).forEach(function (child) { el.appendChild(child); });
    return el;
  }

  // ---- keeping: a browser may keep nothing of a file opened from a folder, or something else for each file ----
  function remember() {
    try { window.localStorage.setItem(KEY, JSON.stringify({ reviewer: reviewer, marks: marks })); kept = true; } catch (fault) { kept = false; }
  }
  function recall() {
    try {
      var found = JSON.parse(window.localStorage.getItem(KEY) || "null");
      if (found && found.marks) { marks = found.marks; reviewer = found.reviewer || ""; return Object.keys(marks).length; }
    } catch (fault) { kept = false; }
    return 0;
  }

  function set(key, about, part, value) {
    var mark = marks[key] || { says: "", cause: "", why: "" };
    ["build", "cylinder", "reading"].forEach(function (name) { mark[name] = about[name] || (name === "cylinder" ? 0 : ""); });
    mark[part] = value;
    if (mark.says || mark.why) { marks[key] = mark; } else { delete marks[key]; }
    changed();
  }
  function changed() { unsaved = true; remember(); count(); }

  // ---- one file: YAML whose items are JSON, a line each, so that it can be taken up again ----
  function items() {
    return Object.keys(marks).map(function (key) {
      var mark = marks[key], item = {};
      if (mark.reading) { item.reading = mark.reading; } else { item.build = mark.build; if (mark.cylinder) { item.cylinder = mark.cylinder; } }
      item.says = mark.says || "open question";
      if (mark.cause && item.says === "objects") { item.cause = mark.cause; }
      if (mark.why) { item.why = mark.why; }
      return item;
    });
  }
  function day() {
    var now = new Date(), two = function (n) { return (n < 10 ? "0" : "") + n; };
    return now.getFullYear() + "-" + two(now.getMonth() + 1) + "-" + two(now.getDate());
  }
  function text() {
    var head = ["# a review, as the page of review saves it: put it into the folder reviews of the program", "format: 1",
      "program: " + JSON.stringify(all.program), "reviewer: " + JSON.stringify(reviewer), "on: " + JSON.stringify(day()),
      "results: " + JSON.stringify(all.results), "items:"];
    var own = items().map(function (item) { return "  - " + JSON.stringify(item); });
    return head.concat(own.length ? own : ["  []"]).join("\n").replace("items:\n  []", "items: []") + "\n";
  }
  function slug(name) { return name.normalize("NFD").toLowerCase().replace(/[^a-z0-9]+/g, "-").replace(/^-+|-+$/g, "") || "review"; }
  function save() {
    if (!reviewer.trim()) { tell("Write your name first: a review is signed."); fields.name.focus(); return; }
    var link = make("a", { href: URL.createObjectURL(new Blob([text()], { type: "text/yaml" })), download: day() + "-" + slug(reviewer) + ".yaml" });
    document.body.appendChild(link);
    link.click();
    link.remove();
    unsaved = false;
    tell("Saved " + link.download + " with " + items().length + " marks. Put it into the folder reviews of the program.");
  }
  function take(content) {
    var found = {}, wrong = 0, results = "", name = "", inside = false;
    content.split(/\r?\n/).forEach(function (line) {
      var pair = /^(program|reviewer|results): (".*")$/.exec(line), item = /^ {2}- (\{.*\})$/.exec(line);
      try {
        if (pair) {
          var value = JSON.parse(pair[2]);
          if (pair[1] === "program" && value !== all.program) { throw new Error("program"); }
          if (pair[1] === "results") { results = value; }
          if (pair[1] === "reviewer") { name = value; }
          inside = true;
        } else if (item) {
          var each = JSON.parse(item[1]);
          found[keyOf(each)] = { says: each.says, cause: each.cause || "", why: each.why || "", build: each.build || "", cylinder: each.cylinder || 0, reading: each.reading || "" };
        }
      } catch (fault) { wrong += 1; }
    });
    if (!inside || wrong) { tell("This is no review of " + all.program + " that this page saved: nothing was taken from it."); return; }
    marks = found;
    reviewer = name;
    fields.name.value = name;
    unsaved = false;
    remember();
    show(at);
    count();
    tell("Went on with " + Object.keys(found).length + " marks" + (results && results !== all.results ? ", made on results " + results + "; these are " + all.results : "") + ".");
  }
  function keyOf(about) { return about.reading ? "r " + about.reading : "p " + about.build + " " + (about.cylinder || 0); }
  function tell(words) { fields.told.textContent = words; }

  // ---- the page ----
  function choice(key, about, options, label) {
    var mark = marks[key] || {};
    var select = make("select", { "aria-label": label, on: { change: function () { set(key, about, "says", select.value); cause.hidden = !about.reading || select.value !== "objects" || !Object.keys(all.causes).length; } } },
      options.map(function (each) { var option = make("option", { value: each[0], text: each[1] }); option.selected = (mark.says || "") === each[0]; return option; }));
    var cause = make("select", { "aria-label": "Cause: " + label, on: { change: function () { set(key, about, "cause", cause.value); } } },
      [["", "cause …"]].concat(Object.keys(all.causes).map(function (id) { return [id, all.causes[id]]; })).map(function (each) {
        var option = make("option", { value: each[0], text: each[1] }); option.selected = (mark.cause || "") === each[0]; return option;
      }));
    cause.hidden = !about.reading || (mark.says || "") !== "objects" || !Object.keys(all.causes).length;
    var why = make("input", { type: "text", maxlength: 2000, "aria-label": "In words: " + label, placeholder: "in words", value: mark.why || "", on: { input: function () { set(key, about, "why", why.value); } } });
    return [select, cause, why];
  }
  function marked(place) {
    var own = marks["p " + place.build + " " + place.cylinder] ? 1 : 0;
    return place.readings.reduce(function (sum, reading) { return sum + (marks["r " + reading[0]] ? 1 : 0); }, own);
  }
  function count() {
    all.places.forEach(function (place, n) {
      var own = marked(place);
      fields.places[n].textContent = place.name + (place.state ? ", " + place.state : "") + (own ? ": " + own + " marked" : "");
      fields.places[n].classList.toggle("marked", own > 0);
    });
    var sum = Object.keys(marks).length;
    fields.sum.textContent = sum + (sum === 1 ? " mark" : " marks") + (unsaved ? ", not saved as a file" : "") + (kept ? "" : ". This browser keeps nothing: save before you close the page");
  }
  function show(n) {
    at = Math.max(0, Math.min(n, all.places.length - 1));
    var place = all.places[at], about = { build: place.build, cylinder: place.cylinder };
    fields.places.forEach(function (button, i) { button.setAttribute("aria-current", i === at ? "true" : "false"); });
    fields.subject.textContent = "";
    var title = make("h3", { tabindex: "-1", text: place.name + (place.state ? ": " + place.state : "") });
    fields.subject.appendChild(title);
    var way = make("p", { class: "tools" }, [
      make("a", { href: place.href, text: "Its page" }),
      make("button", { type: "button", text: "Before", on: { click: function () { go(at - 1); } } }),
      make("button", { type: "button", text: "Next", on: { click: function () { go(at + 1); } } })
    ]);
    fields.subject.appendChild(way);
    fields.subject.appendChild(make("p", { class: "mark whole" }, [make("span", { text: place.cylinder ? "The cylinder" : "The build" })].concat(
      choice(keyOf(about), about, place.cylinder ? ABOUT_CYLINDER : ABOUT_BUILD, place.name))));
    var list = null, group = "";
    place.readings.forEach(function (reading) {
      if (!list || reading[1] !== group) {
        group = reading[1];
        fields.subject.appendChild(make("h4", { text: group }));
        list = fields.subject.appendChild(make("ul", { class: "readings" }));
      }
      var of = { reading: reading[0] };
      list.appendChild(make("li", { class: "mark" }, [make("span", { text: reading[2] }, [make("small", { text: " " + reading[0] })])].concat(
        choice(keyOf(of), of, ABOUT_READING, reading[1] + ", " + reading[2] + ", " + reading[0]))));
    });
    if (!list) { fields.subject.appendChild(make("p", { class: "note", text: all.too_many ? "This program has " + all.too_many + " readings: object to single ones in the file, by the ids of the data page." : "No reading is of it alone." })); }
  }
  function go(n) {
    show(n);
    var place = all.places[at];
    try { window.history.replaceState(null, "", "#" + place.id); } catch (fault) { /* from a folder some browsers refuse */ }
    fields.subject.querySelector("h3").focus();
  }

  function begin() {
    var found = recall();
    home.textContent = "";
    fields.name = make("input", { type: "text", maxlength: 100, autocomplete: "name", value: reviewer, on: { input: function () { reviewer = fields.name.value; remember(); } } });
    fields.file = make("input", { type: "file", accept: ".yaml,.yml", class: "sr", id: "review-file", on: { change: function () {
      var file = fields.file.files[0];
      if (!file) { return; }
      if (file.size > 5000000) { tell("This file is too large for a review."); return; }
      var reader = new FileReader();
      reader.onload = function () { take(String(reader.result)); fields.file.value = ""; };
      reader.readAsText(file);
    } } });
    fields.sum = make("span", { role: "status" });
    fields.told = make("p", { class: "note", role: "status" });
    fields.places = all.places.map(function (place, n) {
      return make("button", { type: "button", on: { click: function () { go(n); } } });
    });
    fields.subject = make("div", { class: "subject" });
    home.appendChild(make("p", { class: "who" }, [
      make("label", { text: "Your name " }, [fields.name]),
      make("button", { type: "button", text: "Save as one file", on: { click: save } }),
      make("label", { for: "review-file", class: "as-button", text: "Go on with a saved file" }), fields.file, fields.sum
    ]));
    home.appendChild(fields.told);
    home.appendChild(make("div", { class: "desk" }, [
      make("ol", { class: "queue", "aria-label": "Builds and cylinders" }, fields.places.map(function (button) { return make("li", {}, [button]); })), fields.subject
    ]));
    var wanted = all.places.map(function (place) { return place.id; }).indexOf(window.location.hash.slice(1));
    show(wanted >= 0 ? wanted : 0);
    if (found) { unsaved = true; tell("Marks that this browser kept were taken up again: " + found + "."); }
    count();
    if (wanted >= 0) { home.scrollIntoView(); }
    window.addEventListener("hashchange", function () {
      var n = all.places.map(function (place) { return place.id; }).indexOf(window.location.hash.slice(1));
      if (n >= 0) { show(n); home.scrollIntoView(); }
    });
    window.addEventListener("beforeunload", function (event) {
      if (unsaved && Object.keys(marks).length) { event.preventDefault(); event.returnValue = ""; }
    });
    home.setAttribute("data-ready", "yes");
  }
  begin();
})();
