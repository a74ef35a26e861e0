// The live page: one state, one question at a time (the answer first), deeds.

import { all, by, make, say, show } from "/cards.js";
import { drawCourse } from "/curves.js";
import { Triangle } from "/triangle.js";

const REST_MS = 300;
const SLOW_MS = 150;
const AGAIN_MS = 2000;
const LOOK_MS = 400;

const line = by("fault-line");
const page = { bench: null, state: null, seq: 0, faulty: false, region: "" };
const triangle = new Triangle((shares) => change(moved(shares)));

// ----------------------------------------------------------------------------
// The server: the token is in the address once, then with this tab.

/** Return the state in the address, or null; a token there moves to this tab. */
function fromAddress() {
  const typed = location.hash.slice(1);
  if (/^[\w-]+$/.test(typed)) {
    sessionStorage.setItem("token", typed);
    history.replaceState(null, "", location.pathname);
    return null;
  }
  try {
    const state = JSON.parse(decodeURIComponent(typed));
    const texts = [...state.parts.flat(), ...Object.values({ ...state, parts: "" })];
    return state.parts.every((one) => one.length === 2) && texts.every((one) => typeof one === "string") ? state : null;
  } catch {
    return null;
  }
}

/** What the server says no to, with its status; 0 if nobody is there. */
class Refused extends Error {
  constructor(text, status, key) {
    super(text);
    Object.assign(this, { status, key });
  }
}

/** Ask the server. */
async function ask(path, body) {
  const headers = { "Content-Type": "application/json", "X-Castsugar-Token": sessionStorage.getItem("token") ?? "" };
  const answer = await fetch(path, { method: "POST", headers, body: JSON.stringify(body) }).catch(() => ({ status: 0 }));
  const { status } = answer;
  if (status === 0) throw new Refused("The server has gone: start castsugar open again. The numbers below are old.", status);
  if (status === 403) throw new Refused("This tab has no key. The mix is kept in its address: open the link that the terminal shows in this tab.", status);
  const told = await answer.json().catch(() => ({}));
  if (!answer.ok) throw new Refused(`${told.error ?? `the server answered ${status}`}.`, status, told.key);
  const other = path in TAKE && told.hash !== page.bench.hash;
  if (told.changed || other) banner(told.changed ? `${told.changed}.` : `${page.bench.name} has changed.`, true);
  return { ...told, stale: told.changed || other ? "OLD, from the bench as it was" : "" };
}

const TAKE = { "/answer": answered, "/rest": rested, "/region": surveyed };
const waiting = new Map();
let busy = false;

/** Ask one question at a time, the first of these; the newest of a kind waits. */
async function work() {
  const path = Object.keys(TAKE).find((one) => waiting.has(one));
  if (busy || !path) return;
  const body = waiting.get(path);
  waiting.delete(path);
  busy = true;
  const begun = performance.now();
  const clock = setInterval(() => {
    const seconds = (performance.now() - begun) / 1000;
    by("busy").textContent = seconds > 2 ? `computing, ${seconds.toFixed(0)} s` : "computing";
  }, SLOW_MS);
  try {
    TAKE[path](await ask(path, body), body.seq);
  } catch (error) {
    if (body.seq === page.seq || !error.key) failed(error);
  } finally {
    clearInterval(clock);
    by("busy").textContent = "";
    busy = false;
    work();
  }
}

function send(path, body) {
  waiting.set(path, { ...body, seq: page.seq });
  work();
}

function answered(told, seq) {
  for (const one of all("[aria-invalid]")) one.removeAttribute("aria-invalid");
  say(line, "");
  page.next = told.next;
  if (page.fault) banner("");
  page.fault = false;
  show({ ...told, outside: triangle.sees(told.at) ? "" : "This mix lies outside the picture; the point waits at its edge." });
  if (seq === page.seq) triangle.place(told.at);
  if (told.course) drawCourse(told.course);
  document.body.dataset.seq = seq;
}

function rested(told, seq) {
  if (seq !== page.seq) return;
  answered(told, seq);
  show({ heard: `${told.verdict.text} For ${told.for}.` });
  document.body.dataset.rest = seq;
}

function surveyed(told) {
  show(told);
  triangle.regions(told);
  document.body.dataset.region = "yes";
}

// ----------------------------------------------------------------------------
// What goes wrong: a wrong box, a server that is gone, a tab without a token.

function failed(error) {
  const { message, status, key } = error;
  if (status === undefined) throw error;
  if (key) return fault(message, all(`[data-box="${CSS.escape(key)}"]`)[0] ?? by("parts"));
  if (key === "") return fault(message, by("deeds"));
  banner(message, status === 409);
  page.fault = status === 500;
  if (page.fault) show({ stale: "OLD, from before a fault" });
  if (status !== 0) return undefined;
  show({ stale: "OLD, the server has gone" });
  by("all").disabled = true;
  waiting.clear();
  clearTimeout(page.again);
  page.again = setTimeout(start, AGAIN_MS); // the state stays in the address
  return undefined;
}

