// The picture that is the control: strips stacked, one a stripe, drawn by the server and kept by the browser.
// What a hand does is shown at once and sent when it lets go; an answer to an older hand never undoes a newer one.
const PHONE = 720, TABS = 92, TAPE = 34, GAP = 16, SEE = 48, HOLD_MS = 250, MOVED_PX = 6, TAG_SCALE = 4.6, MOST_SCALE = 24;
const ARROWS = { up: "M1 5l5-5 5 5M1 9l5 5 5-5", across: "M5 1L0 6l5 5M9 1l5 5-5 5" };
const arrows = (kind) => {
  const box = svg("svg", { width: 14, height: 14, viewBox: "-1 -1 15 16", "aria-hidden": "true" });
  box.append(svg("path", { d: ARROWS[kind], fill: "none", stroke: "currentColor", "stroke-width": 1.8 }));
  return box;
};
const PIN = "M14 3H5A3.2 3.2 0 1 0 5 9.4C8.5 9.4 10.5 6.5 15 6.5";

class Picture {
  constructor(root) {
    this.root = root;
    this.images = new Map();
    this.tables = new Map();
    this.hand = 0;
    this.flying = 0;
    this.queue = [];
    this.mount = Math.random().toString(36).slice(2);
    this.zoom = 0; // 0: the whole; else css pixels a cm
    this.folded = null;
    this.build();
    new ResizeObserver(() => this.draw()).observe(root);
    const onWindow = () => (root.isConnected ? this.draw() : undefined);
    window.addEventListener("resize", onWindow);
    document.addEventListener("scroll", () => root.isConnected && this.thread(), { capture: true, passive: true });
  }

  build() {
    const clip = svg("svg", { width: 0, height: 0, style: "position:absolute" });
    // Lightness alone: luminance in linear light, told to all three channels.
    const tones = svg("filter", { id: "tones", "color-interpolation-filters": "linearRGB" });
    const row = ".2126 .7152 .0722 0 0 ";
    tones.append(svg("feColorMatrix", { type: "matrix", values: row + row + row + "0 0 0 1 0" }));
    clip.append(tones);
    this.cloth = el("canvas", { class: "cloth", role: "img" });
    this.lifted = el("canvas", { class: "lifted", "aria-hidden": "true", hidden: "" });
    this.over = svg("svg", { class: "over", "aria-hidden": "true" });
    this.sheet = el("div", { class: "sheet" }, this.cloth, this.over, this.lifted);
    this.field = el("div", { class: "field" }, this.sheet);
    this.tabs = el("div", { class: "tab-list", role: "listbox", tabindex: 0 });
    this.pill = el("div", { class: "pill", role: "slider", tabindex: -1, hidden: "" });
    this.up = el("div", { class: "tape up" });
    this.across = el("div", { class: "tape across" });
    this.ghost = el("div", { class: "ghost", hidden: "" });
    this.see = el("div", { class: "see" });
    this.phoneSee = el("div", { class: "phone-see" });
    this.unfold = el("button", { class: "unfold", type: "button", hidden: "", onclick: () => { this.folded = false; this.draw(); } });
    this.small = el("div", { class: "small", hidden: "", "aria-hidden": "true" }, el("canvas"), el("div", { class: "mark" }));
    this.hint = el("div", { class: "hint", hidden: "" });
    this.told = el("div", { class: "told", hidden: "" });
    this.line = svg("svg", { class: "thread", "aria-hidden": "true" });
    this.live = el("p", { class: "live", role: "status" });
    this.frame = el("div", { class: "frame" }, this.field, this.small, this.tabs, this.pill, this.up, this.across,
      this.ghost, this.hint, this.told, this.see, this.unfold);
    this.root.replaceChildren(clip, this.frame, this.phoneSee, this.line, this.live);
    this.listen();
  }

  // ---- what the server says

  take(data, send) {
    this.send = send;
    if (!data) return;
    if (data.session !== this.session) { this.session = data.session; this.flying = 0; this.queue = []; }
    // An answer from before the newest hand is let pass: its own is on the way.
    if (this.flying && (data.heard[this.mount] || 0) < this.flying) return;
    this.flying = 0;
    this.data = data;
    if (this.queue.length) { this.next(); return; }
    if (this.held) { this.stale = true; return; }
    this.adopt();
  }

  adopt() {
    const data = this.data, before = this.chosen;
    this.stale = false;
    let n = 0;
    this.stripes = data.stripes.map((s, i) => { const made = { ...s, place: [n, s.rows, i] }; n += s.rows; return made; });
    this.chosen = data.chosen;
    if (before !== this.chosen) { this.folded = null; this.view = null; this.at = this.chosen ?? this.at; }
    this.at = Math.min(this.at ?? 0, this.stripes.length - 1);
    this.ahead();
    this.draw();
    this.count(data.sum);
    if (data.said && data.said !== this.lastSaid) this.live.textContent = data.said;
    this.lastSaid = data.said;
  }

  tell(what) {
    this.hand += 1;
    this.queue.push({ ...what, n: this.hand, mount: this.mount });
    if (!this.flying) this.next();
  }

  next() {
    const what = this.queue.shift();
    this.flying = what.n;
    this.send("hand", { ...what, seen: this.data.seen });
  }

  // ---- strips: images by scale

  get ratio() { return Math.min(3, Math.max(1, window.devicePixelRatio || 1)); }

  url(key, scale) {
    const strip = this.data.strips[key];
    return this.data.fixed ? strip.at : `${strip.at}/${scale.toFixed(2)},${this.ratio}`;
  }

  image(key, scale) {
    const strip = this.data.strips[key];
    if (!strip) return null;
    const fixed = this.data.fixed, url = this.url(key, scale);
    let found = this.images.get(url);
    if (!found) {
      found = new Image();
      found.scale = fixed || scale;
      found.decoding = "async";
      found.onload = () => { found.ready = true; (this.best ??= new Map()).set(strip.at, found); this.soon(); };
      found.src = url;
      this.images.set(url, found);
      if (this.images.size > 600) this.images.delete(this.images.keys().next().value);
    }
    if (found.ready) return found;
    return this.best?.get(strip.at) || null;
  }

