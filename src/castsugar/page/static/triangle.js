// The plane of three ingredients: where limits are kept, and the point that moves in it.
// Shares are per cent of the mix: of three corners, or a pair, of the first and the last.

import { by } from "/cards.js";

const BOX = { left: 58, right: 612, top: 52, bottom: 368 };

/** Add an element of SVG to a parent; its text is never read as markup. */
export function shape(name, attributes, parent, text) {
  const made = document.createElementNS("http://www.w3.org/2000/svg", name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  if (text !== undefined) made.textContent = text;
  parent.append(made);
  return made;
}

/** Keep the part of a polygon of pairs on which a function is not negative. */
function clipped(polygon, inside) {
  return polygon.flatMap((here, i) => {
    const next = polygon[(i + 1) % polygon.length];
    const [p, q] = [inside(here), inside(next)];
    const cut = here.map((x, k) => x + ((next[k] - x) * p) / (p - q));
    return [...(p >= 0 ? [here] : []), ...(p * q < 0 ? [cut] : [])];
  });
}

const rounded = (x) => Math.round(x * 10) / 10;
const within = (x, [low, high]) => Math.min(Math.max(x, low), high);

export class Triangle {
  /** `moved` is called with three shares while a hand moves the point. */
  constructor(moved) {
    this.svg = by("triangle");
    this.point = by("point");
    this.moved = moved;
    this.point.onpointerdown = (event) => this.grab(event);
    this.point.onpointermove = (event) => this.drag(event);
    this.point.onkeydown = (event) => this.key(event);
    this.svg.onclick = (event) => this.point.contains(event.target) || this.go(...this.read(event));
    new ResizeObserver(() => this.fit()).observe(this.svg);
  }

  /** Take corners, view, bounds and marks of a bench. */
  open({ corners, view, bounds, marks }) {
    Object.assign(this, { corners, view, bounds, known: marks, best: null, held: 0 });
    this.frame();
  }

  third(a, c) {
    return 100 - this.held - a - c;
  }

  /** Return the outline of what lies within three ranges. */
  hexagon([[a0, a1], [b0, b1], [c0, c1]]) {
    const box = [[a0, c0], [a1, c0], [a1, c1], [a0, c1]];
    const enough = clipped(box, ([a, c]) => this.third(a, c) - b0 + 1e-9);
    return clipped(enough, ([a, c]) => b1 - this.third(a, c) + 1e-9);
  }

  /** Draw frame and scales; the view fills the box, lines stay straight. */
  frame() {
    const outline = this.hexagon(this.view);
    if (!outline.length) return;
    const [xs, ys] = [outline.map(([a, c]) => c + a / 2), outline.map(([a]) => a)];
    this.low = [Math.min(...xs), Math.min(...ys)];
    this.span = [Math.max(...xs) - this.low[0] || 1, Math.max(...ys) - this.low[1] || 1];
    const points = this.listed(outline);
    for (const id of ["ground", "view-shape"]) by(id).setAttribute("points", points);
    by("scales").replaceChildren();
    this.corners.forEach((name, i) => this.scale(name, i));
    shape("polygon", { points: this.listed(this.hexagon(this.bounds)), class: "bounds" }, by("scales"));
    shape("polygon", { points, class: "frame" }, by("scales"));
    this.fit();
  }

  at([a, c]) {
    const x = (c + a / 2 - this.low[0]) / this.span[0];
    const y = (a - this.low[1]) / this.span[1];
    return [BOX.left + x * (BOX.right - BOX.left), BOX.bottom - y * (BOX.bottom - BOX.top)];
  }

  listed(pairs) {
    return pairs.map((pair) => this.at(pair).map(rounded).join(",")).join(" ");
  }

  /** Draw the lines of equal share of one corner, with their numbers and its name. */
  scale(name, i) {
    const [low, high] = this.view[i];
    const step = high - low > 30 ? 10 : 5;
    for (let v = Math.ceil(low / step) * step; v <= high; v += step) {
      const line = this.hexagon(this.view.map((own, k) => (k === i ? [v, v] : own))).map((pair) => this.at(pair));
      line.sort((p, q) => (i === 0 ? p[0] - q[0] : p[1] - q[1]));
      const [[x1, y1], [x2, y2]] = [line[0] ?? [0, 0], line.at(-1) ?? [0, 0]];
      if (Math.hypot(x1 - x2, y1 - y2) < 20) continue;
      shape("line", { x1, y1, x2, y2, class: "grid" }, by("scales"));
      const [x, y, anchor] = [[x1 - 6, y1 + 4, "end"], [x1 - 2, y1 - 7, "middle"], [x2 - 2, y2 + 17, "middle"]][i];
      shape("text", { x, y, "text-anchor": anchor }, by("scales"), v);
    }
    const [x, y, anchor] = [[4, 18, "start"], [636, 18, "end"], [636, 412, "end"]][i];
    shape("text", { x, y, "text-anchor": anchor }, by("scales"), `${name}, %`);
  }

  sees(shares) {
    return this.view.every(([low, high], i) => shares[i] > low - 0.01 && shares[i] < high + 0.01);
  }

  /** Draw the mixes that the bench knows, and the best of the lattice; return them. */
  mark() {
    by("marks").replaceChildren();
    const best = this.best ? [{ kind: "best", name: "of the mixes looked at", at: this.best }] : [];
    return [...this.known, ...best].filter((one) => this.sees(one.at)).map(({ kind, name, at: [a, , c] }) => {
      const [x, y] = this.at([a, c]);
      const r = this.reach;
      const signs = { base: `M${x} ${y - r}L${x + r} ${y}L${x} ${y + r}L${x - r} ${y}Z`, best: `M${x - 9} ${y}h18M${x} ${y - 9}v18` };
      const drawn = signs[kind] ? shape("path", { d: signs[kind] }, by("marks")) : shape("circle", { cx: x, cy: y, r: 7 }, by("marks"));
      drawn.setAttribute("class", `mark mark-${kind}`);
      shape("title", {}, drawn, `${kind}: ${name}`);
      return [x, y];
    });
  }

  /** A finger needs 44 px however small the picture is. */
  fit() {
    const scale = this.svg.getScreenCTM()?.a || 1;
    by("touch").setAttribute("r", Math.max(24 / scale, 16));
    by("ring").setAttribute("r", Math.max(9, 7 / scale));
    this.reach = 1.6 * Math.max(9, 7 / scale); // of the mark of base, around the point
    if (this.low) this.mark();
  }

  /** Put the point where a recipe is; outside the view it waits at its edge. */
  place(shares) {
    const held = Math.round((100 - shares.reduce((sum, x) => sum + x, 0)) * 1000) / 1000;
    const other = held !== this.held;
    Object.assign(this, { shares, held });
    if (other) this.frame();
    this.point.classList.toggle("outside", !this.sees(shares));
    const [a, , c] = this.inside(shares[0], shares[2]);
    this.point.setAttribute("transform", `translate(${this.at([a, c]).map(rounded)})`);
    const told = this.corners.map((name, i) => `${name} ${rounded(shares[i])}`).join(", ");
    this.point.setAttribute("aria-valuenow", rounded(shares[0]));
    this.point.setAttribute("aria-valuetext", `${told} percent`);
  }

  /** Return the shares in the view that are next to a pair. */
  inside(a, c) {
    const first = within(a, this.view[0]);
    const b = within(this.third(first, within(c, this.view[2])), this.view[1]);
    const last = within(this.third(first, b), this.view[2]);
    return [this.third(b, last), b, last];
  }

  go(a, c) {
    const shares = this.inside(rounded(a), rounded(c)).map((x) => Math.round(x * 1000) / 1000);
    if (Math.min(...shares) < 0) return; // the other parts leave no room
    this.place(shares);
    this.moved(shares);
  }

  /** Return the pair under a pointer. */
  read(event) {
    const box = this.svg.getScreenCTM().inverse();
    const { x, y } = new DOMPoint(event.clientX, event.clientY).matrixTransform(box);
    const a = this.low[1] + ((BOX.bottom - y) / (BOX.bottom - BOX.top)) * this.span[1];
    const along = this.low[0] + ((x - BOX.left) / (BOX.right - BOX.left)) * this.span[0];
    return [a, along - a / 2];
  }

  grab(event) {
    if (event.button !== 0 || !this.shares) return;
    const [a, c] = this.read(event);
    this.point.setPointerCapture(event.pointerId);
    this.point.focus();
    this.off = [this.shares[0] - a, this.shares[2] - c];
    event.preventDefault();
  }

  drag(event) {
    if (!this.point.hasPointerCapture(event.pointerId)) return;
    const [a, c] = this.read(event);
    this.go(a + this.off[0], c + this.off[1]);
  }

  key(event) {
    const way = { ArrowUp: [1, 0], ArrowDown: [-1, 0], ArrowRight: [0, 1], ArrowLeft: [0, -1] }[event.key];
    if (!way || !this.shares) return;
    event.preventDefault();
    const step = event.shiftKey ? 0.1 : 0.5;
    this.go(this.shares[0] + way[0] * step, this.shares[2] + way[1] * step);
  }

  /** Draw where limits are kept, and the two marks of the case. */
  regions(told) {
    const layer = by("regions");
    const path = (points) => `M${points.map((p) => this.at(p).map(rounded)).join("L")}`;
    layer.replaceChildren();
    for (const kind of ["kept", "above", "unknown"]) {
      const d = told[kind].map((ring) => `${path(ring)}Z`).join("");
      shape("path", { d, class: `area-${kind}`, "fill-rule": "evenodd" }, layer);
    }
    this.best = told.best;
    const taken = this.mark().map(([x, y]) => [x, y + 11, this.reach, this.reach + 12]);
    told.limits.forEach(({ label, lines }, i) => {
      for (const line of lines) shape("path", { d: path(line), class: `limit limit-${i}` }, layer);
      this.name(label, lines.reduce((p, q) => (q.length > p.length ? q : p), []), taken);
    });
  }

  /** Write the name of a limit on its longest line, clear of the others. */
  name(label, line, taken) {
    const half = (label.length * (this.svg.clientWidth < 450 ? 11 : 7)) / 2 + 4;
    const places = [0.5, 0.3, 0.7, 0.15, 0.85, 0.4, 0.6].map((share) => line[Math.floor(share * (line.length - 1))]);
    for (const [x0, y] of places.filter(Boolean).map((pair) => this.at(pair))) {
      const x = within(x0, [BOX.left + half, BOX.right - half]);
      const free = taken.every(([u, v, w, tall]) => Math.abs(u - x) > half + w || Math.abs(v - y) > tall);
      if (!free || y < BOX.top + 16 || y > BOX.bottom - 8) continue;
      taken.push([x, y, half, 24]);
      return void shape("text", { x, y: y - 5, "text-anchor": "middle", class: "halo" }, by("regions"), label);
    }
  }
}
