// Photographs of yarn. A door that opens the file list or the camera, and one photograph with its yarns: touch one to
// mark it or draw a box round it; choose, move, size and take out by pointer or keys; or tap spots such as white paper.
// Plain DOM in the component mount of the page library; nothing is loaded from outside.
const NS = "http://www.w3.org/2000/svg";
const make = (tag, css, over, text) => {
  const el = document.createElement(tag);
  if (css) el.className = css;
  if (text) el.textContent = text;
  over?.append(el);
  return el;
};
const clamp = (v, lo, hi) => Math.min(hi, Math.max(lo, v));

export default function (component) {
  const [data] = component.data ?? [], { parentElement } = component;
  const root = parentElement.querySelector(".ph");
  if (!data || !root) return;
  if (data.up) return up(root, data.up);
  if (data.door) return door(root, data.door);
  return photograph(root, data, component.setTriggerValue);
}

// ---- what was opened is seen from its top

function up(root, to) {
  if (root.to && root.to !== to) document.querySelector("[data-testid=stMain]")?.scrollTo({ top: 0 });
  root.to = to;
}

// ---- the door: a button presses the ordinary file field that stands hidden beside it

function door(root, data) {
  const known = root.door;
  root.door = data;
  if (known) {
    // The buttons stay; only what they say and do changes.
    const words = [data.words.start, data.words.camera, data.words.have];
    root.querySelectorAll("button").forEach((b, i) => { if (b.textContent !== words[i]) b.textContent = words[i]; });
    return;
  }
  root.className = "ph door";
  const bar = make("div", "bar", root), live = make("p", "refused", root);
  live.setAttribute("role", "alert");
  const here = () => `.st-key-${root.door.field}`, field = () => document.querySelector(`${here()} input[type=file]`);
  // The field may come a little after the door, and a browser lets a press open it for some seconds.
  const ask = (camera, until = Date.now() + 4000) => {
    const input = field();
    if (!input) {
      if (Date.now() < until) setTimeout(ask, 50, camera, until);
      return;
    }
    input.accept = root.door.accept;
    if (camera) input.setAttribute("capture", "environment");
    else input.removeAttribute("capture");
    input.click();
  };
  const button = (text, css, camera) => {
    const b = make("button", css, bar, text);
    b.type = "button";
    b.addEventListener("click", () => ask(camera));
  };
  const main = data.first ? "main " : "";
  button(data.words.start, `${main}desk`, false);
  button(data.words.camera, `${main}phone`, true);
  button(data.words.have, "phone", false);
  // What is too large or too many is said here before it is sent, and the rest goes on.
  const sift = (files) => {
    const { bytes, room, words } = root.door, fit = [...files].filter((f) => f.size <= bytes);
    const said = [...files].filter((f) => f.size > bytes).map((f) => words.large.replace("{name}", f.name));
    if (fit.length > room) said.push(words.many);
    live.textContent = said.join(" ");
    const kept = new DataTransfer();
    fit.slice(0, room).forEach((f) => kept.items.add(f));
    return kept.files;
  };
  const taken = (event) => {
    if (!root.isConnected) {
      document.removeEventListener("change", taken, true);
      return;
    }
    if (!event.target?.closest?.(here())) return;
    const fit = sift(event.target.files);
    if (fit.length === event.target.files.length) return;
    event.target.files = fit;
    if (!fit.length) event.stopImmediatePropagation();
  };
  document.addEventListener("change", taken, true);
  root.addEventListener("dragover", (event) => event.preventDefault());
  root.addEventListener("drop", (event) => {
    event.preventDefault();
    const input = field(), fit = sift(event.dataTransfer?.files ?? []);
    if (!input || !fit.length) return;
    input.files = fit;
    input.dispatchEvent(new Event("change", { bubbles: true }));
  });
}

// ---- one photograph