  // Both sides of each pair, so that moving and pulling find theirs; when nothing else is to be done.
  ahead() {
    clearTimeout(this.later);
    const next = () => {
      if (!this.scale || !this.root.isConnected || this.held) return;
      for (const s of this.stripes) {
        for (const key of [s.front, s.back]) {
          if (!key) continue;
          const url = this.url(key, this.scale);
          if (this.images.has(url)) continue;
          this.image(key, this.scale);
          this.images.get(url).addEventListener("load", next, { once: true });
          return;
        }
      }
      if (this.data.warm && !this.warmed) { this.warmed = new Image(); this.warmed.src = this.data.warm; }
    };
    this.later = setTimeout(next, 1500);
  }

  soon() {
    if (this.asked) return;
    this.asked = requestAnimationFrame(() => { this.asked = 0; this.paint(); });
  }

  // ---- measures

  get phone() { return window.innerWidth <= PHONE; }
  rows(upto = this.stripes.length) { let n = 0; for (let i = 0; i < upto; i++) n += this.stripes[i].rows; return n; }

  measure() {
    const d = this.data, g = d.fabric;
    const wide = this.root.getBoundingClientRect().width;
    const folds = this.phone && (this.folded ?? d.folded);
    const tag = this.phone && this.chosen !== null && !folds;
    const desk = !this.phone;
    const box = { x: 0, y: 0, w: wide, h: 0 };
    const tall = this.rows() * g.rise + g.wave_cm + g.room + g.low;
    const across = g.width + 2 * g.room;
    let c;
    if (desk) {
      box.x = TAPE + GAP;
      box.w = Math.max(200, wide - box.x - TABS);
      this.low = Math.max(SEE, this.see.offsetHeight);
      box.h = Math.max(260, window.innerHeight - 72 - TAPE - this.low - 16);
      c = this.zoom || Math.min(box.w / across, box.h / tall);
    } else if (folds) {
      box.h = d.looking ? 200 : 128;
      c = this.zoom || box.w / g.width;
    } else if (tag) {
      box.x = 46; box.w = wide - 46; box.h = 222;
      c = this.zoom || TAG_SCALE;
    } else {
      box.x = 16; box.w = wide - 32;
      box.h = Math.min(window.innerHeight - 48 - 60 - 120, 480);
      c = this.zoom || Math.min(box.w / across, box.h / tall);
      if (!this.zoom) box.h = Math.min(box.h, c * tall);
    }
    const ratio = this.ratio;
    this.scale = Math.max(0.5, Math.floor(Math.min(c * ratio, MOST_SCALE) * 20) / 20);
    this.c = c;
    this.box = box;
    this.folds = folds; this.tag = tag; this.desk = desk;
    this.w = Math.ceil(across * c); this.h = Math.ceil(tall * c);
    if (desk && !this.zoom) { box.h = Math.min(box.h, this.h + 2); }
    this.foot = this.h - g.low * c; // css y of the blanket's foot on the sheet
    this.left = g.room * c;
    return box;
  }

  y(rows) { return this.foot - rows * this.data.fabric.rise * this.c; }
  wave(rows, dx = 0) {
    const w = this.data.fabric.wave.filter(([x]) => x >= -0.001 && x <= this.data.fabric.width + 0.001);
    return w.map(([x, y]) => [dx + this.left + x * this.c, this.y(rows) - y * this.c]);
  }

  // The stripe under a spot of the sheet, by the wave at that place; the nearest where it lies beside.
  hit(x, y) {
    const g = this.data.fabric, cm = (x - this.left) / this.c, w = g.wave;
    let k = 1;
    while (k < w.length - 1 && w[k][0] < cm) k++;
    const [x0, y0] = w[k - 1], [x1, y1] = w[k];
    const lift = y0 + (y1 - y0) * Math.min(1, Math.max(0, (cm - x0) / (x1 - x0 || 1)));
    const row = ((this.foot - y) / this.c - lift) / g.rise;
    let n = 0;
    for (let i = 0; i < this.stripes.length; i++) { n += this.stripes[i].rows; if (row < n) return i; }
    return this.stripes.length - 1;
  }
  gapAt(y) {
    const row = (this.foot - y) / this.c / this.data.fabric.rise;
    let best = 0, n = 0, far = Math.abs(row);
    this.stripes.forEach((s, i) => { n += s.rows; if (Math.abs(row - n) < far) { far = Math.abs(row - n); best = i + 1; } });
    return best;
  }

  // ---- drawing

  draw() {
    // Without room (the page is being left, or comes back) nothing can be measured.
    if (!this.data || !this.root.offsetWidth) return;
    const box = this.measure(), d = this.data, place = (node, x, y, w, h) => {
      node.style.left = `${x}px`; node.style.top = `${y}px`;
      if (w !== undefined) node.style.width = `${w}px`;
      if (h !== undefined) node.style.height = `${h}px`;
    };
    const large = this.w > box.w + 2 || this.h > box.h + 2;
    this.field.classList.toggle("large", large && (this.desk || this.zoom > 0));
    this.field.classList.toggle("cut", large && !this.desk && !this.zoom);
    const dx = large ? 0 : Math.max(0, (box.w - this.w) / 2) * (this.desk ? 0 : 1);
    place(this.field, box.x, box.y, box.w, box.h);
    place(this.sheet, dx, 0, this.w, this.h);
    this.over.setAttribute("width", this.w); this.over.setAttribute("height", this.h);
    if (large) this.show(box);
    this.frame.style.height = `${this.desk ? box.h + TAPE + 8 + this.low : box.h}px`;
    this.cloth.setAttribute("aria-label", d.words.picture);
    this.drawTabs(box);
    this.drawTapes(box);
    this.drawSee(box);
    this.drawSmall(box);
    this.unfold.hidden = !this.folds;
    this.unfold.textContent = d.words.unfold;
    this.hint.hidden = !d.hint;
    if (d.hint) {
      this.hint.textContent = d.hint;
      const x = box.x + Math.min(this.w, box.w) * 0.45;
      place(this.hint, Math.min(x, Math.max(0, box.x + box.w - this.hint.offsetWidth)), box.y + Math.min(this.h, box.h) * 0.52);
    }
    this.paint();
  }

