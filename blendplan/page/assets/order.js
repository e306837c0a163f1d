// A list whose items are put in order by dragging or by keys; it tells of every move and hands back the order.
export default function (component) {
  const { data, parentElement, setTriggerValue } = component;
  const list = parentElement.querySelector("ol");
  const live = parentElement.querySelector(".live");
  if (!data || !list) return;
  const words = data.words;
  const fill = (text, values) => text.replace(/\{(\w+)\}/g, (_, k) => values[k]);
  let order = data.items.map((_, i) => i);
  const keep = parentElement.host || parentElement;
  const focusAfter = keep.__bpFocus;
  keep.__bpFocus = undefined;

  const send = (focus) => {
    keep.__bpFocus = focus;
    setTriggerValue("order", order);
  };
  const move = (from, to, focus) => {
    if (to < 0 || to >= order.length || to === from) return;
    const [item] = order.splice(from, 1);
    order.splice(to, 0, item);
    live.textContent = fill(words.moved, { name: data.items[item].name, place: to + 1, all: order.length });
    send({ at: to, what: focus });
  };

  // A locked item stays where it is: the next place up or down is the next that is free.
  const next = (from, by) => {
    let to = from + by;
    while (data.items[to] && data.items[to].locked) to += by;
    return data.items[to] && !data.items[from].locked ? to : -1;
  };

  const scrolled = list.scrollTop;
  list.replaceChildren();
  list.setAttribute("aria-label", words.list);
  list.classList.toggle("long", Boolean(data.long));
  data.items.forEach((item, i) => {
    const li = document.createElement("li");
    li.dataset.at = i;
    li.classList.toggle("locked", Boolean(item.locked));
    const grip = document.createElement("span");
    grip.className = "grip";
    grip.setAttribute("aria-hidden", "true");
    grip.textContent = item.locked ? "" : "⠿";
    const ground = document.createElement("span");
    ground.className = "ground";
    const flat = document.createElement("span");
    flat.className = "flat";
    flat.style.background = item.srgb;
    flat.style.color = item.ink;
    flat.textContent = i + 1;
    flat.setAttribute("aria-hidden", "true");
    ground.append(flat);
    const name = document.createElement(words.pick ? "button" : "span");
    name.className = "name";
    name.textContent = item.name;
    if (words.pick) {
      name.type = "button";
      name.dataset.what = "pick";
      name.title = fill(words.pick, { name: item.name, n: i + 1 });
      if (i === data.chosen) name.setAttribute("aria-current", "true");
      name.addEventListener("click", () => {
        keep.__bpFocus = { at: i, what: "pick" };
        setTriggerValue("pick", i);
      });
    }
    li.append(grip, ground, name);
    const button = (what, sign, label, act, off) => {
      const b = document.createElement("button");
      b.type = "button";
      b.textContent = sign;
      b.dataset.what = what;
      b.setAttribute("aria-label", fill(label, { name: item.name, n: i + 1 }));
      b.title = b.getAttribute("aria-label");
      b.disabled = off;
      b.addEventListener("click", act);
      li.append(b);
    };
    button("up", "↑", words.up, () => move(i, next(i, -1), "up"), next(i, -1) < 0);
    button("down", "↓", words.down, () => move(i, next(i, 1), "down"), next(i, 1) < 0);
    button("remove", "×", words.remove, () => {
      order.splice(i, 1);
      live.textContent = fill(words.removed, { name: item.name });
      send({ at: Math.min(i, order.length - 1), what: "remove" });
    }, data.items.length === 1 || Boolean(item.locked));
    li.addEventListener("keydown", (event) => {
      if (!event.altKey) return;
      if (event.key === "ArrowUp") { event.preventDefault(); move(i, next(i, -1), "up"); }
      if (event.key === "ArrowDown") { event.preventDefault(); move(i, next(i, 1), "down"); }
    });
    grip.addEventListener("pointerdown", (event) => {
      if (event.button || item.locked) return;
      event.preventDefault();
      grip.setPointerCapture(event.pointerId);
      li.classList.add("held");
      let to = i;
      const rows = [...list.children];
      grip.onpointermove = (e) => {
        const y = e.clientY;
        // Near its edges a long list moves on under the held item.
        const frame = list.getBoundingClientRect();
        if (y < frame.top + 30) list.scrollTop -= 12;
        if (y > frame.bottom - 30) list.scrollTop += 12;
        to = rows.reduce((best, row, k) => {
          const r = row.getBoundingClientRect();
          return y > r.top + r.height / 2 ? k : best;
        }, -1);
        to = to < i ? to + 1 : to;
        rows.forEach((row, k) => {
          row.classList.toggle("before", k === to && to < i);
          row.classList.toggle("after", k === to && to > i);
        });
      };
      grip.onpointerup = grip.onpointercancel = () => {
        grip.onpointermove = grip.onpointerup = grip.onpointercancel = null;
        li.classList.remove("held");
        rows.forEach((row) => row.classList.remove("before", "after"));
        move(i, to, "up");
      };
    });
    list.append(li);
  });
  list.scrollTop = scrolled;
  if (focusAfter) {
    const row = list.children[focusAfter.at];
    const target = row && (row.querySelector(`button[data-what="${focusAfter.what}"]:not(:disabled)`) || row.querySelector("button:not(:disabled)"));
    if (target) target.focus();
  }
}
