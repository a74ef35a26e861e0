// The plane of three ingredients: where limits are kept, and the point that moves in it.
// Shares are per cent of the mix; a, b, c are those of the three corners.

const NS = "http://www.w3.org/2000/svg";
const BOX = { left: 58, right: 612, top: 52, bottom: 368 };

/** Add an element of SVG to a parent; its text is never read as markup. */
export function shape(name, attributes, parent, text) {
  const made = document.createElementNS(NS, name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  if (text !== undefined) made.textContent = text;
  parent.append(made);
  return made;
}

/** Marks that are paths: around a place, of a size. */
export const SHAPES = {
  base: (x, y, r) => `M${x} ${y - r}L${x + r} ${y}L${x} ${y + r}L${x - r} ${y}Z`,
  best: (x, y, r) => `M${x - r} ${y}H${x + r}M${x} ${y - r}V${y + r}`,
};

/** Keep the part of a polygon of points [a, c] on which a function is not negative. */
function clipped(polygon, inside) {
  const kept = [];
  polygon.forEach((here, i) => {
    const next = polygon[(i + 1) % polygon.length];
    const [p, q] = [inside(here), inside(next)];
    if (p >= 0) kept.push(here);
    if (p * q < 0) kept.push(here.map((x, k) => x + ((next[k] - x) * p) / (p - q)));
  });
  return kept;
}

const rounded = (x) => Math.round(x * 10) / 10;

export class Triangle {
  /** `moved` is called with shares [a, b, c] while a hand moves the point. */
  constructor(svg, moved) {
    this.svg = svg;
    this.moved = moved;
    this.point = svg.querySelector("#point");
    this.held = 0;
    this.point.addEventListener("pointerdown", (event) => this.grab(event));
    this.point.addEventListener("pointermove", (event) => this.drag(event));
    this.point.addEventListener("lostpointercapture", () => (this.hand = null));
    this.point.addEventListener("keydown", (event) => this.key(event));
    svg.addEventListener("click", (event) => this.jump(event));
    new ResizeObserver(() => this.fit()).observe(svg);
  }

  /** Take corners, view and bounds of a bench. */
  open(bench) {
    this.corners = bench.corners;
    this.view = bench.view;
    this.bounds = bench.bounds;
    this.benchMarks = bench.marks;
    this.frame();
  }

  /** Say how many per cent of the mix the other ingredients hold. */
  hold(percent) {
    if (Math.abs(percent - this.held) < 1e-9) return;
    this.held = percent;
    this.frame();
  }

  third(a, c) {
    return 100 - this.held - a - c;
  }

  hexagon(ranges) {
    const [[a0, a1], [b0, b1], [c0, c1]] = ranges;
    const box = [[a0, c0], [a1, c0], [a1, c1], [a0, c1]];
    const enough = clipped(box, ([a, c]) => this.third(a, c) - b0);
    return clipped(enough, ([a, c]) => b1 - this.third(a, c));
  }

  /** Draw frame, scales and marks; the view fills the box, lines stay straight. */
  frame() {
    const outline = this.hexagon(this.view);
    if (!outline.length) return;
    const xs = outline.map(([a, c]) => c + a / 2);
    const ys = outline.map(([a]) => a);
    this.low = [Math.min(...xs), Math.min(...ys)];
    this.span = [Math.max(...xs) - this.low[0] || 1, Math.max(...ys) - this.low[1] || 1];
    const points = this.listed(outline);
    const ground = this.svg.querySelector("#ground");
    ground.replaceChildren();
    shape("polygon", { points, class: "ground" }, ground);
    this.svg.querySelector("#view-shape").setAttribute("points", points);
    const scales = this.svg.querySelector("#scales");
    scales.replaceChildren();
    this.corners.forEach((name, i) => this.scale(scales, outline, i, name));
    shape("polygon", { points: this.listed(this.hexagon(this.bounds)), class: "bounds" }, scales);
    shape("polygon", { points, class: "frame" }, scales);
    this.fit();
  }

  listed(pairs) {
    return pairs.map((pair) => this.at(pair).map(rounded).join(",")).join(" ");
  }

  at([a, c]) {
    const x = (c + a / 2 - this.low[0]) / this.span[0];
    const y = (a - this.low[1]) / this.span[1];
    return [
      BOX.left + x * (BOX.right - BOX.left),
      BOX.bottom - y * (BOX.bottom - BOX.top),
    ];
  }

  /** Draw the lines of equal share of one corner, with their numbers and its name. */
  scale(scales, outline, i, name) {
    const own = ([a, c]) => [a, this.third(a, c), c][i];
    const [low, high] = this.view[i];
    const step = high - low > 30 ? 10 : 5;
    for (let v = Math.ceil(low / step) * step; v <= high; v += step) {
      const ends = [];
      outline.forEach((here, k) => {
        const next = outline[(k + 1) % outline.length];
        const [p, q] = [own(here) - v, own(next) - v];
        if (p * q > 0 || p === q) return;
        const t = p / (p - q);
        ends.push(this.at(here.map((x, m) => x + (next[m] - x) * t)));
      });
      if (ends.length < 2) continue;
      ends.sort((p, q) => (i === 0 ? p[0] - q[0] : p[1] - q[1]));
      const [first, last] = [ends[0], ends[ends.length - 1]];
      if (Math.hypot(first[0] - last[0], first[1] - last[1]) < 20) continue;
      shape("line", { x1: first[0], y1: first[1], x2: last[0], y2: last[1], class: "grid" }, scales);
      const [x, y] = i === 2 ? last : first;
      const [dx, dy, anchor] = [[-6, 4, "end"], [-2, -7, "middle"], [-2, 17, "middle"]][i];
      shape("text", { x: x + dx, y: y + dy, "text-anchor": anchor }, scales, String(v));
    }
    const [x, y, anchor] = [[4, 18, "start"], [636, 18, "end"], [636, 412, "end"]][i];
    shape("text", { x, y, "text-anchor": anchor }, scales, `${name}, %`);
  }

  /** Draw the mixes that the bench knows, and the best of the lattice. */
  mark(best) {
    this.best = best;
    const marks = this.svg.querySelector("#marks");
    marks.replaceChildren();
    for (const one of this.seen()) {
      const [x, y] = this.at([one.at[0], one.at[2]]);
      const drawn = SHAPES[one.kind]
        ? shape("path", { d: SHAPES[one.kind](x, y, one.kind === "base" ? this.reach : 9), class: `mark-${one.kind}` }, marks)
        : shape("circle", { cx: x, cy: y, r: 7, class: `mark mark-${one.kind}` }, marks);
      shape("title", {}, drawn, `${one.kind}: ${one.name}`);
    }
  }

  /** Return the marks in the view, the best mix of the lattice among them. */
  seen() {
    const best = this.best ? [{ kind: "best", name: "of the mixes looked at", at: this.best }] : [];
    return [...(this.benchMarks ?? []), ...best].filter((one) => this.sees(one.at));
  }

  sees(shares) {
    return this.view.every(([low, high], i) => shares[i] > low - 0.01 && shares[i] < high + 0.01);
  }

  /** Put the point where a recipe is; outside the view it waits at its edge. */
  place(shares) {
    this.shares = shares;
    this.point.classList.toggle("outside", !this.sees(shares));
    const [a, b, c] = this.inside(shares);
    const [x, y] = this.at([a, c]);
    this.point.setAttribute("transform", `translate(${rounded(x)} ${rounded(y)})`);
    const told = this.corners.map((name, i) => `${name} ${rounded(shares[i])}`).join(", ");
    this.point.setAttribute("aria-valuenow", rounded(shares[0]));
    this.point.setAttribute("aria-valuetext", `${told} percent`);
  }

  /** Return the shares in the view that are next to some. */
  inside([a, , c]) {
    const within = (x, [low, high]) => Math.min(Math.max(x, low), high);
    a = within(a, this.view[0]);
    c = within(c, this.view[2]);
    const b = within(this.third(a, c), this.view[1]);
    c = within(100 - this.held - a - b, this.view[2]);
    return [100 - this.held - b - c, b, c];
  }

  go(a, c, step = 0.1) {
    const near = (x) => Math.round(x / step) * step;
    const found = this.inside([near(a), 0, near(c)]);
    this.moved(found.map((x) => Math.round(x * 1000) / 1000));
  }

  grab(event) {
    if (event.button !== 0 || this.hand) return;
    const [x, y] = this.read(event);
    const [a, , c] = this.shares;
    this.point.setPointerCapture(event.pointerId);
    this.point.focus();
    this.hand = { id: event.pointerId, off: [a - x, c - y] };
    event.preventDefault();
  }

  drag(event) {
    if (this.hand?.id !== event.pointerId) return;
    const [a, c] = this.read(event);
    this.go(a + this.hand.off[0], c + this.hand.off[1]);
  }

  /** A click beside the point takes it there. */
  jump(event) {
    if (!this.point.contains(event.target)) this.go(...this.read(event));
  }

  /** Return the shares [a, c] under a pointer. */
  read(event) {
    const box = this.svg.getScreenCTM().inverse();
    const { x, y } = new DOMPoint(event.clientX, event.clientY).matrixTransform(box);
    const a = this.low[1] + ((BOX.bottom - y) / (BOX.bottom - BOX.top)) * this.span[1];
    const along = this.low[0] + ((x - BOX.left) / (BOX.right - BOX.left)) * this.span[0];
    return [a, along - a / 2];
  }

  key(event) {
    const steps = { ArrowUp: [1, 0], ArrowDown: [-1, 0], ArrowRight: [0, 1], ArrowLeft: [0, -1] };
    const way = steps[event.key];
    if (!way) return;
    event.preventDefault();
    const step = event.shiftKey ? 0.1 : 0.5;
    this.go(this.shares[0] + way[0] * step, this.shares[2] + way[1] * step, 0.1);
  }

  /** A finger needs 44 px however small the picture is. */
  fit() {
    const scale = this.svg.getScreenCTM()?.a || 1;
    this.svg.querySelector("#touch").setAttribute("r", Math.max(24 / scale, 16));
    this.svg.querySelector("#ring").setAttribute("r", Math.max(9, 7 / scale));
    this.reach = 1.6 * Math.max(9, 7 / scale); // of the mark of base, around the point
    this.mark(this.best);
  }

  /** Draw where limits are kept, and the two marks of the case. */
  regions(told) {
    const layer = this.svg.querySelector("#regions");
    layer.replaceChildren();
    for (const kind of ["kept", "above", "unknown"]) {
      const d = told[kind].map((ring) => `M${ring.map((p) => this.at(p).map(rounded)).join("L")}Z`);
      if (d.length) shape("path", { d: d.join(""), class: `area-${kind}`, "fill-rule": "evenodd" }, layer);
    }
    this.best = told.best;
    const taken = this.seen().map(({ at }) => {
      const [x, y] = this.at([at[0], at[2]]);
      return [x, y + 11, this.reach, this.reach + 12];
    });
    told.limits.forEach((limit, i) => {
      for (const line of limit.lines) {
        const points = line.map((p) => this.at(p));
        const d = `M${points.map((p) => p.map(rounded)).join("L")}`;
        shape("path", { d, class: `limit limit-${i}` }, layer);
      }
      this.name(layer, limit, taken);
    });
    this.mark(told.best);
  }

  /** Write the name of a limit on its longest line, clear of the others. */
  name(layer, limit, taken) {
    const line = limit.lines.reduce((p, q) => (q.length > p.length ? q : p), []);
    const small = this.svg.clientWidth < 450 ? 11 : 7;
    const half = (limit.label.length * small) / 2 + 4;
    for (const share of [0.5, 0.3, 0.7, 0.15, 0.85, 0.4, 0.6]) {
      const pair = line[Math.floor(share * (line.length - 1))];
      if (!pair) return;
      const [x0, y] = this.at(pair);
      const x = Math.min(Math.max(x0, BOX.left + half), BOX.right - half);
      const free = taken.every(([u, v, w, tall]) => Math.abs(u - x) > half + w || Math.abs(v - y) > tall);
      if (!free || y < BOX.top + 16 || y > BOX.bottom - 8) continue;
      taken.push([x, y, half, 24]);
      shape("text", { x, y: y - 5, "text-anchor": "middle", class: "halo" }, layer, limit.label);
      return;
    }
  }
}