  // Where a larger picture stands: the chosen stripe in the middle, at first; then wherever it was scrolled to.
  show(box) {
    const key = `${this.chosen}/${this.c}/${this.folds}/${this.stripes.length}`;
    if (this.view === key) return;
    this.view = key;
    const i = this.chosen ?? Math.floor(this.stripes.length / 2);
    const mid = this.y(this.rows(i) + this.stripes[i].rows / 2);
    this.field.scrollTop = mid - box.h / 2;
    this.field.scrollLeft = (this.w - box.w) / 2;
  }

  paint() {
    if (!this.data || !this.box) return;
    const ctx = this.cloth.getContext("2d"), ratio = this.scale / this.c;
    const pw = Math.round(this.w * ratio), ph = Math.round(this.h * ratio);
    if (this.cloth.width !== pw || this.cloth.height !== ph) { this.cloth.width = pw; this.cloth.height = ph; }
    this.cloth.style.width = `${this.w}px`; this.cloth.style.height = `${this.h}px`;
    // The shadow of the strands on the ground and in the holes, as in the whole drawing.
    const px = this.data.fabric.stitch * this.c;
    this.cloth.style.filter = `drop-shadow(${0.08 * px}px ${0.12 * px}px ${0.31 * px}px rgba(0,0,0,.92))${this.data.grey ? " url(#tones)" : ""}`;
    ctx.clearRect(0, 0, pw, ph);
    let n = 0;
    this.stripes.forEach((stripe, at) => { this.strip(ctx, stripe, n, at); n += stripe.rows; });
    this.marks();
    this.thread();
  }

  strip(ctx, stripe, n, at, dy = 0, dx = 0) {
    const d = this.data, s = this.scale, g = d.fabric;
    const [n0, rows0, at0] = stripe.place ?? [];
    const exact = n0 === n && rows0 === stripe.rows && at0 === at;
    const sides = n % 2 ? [stripe.back, stripe.front] : [stripe.front, stripe.back];
    const key = (exact ? [stripe.own, ...sides] : [...sides, stripe.own]).find((k) => k && this.image(k, s));
    if (!key) return;
    const image = this.image(key, s), drawn = d.strips[key].rows, k = s / image.scale;
    let m = 0;
    while (m < stripe.rows) {
      // Beyond the rows that were drawn the strip is laid on itself, by an even number so that its sides go on.
      const r = stripe.rows - m <= drawn ? stripe.rows - m : Math.max(1, drawn - (drawn % 2));
      const foot = Math.round((this.foot * s) / this.c) - Math.round((n + m) * g.rise * s) + dy;
      const x = Math.round((this.left * s) / this.c) - Math.round(g.room * s) + dx;
      const top = foot - Math.round(d.strips[key].top * s);
      ctx.save();
      if (!(r === drawn && d.strips[key].last)) {
        const lift = Math.round(r * g.rise * s);
        ctx.beginPath();
        g.wave.forEach(([wx, wy], i) => {
          const px = x + Math.round((wx + g.room) * s), py = foot - lift - Math.round(wy * s);
          if (i) ctx.lineTo(px, py); else ctx.moveTo(px, py);
        });
        ctx.lineTo(x + Math.round((g.width + 2 * g.room) * s), foot + 4 * s * g.low);
        ctx.lineTo(x, foot + 4 * s * g.low);
        ctx.closePath();
        ctx.clip();
      }
      ctx.drawImage(image, x, top, image.naturalWidth * k, image.naturalHeight * k);
      ctx.restore();
      m += r;
    }
  }

  path(points, close = false) {
    return points.map(([x, y], i) => `${i ? "L" : "M"}${x.toFixed(1)} ${y.toFixed(1)}`).join("") + (close ? "Z" : "");
  }
  outline(n, rows) { return this.path([...this.wave(n + rows), ...this.wave(n).reverse()], true); }

  marks() {
    const over = this.over, d = this.data;
    over.replaceChildren();
    const add = (d2, ...classes) => classes.forEach((c) => over.append(svg("path", { d: d2, class: c })));
    const h = this.held;
    if (d.worked > 0 && d.worked < this.rows()) {
      const y = this.y(d.worked), mark = svg("g", { transform: `translate(${this.w - 4} ${y})` });
      mark.append(svg("path", { d: "M0 0h26a4 4 0 1 0-4-4", fill: "none", stroke: "var(--ink)", "stroke-width": 3, "stroke-linecap": "round" }));
      over.append(mark);
    }
    if (h?.kind === "move" && h.on) {
      add(this.outline(this.rows(h.i), this.stripes[h.i].rows), "was", "dots-line");
      const edge = this.path(this.wave(this.edgeRows(h)));
      add(edge, "case", "stitch");
    } else if (d.gap !== null && d.gap !== undefined) {
      add(this.path(this.wave(this.rows(d.gap))), "case", "stitch");
    } else if (this.chosen !== null && this.stripes[this.chosen]) {
      const n = this.rows(this.chosen);
      if (h?.kind === "pull") {
        add(this.outline(n, h.rows0), "case", "stitch");
        if (this.stripes[this.chosen].rows !== h.rows0) add(this.path(this.wave(n + this.stripes[this.chosen].rows)), "was", "dots-line");
      } else add(this.outline(n, this.stripes[this.chosen].rows), "case", "stitch");
    }
    this.drawPill();
  }

