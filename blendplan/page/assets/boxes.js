// Boxes on a photo: draw with a pointer, move and size by pointer or keys, remove, or tap a white spot.
// Plain DOM in the component mount of the page library; nothing is loaded from outside.
export default function (component) {
  const { data, parentElement, setTriggerValue } = component;
  const root = parentElement.querySelector(".bx");
  if (!data || !root) return;
  const words = data.words;
  const [fullW, fullH] = data.full;
  let boxes = data.boxes.map((b) => ({ box: b.box.slice(), label: b.label, tag: b.tag }));
  let picking = data.mode === "white";
  let drawing = false;

  root.replaceChildren();
  const stage = document.createElement("div");
  stage.className = "stage";
  stage.style.aspectRatio = `${fullW} / ${fullH}`;
  const img = document.createElement("img");
  img.src = data.image;
  img.alt = words.photo;
  img.draggable = false;
  stage.append(img);
  const bar = document.createElement("div");
  bar.className = "bar";
  const live = document.createElement("p");
  live.className = "live";
  live.setAttribute("role", "status");
  root.append(stage, bar, live);

  const clamp = (v, lo, hi) => Math.min(hi, Math.max(lo, v));
  const send = () => setTriggerValue("boxes", boxes.map((b) => b.box.map((v) => Math.round(v))));
  const say = (text) => { live.textContent = text; };
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

  const moveBy = (b, dx, dy) => {
    const [l, t, r, bt] = b.box;
    const mx = clamp(dx, -l, fullW - r), my = clamp(dy, -t, fullH - bt);
    b.box = [l + mx, t + my, r + mx, bt + my];
  };
  const sizeBy = (b, dx, dy) => {
    const [l, t, r, bt] = b.box;
    b.box = [l, t, clamp(r + dx, l + 8, fullW), clamp(bt + dy, t + 8, fullH)];
  };

  if (data.white) {
    const el = document.createElement("div");
    el.className = "white";
    place(el, data.white);
    const tag = document.createElement("span");
    tag.textContent = words.white;
    el.append(tag);
    stage.append(el);
  }

  boxes.forEach((b, i) => {
    const el = document.createElement("div");
    el.className = "box";
    el.tabIndex = 0;
    el.setAttribute("role", "group");
    el.setAttribute("aria-label", `${b.label}. ${words.keys}`);
    const tag = document.createElement("span");
    tag.className = "tag";
    tag.textContent = b.tag;
    const grip = document.createElement("span");
    grip.className = "grip";
    grip.setAttribute("aria-hidden", "true");
    el.append(tag, grip);
    place(el, b.box);
    el.addEventListener("pointerdown", (event) => {
      if (picking || event.button) return;
      event.stopPropagation();
      event.preventDefault();
      el.focus();
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
      const step = (event.altKey ? 0.002 : 0.01) * fullW;
      const d = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, -step], ArrowDown: [0, step] }[event.key];
      if (d) {
        event.preventDefault();
        (event.shiftKey ? sizeBy : moveBy)(b, d[0], d[1]);
        place(el, b.box);
        clearTimeout(timer);
        timer = setTimeout(send, 700);
      } else if (event.key === "Delete" || event.key === "Backspace") {
        event.preventDefault();
        boxes.splice(i, 1);
        say(words.removed);
        send();
      }
    });
    stage.append(el);
  });

  stage.addEventListener("pointerdown", (event) => {
    if (event.button) return;
    if (picking) {
      event.preventDefault();
      setTriggerValue("spot", at(event).map((v) => Math.round(v)));
      return;
    }
    // A finger scrolls the page unless "draw" was pressed; a mouse or pen draws at once.
    if (event.pointerType === "touch" && !drawing) return;
    event.preventDefault();
    stage.setPointerCapture(event.pointerId);
    const [x, y] = at(event);
    const el = document.createElement("div");
    el.className = "box new";
    stage.append(el);
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
      boxes.push({ box: made });
      drawing = false;
      send();
    };
  });

  const button = (text, act) => {
    const b = document.createElement("button");
    b.type = "button";
    b.textContent = text;
    b.addEventListener("click", () => act(b));
    bar.append(b);
    return b;
  };
  if (picking) {
    stage.classList.add("picking");
    say(words.tap);
  } else {
    button(words.add, () => {
      boxes.push({ box: [fullW * 0.4, fullH * 0.4, fullW * 0.6, fullH * 0.6] });
      send();
    });
    if (window.matchMedia("(pointer: coarse)").matches) {
      button(words.draw, (b) => {
        drawing = !drawing;
        stage.classList.toggle("drawing", drawing);
        b.setAttribute("aria-pressed", String(drawing));
      });
    }
  }
}