/** Say beside a box what is wrong with it; of what is asked, the numbers are old then. */
function fault(message, box) {
  const asked = !box.matches("#deeds, #name");
  const before = asked ? ` The numbers are for ${by("for").textContent}, from before this change.` : "";
  box.closest("#parts, .row, p").after(line);
  say(line, message + before);
  for (const one of box.matches("input") ? [box] : box.querySelectorAll("input")) one.setAttribute("aria-invalid", "true");
  if (!asked) return;
  show({ stale: "OLD, from before a change that was not understood" });
  page.faulty = true; // what was asked beside it would say the same
  waiting.clear();
  clearTimeout(page.fine);
  page.region = "";
}

/** Say what holds for the whole page; what can be read again has a button. */
function banner(text, again = false) {
  show({ banner: text, again });
}

// ----------------------------------------------------------------------------
// The state, its boxes, and the shares that it holds.

const number = (text) => (/^\s*-?\d*\.?\d+\s*$/.test(text) ? Number(text) : NaN);

/** Return the state with the point at shares; the total of the parts stays. */
function moved(found) {
  const parts = new Map(page.state.parts);
  const whole = page.state.parts.reduce((sum, [, text]) => sum + (number(text) || 0), 0) || 100;
  page.bench.corners.forEach((name, i) => parts.set(name, String(Number(((found[i] * whole) / 100).toFixed(3)))));
  return { ...page.state, parts: [...parts] };
}

/** Take a new state: show it, ask for it, and keep it once the hand rests. */
function change(state) {
  page.state = state;
  page.seq += 1;
  page.faulty = false;
  showBoxes();
  send("/answer", { state });
  survey(state);
  clearTimeout(page.timer);
  page.timer = setTimeout(() => {
    if (page.faulty) return;
    remember();
    send("/rest", { state });
  }, REST_MS);
}

/** Ask for the areas where settings or other ingredients are new: coarse at once. */
function survey(state) {
  const key = JSON.stringify({ ...state, parts: state.parts.filter(([name]) => !page.bench.corners.includes(name)) });
  if (key === page.region) return;
  const first = page.region === "";
  page.region = key;
  if (!first) send("/region", { state, coarse: true });
  clearTimeout(page.fine);
  page.fine = setTimeout(() => send("/region", { state }), first ? 0 : 250);
}

/** Keep the state in the address: the browser's own way back undoes it. */
function remember() {
  const hash = `#${encodeURIComponent(JSON.stringify(page.state))}`;
  if (hash !== location.hash) {
    page.last = (history.state?.place ?? -1) + 1;
    history[page.last ? "pushState" : "replaceState"]({ place: page.last }, "", hash);
  }
  const place = history.state?.place ?? 0;
  by("undo").disabled = place === 0;
  by("redo").disabled = place >= (page.last ?? place);
}

addEventListener("popstate", () => {
  const state = fromAddress();
  if (state && state.units === page.state?.units) change(state);
  else start("/bench", state ?? page.state);
});

function showBoxes() {
  const { parts } = page.state;
  if (by("parts").children.length !== parts.length) by("parts").replaceChildren(...parts.map(partRow));
  parts.forEach((pair, i) => {
    const boxes = by("parts").children[i].querySelectorAll("input");
    boxes.forEach((box, k) => put(box, pair[k]));
    boxes[1].setAttribute("aria-label", `parts of ${pair[0]}`);
  });
  for (const { key, unit, start: stated } of page.bench.boxes) {
    const text = page.state[key] ?? stated;
    put(by(`box-${key}`), text);
    const slider = by(`slide-${key}`);
    if (slider && number(text.replace(` ${unit}`, "")) >= 0) put(slider, parseFloat(text));
  }
  by("units").value = page.state.units;
}

function put(box, text) {
  if (box !== document.activeElement) box.value = text;
}

function partRow(_, i) {
  const name = make("input", { class: "long", list: "ingredients", "aria-label": "ingredient", autocomplete: "off" });
  const amount = make("input", { class: "short", inputmode: "decimal", autocomplete: "off" });
  const less = make("button", { text: "−", "aria-label": "leave this ingredient out", class: "screen" });
  const typed = () => [...by("parts").children].map((row) => [...row.querySelectorAll("input")].map((box) => box.value));
  const edited = () => {
    const parts = typed();
    if (parts[i].every(Boolean)) change({ ...page.state, parts });
    else page.state = { ...page.state, parts };
  };
  name.onchange = edited;
  amount.oninput = edited;
  less.onclick = () => change({ ...page.state, parts: page.state.parts.filter((_one, k) => k !== i) });
  return make("div", { class: "row", of: [name, amount, less] });
}