  // Rows below the gap that a lifted stripe would lie in, the stripes standing as they stand.
  edgeRows(h) { return this.rows(h.gap); }

  drawPill() {
    const d = this.data, show = (d.gap !== null && d.gap !== undefined) || (this.chosen !== null && !d.looking && !(this.held?.kind === "move"));
    const s = this.chosen !== null ? this.stripes[this.chosen] : null;
    this.pill.hidden = !show || this.folds || (!s && d.gap === null);
    if (this.pill.hidden) return;
    const gap = d.gap !== null && d.gap !== undefined;
    const rows = gap ? this.rows(d.gap) : this.rows(this.chosen) + s.rows;
    const x = this.box.x + this.sheet.offsetLeft + Math.min(this.left + d.fabric.width * this.c / 2 - this.field.scrollLeft, this.box.w - 70);
    const y = this.box.y + Math.min(Math.max(this.y(rows) - d.fabric.wave_cm * this.c - this.field.scrollTop, 20), this.box.h - 20);
    this.pill.style.left = `${x}px`; this.pill.style.top = `${y}px`;
    this.pill.classList.toggle("still", gap || Boolean(s?.held));
    const text = gap ? d.words.inHere
      : this.held?.kind === "pull" ? fill(d.words.rowsAnd, { rows: this.rowsWords(s.rows), cm: this.table("rows", this.chosen)?.[s.rows]?.height ?? "" })
      : this.rowsWords(s.rows);
    this.pill.replaceChildren(arrows("up"), el("span", { text }));
    if (!gap) {
      this.pill.setAttribute("aria-label", fill(d.words.pull, { n: this.chosen + 1 }));
      this.pill.setAttribute("aria-valuenow", s.rows);
      this.pill.setAttribute("aria-valuemin", 1);
      this.pill.setAttribute("aria-valuetext", text);
    }
  }

  rowsWords(n) { return fill(n === 1 ? this.data.words.oneRow : this.data.words.rows, { n }); }

  drawTabs(box) {
    const d = this.data, list = this.tabs;
    list.hidden = !this.desk && !this.focusable;
    list.setAttribute("aria-label", d.words.stripes);
    list.style.left = `${this.desk ? box.x + Math.min(this.w, box.w) + 6 : box.x}px`;
    list.style.top = `${box.y}px`;
    list.style.width = this.desk ? `${TABS - 6}px` : "1px";
    list.style.height = `${box.h}px`;
    list.style.overflow = "hidden";
    const spaced = this.data.fabric.rise * this.c * Math.min(...this.stripes.map((s) => s.rows));
    const each = spaced >= 20 ? 1 : 5;
    list.replaceChildren(...this.stripes.map((s, i) => {
      const y = this.y(this.rows(i) + s.rows / 2) - this.field.scrollTop;
      const dots = el("span", { class: "dots" }, ...s.dots.map((c) => el("u", { style: `background:${c}` })));
      const numbered = each === 1 || (i + 1) % each === 0 || i === 0 || i === this.chosen;
      const tab = el("div", { class: `tab${i === this.chosen ? " on" : ""}${i === this.at ? " at" : ""}${each > 1 ? " near" : ""}`, role: "option", id: `s${i}`,
        "aria-selected": String(i === this.chosen), "aria-label": fill(s.held ? d.words.heldStripe : d.words.stripe, { n: i + 1, name: s.name, rows: this.rowsWords(s.rows) }), style: `top:${y}px` },
        el("i"), dots, el("span", { text: numbered ? String(i + 1) : "" }));
      if (s.held) { const pin = svg("svg", { width: 18, height: 12, viewBox: "0 0 18 12" }); pin.append(svg("path", { d: PIN, fill: "none", stroke: "currentColor", "stroke-width": 1.8, "stroke-linecap": "round" })); tab.append(pin); }
      return tab;
    }));
    list.setAttribute("aria-activedescendant", `s${this.at ?? 0}`);
  }

