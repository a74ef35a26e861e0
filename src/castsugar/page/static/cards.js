// Texts of an answer, placed. Nothing is computed here, nothing is read as markup.

export const by = (id) => document.getElementById(id);
export const all = (places) => [...document.querySelectorAll(places)];

/** Make an element with text and what it holds. */
export function make(name, { text, of = [], ...attributes } = {}) {
  const made = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  made.append(...(text === undefined ? of : [text]));
  return made;
}

/** Show a text, or hide its place. */
export function say(place, text) {
  place.textContent = text;
  place.hidden = !text;
}

const items = (id, list) => by(id).replaceChildren(...list);

/** Fill a table: the first cell of a row heads it. */
function table(id, heads, rows) {
  const cell = (text, i) => make(i ? "td" : "th", i ? { text } : { text, scope: "row" });
  const head = heads.map((text) => (text ? make("th", { text, scope: "col" }) : make("td")));
  const lines = rows.map((row) => make("tr", { of: row.map(cell) }));
  items(id, rows.length ? [make("thead", { of: [make("tr", { of: head })] }), make("tbody", { of: lines })] : []);
}

/** Show what an answer holds; what it does not speak of stays. */
export function show(told) {
  const at = (path) => path.split(".").reduce((found, key) => found?.[key], told);
  for (const place of all("[data-text]")) if (at(place.dataset.text) !== undefined) say(place, at(place.dataset.text));
  for (const place of all("[data-show]")) {
    if (place.dataset.show.split(".")[0] in told) place.hidden = !at(place.dataset.show);
  }
  if (told.verdict) by("head").className = told.verdict.kind;
  if (told.thickness) by("thick").src = told.thickness;
  if (told.against) table("against", told.against.heads, told.against.rows);
  if (told.rows) table("rows", ["", "value", "95 % band", "limit", "margin"], told.rows);
  if (told.cautions) items("cautions", told.cautions.map((text) => make("li", { text })));
  if (!told.cards) return;
  items("cards", told.cards.map(({ key, kind, title, text, detail }) => make("li", {
    "data-card": key,
    of: [make("span", { text: title, class: "title" }), make("b", { text, class: kind }), make("span", { text: detail })],
  })));
  items("findings", told.findings.map(({ kind, status, text }) => make("li", {
    class: kind, of: [make("b", { text: status }), " ", make("span", { text, class: "text" })],
  })));
}