/** Make the box of a value, with a slider where it is one number. */
function boxRow({ key, label, unit, slider, chance }) {
  const set = (text) => change({ ...page.state, [key]: text });
  const box = make("input", { id: `box-${key}`, class: "short", autocomplete: "off", "data-box": key });
  box.oninput = () => set(box.value);
  box.onchange = () => number(box.value) >= 0 && unit && set(box.value = `${box.value.trim()} ${unit}`);
  const row = make("div", { class: "row", of: [make("label", { text: label, for: box.id }), box, make("span", { class: "quiet", text: chance })] });
  if (slider) {
    const [min, max, step] = slider;
    const range = make("input", { id: `slide-${key}`, type: "range", min, max, step, "aria-label": `${label}, slider` });
    range.oninput = () => set(`${range.value} ${unit}`.trim());
    row.append(range);
  }
  return row;
}

// ----------------------------------------------------------------------------
// Deeds: processes of their own, with progress; what is written is shown first.

/** Do something on a click; what goes wrong is said. */
function on(places, act) {
  for (const one of all(places)) {
    one.onclick = () => {
      say(line, "");
      Promise.resolve(act(one)).catch(failed);
    };
  }
}

async function deed(kind, more = {}) {
  const { state } = page;
  const { id } = await ask("/deed", { state, ...more, kind });
  let told = { running: true, seconds: 0, said: "" };
  page.deed = id;
  try {
    while (told.running) {
      show({ deed: { running: true, text: "", progress: `${Math.round(told.seconds)} s ${told.said}` } });
      await new Promise((go) => setTimeout(go, LOOK_MS));
      told = await ask("/deed/state", { id });
    }
  } finally {
    show({ deed: { ...told, running: false, text: told.error ?? told.text } });
    by("done").scrollIntoView({ block: "nearest" });
  }
  page.found = told.found;
  by("open").href = told.open ?? "";
  const words = `A new batch, ${told.text} Its record is kept in the folder batches.`;
  if (told.mass && confirm(words)) await deed("batch", { state, mass: told.mass });
}

async function save(kind) {
  const asked = { kind, name: by("name").value, state: page.state, hash: page.bench.hash };
  const { diff } = await ask("/save", asked);
  if (confirm(`This changes the bench file:\n\n${diff}`)) await write("/save", { ...asked, sure: true });
}

/** After writing: the bench is a new one, the point stays. */
async function write(path, asked) {
  const { undo } = await ask(path, asked);
  show({ saved: undo ? "saved" : "" });
  await start("/reload");
}

// ----------------------------------------------------------------------------
// The bench: at the start, and after a change; the point stays.

async function start(path = "/bench", state = page.state ?? fromAddress(), units = state?.units) {
  try {
    const bench = await ask(path, { units });
    page.bench = bench;
    banner("");
    by("all").disabled = false;
    opened(bench);
    const known = ["parts", ...bench.boxes.map(({ key }) => key)]; // a limit may have gone
    const own = Object.entries(state ?? {}).filter(([key]) => known.includes(key));
    change({ ...bench.start, ...Object.fromEntries(own) });
  } catch (error) {
    if (error.status === 422) banner(error.message, true);
    else failed(error);
  }
}

function opened(bench) {
  page.region = "";
  document.title = `${bench.name}: castsugar`;
  const has = (kind) => bench.marks.some((one) => one.kind === kind);
  const stamp = `${bench.name}, SHA-256 begins ${bench.hash.slice(0, 16)}; ${new Date().toLocaleString()}`;
  show({ ...bench, stamp, base: has("base"), measured: has("measured"), writes: !bench.read_only });
  triangle.open(bench);
  const option = (name) => make("option", { text: name, value: name });
  by("ingredients").replaceChildren(...bench.ingredients.map(option));
  by("recipes").replaceChildren(make("option", { text: "a recipe", value: "" }), ...Object.keys(bench.recipes).map(option));
  by("boxes").replaceChildren(...bench.boxes.map(boxRow));
}

// On a phone only the head line of the answer stays in sight.
new ResizeObserver(() => {
  const up = by("head").offsetHeight + 4 - by("answer").offsetHeight;
  by("answer").style.setProperty("--up", `${Math.min(up, 0)}px`);
}).observe(by("answer"));

on("#reload", () => start("/reload"));
on("#undo", () => history.state?.place && history.back());
on("#redo", () => history.forward());
on("#base", () => change(page.bench.start));
on("#try", () => change(page.next.state));
on("#weigh", () => {
  if (page.next.state) change(page.next.state);
  return deed("weigh");
});
on("#take", () => change({ ...page.state, parts: page.found }));
on("#add", () => {
  page.state = { ...page.state, parts: [...page.state.parts, ["", ""]] };
  showBoxes();
});
on("#stop", () => ask("/deed/stop", { id: page.deed }));
on("#unsave", () => write("/undo", { hash: page.bench.hash }));
on("[data-deed]", (button) => deed(button.dataset.deed));
on("[data-save]", (button) => save(button.dataset.save));
by("units").onchange = () => start("/bench", page.state, by("units").value);
by("recipes").onchange = () => {
  change({ ...page.state, parts: page.bench.recipes[by("recipes").value] ?? page.state.parts });
  by("recipes").value = "";
};
start();