  drawTapes(box) {
    const d = this.data, g = d.fabric;
    this.up.hidden = this.across.hidden = !this.desk || Boolean(d.looking);
    if (this.up.hidden) return;
    const unit = d.tape.unit_cm, c = this.c;
    const tall = this.rows() * g.rise, wide = g.width;
    const make = (cm, horizontal) => {
      const long = cm * c, box2 = svg("svg", horizontal ? { width: long, height: 26, "aria-hidden": "true" } : { width: 26, height: long, "aria-hidden": "true" });
      box2.append(svg("rect", { width: horizontal ? long : 26, height: horizontal ? 26 : long, fill: "var(--tape)" }));
      const each = unit * (d.tape.step / 5);
      const ticks = [[], []];
      for (let k = 0; k * each <= cm + 1e-6; k++) {
        const at = k * each * c, major = k % 5 === 0;
        ticks[major ? 1 : 0].push(horizontal ? `M${at} 0v${major ? 13 : 6}` : `M26 ${long - at}h${major ? -13 : -6}`);
        if (major && k && k % 10 === 0 && (cm - k * each) * c > 46) {
          const text = svg("text", { x: horizontal ? at + 3 : 1, y: horizontal ? 24 : long - at - 3, "font-size": 11, fill: "var(--tapeink)" });
          text.textContent = Math.round(k * d.tape.step / 5);
          box2.append(text);
        }
      }
      box2.append(svg("path", { d: ticks[0].join(""), stroke: "var(--tapeink)", "stroke-width": .7 }), svg("path", { d: ticks[1].join(""), stroke: "var(--tapeink)", "stroke-width": 1 }));
      return box2;
    };
    const footY = Math.min(box.h, this.foot - this.field.scrollTop), topY = Math.max(0, footY - tall * c);
    this.up.style.left = "4px"; this.up.style.top = `${box.y + topY}px`;
    this.up.style.height = `${footY - topY}px`; this.up.style.overflow = "visible";
    const end = (kind, value, label) => el("div", { class: "end", role: "slider", tabindex: 0, "aria-label": label, "aria-orientation": kind === "up" ? "vertical" : "horizontal",
      "aria-valuenow": Math.round(kind === "up" ? tall : wide), "aria-valuemin": 1, "aria-valuemax": 2000, "aria-valuetext": value }, kind === "up" ? el("span", { text: value.split(" ")[0] }) : el("span", { text: value.split(" ")[0] }), arrows(kind));
    const focus = this.root.activeElement ?? this.root.getRootNode().activeElement;
    const had = focus?.classList?.contains("end") ? focus.parentElement : null;
    this.up.replaceChildren(make((footY - topY) / c, false), end("up", this.pulled?.side === "length" ? this.pulled.text : d.tape.length, d.words.length));
    const leftX = Math.max(0, this.left - this.field.scrollLeft), w = Math.min(wide * c, box.w - leftX);
    this.across.style.left = `${box.x + leftX}px`; this.across.style.top = `${box.y + box.h + 8}px`; this.across.style.width = `${w}px`;
    const endX = end("across", this.pulled?.side === "width" ? this.pulled.text : d.tape.width, d.words.width);
    endX.style.left = `${w - 52}px`;
    this.across.replaceChildren(make(w / c, true), endX);
    if (had) had.querySelector(".end").focus();
    this.ghost.hidden = !this.pulled;
    if (this.pulled) {
      const p = this.pulled;
      Object.assign(this.ghost.style, p.side === "length"
        ? { left: `${box.x}px`, width: `${Math.min(this.w, box.w)}px`, top: `${Math.max(-8, box.y + footY - p.cm * c)}px`, height: "0", borderWidth: "3px 0 0" }
        : { top: `${box.y}px`, height: `${box.h}px`, left: `${box.x + leftX + p.cm * c}px`, width: "0", borderWidth: "0 0 0 3px" });
    }
    this.across.querySelectorAll("small").forEach((s) => s.remove());
    if (d.first) { this.across.append(el("small", { text: d.words.pullTape, style: "right:60px;top:6px;background:var(--tape);color:var(--tapeink);padding:0 6px" })); }
  }

  drawSee(box) {
    const d = this.data, w = d.words, looks = d.froms;
    const larger = () => this.zoomBy(1.5), smaller = () => this.zoomBy(1 / 1.5);
    const from = (key) => this.tell({ do: "look", from: key });
    const focused = this.root.getRootNode().activeElement?.dataset?.k;
    const b = (text, key, act, on, more = {}) => el("button", { type: "button", "data-k": key, class: on ? "on" : "", onclick: act, text, ...more });
    this.see.hidden = !this.desk;
    this.phoneSee.hidden = this.desk || this.folds || this.tag;
    if (this.desk) {
      this.see.style.left = `${box.x - 9}px`; this.see.style.top = `${box.y + box.h + TAPE + 8}px`;
      this.see.replaceChildren(
        b(w.smaller, "smaller", smaller), b(w.larger, "larger", larger), b(w.trueSize, "true", () => this.trueSize(), this.isTrue, { "aria-pressed": String(Boolean(this.isTrue)) }),
        el("span", { class: "sep" }), el("span", { text: `${w.seenFrom} `, id: "seen" }),
        el("div", { role: "radiogroup", "aria-label": w.seenFrom }, ...looks.map(([key, text]) => b(text, `from-${key}`, () => from(key), key === d.from, { role: "radio", "aria-checked": String(key === d.from) }))),
        b(w.tones, "tones", () => this.tell({ do: "look", grey: !d.grey }), d.grey, { "aria-pressed": String(Boolean(d.grey)) }));
    } else {
      const choose = el("select", { "aria-label": w.seenFrom, onchange: (e) => from(e.target.value) }, ...looks.map(([key, text]) => el("option", { value: key, text: fill(w.phoneSeen, { place: text }) })));
      choose.value = d.from;
      this.phoneSee.replaceChildren(b(w.fold, "fold", () => { this.folded = true; this.draw(); }), b(w.larger, "larger", larger), b(this.zoom ? w.smaller : w.trueSize, "smaller", this.zoom ? smaller : () => this.trueSize()), choose, b(w.tones, "tones", () => this.tell({ do: "look", grey: !d.grey }), d.grey, { "aria-pressed": String(Boolean(d.grey)) }));
    }
    if (focused) this.root.querySelector(`[data-k="${focused}"]`)?.focus();
    if (this.desk && this.see.offsetHeight > this.low) this.draw();
  }

  drawSmall(box) {
    const small = this.small;
    small.hidden = !this.tag;
    if (small.hidden) return;
    small.style.height = `${box.h}px`;
    const canvas = small.querySelector("canvas"), mark = small.querySelector(".mark"), tall = box.h - 24;
    const g = this.data.fabric, all = this.rows(), k = tall / (all * g.rise);
    canvas.width = 30 * 2; canvas.height = tall * 2;
    canvas.style.cssText = `left:8px;top:12px;width:30px;height:${tall}px`;
    const ctx = canvas.getContext("2d");
    let n = 0;
    this.stripes.forEach((s) => {
      const y = tall - (n + s.rows) * g.rise * k, h = s.rows * g.rise * k;
      ctx.fillStyle = s.srgb; ctx.fillRect(0, y * 2, 60, h * 2 + 1);
      n += s.rows;
    });
    const middle = this.foot / this.c;
    const top = 12 + tall - (middle - this.field.scrollTop / this.c) * k, high = box.h / this.c * k;
    mark.style.top = `${Math.max(4, top)}px`; mark.style.height = `${Math.min(high, box.h - 8)}px`;
  }

