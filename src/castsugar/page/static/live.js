// The live page: one state, one question at a time (the answer first), deeds.

import { all, by, make, say, show } from "/cards.js";
import { drawCourse } from "/curves.js";
import { Triangle } from "/triangle.js";

const REST_MS = 300;
const SLOW_MS = 150;
const AGAIN_MS = 2000;
const GONE = "The server has gone: start castsugar open again. The numbers below are old.";
const KEYLESS = "This tab has no key. The mix is kept in its address: open the link that the terminal shows in this tab.";

const line = by("fault-line");
const page = { bench: null, state: null, seq: 0, faulty: false, region: "", last: 0 };
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

/** Return what the server says no to, with its status; 0 if nobody is there. */
const refused = (text, status, key) => Object.assign(new Error(text), { status, key });

async function post(path, body, signal) {
  const headers = { "Content-Type": "application/json", "X-Castsugar-Token": sessionStorage.getItem("token") ?? "" };
  const asked = { method: "POST", headers, body: JSON.stringify(body), signal };
  const answer = await fetch(path, asked).catch(() => ({ status: 0 }));
  const { status } = answer;
  if (status === 0) throw refused(GONE, status);
  if (status === 403) throw refused(KEYLESS, status);
  if (answer.ok) return answer;
  const told = await answer.json().catch(() => ({}));
  throw refused(`${told.error ?? `the server answered ${status}`}.`, status, told.key);
}

/** Ask the server; an answer from files that have changed is marked. */
async function ask(path, body) {
  const told = await (await post(path, body)).json();
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
  try {
    TAKE[path](await clocked("busy", () => ask(path, body)), body.seq);
  } catch (error) {
    if (body.seq === page.seq || !error.key) failed(error);
  } finally {
    busy = false;
    work();
  }
}

