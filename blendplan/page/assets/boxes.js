// Boxes on a photo: draw with a pointer, choose, move, size and remove by pointer or keys; or tap spots on it.
// Plain DOM in the component mount of the page library; nothing is loaded from outside.
export default function (component) {
  const { data, parentElement, setTriggerValue } = component;
  const root = parentElement.querySelector(".bx");
  if (!data || !root) return;
  const words = data.words;
  const [fullW, fullH] = data.full;
  const boxes = data.boxes.map((b, at) => ({ box: b.box.slice(), label: b.label, tag: b.tag, at }));
  const tapping = data.taps.length > 0;
  // What lasts from one drawing to the next: the box that is chosen, and where the keys were.
  const kept = (root.kept ??= { chosen: null, tapping: false, keys: null });
  const active = root.getRootNode().activeElement;
  const keysAt = active && root.contains(active) && active.classList.contains("box") ? kept.chosen : null;
  if (kept.chosen !== null && kept.chosen >= boxes.length) kept.chosen = null;
  let drawing = false;

  const make = (tag, css, over) => {
    const el = document.createElement(tag);
    el.className = css;
    if (over) over.append(el);
    return el;
  };
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

  const clamp = (v, lo, hi) => Math.min(hi, Math.max(lo, v));
  const say = (text) => { live.textContent = text; };
  const send = () => setTriggerValue("boxes", boxes.map((b) => [b.box.map((v) => Math.round(v)), b.at]));
  const at = (event) => {
    const r = stage.getBoundingClientRect();
    return [clamp(((event.clientX - r.left) / r.width) * fullW, 0, fullW),
            clamp(((event.clientY - r.top) / r.height) * fullH, 0, fullH)];
  };
  const place = (el, [l, t, r, b]) => {
    el.style.left = `${(100 * l) / fullW}%`;
    el.style.top = `${(100 * t) / fullH}%`;
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
  const button = (text, act) => {
    const b = make("button", "", bar);
    b.type = "button";
    b.textContent = text;
    b.addEventListener("click", () => act(b));
    return b;
  };

  if (data.white) {
    const el = make("div", "white", stage);
    place(el, data.white);
    make("span", "", el).textContent = words.white;
  }
  if (data.card) {
    const NS = "http://www.w3.org/2000/svg";
    const drawn = document.createElementNS(NS, "svg");
    drawn.setAttribute("class", "card");
    drawn.setAttribute("viewBox", `0 0 ${fullW} ${fullH}`);
    drawn.setAttribute("preserveAspectRatio", "none");
    drawn.setAttribute("role", "img");
    drawn.setAttribute("aria-label", words.card);
    for (const css of ["under", "over"]) {
      const side = document.createElementNS(NS, "polygon");
      side.setAttribute("points", data.card.map((c) => c.join(",")).join(" "));
      side.setAttribute("class", css);
      drawn.append(side);
    }
    stage.append(drawn);
    const tag = make("span", "card-tag", stage);
    tag.textContent = words.card;
    tag.style.left = `${(100 * data.card[0][0]) / fullW}%`;
    tag.style.top = `${(100 * data.card[0][1]) / fullH}%`;
  }

  if (tapping) tap();
  else work();
  kept.tapping = tapping;

  // Spots are taken one after the other: by a press, or by a cross that arrow keys move and Enter takes.
  function tap() {
    let spots = [], marks = [];
    stage.classList.add("tapping");
    const cross = make("div", "cross", stage);
    cross.tabIndex = 0;
    cross.setAttribute("role", "button");
    let spot = [fullW / 2, fullH / 2];
    const put = (el, [x, y]) => {
      el.style.left = `${(100 * x) / fullW}%`;
      el.style.top = `${(100 * y) / fullH}%`;
    };
    const ask = () => {
      say(data.taps[spots.length]);
      cross.setAttribute("aria-label", `${data.taps[spots.length]} ${words.cross}`);
    };
    const take = ([x, y]) => {
      spots.push([clamp(Math.round(x), 0, fullW - 1), clamp(Math.round(y), 0, fullH - 1)]);
      const mark = make("span", "mark", stage);
      mark.textContent = data.taps.length > 1 ? String(spots.length) : "";
      put(mark, spots[spots.length - 1]);
      marks.push(mark);
      if (spots.length < data.taps.length) ask();
      else {
        say("");
        setTriggerValue("taps", spots);
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
    make("p", "hint", bar).textContent = words.cross;
    ask();
    if (!kept.tapping) {
      cross.focus({ preventScroll: true });
      root.scrollIntoView({ block: "center" });
    }
  }

  function work() {
    if (kept.tapping) say("");
    const drawn = boxes.map((b, i) => box(b, i));
    const add = button(words.add, () => {
      boxes.push({ box: data.free, at: null });
      kept.chosen = boxes.length - 1;
      kept.keys = "chosen";
      say(words.added);
      send();
    });
    const remove = (i) => {
      boxes.splice(i, 1);
      kept.chosen = null;
      say(words.removed);
      kept.keys = "add";
      send();
    };
    const gone = button(words.remove, () => remove(kept.chosen));
    if (window.matchMedia("(pointer: coarse)").matches) {
      button(words.draw, (b) => {
        drawing = !drawing;
        stage.classList.toggle("drawing", drawing);
        b.setAttribute("aria-pressed", String(drawing));
      });
    }
    if (boxes.length) {
      make("p", "hint", bar).textContent = words.hint;
      make("p", "hint fine", bar).textContent = `${words.tabs} ${words.keys}`;
    }
    const choose = (i) => {
      kept.chosen = i;
      drawn.forEach((el, k) => el.classList.toggle("chosen", k === i));
      gone.disabled = i === null;
    };
    choose(kept.chosen);
    if (kept.keys === "add") add.focus({ preventScroll: true });
    else if (kept.keys === "chosen" || keysAt !== null) drawn[kept.chosen]?.focus({ preventScroll: true });
    kept.keys = null;

    function box(b, i) {
      const el = make("div", "box", stage);
      el.tabIndex = 0;
      el.setAttribute("role", "group");
      el.setAttribute("aria-label", `${b.label}. ${words.keys}`);
      make("span", "tag", el).textContent = b.tag;
      const grip = make("span", "grip", el);
      grip.setAttribute("aria-hidden", "true");
      place(el, b.box);
      el.addEventListener("focus", () => choose(i));
      el.addEventListener("pointerdown", (event) => {
        if (event.button) return;
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
          if (moved) send();
        };
      });
      let timer = null;
      el.addEventListener("keydown", (event) => {
        const d = arrows(event);
        if (d) {
          event.preventDefault();
          (event.shiftKey ? sizeBy : moveBy)(b, d[0], d[1]);
          place(el, b.box);
          clearTimeout(timer);
          timer = setTimeout(send, 700);
        } else if (event.key === "Delete" || event.key === "Backspace") {
          event.preventDefault();
          remove(i);
        }
      });
      return el;
    }

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
        if (made[2] - made[0] < fullW * 0.01 || made[3] - made[1] < fullH * 0.01) return;
        boxes.push({ box: made, at: null });
        kept.chosen = boxes.length - 1;
        drawing = false;
        send();
      };
    });
  }
}