  // The thread from a chosen stripe's tab to its tag, twisted of its yarns.
  thread() {
    this.line.replaceChildren();
    const tag = document.querySelector(".st-key-tag");
    if (!this.desk || this.chosen === null || !tag || !this.stripes[this.chosen]) return;
    const tab = this.tabs.querySelector(".tab.on");
    if (!tab) return;
    const a = tab.getBoundingClientRect(), t = tag.getBoundingClientRect();
    const x0 = a.right + 4, y0 = Math.min(Math.max(a.top + a.height / 2, 60), window.innerHeight - 8), x1 = t.left + 29, y1 = t.top + 49;
    const mid = (x0 + Math.max(x1 - 40, x0 + 8)) / 2;
    const d = `M${x0} ${y0}C${mid + 26} ${y0 - 2} ${mid + 8} ${(y0 + y1) / 2 + 60} ${mid + 10} ${(y0 + y1) / 2}S${mid} ${y1 + 6} ${x1} ${y1}`;
    const colours = this.stripes[this.chosen].dots;
    this.line.append(svg("path", { d, fill: "none", stroke: colours[0], "stroke-width": 5, "stroke-linecap": "round" }));
    if (colours[1]) this.line.append(svg("path", { d, fill: "none", stroke: colours[1], "stroke-width": 5, "stroke-dasharray": "9 9" }));
    this.line.append(svg("path", { d, fill: "none", stroke: "#000", "stroke-opacity": .18, "stroke-width": 5, "stroke-dasharray": "1 8" }));
  }

  // ---- counting while a hand is at it: the server's own figures, fetched when they may be needed

  table(kind, of = "") {
    const url = this.data.counts?.[kind]?.[of] ?? (of === "" ? this.data.counts?.[kind] : "");
    if (!url || typeof url !== "string") return null;
    const found = this.tables.get(url);
    if (found === undefined) {
      this.tables.set(url, null);
      fetch(`${url}/t`).then((r) => (r.ok ? r.json() : null)).then((made) => { this.tables.set(url, made); this.soon(); if (this.held) this.count(); }).catch(() => this.tables.delete(url));
      return null;
    }
    return found;
  }

  count(entry) {
    entry ??= this.counted?.();
    if (!entry) return;
    window.dispatchEvent(new CustomEvent("blendplan-count", { detail: entry }));
  }

  // ---- hands

  listen() {
    const at = (e) => { const r = this.sheet.getBoundingClientRect(); return [e.clientX - r.left, e.clientY - r.top]; };
    const stopTouch = (e) => { if (this.held?.on) e.preventDefault(); };
    this.cloth.addEventListener("touchmove", stopTouch, { passive: false });
    this.cloth.addEventListener("contextmenu", (e) => { if (this.held) e.preventDefault(); });
    this.cloth.addEventListener("pointerdown", (e) => {
      if (e.button || this.data.looking || !e.isPrimary) return;
      const [x, y] = at(e), i = this.hit(x, y);
      this.held = { kind: "move", i, x, y, on: false, pointer: e.pointerId, touch: e.pointerType !== "mouse" };
      if (this.held.touch) this.held.timer = setTimeout(() => { if (this.held && !this.stripes[i].held) { this.lift(); navigator.vibrate?.(10); } }, HOLD_MS);
    });
    window.addEventListener("pointermove", (e) => {
      const h = this.held;
      if (!h || h.kind !== "move" || e.pointerId !== h.pointer) return;
      const [x, y] = at(e);
      if (!h.on) {
        if (Math.hypot(x - h.x, y - h.y) < MOVED_PX) return;
        if (h.touch) { clearTimeout(h.timer); this.held = null; return; }
        if (this.stripes[h.i].held || this.data.gapping || this.data.swapping) return;
        this.cloth.setPointerCapture(h.pointer);
        this.lift();
      }
      h.dx = x - h.x; h.dy = y - h.y;
      this.carry();
    });
    const drop = (e) => {
      const h = this.held;
      if (!h || h.kind !== "move" || e.pointerId !== h.pointer) return;
      clearTimeout(h.timer);
      this.held = null;
      if (h.on) { this.letGo(h); return; }
      if (e.type === "pointercancel") return;
      const [x, y] = at(e);
      if (this.data.gapping) this.tell({ do: "gap", after: this.gapAt(y) });
      else this.press(this.hit(x, y));
    };
    window.addEventListener("pointerup", drop);
    window.addEventListener("pointercancel", (e) => { const h = this.held; if (h && h.kind === "move" && e.pointerId === h.pointer) { clearTimeout(h.timer); this.held = null; this.endLift(); } });

    // The pill: pull for rows.
    this.pill.addEventListener("pointerdown", (e) => {
      const d = this.data;
      if (d.gap !== null && d.gap !== undefined) return;
      const s = this.stripes[this.chosen];
      if (s.held || e.button) return;
      e.preventDefault();
      this.pill.setPointerCapture(e.pointerId);
      this.table("rows", this.chosen);
      this.held = { kind: "pull", y: e.clientY, rows0: s.rows };
      this.counted = () => this.table("rows", this.chosen)?.[this.stripes[this.chosen].rows];
    });
    this.pill.addEventListener("pointermove", (e) => {
      const h = this.held;
      if (h?.kind !== "pull") return;
      const to = Math.max(1, h.rows0 + Math.round((h.y - e.clientY) / (this.data.fabric.rise * this.c)));
      if (to !== this.stripes[this.chosen].rows) { this.stripes[this.chosen].rows = to; this.soon(); this.count(); }
    });
    const settle = (e) => {
      const h = this.held;
      if (h?.kind !== "pull") return;
      this.held = null;
      const n = this.stripes[this.chosen].rows;
      if (e.type === "pointercancel") { this.stripes[this.chosen].rows = h.rows0; this.draw(); this.count(this.data.sum); return; }
      if (n !== h.rows0) { this.tell({ do: "rows", id: this.chosen, rows: n }); this.draw(); } else this.soon();
    };
    this.pill.addEventListener("pointerup", settle);
    this.pill.addEventListener("pointercancel", settle);

    // Tapes: pull for size.
    for (const [node, side] of [[this.up, "length"], [this.across, "width"]]) {
      node.addEventListener("pointerdown", (e) => {
        if (!e.target.closest(".end") || e.button) return;
        e.preventDefault();
        e.target.closest(".end").focus();
        node.setPointerCapture(e.pointerId);
        const g = this.data.fabric, from = side === "length" ? this.rows() * g.rise : g.width;
        this.table(side);
        this.held = { kind: "size", side, from, at: side === "length" ? e.clientY : e.clientX };
      });
      node.addEventListener("pointermove", (e) => {
        const h = this.held;
        if (h?.kind !== "size" || h.side !== side) return;
        const by = side === "length" ? h.at - e.clientY : e.clientX - h.at;
        this.pull(side, h.from + by / this.c);
      });
      const done = (e) => {
        const h = this.held;
        if (h?.kind !== "size" || h.side !== side) return;
        const p = this.pulled;
        this.held = null; this.pulled = null;
        if (p && e.type !== "pointercancel" && Math.abs(p.cm - h.from) > 0.2) this.tell({ do: "size", side, cm: p.cm });
        this.draw();
      };
      node.addEventListener("pointerup", done);
      node.addEventListener("pointercancel", done);
      node.addEventListener("keydown", (e) => {
        const by = { ArrowUp: 1, ArrowRight: 1, ArrowDown: -1, ArrowLeft: -1 }[e.key];
        if (!by) return;
        e.preventDefault();
        this.tell({ do: "step", side, by });
      });
    }
    this.tabs.addEventListener("click", (e) => {
      const r = this.tabs.getBoundingClientRect(), y = e.clientY - r.top + this.field.scrollTop;
      let best = 0, far = 1e9;
      this.stripes.forEach((s, i) => { const away = Math.abs(this.y(this.rows(i) + s.rows / 2) - y); if (away < far) { far = away; best = i; } });
      this.press(best);
    });
    this.tabs.addEventListener("keydown", (e) => this.key(e));
    this.field.addEventListener("scroll", () => { this.drawTabs(this.box); this.drawPill(); this.thread(); if (this.tag) this.drawSmall(this.box); }, { passive: true });
    this.field.addEventListener("wheel", (e) => {
      if (!e.ctrlKey) return;
      e.preventDefault();
      this.zoomBy(Math.exp(-e.deltaY / 300));
    }, { passive: false });
    this.fingers();
    window.addEventListener("keydown", (e) => {
      if (!this.root.isConnected || !this.data) return;
      if (e.key === "Escape" && this.held?.on) { const h = this.held; this.held = null; clearTimeout(h.timer); this.endLift(); this.live.textContent = this.data.words.back; return; }
      const at = e.composedPath()[0], typing = at.matches?.("input, textarea, select, [contenteditable]");
      if (e.key === "?" && !typing) { e.preventDefault(); this.tell({ do: "keys" }); }
      const over = at.closest?.("[role=dialog], [data-testid=stPopoverBody], [aria-expanded=true]");
      // The stripe has the focus again.
      if (e.key === "Escape" && this.chosen !== null && !over && (!typing || at.closest(".st-key-tag"))) { this.press(this.chosen); this.tabs.focus(); }
    });
  }

