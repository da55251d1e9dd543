/* Takes the marks of a review, keeps them while the browser lets it, and saves them as one file. Classic script.
   Builds and cylinders are those of the list in the page; their readings stand in scripts beside it. */
(function () {
  "use strict";
  var home = document.getElementById("marking"), data = document.getElementById("subjects");
  if (!home || !data) { return; }
  var all = JSON.parse(data.textContent);
  var KEY = "review " + all.program + " " + all.results;
  var ABOUT_CYLINDER = [["", "–"], ["agrees", "agrees with its state"], ["objects", "objects to its state"], ["open question", "open question"]];
  var ABOUT_BUILD = [["", "–"], ["agrees", "agrees"], ["objects", "objects"], ["open question", "open question"]];
  var ABOUT_READING = [["", "–"], ["agrees", "agrees"], ["objects", "objects"], ["read again", "read it again"], ["open question", "open question"]];
  var FOUND = 12; // builds and cylinders from which they can be searched
  var marks = {}; // what it is about -> {says, cause, why, build, cylinder, reading, place: of a reading, as an anchor}
  var reviewer = "", unsaved = false, kept = true, at = 0;
  var fields = {};
  var places = []; // {id, build, cylinder, name, state, href, part, count of marks}
  home.querySelectorAll(".places > li").forEach(function (line) {
    var build = "";
    line.querySelectorAll("a").forEach(function (link, n) {
      if (!n) { build = link.textContent; }
      places.push({ id: link.id, build: build, cylinder: n ? +link.textContent : 0, name: build + (n ? " cylinder " + link.textContent : ""),
        state: link.dataset.state || "", href: link.getAttribute("href"), part: +line.dataset.part, count: -1 });
    });
  });
  var byPlace = {};
  places.forEach(function (place, n) { byPlace[place.id] = n; });

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

  // ---- readings: in scripts, some builds each ----
  var readings = {}, placeOf = {}, loads = {}; // of a place -> [[group, [[id, text]]]]; of a reading -> place; of a part -> its script
  window.sitegenReadings = function (told) {
    Object.keys(told.places).forEach(function (id) {
      readings[id] = told.places[id];
      readings[id].forEach(function (group) { group[1].forEach(function (reading) { placeOf[reading[0]] = id; }); });
    });
    loads[told.part].whole = true;
  };
  // Calls `then` once the readings of a part are there, or cannot be had.
  function load(part, then) {
    var script = loads[part];
    if (!part || (script && script.whole)) { then(); return; }
    if (!script) {
      script = loads[part] = make("script", { src: all.readings[part - 1], on: { error: function () { script.remove(); delete loads[part]; } } });
      document.head.appendChild(script);
    }
    script.addEventListener("load", then);
    script.addEventListener("error", then);
  }
  // Marks of readings that nobody knows the place of: those taken from a file.
  function locate() {
    var unknown = Object.keys(marks).some(function (key) { return marks[key].reading && !marks[key].place && !placeOf[marks[key].reading]; });
    if (unknown) { all.readings.forEach(function (address, n) { load(n + 1, count); }); }
  }

  function set(key, about, part, value) {
    var mark = marks[key] || { says: "", cause: "", why: "" };
    ["build", "cylinder", "reading", "place"].forEach(function (name) { mark[name] = about[name] || (name === "cylinder" ? 0 : ""); });
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
    locate();
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
  function label(place) { return place.name + (place.state ? ", " + place.state : "") + (place.count > 0 ? ": " + place.count + " marked" : ""); }
  function count() {
    var found = places.map(function () { return 0; }), own = {};
    places.forEach(function (place, n) { own[place.build + " " + place.cylinder] = n; });
    Object.keys(marks).forEach(function (key) {
      var mark = marks[key], n = mark.reading ? byPlace[mark.place || placeOf[mark.reading]] : own[mark.build + " " + mark.cylinder];
      if (n !== undefined) { found[n] += 1; }
    });
    places.forEach(function (place, n) {
      if (place.count === found[n]) { return; }
      place.count = found[n];
      fields.places[n].textContent = label(place);
      fields.places[n].classList.toggle("marked", found[n] > 0);
    });
    var sum = Object.keys(marks).length;
    fields.sum.textContent = sum + (sum === 1 ? " mark" : " marks") + (unsaved ? ", not saved as a file" : "") + (kept ? "" : ". This browser keeps nothing: save before you close the page");
  }
  function show(n, then) {
    at = n;
    var place = places[at], about = { build: place.build, cylinder: place.cylinder };
    fields.places.forEach(function (button, i) {
      button.setAttribute("aria-current", i === at ? "true" : "false");
      button.tabIndex = i === at ? 0 : -1;
    });
    reach(fields.places[at]);
    fields.subject.textContent = "";
    var title = make("h3", { tabindex: "-1", text: place.name + (place.state ? ": " + place.state : "") });
    fields.subject.appendChild(title);
    var way = make("p", { class: "tools" }, [
      make("a", { href: place.href, text: "Its page" }),
      make("button", { type: "button", text: "Before", on: { click: function () { go(next(at, -1)); } } }),
      make("button", { type: "button", text: "Next", on: { click: function () { go(next(at, 1)); } } })
    ]);
    fields.subject.appendChild(way);
    fields.subject.appendChild(make("p", { class: "mark whole" }, [make("span", { text: place.cylinder ? "The cylinder" : "The build" })].concat(
      choice(keyOf(about), about, place.cylinder ? ABOUT_CYLINDER : ABOUT_BUILD, place.name))));
    var home = fields.subject.appendChild(make("div", {}));
    load(place.part, function () {
      if (fields.subject.contains(home) && !home.firstChild) { list(place, home); }
      if (then) { then(); }
    });
  }
  function list(place, home) {
    (readings[place.id] || []).forEach(function (group) {
      home.appendChild(make("h4", { text: group[0] }));
      home.appendChild(make("ul", { class: "readings" }, group[1].map(function (reading) {
        var of = { reading: reading[0], place: place.id };
        return make("li", { class: "mark" }, [make("span", { text: reading[1] }, [make("small", { text: " " + reading[0] })])].concat(
          choice(keyOf(of), of, ABOUT_READING, group[0] + ", " + reading[1] + ", " + reading[0])));
      })));
    });
    var missing = place.part && !(loads[place.part] || {}).whole ? all.readings[place.part - 1] + " is not there: its readings can be marked in the file, by the ids of the data page." : "";
    if (!home.firstChild) { home.appendChild(make("p", { class: "note", text: missing || "No reading is of it alone." })); }
  }

  // ---- the list of builds and cylinders: by mouse, by arrow keys, by words ----
  function seen(n) { return !fields.places[n].parentNode.hidden; }
  // The next that the words leave, in one direction; where there is none, the one it is.
  function next(from, step) {
    for (var n = from + step; n >= 0 && n < places.length; n += step) { if (seen(n)) { return n; } }
    return from;
  }
  function reach(button) { // within the list: the page stays where it is
    var queue = fields.queue, top = button.offsetTop - queue.offsetTop;
    if (top < queue.scrollTop) { queue.scrollTop = top; }
    if (top + button.offsetHeight > queue.scrollTop + queue.clientHeight) { queue.scrollTop = top + button.offsetHeight - queue.clientHeight; }
  }
  function moved(event) {
    var from = fields.places.indexOf(event.target), to = { ArrowDown: next(from, 1), ArrowUp: next(from, -1), Home: next(-1, 1), End: next(places.length, -1) }[event.key];
    if (from < 0 || to === undefined) { return; }
    event.preventDefault();
    fields.places[to].focus();
  }
  function sift() {
    var words = fields.find.value.toLowerCase().split(/\s+/).filter(Boolean), found = 0;
    places.forEach(function (place, n) {
      var text = label(place).toLowerCase(), fits = words.every(function (word) { return text.indexOf(word) >= 0; });
      fields.places[n].parentNode.hidden = !fits;
      found += fits ? 1 : 0;
    });
    fields.found.textContent = words.length ? found + " of " + places.length : "";
    var first = seen(at) ? at : next(-1, 1); // where a key leads into the list
    fields.places.forEach(function (button, n) { button.tabIndex = n === first ? 0 : -1; });
  }

  function hash() { return window.location.hash.slice(1).split("~"); } // after ~ stands what others keep there
  function go(n) {
    show(n);
    var parts = hash();
    parts[0] = places[at].id;
    try { window.history.replaceState(null, "", "#" + parts.join("~")); } catch (fault) { /* from a folder some browsers refuse */ }
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
    fields.places = places.map(function (place, n) {
      return make("button", { type: "button", on: { click: function () { go(n); } } });
    });
    fields.queue = make("ol", { class: "queue", "aria-label": "Builds and cylinders", on: { keydown: moved } }, fields.places.map(function (button) { return make("li", {}, [button]); }));
    fields.find = make("input", { type: "search", on: { input: sift, keydown: function (event) {
      if (event.key === "Enter" && next(-1, 1) >= 0) { go(next(-1, 1)); }
    } } });
    fields.found = make("span", { role: "status" });
    fields.subject = make("div", { class: "subject" });
    home.appendChild(make("p", { class: "who" }, [
      make("label", { text: "Your name " }, [fields.name]),
      make("button", { type: "button", text: "Save as one file", on: { click: save } }),
      make("label", { for: "review-file", class: "as-button", text: "Go on with a saved file" }), fields.file, fields.sum
    ]));
    home.appendChild(fields.told);
    home.appendChild(make("div", { class: "desk" }, [
      make("div", {}, (places.length < FOUND ? [] : [make("p", { class: "find" }, [make("label", { text: "Find " }, [fields.find]), fields.found])]).concat([fields.queue])), fields.subject
    ]));
    var wanted = byPlace[hash()[0]];
    if (found) { unsaved = true; tell("Marks that this browser kept were taken up again: " + found + "."); }
    count();
    locate();
    function ready() { home.setAttribute("data-ready", "yes"); }
    if (places.length) { show(wanted || 0, ready); } else { ready(); }
    if (wanted !== undefined) { home.scrollIntoView(); }
    window.addEventListener("hashchange", function () {
      var n = byPlace[hash()[0]];
      if (n !== undefined) { show(n); home.scrollIntoView(); }
    });
    window.addEventListener("beforeunload", function (event) {
      if (unsaved && Object.keys(marks).length) { event.preventDefault(); event.returnValue = ""; }
    });
  }
  begin();
})();
