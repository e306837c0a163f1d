// A line on a picture: drawn with a pointer, its two ends moved by pointer or keys. The numbers stand beside it.
// Plain DOM in the component mount of the page library; nothing is loaded from outside.
export default function (component) {
  const [data] = component.data ?? [], { parentElement, setTriggerValue } = component;
  const root = parentElement.querySelector(".ln");
  if (!data || !root) return;
  const words = data.words;
  const [fullW, fullH] = data.full;
  const line = data.line.slice();
  const keep = parentElement.host || parentElement;
  const focusAfter = keep.__bpFocus;
  keep.__bpFocus = undefined;

  root.replaceChildren();
  const stage = document.createElement("div");
  stage.className = "stage";
  stage.style.aspectRatio = `${fullW} / ${fullH}`;
  stage.style.setProperty("--ratio", fullW / fullH);
  const img = document.createElement("img");
  img.src = data.image;
  img.alt = words.photo;
  img.draggable = false;
  const svg = document.createElementNS("http://www.w3.org/2000/svg", "svg");
  svg.setAttribute("viewBox", `0 0 ${fullW} ${fullH}`);
  svg.setAttribute("preserveAspectRatio", "none");
  svg.setAttribute("aria-hidden", "true");
  const strokes = ["under", "over"].map((name) => {
    const stroke = document.createElementNS("http://www.w3.org/2000/svg", "line");
    stroke.setAttribute("class", name);
    svg.append(stroke);
    return stroke;
  });
  stage.append(img, svg);
  root.append(stage);

  const clamp = (v, lo, hi) => Math.min(hi, Math.max(lo, v));
  const at = (event) => {
    const r = stage.getBoundingClientRect();
    return [clamp(((event.clientX - r.left) / r.width) * fullW, 0, fullW),
            clamp(((event.clientY - r.top) / r.height) * fullH, 0, fullH)];
  };
  const send = (focus) => {
    keep.__bpFocus = focus;
    setTriggerValue("line", line.map((v) => Math.round(v)));
  };

  const ends = [0, 2].map((from, i) => {
    const end = document.createElement("button");
    end.type = "button";
    end.className = "end";
    end.textContent = i ? words.endSign : words.startSign;
    end.addEventListener("pointerdown", (event) => {
      if (event.button) return;
      event.stopPropagation();
      event.preventDefault();
      end.focus();
      end.setPointerCapture(event.pointerId);
      let moved = false;
      end.onpointermove = (e) => {
        [line[from], line[from + 1]] = at(e);
        moved = true;
        draw();
      };
      end.onpointerup = end.onpointercancel = () => {
        end.onpointermove = end.onpointerup = end.onpointercancel = null;
        if (moved) send(i);
      };
    });
    let timer = null;
    end.addEventListener("keydown", (event) => {
      const step = (event.altKey ? 0.002 : 0.01) * Math.max(fullW, fullH);
      const d = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, -step], ArrowDown: [0, step] }[event.key];
      if (!d) return;
      event.preventDefault();
      line[from] = clamp(line[from] + d[0], 0, fullW);
      line[from + 1] = clamp(line[from + 1] + d[1], 0, fullH);
      draw();
      clearTimeout(timer);
      timer = setTimeout(() => send(i), 700);
    });
    stage.append(end);
    return end;
  });

  function draw() {
    strokes.forEach((stroke) => ["x1", "y1", "x2", "y2"].forEach((name, k) => stroke.setAttribute(name, line[k])));
    ends.forEach((end, i) => {
      const [x, y] = [line[2 * i], line[2 * i + 1]];
      end.style.left = `${(100 * x) / fullW}%`;
      end.style.top = `${(100 * y) / fullH}%`;
      const text = (i ? words.end : words.start).replace("{x}", Math.round(x)).replace("{y}", Math.round(y));
      end.setAttribute("aria-label", `${text} ${words.keys}`);
      end.title = end.getAttribute("aria-label");
    });
  }

  stage.addEventListener("pointerdown", (event) => {
    // A finger scrolls the page and moves the ends only; a mouse or pen draws a new line at once.
    if (event.button || event.pointerType === "touch") return;
    event.preventDefault();
    stage.setPointerCapture(event.pointerId);
    const before = line.slice();
    const [x, y] = at(event);
    stage.onpointermove = (e) => {
      const [u, v] = at(e);
      line.splice(0, 4, x, y, u, v);
      draw();
    };
    stage.onpointerup = stage.onpointercancel = () => {
      stage.onpointermove = stage.onpointerup = stage.onpointercancel = null;
      if (Math.hypot(line[2] - line[0], line[3] - line[1]) < 0.02 * Math.max(fullW, fullH)) line.splice(0, 4, ...before);
      draw();
      if (line.some((v, k) => v !== before[k])) send();
    };
  });

  draw();
  if (focusAfter !== undefined) ends[focusAfter].focus();
}