function photograph(root, data, send_) {
  const words = data.words;
  const [fullW, fullH] = data.full;
  const boxes = data.boxes.map((b, at) => ({ ...b, box: b.box.slice(), at }));
  const tapping = data.taps.length > 0;
  // What lasts from one drawing to the next: the yarn that is chosen, and where the keys were.
  const kept = (root.kept ??= { chosen: null, tapping: false, keys: null });
  const active = root.getRootNode().activeElement;
  const keysAt = active && root.contains(active) && active.classList.contains("box") ? kept.chosen : null;
  if (kept.chosen !== null && kept.chosen >= boxes.length) kept.chosen = null;
  let drawing = false;

  root.querySelectorAll(".stage, .bar, .hint").forEach((el) => el.remove());
  // The line that speaks stays the same element, so that a screen reader hears what changes in it.
  const live = root.querySelector(".live") ?? make("p", "live", root);
  live.setAttribute("role", "status");
  const stage = make("div", "stage", root);
  stage.style.setProperty("--ratio", fullW / fullH);
  const img = make("img", "", stage);
  img.src = data.image;
  img.alt = words.photo;
  img.draggable = false;
  const bar = make("div", "bar", root);

  const say = (text) => { live.textContent = text; };
  // A frame that was put up is read once it was moved by hand, or by Enter.
  const send = () => send_("boxes", boxes.filter((b) => !b.waits).map((b) => [b.box.map((v) => Math.round(v)), b.at ?? null]));
  const at = (event) => {
    const r = stage.getBoundingClientRect();
    return [clamp(((event.clientX - r.left) / r.width) * fullW, 0, fullW),
            clamp(((event.clientY - r.top) / r.height) * fullH, 0, fullH)];
  };
  const put = (el, [x, y]) => { el.style.left = `${(100 * x) / fullW}%`; el.style.top = `${(100 * y) / fullH}%`; };
  const place = (el, [l, t, r, b]) => {
    put(el, [l, t]);
    el.style.width = `${(100 * (r - l)) / fullW}%`;
    el.style.height = `${(100 * (b - t)) / fullH}%`;
  };
  const arrows = (event) => {
    const step = (event.altKey ? 0.002 : 0.01) * fullW;
    return { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, -step], ArrowDown: [0, step] }[event.key];
  };
  const moveBy = (b, dx, dy) => {
    const [l, t, r, bt] = b.box;
    const mx = clamp(dx, -l, fullW - r), my = clamp(dy, -t, fullH - bt);
    b.box = [l + mx, t + my, r + mx, bt + my];
  };
  const sizeBy = (b, dx, dy) => {
    const [l, t, r, bt] = b.box;
    b.box = [l, t, clamp(r + dx, l + 8, fullW), clamp(bt + dy, t + 8, fullH)];
  };
  // The card of a yarn stands outside of this component; it is brought into view and basted for a moment.
  const open = (i) => {
    const card = document.querySelector(`.st-key-${data.cards}${i}`);
    card?.scrollIntoView({ block: "nearest" });
    card?.animate([{ outline: "3px dashed currentColor", outlineOffset: "6px" },
      { outline: "3px dashed currentColor", outlineOffset: "6px", offset: 0.9 },
      { outline: "3px dashed transparent", outlineOffset: "6px" }], { duration: 2500 });
  };
  const button = (text, act) => {
    const b = make("button", "", bar, text);
    b.type = "button";
    b.addEventListener("click", () => act(b));
    return b;
  };
  // Polygons in the photograph's pixels, each drawn dark and over it light, so that they are seen on any ground.
  const polygons = (css, rings, lines = ["under", "over"]) => {
    const drawn = document.createElementNS(NS, "svg");
    drawn.setAttribute("class", css);
    drawn.setAttribute("viewBox", `0 0 ${fullW} ${fullH}`);
    drawn.setAttribute("preserveAspectRatio", "none");
    drawn.setAttribute("aria-hidden", "true");
    for (const line of lines) {
      for (const ring of rings) {
        const side = document.createElementNS(NS, "polygon");
        side.setAttribute("points", ring.map((c) => c.join(",")).join(" "));
        side.setAttribute("class", line);
        drawn.append(side);
      }
    }
    stage.append(drawn);
    return drawn;
  };

  for (const white of data.white) {
    const el = make("div", white.asked ? "white asked" : "white", stage);
    place(el, white.box);
    make("span", "", el, white.label);
  }
  if (data.card) {
    const drawn = polygons("card", [data.card]);
    drawn.removeAttribute("aria-hidden");
    drawn.setAttribute("role", "img");
    drawn.setAttribute("aria-label", words.card);
    put(make("span", "card-tag", stage, words.card), data.card[0]);
  }
  if (tapping) tap();
  else work();
  kept.tapping = tapping;

  // Spots are taken one after the other: by a press, or by a cross that arrow keys move and Enter takes.
  function tap() {
    const spots = [], marks = [];
    stage.classList.add("tapping");
    const cross = make("div", "cross", stage);
    cross.tabIndex = 0;
    cross.setAttribute("role", "button");
    let spot = [fullW / 2, fullH / 2];
    const ask = () => {
      say(data.taps[spots.length]);
      cross.setAttribute("aria-label", `${data.taps[spots.length]} ${words.cross}`);
    };
    const take = ([x, y]) => {
      spots.push([clamp(Math.round(x), 0, fullW - 1), clamp(Math.round(y), 0, fullH - 1)]);
      const mark = make("span", "mark", stage, data.taps.length > 1 ? String(spots.length) : "");
      put(mark, spots[spots.length - 1]);
      marks.push(mark);
      if (spots.length < data.taps.length) ask();
      else {
        say("");
        send_("taps", spots);
      }
    };
    stage.addEventListener("click", (event) => {
      if (spots.length < data.taps.length) take(at(event));
    });
    cross.addEventListener("keydown", (event) => {
      const d = arrows(event);
      if (d) spot = [clamp(spot[0] + d[0], 0, fullW - 1), clamp(spot[1] + d[1], 0, fullH - 1)];
      else if (event.key === "Enter" && spots.length < data.taps.length) take(spot);
      else return;
      event.preventDefault();
      put(cross, spot);
    });
    put(cross, spot);
    if (data.taps.length > 1) {
      button(words.back, () => {
        spots.pop();
        marks.pop()?.remove();
        ask();
      });
    }
    make("p", "hint", bar, words.cross);
    ask();
    if (!kept.tapping) {
      cross.focus({ preventScroll: true });
      root.scrollIntoView({ block: "center" });
    }
  }

  function work() {
    if (kept.tapping) say("");
    const lines = boxes.map((b) => (b.outline?.length ? polygons("outline", b.outline) : null));
    const drawn = boxes.map((b, i) => box(b, i));
    const add = button(words.add, () => {
      const i = boxes.push({ box: data.free.slice(), at: null, waits: true, label: words.add, tag: "" }) - 1;
      lines.push(null);
      drawn.push(box(boxes[i], i));
      drawn[i].focus({ preventScroll: true });
      say(words.added);
    });
    const remove = (i) => {
      if (boxes[i].waits) {
        boxes.splice(i, 1);
        lines.splice(i, 1);
        drawn.splice(i, 1)[0].remove();
        choose(null);
        say(words.removed);
        add.focus({ preventScroll: true });
        return;
      }
      boxes.splice(i, 1);
      kept.chosen = null;
      say(words.removed);
      kept.keys = "add";
      send();
    };
    const gone = button(words.remove, () => remove(kept.chosen));
    gone.classList.add("cut");
    if (window.matchMedia("(pointer: coarse)").matches) {
      button(words.draw, (b) => {
        drawing = !drawing;
        stage.classList.toggle("drawing", drawing);
        b.setAttribute("aria-pressed", String(drawing));
      });
    }
    if (boxes.length) make("p", "hint fine", bar, `${words.tabs} ${words.keys}`);
    const choose = (i) => {
      kept.chosen = i;
      drawn.forEach((el, k) => el.classList.toggle("chosen", k === i));
      lines.forEach((el, k) => el?.classList.toggle("chosen", k === i));
      gone.disabled = i === null;
      gone.hidden = i === null;
    };
    choose(kept.chosen);
    if (kept.keys === "add") add.focus({ preventScroll: true });
    else if (kept.keys === "chosen" || keysAt !== null) drawn[kept.chosen]?.focus({ preventScroll: true });
    kept.keys = null;

    function box(b, i) {
      const el = make("div", b.touched ? "box touched" : "box", stage);
      el.tabIndex = 0;
      el.setAttribute("role", "group");
      el.setAttribute("aria-label", `${b.label}. ${words.keys}`);
      // Its letter on a small swing tag, which hangs by a thread on the outline.
      const tag = make("span", "tag", el, b.tag);
      tag.style.setProperty("--yarn", b.srgb);
      const grip = make("span", "grip", el);
      grip.setAttribute("aria-hidden", "true");
      place(el, b.box);
      el.addEventListener("focus", () => choose(i));
      // A touched yarn has no box to drag: a press inside its outline chooses it, one beside it is a touch.
      el.addEventListener("pointerdown", (event) => {
        if (event.button || b.touched) return;
        event.stopPropagation();
        event.preventDefault();
        el.focus({ preventScroll: true });
        choose(i);
        el.setPointerCapture(event.pointerId);
        let last = at(event), moved = false;
        const resize = event.target === grip;
        el.onpointermove = (e) => {
          const now = at(e);
          (resize ? sizeBy : moveBy)(b, now[0] - last[0], now[1] - last[1]);
          last = now;
          moved = true;
          place(el, b.box);
        };
        el.onpointerup = el.onpointercancel = () => {
          el.onpointermove = el.onpointerup = el.onpointercancel = null;
          if (moved) {
            b.waits = false;
            send();
          } else open(i);
        };
      });
      let timer = null;
      el.addEventListener("keydown", (event) => {
        const d = b.touched ? null : arrows(event);
        if (d) {
          event.preventDefault();
          (event.shiftKey ? sizeBy : moveBy)(b, d[0], d[1]);
          place(el, b.box);
          clearTimeout(timer);
          if (!b.waits) timer = setTimeout(send, 700);
        } else if (event.key === "Delete" || event.key === "Backspace") {
          event.preventDefault();
          remove(i);
        } else if (event.key === "Enter" && b.waits) {
          event.preventDefault();
          b.waits = false;
          kept.keys = "chosen";
          send();
        } else if (event.key === "Enter") open(i);
      });
      return el;
    }

    const inside = (ring, [x, y]) => {
      let odd = false;
      for (let i = 0, j = ring.length - 1; i < ring.length; j = i++) {
        const [x0, y0] = ring[i], [x1, y1] = ring[j];
        if (y0 > y !== y1 > y && x < ((x1 - x0) * (y - y0)) / (y1 - y0) + x0) odd = !odd;
      }
      return odd;
    };
    const touch = (spot) => {
      const own = boxes.findIndex((b) => b.outline?.some((ring) => inside(ring, spot)));
      if (own >= 0) {
        drawn[own].focus({ preventScroll: true });
        open(own);
      } else send_("touch", [Math.round(spot[0]), Math.round(spot[1])]);
    };
    // A finger that does not draw: a tap is a touch, a drag scrolls the page.
    stage.addEventListener("click", (event) => {
      if (event.pointerType === "touch" && !drawing) touch(at(event));
    });
    stage.addEventListener("pointerdown", (event) => {
      // A finger scrolls the page unless "draw" was pressed; a mouse or pen draws at once.
      if (event.button || (event.pointerType === "touch" && !drawing)) return;
      event.preventDefault();
      stage.setPointerCapture(event.pointerId);
      const [x, y] = at(event);
      const el = make("div", "box new", stage);
      let made = [x, y, x, y];
      stage.onpointermove = (e) => {
        const [u, v] = at(e);
        made = [Math.min(x, u), Math.min(y, v), Math.max(x, u), Math.max(y, v)];
        place(el, made);
      };
      stage.onpointerup = stage.onpointercancel = () => {
        stage.onpointermove = stage.onpointerup = stage.onpointercancel = null;
        el.remove();
        if (made[2] - made[0] < fullW * 0.01 || made[3] - made[1] < fullH * 0.01) {
          touch([x, y]);
          return;
        }
        boxes.push({ box: made, at: null });
        kept.chosen = boxes.length - 1;
        drawing = false;
        send();
      };
    });
  }
}
