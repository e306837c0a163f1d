(function () {
  "use strict";
  var data = JSON.parse(document.getElementById("data").textContent);
  var place = data.place; // where the desk hears; null in a file that was taken along
  var KEY = "blendplan-rows-" + (place ? place.at : "file-" + data.of);
  var known = data.rows_done, online = true, refused = "", open = "", wrong = "", busy = false;
  var mine = read();

  function el(id) { return document.getElementById(id); }
  function say(name, fields) {
    return (data.words[name] || "").replace(/\{(\w+)\}/g, function (all, key) {
      return fields && key in fields ? fields[key] : all;
    });
  }
  function read() {
    var found = null;
    try { found = JSON.parse(localStorage.getItem(KEY)); } catch (error) { found = null; }
    if (!found || !found.waiting) { found = { seq: 0, waiting: [], repeats: 0, at: -1, left: false }; }
    if (!found.hand) {
      var touch = window.matchMedia && matchMedia("(pointer: coarse)").matches;
      found.hand = (touch ? "phone" : "desk") + "-" + Math.random().toString(36).slice(2, 10).replace(/[^a-z0-9]/g, "0") + "x";
    }
    return found;
  }
  function keep() { try { localStorage.setItem(KEY, JSON.stringify(mine)); } catch (error) { /* Goes on without. */ } }

  // The rule by which the desk counts: a row is done once, whoever says so, and taken back only where it is the last.
  function heard(done, press) {
    if (press.kind === "done") { return Math.min(data.rows, Math.max(done, press.row)); }
    if (press.kind === "back" && press.row === done) { return done - 1; }
    return done;
  }
  // What a file that was taken along brought stands first, under its own hand: what was heard once is known by it.
  function waits() { return (mine.brought ? mine.brought.waiting : []).concat(mine.waiting); }
  function rowsDone() { return waits().reduce(heard, known); }
  function waitingRows() { return waits().filter(function (p) { return p.kind === "done"; }).length; }

  function press(one) {
    mine.seq += 1;
    one.seq = mine.seq;
    wrong = "";
    one.at = new Date().toISOString();
    mine.waiting.push(one);
    keep();
    draw();
    send();
  }
  function rowDone() {
    var done = rowsDone();
    if (done < data.rows) { mine.repeats = 0; mine.at = done + 1; press({ kind: "done", row: done + 1 }); el("row").scrollTop = 0; window.scrollTo(0, 0); }
  }
  function rowBack() { var done = rowsDone(); if (done > 0) { mine.repeats = 0; press({ kind: "back", row: done }); } }
  function repeat() {
    var parts = partsOf(rowsDone() + 1), times = 0;
    parts.forEach(function (part) { times = Math.max(times, part[1]); });
    if (times < 2) { return; }
    if (mine.at !== rowsDone()) { mine.repeats = 0; mine.at = rowsDone(); }
    mine.repeats = mine.repeats >= times ? 0 : mine.repeats + 1;
    keep(); draw();
  }

  // ---- the desk

  function ask(method, path, body, then) {
    var line = new XMLHttpRequest();
    line.open(method, place.base + path);
    line.timeout = 8000;
    if (body) { line.setRequestHeader("Content-Type", "application/json"); }
    line.onload = function () {
      var told = null;
      try { told = JSON.parse(line.responseText); } catch (error) { told = null; }
      then(line.status, told);
    };
    line.onerror = line.ontimeout = function () { then(0, null); };
    line.send(body ? JSON.stringify(body) : null);
  }
  function take(status, told, whose) {
    busy = false;
    online = status === 200 && !!told;
    refused = status === 401 || status === 403 ? "code" : status === 404 ? "no_blanket" : "";
    if (online) {
      var before = rowsDone();
      if (whose) { whose.waiting = whose.waiting.filter(function (p) { return p.seq > told.heard; }); }
      known = told.rows_done;
      if (told.data) { told.data.place = place; data = told.data; }
      if (told.wrong) { wrong = told.wrong; }
      if (rowsDone() !== before) { note(say("another", { row: Math.min(rowsDone() + 1, data.rows) })); }
    }
    if (mine.brought && (status === 400 || !mine.brought.waiting.length)) { mine.brought = null; }
    keep();
    draw();
    if (online) { send(); }
  }
  function send() {
    var whose = mine.brought || mine;
    if (!place || busy || !whose.waiting.length) { return; }
    busy = true;
    ask("POST", "/presses", { hand: whose.hand, of: data.of, presses: whose.waiting.slice(0, 200) }, function (status, told) {
      take(status, told, whose);
    });
  }
  function look() {
    if (!place || busy || document.hidden) { return; }
    if (waits().length) { send(); return; }
    busy = true;
    ask("GET", "/now?of=" + data.of, null, take);
  }
  function note(text) { noted = text; setTimeout(function () { if (noted === text) { noted = ""; draw(); } }, 6000); }
  var noted = "";

  // ---- the screen

  var lock = null, locks = !!(navigator.wakeLock && window.isSecureContext);
  function stayAwake() {
    if (!locks || document.hidden) { return; }
    navigator.wakeLock.request("screen").then(function (got) {
      lock = got;
      got.addEventListener("release", function () { lock = null; draw(); });
      draw();
    }, function () { lock = null; draw(); });
  }
  document.addEventListener("visibilitychange", function () { if (!document.hidden) { stayAwake(); look(); } });

  // ---- drawing

  function partsOf(row) {
    var lead = data.lead, all = data.parts.length;
    var at = row <= lead ? row : lead + 1 + (row - lead - 1) % (all - lead);
    return data.parts[Math.min(at, all) - 1];
  }
  function stripeOf(row) { return data.stripes.filter(function (s) { return s.first <= row && row <= s.last; })[0]; }
  function changeAt(row) { return data.changes.filter(function (c) { return c.row === row; })[0]; }
  function leftOf(colour, done) {
    var found = null;
    colour.left.forEach(function (told) { if (told[0] <= done) { found = told; } });
    return found;
  }
  function make(tag, text, name) {
    var made = document.createElement(tag);
    if (text) { made.textContent = text; }
    if (name) { made.className = name; }
    return made;
  }
  function svg(markup) { var holder = make("span"); holder.innerHTML = markup; return holder.firstChild; }

  var DIGITS = { 0: "01110 10001 10011 10101 11001 10001 01110", 1: "00100 01100 00100 00100 00100 00100 01110",
    2: "01110 10001 00001 00110 01000 10000 11111", 3: "01110 10001 00001 00110 00001 10001 01110",
    4: "00010 00110 01010 10010 11111 00010 00010", 5: "11111 10000 11110 00001 00001 10001 01110",
    6: "00110 01000 10000 11110 10001 10001 01110", 7: "11111 00001 00010 00100 00100 01000 01000",
    8: "01110 10001 10001 01110 10001 10001 01110", 9: "01110 10001 10001 01111 00001 00010 01100" };
  // A number in filled and open mesh, as filet crochet has it.
  function numeral(number, fill) {
    var text = String(number), wide = text.length * 6 + 1, out = "", m = 16, x, y;
    for (x = 0; x <= wide; x += 1) { out += "M" + x * m + " 0V" + 9 * m; }
    for (y = 0; y <= 9; y += 1) { out += "M0 " + y * m + "H" + wide * m; }
    out = '<path d="' + out + '" stroke="var(--line)" stroke-width="1.2"/>';
    text.split("").forEach(function (digit, place) {
      DIGITS[digit].split(" ").forEach(function (line, row) {
        line.split("").forEach(function (cell, column) {
          if (cell === "1") {
            var left = (place * 6 + 1 + column) * m, top = (row + 1) * m;
            out += '<rect x="' + left + '" y="' + top + '" width="16" height="16" rx="2.9" fill="' + fill + '"/><path d="M' +
              (left + 5.3) + " " + (top + 2) + "v12M" + (left + 10.6) + " " + (top + 2) +
              'v12" stroke="var(--ground)" stroke-opacity=".35"/>';
          }
        });
      });
    });
    return '<svg width="' + (wide * m + 2) + '" height="146" viewBox="-1 -1 ' + (wide * m + 2) + ' 146" role="img" aria-label="' + number + '">' + out + "</svg>";
  }
  var drawn = 0;
  function skein(colour, share) {
    drawn += 1;
    var y = 52 - 49 * Math.max(0, Math.min(1, share));
    return '<svg viewBox="0 0 26 54" aria-hidden="true"><defs><clipPath id="k' + drawn + '"><rect x="2" y="1.5" width="22" height="51" rx="10"/></clipPath></defs><g clip-path="url(#k' +
      drawn + ')"><rect width="26" height="54" fill="var(--paper)"/><rect width="26" height="54" y="' + y + '" fill="' + colour +
      '"/><rect y="21" width="26" height="12" fill="var(--paper)"/></g><rect x="2" y="1.5" width="22" height="51" rx="10" fill="none" stroke="var(--ink)" stroke-width="1.3"/></svg>';
  }
  // Strands at a change: what is left and cut, what is carried on, what joins.
  function strands(change) {
    var lines = [], at = 0;
    function line(ends, kind) {
      ends.forEach(function (end) {
        var y = 18 + at * 34, path = kind === "cut" ? "M6 " + y + "H148" : kind === "keep" ? "M6 " + y + "H322" :
          "M184 " + y + " C200 " + (y - 3) + " 206 " + y + " 222 " + y + " H322";
        lines.push('<path d="' + path + '" stroke="' + end[1] + '" stroke-width="7" fill="none" stroke-linecap="round"/>');
        if (kind === "cut") { lines.push('<g transform="translate(154,' + (y - 11) + ')" fill="none" stroke="currentColor" stroke-width="1.6"><circle cx="5" cy="15" r="2.6"/><circle cx="13" cy="16.2" r="2.6"/><path d="M6.2 12.7 L14 2.5 M12.2 13.7 L7 2"/></g>'); }
        if (kind === "join") { lines.push('<circle cx="182" cy="' + y + '" r="6" fill="var(--paper)" stroke="currentColor" stroke-width="2"/>'); }
        lines.push('<text x="' + (kind === "join" ? 200 : 186) + '" y="' + (kind === "join" ? y + 22 : y - 8) + '" font-size="14" font-weight="700" fill="currentColor" stroke="none"></text>');
        words.push(say(kind));
        at += 1;
      });
    }
    var words = [];
    line(change.cut, "cut"); line(change.keep, "keep"); line(change.join, "join");
    var high = 18 + at * 34 + 6;
    var picture = svg('<svg viewBox="0 0 330 ' + high + '" role="img"><path d="M165 0V' + high + '" stroke="var(--soft)" stroke-width="1.5" stroke-dasharray="3 5"/>' + lines.join("") + "</svg>");
    picture.setAttribute("aria-label", change.said);
    Array.prototype.forEach.call(picture.querySelectorAll("text"), function (text, n) { text.textContent = words[n]; });
    return picture;
  }
  function light(hex) {
    var sum = 0;
    [1, 3, 5].forEach(function (at, n) {
      var c = parseInt(hex.slice(at, at + 2), 16) / 255;
      sum += [0.2126, 0.7152, 0.0722][n] * (c <= 0.04045 ? c / 12.92 : Math.pow((c + 0.055) / 1.055, 2.4));
    });
    return sum;
  }
  // The numeral takes the yarn's colour where it stands 3 to 1 on the light ground (#e4e2df).
  function numberColour(stripe) {
    var dark = window.matchMedia && matchMedia("(prefers-color-scheme: dark)").matches;
    var c = stripe.srgb[0];
    return !dark && 0.8086 / (light(c) + 0.05) >= 3 ? c : "var(--ink)";
  }
  function fillSkeins(list, names, done) {
    list.textContent = "";
    names.forEach(function (name) {
      var colour = data.colours.filter(function (c) { return c.name === name; })[0], told = colour && leftOf(colour, done);
      if (!told) { return; }
      var item = make("li"), text = make("span");
      item.appendChild(svg(skein(colour.srgb, told[2])));
      text.appendChild(make("b", colour.name));
      text.appendChild(make("br"));
      text.appendChild(make("small", told[1]));
      if (told[3]) { text.appendChild(make("p", told[3], "warned")); }
      item.appendChild(text);
      list.appendChild(item);
    });
    if (data.verdict && done >= data.verdict[0]) { list.appendChild(make("li", data.verdict[1], "last")); }
  }
  function drawRow(row) {
    var box = el("row");
    box.textContent = "";
    if (row > data.rows) {
      var list = make("ol", "", "finish");
      data.finish.forEach(function (line) { list.appendChild(make("li", line)); });
      box.appendChild(list);
      return;
    }
    data.notes.concat(waits().filter(function (p) { return p.kind === "note"; }).map(function (p) { return [p.row, p.text]; }))
      .forEach(function (told) { if (told[0] === row) { box.appendChild(make("p", told[1], "own")); } });
    if (row === 1) { data.begin.forEach(function (line) { box.appendChild(make("p", line)); }); }
    var balls = data.told[row] || [[], []];
    balls[0].forEach(function (line) { box.appendChild(make("p", line, "ball")); });
    var parts = partsOf(row), last = null;
    parts.forEach(function (part) {
      if (part[1] < 2) { last = make("p", part[0]); box.appendChild(last); return; }
      var again = make("div", "", "again"), times = part[1], worked = mine.at === row - 1 ? Math.min(mine.repeats, times) : 0;
      again.appendChild(make("p", part[0]));
      var beads = make("button", "", "beads"), dots = make("span", "", "dots"), n;
      for (n = 0; n < Math.min(times, 40); n += 1) { dots.appendChild(make("i", "", n < worked ? "d" : n === worked ? "n" : "")); }
      beads.id = "beads";
      beads.appendChild(dots);
      beads.appendChild(make("span", say("times", { n: worked, times: times })));
      beads.appendChild(make("small", say("press")));
      beads.onclick = repeat;
      again.appendChild(beads);
      box.appendChild(again);
      last = null;
    });
    if (last) { last.textContent += " " + data.turn; } else { box.appendChild(make("p", data.turn)); }
    balls[1].forEach(function (line) { box.appendChild(make("p", line, "ball")); });
  }
  function drawChange(row) {
    var box = el("change"), now = changeAt(row), next = changeAt(row + 1), change = now || next;
    box.hidden = !change || row > data.rows;
    if (box.hidden) { return; }
    box.className = "change" + (now ? " here" : "") + (open === "change" ? " open" : "");
    box.style.setProperty("--from", (change.cut[0] || change.keep[0] || ["", "var(--line)"])[1]);
    box.style.setProperty("--to", (change.join[0] || change.keep[0] || ["", "var(--line)"])[1]);
    var words = box.querySelector("p");
    words.textContent = "";
    words.appendChild(make("b", say(now ? "this_change" : "next_change")));
    // Folded on a phone it says what happens to each strand; unfolded, and on the desk, every step.
    words.appendChild(make("span", " " + ["cut", "keep", "join"].filter(function (kind) { return change[kind].length; }).map(function (kind) {
      return say(kind) + ": " + change[kind].map(function (end) { return end[0]; }).join(", ");
    }).join("; ") + ".", "short"));
    words.appendChild(make("span", " " + change.said, "whole"));
    el("strands").textContent = "";
    el("strands").appendChild(strands(change));
    box.querySelector(".link").textContent = say(open === "change" ? "hide" : "show");
  }
  function draw() {
    var done = rowsDone(), row = done + 1, at = Math.min(row, data.rows), stripe = stripeOf(at), all = data.rows;
    var focus = document.activeElement && document.activeElement.id;
    document.title = say("row_of", { row: at, rows: all }) + " · " + data.title;
    el("title").textContent = data.title;
    el("numeral").innerHTML = numeral(at, numberColour(stripe));
    el("held").textContent = "";
    el("held").appendChild(document.createTextNode(row > all ? say("all_done", { rows: all }) : say("of", { rows: all })));
    el("held").appendChild(make("br"));
    el("held").appendChild(document.createTextNode(stripe.held));
    drawRow(row);
    drawChange(row);
    var image = el("picture");
    if (data.picture && image.getAttribute("src") !== data.picture) { image.src = data.picture; }
    image.hidden = !data.picture;
    el("pale").style.height = 100 * (1 - done / all) + "%";
    el("hook").style.top = 100 * (1 - done / all) + "%";
    el("worked").textContent = say("worked", { done: done, left: all - done, stripe: data.stripes.indexOf(stripe) + 1, stripes: data.stripes.length });
    var change = changeAt(at) || changeAt(at + 1), names = stripe.names.slice();
    if (change) { change.join.forEach(function (end) { if (names.indexOf(end[0]) < 0) { names.push(end[0]); } }); }
    fillSkeins(el("skeins"), names, done);
    fillSkeins(el("skeins2"), names, done);
    el("done").textContent = row > all ? say("put_away") : say("row_done", { row: row });
    el("done").hidden = row > all && !place;
    el("back").textContent = say("back");
    el("back").disabled = done === 0;
    el("note").textContent = say("note");
    el("weigh-all").querySelector(".link").textContent = say("weigh_all");
    el("weigh-all").hidden = !place;
    el("hands").textContent = say(mine.left ? "big_left" : "big_right");
    el("awake").textContent = lock ? say("awake") : "";
    drawHome();
    drawSaid();
    drawMore();
    el("main").className = (mine.left ? "left " : "") + (open === "doubt" ? "asks" : el("panel").hidden ? "" : "asks fills");
    if (focus && focus !== "row" && el(focus)) { el(focus).focus({ preventScroll: true }); }
    document.documentElement.style.setProperty("--foot", el("foot").offsetHeight + "px");
  }
  function drawHome() {
    var home = el("home"), phone = window.innerWidth <= 720;
    home.hidden = !place;
    if (place) { home.href = place.home + "work"; home.textContent = say(phone ? "blanket" : "to_blanket"); }
  }
  function drawSaid() {
    var said = el("said"), rows = waitingRows();
    said.textContent = "";
    if (!place) { said.textContent = say("away"); }
    else if (refused) {
      said.textContent = say(refused) + " ";
      if (refused === "code") { var link = make("a", say("give_code")); link.href = location.pathname; said.appendChild(link); }
    } else if (!online) {
      said.textContent = say("gone") + " ";
      if (rows) { said.appendChild(make("b", rows === 1 ? say("wait_one") : say("wait", { n: rows }))); }
    } else { said.textContent = wrong || noted; }
    said.classList.toggle("cut", !!wrong && online);
  }
  function drawMore() {
    var more = el("acts2");
    more.textContent = "";
    function add(name, act, id) { var b = make("button", say(name)); b.id = id; b.onclick = act; more.appendChild(b); }
    add("note", function () { panel("note"); }, "note2");
    if (place) { add("weigh", function () { panel("weigh"); }, "weigh2"); }
    add(mine.left ? "big_left" : "big_right", otherHand, "hands2");
    if (!place) {
      add("give_file", giveFile, "give2");
      if (data.desk) { add("give", giveBack, "giveback"); }
    }
    if (place && !lock) { more.appendChild(make("p", say("not_awake"), "said")); }
    if (data.doubt && (!open || open === "change" || open === "doubt")) { drawDoubt(); }
    else if (open === "doubt") { open = ""; el("panel").hidden = true; }
  }
  function drawDoubt() {
    var box = el("panel");
    open = "doubt";
    box.hidden = false;
    box.textContent = "";
    box.appendChild(make("p", data.doubt.said));
    var acts = make("div", "", "acts2");
    [["again", "back"], ["right", "kept"]].forEach(function (pair) {
      var b = make("button", say(pair[0]));
      b.id = "doubt-" + pair[0];
      b.onclick = function () {
        var asked = data.doubt;
        data.doubt = null; panel("");
        press({ kind: "answer", weighing: asked.weighing, name: asked.name, said: pair[1] });
        if (pair[1] === "back") { panel("weigh"); }
      };
      acts.appendChild(b);
    });
    box.appendChild(acts);
  }
  function otherHand() { mine.left = !mine.left; keep(); draw(); }

  // ---- a note, a weight

  function panel(which) {
    var box = el("panel"), acts = make("div", "", "acts2"), row = rowsDone() + 1;
    open = which; wrong = "";
    box.hidden = !which;
    box.textContent = "";
    // What is filled in stands in the place of the row and the buttons: nothing lies over it, and nothing jumps.
    draw();
    if (!which) { return; }
    function field(label, id, tag) {
      var part = make("div"), name = make("label", label), input = make(tag || "input");
      name.htmlFor = input.id = id;
      part.appendChild(name); part.appendChild(input);
      box.appendChild(part);
      return input;
    }
    var keepIt = make("button", say(which === "note" ? "save_note" : "save_weight")), leave = make("button", say("cancel"));
    var bad = make("p", "", "wrong");
    bad.setAttribute("role", "alert");
    if (which === "note") {
      var text = field(say("note"), "note-text", "textarea");
      text.maxLength = 500;
      keepIt.onclick = function () {
        var said = text.value.trim();
        panel("");
        if (said) { press({ kind: "note", row: Math.min(row, data.rows), text: said }); }
      };
    } else {
      var stripe = stripeOf(Math.min(row, data.rows)), fields = [];
      data.colours.forEach(function (colour) {
        if (stripe.names.indexOf(colour.name) < 0 && data.colours.length > 3 && which !== "weigh-all") { return; }
        fields.push([colour.key, field(say("grams", { name: colour.name, unit: data.unit }), "g-" + colour.key),
          field(say("rest", { name: colour.name }), "n-" + colour.key)]);
      });
      fields.forEach(function (f) { f[1].inputMode = "decimal"; f[2].inputMode = "numeric"; });
      keepIt.onclick = function () {
        var told = [], wrongs = false;
        fields.forEach(function (f) {
          var grams = f[1].value.trim(), rest = f[2].value.trim();
          if (!grams && !rest) { return; }
          var fine = /^\d{1,5}([.,]\d{1,3})?$/.test(grams || "0") && /^\d{0,3}$/.test(rest);
          f[1].setAttribute("aria-invalid", fine ? "false" : "true");
          wrongs = wrongs || !fine;
          told.push({ kind: "weigh", key: f[0], grams: (grams || "0").replace(",", "."), unopened: rest ? +rest : null });
        });
        if (wrongs) { bad.textContent = say("not_number", { example: "45" }); return; }
        panel("");
        told.forEach(press);
      };
    }
    leave.onclick = function () { panel(""); };
    box.appendChild(bad);
    acts.appendChild(keepIt); acts.appendChild(leave);
    box.appendChild(acts);
    window.scrollTo(0, 0);
    box.querySelector("input, textarea").focus({ preventScroll: true });
  }

  // ---- away from the desk

  function told() { return JSON.stringify({ format: "blendplan-counted", version: 1, blanket: data.blanket, title: data.title, hand: mine.hand, rows_done: rowsDone(), presses: mine.waiting }); }
  function giveFile() {
    var link = make("a");
    link.href = URL.createObjectURL(new Blob([told()], { type: "application/json" }));
    link.download = data.file;
    document.body.appendChild(link); link.click(); link.remove();
  }
  // The fragment of an address is not sent: the page there reads it and hands it over itself.
  function giveBack() { location.href = data.desk + "#counted=" + encodeURIComponent(told()); }
  function takeBack() {
    var found = /^#counted=(.*)$/.exec(location.hash);
    if (!place || !found) { return; }
    try {
      var brought = JSON.parse(decodeURIComponent(found[1]));
      if (brought.blanket === data.blanket) { mine.brought = { hand: brought.hand, waiting: brought.presses }; keep(); }
      else { note(say("elsewhere", { title: brought.title })); }
    } catch (error) { note(say("unread")); }
    history.replaceState(null, "", location.pathname);
  }

  el("done").onclick = function () {
    if (rowsDone() >= data.rows && place) { location.href = place.home + "library"; return; }
    rowDone();
  };
  el("back").onclick = rowBack;
  el("note").onclick = function () { panel("note"); };
  el("weigh-all").onclick = function () { panel("weigh-all"); };
  el("hands").onclick = otherHand;
  el("change").querySelector("button").onclick = function () { open = open === "change" ? "" : "change"; draw(); };
  document.addEventListener("keydown", function (event) {
    var tag = event.target.tagName;
    if (event.ctrlKey || event.metaKey || event.altKey || tag === "INPUT" || tag === "TEXTAREA") {
      if (event.key === "Escape") { panel(""); }
      return;
    }
    if (event.key === " " && tag !== "BUTTON" && tag !== "A") { event.preventDefault(); rowDone(); }
    else if (event.key === "Backspace") { event.preventDefault(); rowBack(); }
    else if (event.key === "r" || event.key === "R") { repeat(); }
    else if (event.key === "n" || event.key === "N") { event.preventDefault(); panel("note"); }
    else if (event.key === "Escape" && open) { panel(""); }
  });
  window.addEventListener("resize", draw);
  if (window.matchMedia) {
    var scheme = matchMedia("(prefers-color-scheme: dark)");
    if (scheme.addEventListener) { scheme.addEventListener("change", draw); }
  }
  takeBack();
  draw();
  stayAwake();
  look();
  setInterval(look, 1300);
})();