  // Two fingers: closer and farther.
  fingers() {
    const down = new Map();
    const gap = () => { const [a, b] = [...down.values()]; return Math.hypot(a[0] - b[0], a[1] - b[1]); };
    this.field.addEventListener("touchstart", (e) => {
      if (e.touches.length === 2) {
        clearTimeout(this.held?.timer); this.held = null;
        [...e.touches].forEach((t) => down.set(t.identifier, [t.clientX, t.clientY]));
        this.pinch = { gap: gap(), c: this.c };
      }
    }, { passive: true });
    this.field.addEventListener("touchmove", (e) => {
      if (!this.pinch || e.touches.length !== 2) return;
      e.preventDefault();
      down.clear();
      [...e.touches].forEach((t) => down.set(t.identifier, [t.clientX, t.clientY]));
      this.zoomTo(this.pinch.c * gap() / this.pinch.gap);
    }, { passive: false });
    const off = () => { this.pinch = null; down.clear(); };
    this.field.addEventListener("touchend", off, { passive: true });
    this.field.addEventListener("touchcancel", off, { passive: true });
  }

  zoomBy(k) { this.zoomTo(this.c * k); }
  zoomTo(c) {
    const whole = () => { this.zoom = 0; this.measure(); return this.c; };
    const keep = [(this.field.scrollLeft + this.box.w / 2) / this.w, (this.field.scrollTop + this.box.h / 2) / this.h];
    const fit = whole();
    this.isTrue = false;
    this.zoom = c <= fit * 1.02 ? 0 : Math.min(c, 44);
    this.draw();
    this.field.scrollLeft = keep[0] * this.w - this.box.w / 2;
    this.field.scrollTop = keep[1] * this.h - this.box.h / 2;
  }
  trueSize() { if (this.isTrue) { this.zoomTo(0); return; } this.zoomTo(this.data.true_px); this.isTrue = true; this.view = null; this.draw(); }

  press(i) {
    const d = this.data;
    this.at = i;
    if (!d.swapping && !d.looking) { this.chosen = this.chosen === i ? null : i; this.folded = null; this.view = null; }
    this.tell({ do: "press", id: i });
    this.draw();
  }

  lift() {
    this.held.on = true;
    this.held.dx ??= 0; this.held.dy ??= 0;
    this.lifted.hidden = false;
    this.counted = () => this.table("move", this.held?.i)?.[this.held?.to];
    this.carry();
  }
  endLift() { this.lifted.hidden = true; this.told.hidden = true; this.count(this.data.sum); if (this.stale) this.adopt(); else this.draw(); }

