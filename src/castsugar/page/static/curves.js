// The chart that follows the hand: chamber pressure against time.

import { by } from "/cards.js";
import { shape } from "/triangle.js";

const BOX = { left: 54, right: 548, top: 26, bottom: 216 };

/** Return steps of 1, 2 or 5 that make about five of them. */
function ticks(high) {
  const ten = 10 ** Math.floor(Math.log10(high / 5));
  const step = [1, 2, 5, 10].find((x) => x * ten >= high / 5) * ten;
  return Array.from({ length: Math.floor(high / step + 1e-9) + 1 }, (_, i) => Number((i * step).toPrecision(6)));
}

/** Draw the course of the pressure beside the base and the case. */
export function drawCourse({ curves, end, top, unit, case: allowed, case_label: label }) {
  const svg = by("course");
  svg.replaceChildren();
  svg.toggleAttribute("hidden", !curves.mix);
  if (!curves.mix) return;
  const { left, right, bottom } = BOX;
  const x = (time) => left + (time / end) * (right - left);
  const y = (pressure) => bottom - (pressure / top) * (bottom - BOX.top);
  const points = (curve) => curve.map(([t, p]) => `${x(t).toFixed(1)},${y(p).toFixed(1)}`).join(" ");
  for (const v of ticks(top)) {
    shape("line", { x1: left, x2: right, y1: y(v), y2: y(v), class: "grid" }, svg);
    shape("text", { x: left - 6, y: y(v) + 5, "text-anchor": "end" }, svg, v);
  }
  for (const v of ticks(end)) shape("text", { x: x(v), y: bottom + 18, "text-anchor": "middle" }, svg, v);
  shape("path", { d: `M${left} ${BOX.top}V${bottom}H${right}`, class: "frame" }, svg);
  shape("text", { x: right, y: bottom + 38, "text-anchor": "end" }, svg, "time, s");
  shape("text", { x: 4, y: 16 }, svg, `pressure, ${unit}`);
  for (const kind of ["band", "base", "mix"]) {
    if (curves[kind]) shape(kind === "band" ? "polygon" : "polyline", { points: points(curves[kind]), class: `curve-${kind}` }, svg);
  }
  if (!allowed) return;
  shape("line", { x1: left, x2: right, y1: y(allowed), y2: y(allowed), class: "case" }, svg);
  shape("text", { x: right - 4, y: y(allowed) + 18, "text-anchor": "end", class: "case-label halo" }, svg, label);
}
