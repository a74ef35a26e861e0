// Texts of an answer, placed. Nothing is computed here, nothing is read as markup.

import { SHAPES, shape } from "/triangle.js";

const SIGNS = { kept: "✓ ", broken: "✗ ", unknown: "? ", plain: "" };

export const by = (id) => document.getElementById(id);

/** Make an element with text and what it holds. */
export function make(name, { text, of = [], ...attributes } = {}) {
  const made = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) {
    if (key.startsWith("on")) made.addEventListener(key.slice(2), value);
    else if (value !== undefined) made.setAttribute(key, value);
  }
  if (text !== undefined) made.textContent = text;
  made.append(...of);
  return made;
}

/** Show a text, or hide its place. */
export function say(id, text) {
  by(id).textContent = text ?? "";
  by(id).hidden = !text;
}

/** Fill a table: the first cell of a row heads it. */
export function fillTable(table, heads, rows) {
  const cell = (text, i) => make(i ? "td" : "th", i ? { text } : { text, scope: "row" });
  const line = (cells) => make("tr", { of: cells.map(cell) });
  const head = make("tr", { of: heads.map((text) => (text ? make("th", { text, scope: "col" }) : make("td"))) });
  table.replaceChildren(make("thead", { of: [head] }), make("tbody", { of: rows.map(line) }));
}

/** Show verdict, cards and the step to take next. */
export function showVerdict(told) {
  const head = by("head");
  head.textContent = SIGNS[told.verdict.kind] + told.verdict.text;
  head.className = told.verdict.kind;
  by("for").textContent = `For ${told.for}.`;
  const cards = told.cards.map((one) =>
    make("li", {
      "data-card": one.key,
      of: [
        make("span", { text: one.title, class: "title" }),
        make("b", { text: SIGNS[one.kind] + one.text, class: one.kind }),
        make("span", { text: one.detail }),
      ],
    }),
  );
  by("cards").replaceChildren(...cards);
  by("next").textContent = told.next.text;
  by("try").hidden = !told.next.state;
  by("weigh").hidden = !told.next.weigh;
}

/** Show the findings and the table of numbers. */
export function showNumbers(told) {
  const findings = told.findings.map((one) =>
    make("li", {
      class: one.kind,
      of: [make("b", { text: `${one.status} ` }), make("span", { text: one.text, class: "text" })],
    }),
  );
  by("findings").replaceChildren(...findings);
  fillTable(by("rows"), ["", "value", "95 % band", "limit", "margin"], told.rows);
  by("conditions").textContent = told.conditions;
  by("command").textContent = told.command;
  say("example", told.example && `EXAMPLE: ${told.example}`);
}

/** Show what only a hand at rest gets: differences, what is least sure, cautions. */
export function showRest(told) {
  const { against } = told;
  by("against-section").hidden = !against;
  by("against").replaceChildren();
  if (against?.rows.length) fillTable(by("against"), against.heads, against.rows);
  by("against-words").textContent = against?.words ?? "";
  const least = [told.least_sure && `Least sure: ${told.least_sure}.`, told.doubt && `${told.doubt}.`];
  by("least").textContent = least.filter(Boolean).join(" ");
  showSafety([...told.cautions, told.closing]);
}

export function showSafety(lines) {
  by("safety").replaceChildren(...lines.map((text) => make("li", { text })));
}

/** Show what the areas, lines and marks of the triangle mean, those that it holds. */
export function showKey(told, bench) {
  const sample = (draw, text) => {
    const svg = document.createElementNS("http://www.w3.org/2000/svg", "svg");
    svg.setAttribute("viewBox", "0 0 30 16");
    svg.setAttribute("aria-hidden", "true");
    draw(svg);
    return make("li", { of: [svg, text] });
  };
  const area = (kind) => (svg) => {
    shape("rect", { x: 1, y: 1, width: 28, height: 14, class: `area-${kind}` }, svg);
    shape("rect", { x: 1, y: 1, width: 28, height: 14, class: "frame" }, svg);
  };
  const line = (kind) => (svg) => shape("path", { d: "M0 8H30", class: kind }, svg);
  const dot = (svg) => shape("circle", { cx: 15, cy: 8, r: 6, class: "mark mark-measured" }, svg);
  const sign = (kind) => (svg) => shape("path", { d: SHAPES[kind](15, 8, 8), class: `mark-${kind}` }, svg);
  const has = (kind) => bench.marks.some((one) => one.kind === kind);
  const entries = [
    [told.kept.length, area("kept"), "keeps all limits"],
    [told.above.length, area("above"), "expected above the case"],
    [told.unknown.length, area("unknown"), "not known well enough: burn strands here"],
    ...told.limits.map((one, i) => [one.lines.length, line(`limit limit-${i}`), `limit: ${one.label}`]),
    [true, line("bounds"), bench.bounded],
    [has("base"), sign("base"), "base"],
    [has("measured"), dot, "measured by strands or firings"],
    [told.best, sign("best"), "best within the bounds, of the mixes looked at"],
  ];
  by("key").replaceChildren(...entries.filter(([here]) => here).map(([, draw, text]) => sample(draw, text)));
}
