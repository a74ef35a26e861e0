// The chart that follows the hand: chamber pressure against time.

import { shape } from "/triangle.js";

const BOX = { left: 54, right: 548, top: 26, bottom: 216 };

/** Return steps of 1, 2 or 5 that make about so many of them. */
function ticks(high, about = 5) {
  const raw = high / about;
  const ten = 10 ** Math.floor(Math.log10(raw));
  const step = [1, 2, 5, 10].find((x) => x * ten >= raw) * ten;
  return Array.from({ length: Math.floor(high / step + 1e-9) + 1 }, (_, i) => i * step);
}

const short = (x) => String(Number(x.toPrecision(6)));

/** Return the path through points; a gap where there is no number. */
function path(xs, ys, x, y) {
  let pen = "M";
  return xs.reduce((d, at, i) => {
    if (ys[i] === null || ys[i] === undefined) {
      pen = "M";
      return d;
    }
    const piece = `${pen}${x(at).toFixed(1)} ${y(ys[i]).toFixed(1)}`;
    pen = "L";
    return d + piece;
  }, "");
}

/** Fill between two ends; an end without a number lies at the edge of the chart. */
function band(svg, xs, low, high, x, y) {
  if (!low || !high) return;
  const upper = xs.map((at, i) => [x(at), high[i] === null ? BOX.top : y(high[i]), low[i]]);
  const lower = xs.map((at, i) => [x(at), low[i] === null ? BOX.bottom : y(low[i]), low[i]]);
  const all = [...upper, ...lower.reverse()].filter((one) => one[2] !== null);
  if (all.length) {
    const points = all.map((p) => `${p[0].toFixed(1)},${p[1].toFixed(1)}`).join(" ");
    shape("polygon", { points, class: "band" }, svg);
  }
}

/** Draw both axes with their numbers; return the two scales. */
function axes(svg, { xTicks, yTicks, xOf, yOf, xName, yName }) {
  for (const v of yTicks) {
    shape("line", { x1: BOX.left, x2: BOX.right, y1: yOf(v), y2: yOf(v), class: "grid" }, svg);
    shape("text", { x: BOX.left - 6, y: yOf(v) + 5, "text-anchor": "end" }, svg, short(v));
  }
  for (const v of xTicks) {
    shape("text", { x: xOf(v), y: BOX.bottom + 18, "text-anchor": "middle" }, svg, short(v));
  }
  shape("path", { d: `M${BOX.left} ${BOX.top}V${BOX.bottom}H${BOX.right}`, class: "axis", fill: "none" }, svg);
  shape("text", { x: BOX.right, y: BOX.bottom + 38, "text-anchor": "end" }, svg, xName);
  shape("text", { x: 4, y: 16 }, svg, yName);
}

/** Draw the course of the pressure beside the base and the case. */
export function drawCourse(svg, told) {
  svg.replaceChildren();
  svg.toggleAttribute("hidden", !told.time.length);
  if (!told.time.length) return;
  const known = [told.pressure, told.base, told.high].filter(Boolean).flat();
  const top = 1.08 * Math.max(told.case ?? 0, ...known.filter((x) => x !== null));
  const end = told.time[told.time.length - 1];
  const x = (t) => BOX.left + (t / end) * (BOX.right - BOX.left);
  const y = (p) => BOX.bottom - (Math.min(p, top) / top) * (BOX.bottom - BOX.top);
  axes(svg, {
    xTicks: ticks(end), yTicks: ticks(top), xOf: x, yOf: y, xName: "time, s", yName: `pressure, ${told.unit}`,
  });
  band(svg, told.time, told.low, told.high, x, y);
  if (told.base) shape("path", { d: path(told.time, told.base, x, y), class: "curve-base" }, svg);
  shape("path", { d: path(told.time, told.pressure, x, y), class: "curve" }, svg);
  if (told.case) {
    const at = y(told.case);
    shape("line", { x1: BOX.left, x2: BOX.right, y1: at, y2: at, class: "case" }, svg);
    shape("text", { x: BOX.right - 4, y: at + 18, "text-anchor": "end", class: "case-label halo" }, svg, told.case_label);
  }
}
