// The sum line and the shelf of yarns, whose skeins fill with what the blanket takes; both listen to the picture.
const SKEIN = "M11.5 1.5C19.8 1.5 21.5 8 20.4 18L20.4 32C21.5 42 19.8 48.5 11.5 48.5 3.2 48.5 1.5 42 2.6 32L2.6 18C1.5 8 3.2 1.5 11.5 1.5Z";
const MOST = 6;
let count = 0;
// One skein: whole outline on hand, pale whole outline to buy; filled from below by the share that is used.
const skein = (colour, filled, here) => {
  const id = `sk${count++}`, top = 1.5 + (1 - Math.min(1, Math.max(0, filled))) * 47;
  const wound = [];
  for (let y = 4; y < 60; y += 4) wound.push(`M-4 ${y}Q11.5 ${y - 7} 27 ${y - 1}`);
  const rect = (attrs) => svg("rect", { width: 23, ...attrs });
  const inside = svg("g", { "clip-path": `url(#${id})` }, rect({ height: 50, fill: "var(--paper)", "fill-opacity": .55 }));
  if (filled > 0) inside.append(svg("g", { style: `clip-path:inset(${top}px 0 0 0)` }, rect({ height: 50, fill: colour }), svg("path", { d: wound.join(""), stroke: "#000", "stroke-opacity": .2, fill: "none" })));
  inside.append(rect({ y: 20, height: 11, fill: "var(--paper)" }));
  return svg("svg", { width: 23, height: 50, viewBox: "0 0 23 50", "aria-hidden": "true" },
    svg("defs", {}, svg("clipPath", { id }, svg("path", { d: SKEIN }))), inside,
    svg("path", { d: SKEIN, fill: "none", stroke: "var(--ink)", "stroke-opacity": here ? .85 : .32, "stroke-width": 1.3 }));
};

class Shelf {
  constructor(root) {
    this.root = root;
    window.addEventListener("blendplan-count", (e) => { if (root.isConnected && this.data) this.fill(e.detail); });
  }

  take(data, send) {
    this.send = send;
    if (!data) return;
    this.data = data;
    this.fill(data.sum);
  }

  fill(sum) {
    const d = this.data, focused = this.root.getRootNode().activeElement?.dataset?.k;
    const go = (place) => () => this.send("press", { go: place });
    const parts = [["size", sum.size, "size"], ["skeins", sum.skeins, "buying"], ["price", sum.price, "buying"], ["chance", sum.chance, "buying"]].filter(([, text]) => text);
    const line = el("div", { class: "sum", role: "group", "aria-label": d.words.sum });
    parts.forEach(([key, text, place]) => {
      line.append(el("button", { type: "button", "data-k": key, onclick: go(place), text }));
    });
    line.append(el("button", { type: "button", class: d.assumed ? "assumed" : "", "data-k": "fabric", onclick: go("fabric"), text: d.fabric }));
    this.root.replaceChildren(line);
    if (!d.bare) this.root.append(this.row(sum));
    if (focused) this.root.querySelector(`[data-k="${focused}"]`)?.focus();
    if (!d.bare) this.twist();
  }

  row(sum) {
    const d = this.data, few = d.yarns.length <= 6;
    const list = el("ul", { "aria-label": d.words.shelf, class: few ? "few" : "", style: `--n:${d.yarns.length}` });
    d.yarns.forEach((yarn, i) => {
      const of = sum.yarns[i] ?? { used: 0, have: 0, part: 0, buy: 0, words: "" };
      const all = of.have + of.buy, skeins = el("span", { class: "skeins" });
      if (all > MOST) skeins.append(skein(yarn.srgb, Math.min(1, of.used / all), of.have > 0), el("span", { class: "many", text: d.words.of.replace("{used}", of.used.toFixed(1)).replace("{all}", all) }));
      else for (let k = 0; k < Math.max(1, all); k++) skeins.append(skein(yarn.srgb, of.used - of.part - k, k < of.have || (all === 0 && of.part > 0)));
      const label = el("span", { class: "lab" }, el("b", { text: yarn.letter }), yarn.name, el("span", { class: "soft", text: of.words }));
      list.append(el("li", {}, el("button", { type: "button", class: `yarn${yarn.chosen ? " on" : ""}`, "data-k": `y${i}`, "aria-pressed": String(yarn.chosen),
        onclick: () => this.send("press", { yarn: yarn.key }), onkeydown: (e) => this.arrow(e, i) }, skeins, el("span", { class: "board" }), label)));
    });
    list.append(el("li", {}, el("button", { type: "button", class: "yarn", "data-k": "add", onclick: () => this.send("press", { go: "yarn" }) }, el("span", { class: "skeins" }, el("span", { class: "plus", "aria-hidden": "true", text: "+" })), el("span", { class: "board" }), el("span", { class: "lab", text: d.words.add }))));
    return list;
  }

  arrow(e, i) {
    const by = { ArrowRight: 1, ArrowLeft: -1 }[e.key];
    if (!by) return;
    e.preventDefault();
    this.root.querySelector(`[data-k="y${i + by}"]`)?.focus();
  }

  // Two chosen yarns: their strands twist into one above the shelf.
  twist() {
    const on = [...this.root.querySelectorAll(".yarn.on")];
    if (on.length !== 2) return;
    const frame = this.root.getBoundingClientRect(), [a, b] = on.map((n) => n.getBoundingClientRect());
    if (Math.abs(a.top - b.top) > 4) return;
    // On a large desk all of this stands in a zoom.
    const k = frame.width / this.root.offsetWidth, middle = (box) => (box.left + box.width / 2 - frame.left) / k;
    const y = (a.top - frame.top) / k - 6, x0 = middle(a), x1 = middle(b), [lo, hi] = x0 < x1 ? [x0, x1] : [x1, x0];
    const colours = this.data.yarns.filter((yarn) => yarn.chosen).map((yarn) => yarn.srgb);
    const m0 = lo + (hi - lo) * .25, m1 = lo + (hi - lo) * .75, up = y - 18;
    const strand = (d, c, more = {}) => svg("path", { d, fill: "none", stroke: c, "stroke-width": 5, "stroke-linecap": "round", ...more });
    const mid = `M${m0} ${up}C${m0 + 30} ${up - 6} ${m1 - 30} ${up + 6} ${m1} ${up}`;
    this.root.append(svg("svg", { class: "twist", style: `top:0;height:${y}px`, "aria-hidden": "true" },
      strand(`M${lo} ${y}C${lo} ${up} ${lo + 20} ${up} ${m0} ${up}`, colours[0]), strand(`M${hi} ${y}C${hi} ${up} ${hi - 20} ${up} ${m1} ${up}`, colours[1]),
      strand(mid, colours[0]), strand(mid, colours[1], { "stroke-dasharray": "9 9", "stroke-linecap": "butt" })));
  }
}

export default function (component) {
  const [data] = component.data ?? [], { parentElement, setTriggerValue } = component;
  const root = parentElement.querySelector(".shelf");
  if (!root) return;
  root.shelf ??= new Shelf(root);
  root.shelf.take(data, (name, value) => setTriggerValue(name, { ...value, at: Date.now() }));
}