/** Do what may last, and count its seconds. */
async function clocked(id, act) {
  const begun = performance.now();
  const clock = setInterval(() => {
    const seconds = (performance.now() - begun) / 1000;
    by(id).textContent = seconds > 2 ? `computing, ${seconds.toFixed(0)} s` : "computing";
  }, SLOW_MS);
  try {
    return await act();
  } finally {
    clearInterval(clock);
    by(id).textContent = "";
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
  if (key !== undefined) return fault(message, key);
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

/** Say beside a box what is wrong with it; without one, of a deed. What was asked is old then. */
function fault(message, key) {
  const boxes = key ? all(`[data-box="${CSS.escape(key)}"]`) : [];
  (boxes.at(-1)?.closest(".row") ?? by("deeds")).after(line);
  say(line, message + (key ? ` The numbers are for ${by("for").textContent}, from before this change.` : ""));
  if (!key) return;
  for (const one of boxes) one.setAttribute("aria-invalid", "true");
  show({ stale: "OLD, from before a change that was not understood" });
  page.faulty = true; // what was asked beside it would say the same
  waiting.clear();
  clearTimeout(page.fine);
  page.region = "";
  by("undo").disabled = false;
}

/** Say what holds for the whole page; what can be read again has a button. */
function banner(text, again = false) {
  show({ banner: text, again });
}

// ----------------------------------------------------------------------------
// The state, its boxes, and the shares that it holds.

const NUMBERS = /\d+\.?\d*|\.\d+/g;
/** Return the state with the point at shares; the total of the parts stays, and its unit if they have one. */
function moved(found) {
  const parts = new Map(page.state.parts);
  const units = new Set([...parts.values()].map((text) => text.replace(NUMBERS, "")));
  const whole = units.size > 1 ? 100 : [...parts.values()].reduce((sum, text) => sum + parseFloat(text), 0);
  const unit = units.size > 1 ? "" : [...units][0];
  page.bench.corners.forEach((name, i) => parts.set(name, Number(((found[i] * whole) / 100).toFixed(3)) + unit));
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
  by("redo").disabled = place >= page.last;
}

addEventListener("popstate", () => {
  const state = fromAddress();
  if (state && state.units === page.state?.units) change(known(state));
  else start("/bench", state ?? page.state);
});

/** Return what of a state the bench still knows: a limit may have gone. */
function known(state) {
  const keys = ["parts", ...page.bench.boxes.map(({ key }) => key)];
  return { ...page.bench.start, ...Object.fromEntries(Object.entries(state ?? {}).filter(([key]) => keys.includes(key))) };
}

/** Make a row: a box with its label, and a slider for each number of its text. */
function boxRow({ key, label, sliders = [] }, set) {
  const box = make("input", { "data-box": key, autocomplete: "off" });
  const ranges = sliders.map(([min, max, step], i) => {
    const range = make("input", { type: "range", min, max, step, "aria-label": `${label}, slider ${i + 1}` });
    range.oninput = () => {
      let place = 0;
      set((box.value || box.placeholder).replace(NUMBERS, (old) => (place++ === i ? range.value : old)));
    };
    return range;
  });
  box.oninput = () => {
    page.typing = box;
    set(box.value);
  };
  return make("div", { class: "row", of: [make("label", { of: [label, box] }), ...ranges] });
}

/** Make the row of a part; without an amount it leaves the recipe. */
function partRow([label], i) {
  const put = (pairs) => change({ ...page.state, parts: page.state.parts.flatMap((pair, k) => (k === i ? pairs : [pair])) });
  const row = boxRow({ key: "parts", label }, (text) => put([[label, text]]));
  row.onchange = ({ target }) => target.value.trim() || put([]);
  return row;
}

const form = (text) => text.replace(NUMBERS, "#").replaceAll(" ", "");

/** Put what the state holds into the boxes, but the one that is typed into; sliders know texts of the form of the bench's. */
function showBoxes() {
  const { parts, units } = page.state;
  const names = JSON.stringify(parts.map(([name]) => name));
  if (page.names !== names) by("parts").replaceChildren(...parts.map(partRow));
  page.names = names;
  const starts = [...parts.map(() => ""), ...page.bench.boxes.map(({ start: own }) => own)];
  const texts = [...parts.map(([, text]) => text), ...page.bench.boxes.map(({ key, start: own }) => page.state[key] ?? own)];
  all("#parts .row, #boxes .row").forEach((row, i) => {
    const [box, ...ranges] = row.querySelectorAll("input");
    if (box !== page.typing) box.value = texts[i];
    box.placeholder = starts[i];
    ranges.forEach((range, k) => {
      range.disabled = form(texts[i] || starts[i]) !== form(starts[i]);
      range.value = (texts[i] || starts[i]).match(NUMBERS)?.[k] ?? range.value;
    });
  });
  page.typing = null;
  by("units").value = units;
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
  if (by("deeds").disabled) throw refused("Something is being done already: stop it or wait for it.", 422, "");
  const stop = new AbortController();
  page.stop = () => stop.abort();
  let told = { text: "" };
  show({ deed: { ...told, running: true } });
  by("deeds").disabled = true;
  try {
    told = await clocked("progress", async () => (await post("/deed", { state: page.state, kind, ...more }, stop.signal)).json());
  } catch (error) {
    if (!stop.signal.aborted) throw error.status === undefined ? refused(GONE, 0) : error;
    told = { text: "stopped; nothing was written" };
  } finally {
    show({ deed: told });
    by("deeds").disabled = false;
    by("done").scrollIntoView({ block: "nearest" });
  }
  page.found = told.found;
  by("open").href = told.open ?? "";
}

/** Make a batch: its record is kept, so it is asked for its mass. */
function batch() {
  const words = `A new batch of ${by("for").textContent}: its record is kept in the folder batches. Mass of all ingredients:`;
  const mass = prompt(words, page.bench.batch);
  return mass && deed("batch", { mass });
}

async function save(kind) {
  const name = kind === "recipe" ? prompt("Name of the recipe in the bench file:") : "";
  if (name === null) return;
  await write("/save", { kind, name, state: page.state });
}

/** Write what is shown before; then the bench is a new one, the point stays. */
async function write(path, more = {}) {
  const asked = { ...more, hash: page.bench.hash };
  const { diff } = await ask(path, asked);
  if (!confirm(`This changes the bench file:\n\n${diff}`)) return;
  const { undo } = await ask(path, { ...asked, sure: true });
  show({ saved: undo ? "saved" : "" });
  await start("/reload");
}

// ----------------------------------------------------------------------------
// The bench: at the start, and after a change; the point stays.

async function start(path = "/bench", state = page.state ?? fromAddress(), units = state?.units) {
  try {
    const bench = await clocked("busy", () => ask(path, { units }));
    page.bench = bench;
    banner("");
    by("all").disabled = false;
    opened(bench);
    change(known(state));
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
  const names = [...Object.keys(bench.recipes), ...bench.ingredients];
  by("names").replaceChildren(...names.map((value) => make("option", { value })));
  const row = (one) => boxRow(one, (text) => change({ ...page.state, [one.key]: text }));
  by("boxes").replaceChildren(...bench.boxes.map(row));
}

on("#reload", () => start("/reload"));
on("#undo", () => (page.faulty ? change(fromAddress() ?? page.bench.start) : history.state?.place && history.back()));
on("#redo", () => history.forward());
on("#base", () => change(page.bench.start));
on("#try", () => change(page.next.state));
on("#weigh", () => {
  if (page.next.state) change(page.next.state);
  return deed("weigh");
});
on("#there", () => change({ ...page.state, parts: page.found }));
on("#stop", () => page.stop());
on("#unsave", () => write("/undo"));
on("#batch", batch);
on("[data-deed]", (button) => deed(button.dataset.deed));
on("[data-save]", (button) => save(button.dataset.save));
by("units").onchange = () => start("/bench", page.state, by("units").value);
by("take").onchange = () => {
  const name = by("take").value.trim();
  const { recipes } = page.bench;
  const recipe = Object.keys(recipes).find((one) => one.toLowerCase() === name.toLowerCase());
  const { parts } = page.state;
  if (recipe) change({ ...page.state, parts: recipes[recipe] });
  else if (name && !parts.some(([one]) => one === name)) change({ ...page.state, parts: [...parts, [name, "1"]] });
  by("take").value = "";
};
start();
