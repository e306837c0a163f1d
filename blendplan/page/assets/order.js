// A list put in order by dragging or by keys; as in the picture, the first worked stands at the bottom.
export default function (component) {
  const [data] = component.data ?? [], { parentElement, setTriggerValue } = component;
  const list = parentElement.querySelector("ol"), live = parentElement.querySelector(".live");
  if (!data || !list) return;
  const words = data.words, count = data.items.length, order = data.items.map((_, i) => i);
  const keep = parentElement.host || parentElement, focusAfter = keep.__bpFocus;
  keep.__bpFocus = undefined;

  const send = (focus) => { keep.__bpFocus = focus; setTriggerValue("order", order); };
  // `up` is towards the top, so to a later place.
  const move = (from, to, what) => {
    if (to < 0 || to >= count || to === from) return;
    order.splice(to, 0, ...order.splice(from, 1));
    live.textContent = fill(words.moved, { name: data.items[from].name, place: to + 1, all: count });
    send({ at: to, what });
  };

  const scrolled = list.scrollTop;
  list.setAttribute("aria-label", words.list);
  list.classList.toggle("long", Boolean(data.long));
  list.replaceChildren(...data.items.map((item, i) => {
    const grip = el("span", { class: "grip", "aria-hidden": "true", text: "⠿" });
    const button = (what, text, label, act, disabled) => {
      const told = fill(label, { name: item.name, n: i + 1 });
      return el("button", { type: "button", "data-what": what, "aria-label": told, title: told, onclick: act, text, ...(disabled ? { disabled: "" } : {}) });
    };
    const li = el("li", { "data-at": i, onkeydown: (e) => {
      const by = { ArrowUp: 1, ArrowDown: -1 }[e.key];
      if (e.altKey && by) { e.preventDefault(); move(i, i + by, by > 0 ? "up" : "down"); }
    } }, grip, el("span", { class: "ground", "aria-hidden": "true" },
      el("span", { class: "flat", style: `background:${item.srgb};color:${item.ink}`, text: i + 1 })), el("span", { class: "name", text: item.name }),
    button("up", "↑", words.up, () => move(i, i + 1, "up"), i === count - 1),
    button("down", "↓", words.down, () => move(i, i - 1, "down"), i === 0),
    button("remove", "×", words.remove, () => {
      order.splice(i, 1);
      live.textContent = fill(words.removed, { name: item.name });
      send({ at: Math.min(i, order.length - 1), what: "remove" });
    }, count === 1));
    grip.addEventListener("pointerdown", (event) => {
      if (event.button) return;
      event.preventDefault();
      grip.setPointerCapture(event.pointerId);
      li.classList.add("held");
      let to = i;
      const rows = [...list.children];
      grip.onpointermove = (e) => {
        // Near its edges a long list moves on under the held item.
        const y = e.clientY, frame = list.getBoundingClientRect();
        if (y < frame.top + 30) list.scrollTop -= 12;
        if (y > frame.bottom - 30) list.scrollTop += 12;
        const below = rows.filter((row) => { const r = row.getBoundingClientRect(); return row !== li && y < r.top + r.height / 2; });
        to = below.length;
        rows.forEach((row) => {
          const at = Number(row.dataset.at);
          row.classList.toggle("after", at === to && to < i);
          row.classList.toggle("before", at === to && to > i);
        });
      };
      grip.onpointerup = grip.onpointercancel = () => {
        grip.onpointermove = grip.onpointerup = grip.onpointercancel = null;
        li.classList.remove("held");
        rows.forEach((row) => row.classList.remove("before", "after"));
        move(i, to, "up");
      };
    });
    return li;
  }).reverse());
  list.scrollTop = scrolled;
  const row = focusAfter && list.querySelector(`li[data-at="${focusAfter.at}"]`);
  (row?.querySelector(`button[data-what="${focusAfter.what}"]:not(:disabled)`) || row?.querySelector("button:not(:disabled)"))?.focus();
}