  carry() {
    const h = this.held, s = this.stripes[h.i], ratio = this.scale / this.c;
    const n = this.rows(h.i), middle = this.y(n + s.rows / 2) + h.dy;
    // The gap is the border nearest to the middle of the strip, its own two left out unless it lies over itself.
    const gap = this.gapAt(middle);
    const to = gap > h.i ? gap - 1 : gap;
    if (gap !== h.gap) { h.gap = gap; h.to = to; this.count(); }
    const entry = this.table("move", h.i)?.[to];
    const tall = Math.ceil((s.rows * this.data.fabric.rise + this.data.fabric.wave_cm + this.data.fabric.room + this.data.fabric.low) * this.c);
    const top = this.y(n) - tall + this.data.fabric.low * this.c + h.dy;
    const c = this.lifted;
    if (c.width !== Math.round(this.w * ratio) || c.height !== Math.round(tall * ratio)) { c.width = Math.round(this.w * ratio); c.height = Math.round(tall * ratio); h.painted = false; }
    c.style.cssText = `left:${h.dx * 0.2 + 14}px;top:${top}px;width:${this.w}px;height:${tall}px`;
    c.style.filter = `drop-shadow(0 8px 10px rgb(20 14 24 / .5))${this.data.grey ? " url(#tones)" : ""}`;
    if (!h.painted) {
      const ctx = c.getContext("2d");
      ctx.clearRect(0, 0, c.width, c.height);
      const foot = this.foot;
      this.foot = tall - this.data.fabric.low * this.c;
      const key = n % 2;
      this.strip(ctx, key ? { ...s, front: s.back, back: s.front } : s, 0, h.i);
      this.foot = foot;
      h.painted = true;
    }
    const words = to === h.i ? this.data.words.sameplace
      : gap === 0 ? this.data.words.below : gap === this.stripes.length ? this.data.words.above
      : fill(this.data.words.between, { a: gap, b: gap + 1 });
    this.told.replaceChildren(el("b", { text: words }), el("br"), ...(entry?.move ? [entry.move, el("br")] : []), el("span", { text: this.data.words.esc, style: "color:var(--soft)" }));
    this.told.hidden = false;
    this.told.style.left = `${this.box.x + 20}px`;
    this.told.style.top = `${Math.min(Math.max(8, this.box.y + top - this.field.scrollTop + tall + 8), this.box.h - 60)}px`;
    this.live.textContent = words;
    this.marks();
  }

  letGo(h) {
    this.lifted.hidden = true; this.told.hidden = true;
    if (h.to === h.i || h.to === undefined) { this.endLift(); return; }
    this.arrange(h.i, h.to);
    this.tell({ do: "move", id: h.i, to: h.to });
    if (this.chosen !== null) this.chosen = h.to;
    this.at = h.to;
    this.draw();
  }

  // As the server does it: held stripes keep their places, the free ones between close up.
  arrange(from, to) {
    const free = this.stripes.map((s, i) => (s.held ? -1 : i)).filter((i) => i >= 0);
    if (!free.includes(from) || !free.includes(to)) return;
    const order = free.map((i) => this.stripes[i]);
    order.splice(free.indexOf(to), 0, ...order.splice(free.indexOf(from), 1));
    this.stripes = this.stripes.map((s) => (s.held ? s : order.shift()));
  }

  pull(side, cm) {
    const known = this.table(side);
    if (known && known.length) {
      const best = known.reduce((a, b) => (Math.abs(b.cm - cm) < Math.abs(a.cm - cm) ? b : a));
      this.pulled = { side, cm: best.cm, text: best.text };
      this.count(best);
    } else this.pulled = { side, cm: Math.max(5, cm), text: String(Math.round(cm / this.data.tape.unit_cm)) };
    this.drawTapes(this.box);
  }

  key(e) {
    const d = this.data, i = this.at ?? 0, n = this.stripes.length, s = this.stripes[i];
    const go = (to) => { this.at = Math.min(n - 1, Math.max(0, to)); this.drawTabs(this.box); };
    const act = (what) => { e.preventDefault(); this.tell(what); };
    if (d.looking && !["ArrowUp", "ArrowDown"].includes(e.key)) return;
    if (e.altKey && (e.key === "ArrowUp" || e.key === "ArrowDown")) {
      let to = i; const by = e.key === "ArrowUp" ? 1 : -1;
      do to += by; while (this.stripes[to]?.held);
      e.preventDefault();
      if (!this.stripes[to] || s.held) return;
      this.arrange(i, to); this.at = to; if (this.chosen === i) this.chosen = to;
      this.draw();
      this.tell({ do: "move", id: i, to });
    } else if (e.ctrlKey || e.metaKey || e.altKey) return;
    else if (e.key === "ArrowUp") { e.preventDefault(); go(i + 1); }
    else if (e.key === "ArrowDown") { e.preventDefault(); go(i - 1); }
    else if (e.key === "Home") { e.preventDefault(); go(0); }
    else if (e.key === "End") { e.preventDefault(); go(n - 1); }
    else if (e.key === "Enter" || e.key === " ") { e.preventDefault(); this.press(i); }
    else if ((e.key === "+" || e.key === "-") && !s.held) {
      const to = Math.max(1, s.rows + (e.key === "+" ? 1 : -1));
      if (to !== s.rows) { s.rows = to; this.draw(); act({ do: "rows", id: i, rows: to }); }
    } else if (e.key === "s" || e.key === "S") act({ do: "split", id: i });
    else if (e.key === "h" || e.key === "H") act({ do: "hold", id: i });
    else if (e.key === "Delete" || e.key === "Backspace") act({ do: "remove", id: i });
  }
}

export default function (component) {
  const [data] = component.data ?? [], { parentElement, setTriggerValue } = component;
  const root = parentElement.querySelector(".picture");
  if (!root) return;
  root.picture ??= new Picture(root);
  root.picture.take(data, (name, value) => setTriggerValue(name, value));
}
