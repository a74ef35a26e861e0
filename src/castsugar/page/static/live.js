// The live page: one state, two lanes to the server (the answer first), deeds.

import { by, make, say, showKey, showNumbers, showRest, showSafety, showVerdict } from "/cards.js";
import { drawCourse } from "/curves.js";
import { Triangle } from "/triangle.js";

const REST_MS = 300;
const SLOW_MS = 150;
const AGAIN_MS = 2000;
const LOOK_MS = 400;

// Answers of these are about the bench that this tab knows.
const STAMPED = ["/answer", "/rest", "/region"];

const page = { bench: null, state: null, saved: [], place: -1, seq: 0, gone: false, region: "" };
const triangle = new Triangle(by("triangle"), (shares) => change(moved(shares)));

// ----------------------------------------------------------------------------
// The token: in the address once, then with this tab.

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
    const pairs = Array.isArray(state.parts) && state.parts.every((one) => one?.length === 2 && one.every((x) => typeof x === "string"));
    return pairs && typeof (state.limits ?? {}) === "object" ? state : null;
  } catch {
    return null;
  }
}

let kept = fromAddress();
addEventListener("hashchange", () => {
  kept = fromAddress() ?? page.state;
  start();
});

class Refused extends Error {
  constructor(status, told) {
    super(told.error ?? `the server answered ${status}`);
    Object.assign(this, { status, key: told.key });
  }
}

class Gone extends Error {}

/** Ask the server; Refused for what it says no to, Gone if nobody is there. */
async function ask(path, body) {
  const answer = await fetch(path, {
    method: "POST",
    headers: { "Content-Type": "application/json", "X-Castsugar-Token": sessionStorage.getItem("token") ?? "" },
    body: JSON.stringify(body),
  }).catch(() => {
    throw new Gone();
  });
  const told = await answer.json().catch(() => ({}));
  if (!answer.ok) throw new Refused(answer.status, told);
  if (told.changed) banner(`${told.changed}.`, "Reload", () => reload());
  else if (STAMPED.includes(path) && told.hash !== page.bench.hash) {
    banner(`${page.bench.name} has changed.`, "Reload", () => reload());
  }
  return told;
}

// ----------------------------------------------------------------------------
// Lanes: one request at a time in each, the newest waits.

class Lane {
  constructor(path, take, free = () => true) {
    Object.assign(this, { path, take, free, waiting: null, busy: false });
  }

  send(body) {
    this.waiting = body;
    this.run();
  }

  async run() {
    if (this.busy || !this.waiting || page.gone || !this.free()) return;
    const body = this.waiting;
    this.waiting = null;
    this.busy = true;
    const begun = performance.now();
    const clock = setInterval(() => computing(begun), SLOW_MS);
    try {
      this.take(await ask(this.path, body), body);
    } catch (error) {
      // Only a question that nobody heard is asked again.
      if (error instanceof Gone) this.waiting ??= body;
      failed(error, () => this.run(), body.seq);
    } finally {
      clearInterval(clock);
      this.busy = false;
      by("busy").textContent = "";
      for (const lane of [answers, rests, regions]) lane.run();
    }
  }
}

const answers = new Lane("/answer", answered);
const rests = new Lane("/rest", rested, () => !answers.busy && !answers.waiting);
const regions = new Lane("/region", surveyed, () => !answers.busy && !answers.waiting && !rests.busy);

function computing(begun) {
  const seconds = (performance.now() - begun) / 1000;
  by("busy").textContent = seconds > 2 ? `computing, ${seconds.toFixed(0)} s` : "computing";
}

function answered(told) {
  if (told.seq < page.seq && answers.waiting === null) return;
  clearFaults();
  stale("");
  show(told);
  document.body.dataset.seq = told.seq;
}

function rested(told) {
  if (told.seq !== page.seq) return;
  show(told);
  showRest(told);
  by("thick-section").hidden = !told.thickness;
  by("thick").src = told.thickness;
  by("heard").textContent = `${told.verdict.text} For ${told.for}.`;
  document.body.dataset.rest = told.seq;
}

/** Show what both answers hold. */
function show(told) {
  page.next = told.next.state;
  showVerdict(told);
  showNumbers(told);
  by("course-section").hidden = !told.course;
  if (!told.course) return;
  drawCourse(by("course"), told.course);
  by("course-words").textContent = told.course.words;
}

function surveyed(told) {
  triangle.regions(told);
  showKey(told, page.bench);
  by("region-words").textContent = told.words;
  document.body.dataset.region = "yes";
}

// ----------------------------------------------------------------------------
// What went wrong: a wrong box, a server that is gone, a tab without a token.

function failed(error, again, seq = page.seq) {
  if (error instanceof Refused && error.status === 422) return seq === page.seq && fault(error);
  if (error instanceof Refused && error.status === 403) {
    return banner("This tab has no key. The mix is kept in its address: open the link that the terminal shows in this tab.");
  }
  if (error instanceof Refused) return banner(`${error.message}.`);
  if (!(error instanceof Gone)) throw error;
  if (!page.gone) wait(again);
  return undefined;
}

/** Look for the server every two seconds; the state stays in the address. */
function wait(again) {
  page.gone = true;
  banner("The server has gone: start castsugar open again. The numbers below are old.");
  stale("OLD, the server has gone");
  enable(false);
  const look = setInterval(async () => {
    const error = await ask("/bench", {}).then(() => null, (one) => one);
    if (error instanceof Gone) return;
    clearInterval(look);
    page.gone = false;
    if (error) return void failed(error, again);
    banner("");
    enable(true);
    again();
  }, AGAIN_MS);
}

function enable(on) {
  for (const button of document.querySelectorAll("button:not(#banner-do)")) button.disabled = !on;
  if (on) showHistory();
}

function banner(text, word, deed) {
  by("banner").hidden = !text;
  by("banner-text").textContent = text;
  by("banner-do").hidden = !word;
  by("banner-do").textContent = word ?? "";
  by("banner-do").onclick = deed ?? null;
}

function fault(error) {
  const box = document.querySelector(`[data-box="${CSS.escape(error.key ?? "parts")}"]`);
  const place = box && !box.closest("#recipe") ? "fault-settings" : "fault-parts";
  const boxes = error.key === "parts" ? document.querySelectorAll("#parts input") : [box];
  for (const one of boxes) one?.setAttribute("aria-invalid", "true");
  const before = by("for").textContent.toLowerCase().replace(/\.$/, "") || "old";
  say(place, `${error.message}. The numbers are ${before}, from before this change.`);
  stale("OLD, from before a change that was not understood");
  // What was asked beside it would say the same; the areas are asked anew once it is well.
  page.faulty = true;
  rests.waiting = regions.waiting = null;
  clearTimeout(page.fine);
  page.region = "";
}

/** Mark the verdict as that of another question; empty: it is of this one. */
function stale(text) {
  say("stale", text);
  by("answer").toggleAttribute("data-stale", Boolean(text));
}

function clearFaults() {
  for (const one of document.querySelectorAll("[aria-invalid]")) one.removeAttribute("aria-invalid");
  say("fault-parts", "");
  say("fault-settings", "");
}

// ----------------------------------------------------------------------------
// The state, and the shares that it holds.

const number = (text) => (/^\s*-?\d*\.?\d+\s*$/.test(text) ? Number(text) : NaN);

function shares(state) {
  const total = state.parts.reduce((sum, [name, text]) => sum + (name || text ? number(text) : 0), 0);
  const share = (name) => (100 * number(state.parts.find(([own]) => own === name)?.[1] ?? "0")) / total;
  return page.bench.corners.map(share);
}

/** Return the state with the point at shares; the total of the parts stays. */
function moved(found) {
  const { parts } = page.state;
  const total = parts.reduce((sum, [, text]) => sum + (number(text) || 0), 0) || 100;
  const own = parts.map((pair) => [...pair]);
  page.bench.corners.forEach((name, i) => {
    const text = String(Number(((found[i] * total) / 100).toFixed(3)));
    const known = own.find(([n]) => n === name);
    if (known) known[1] = text;
    else own.push([name, text]);
  });
  return { ...page.state, parts: own };
}

/** Take a new state: show it, ask for it, and keep it once the hand rests. */
function change(state, { keep = true, boxes = true } = {}) {
  page.state = state;
  page.seq += 1;
  page.faulty = false;
  if (boxes) showBoxes();
  const own = shares(state);
  if (own.every(Number.isFinite)) {
    triangle.hold(100 - own.reduce((sum, x) => sum + x, 0));
    triangle.place(own);
    say("outside", triangle.sees(own) ? "" : "This mix lies outside the picture; the point waits at its edge.");
  }
  const empty = ([name, text]) => (!name && !text) || (page.bench.corners.includes(name) && number(text) === 0);
  const sent = { ...state, parts: state.parts.filter((pair) => !empty(pair)) };
  answers.send({ seq: page.seq, state: sent });
  survey(sent);
  clearTimeout(page.timer);
  page.timer = setTimeout(() => {
    if (page.faulty) return;
    if (keep) remember();
    rests.send({ seq: page.seq, state: sent, narrow: innerWidth < 600 });
    history.replaceState(null, "", `#${encodeURIComponent(JSON.stringify(page.state))}`);
  }, REST_MS);
}

/** Ask for the areas where settings or other ingredients are new: coarse at once. */
function survey(state) {
  const others = state.parts.filter(([name]) => !page.bench.corners.includes(name));
  const key = JSON.stringify({ ...state, parts: others });
  if (key === page.region) return;
  const first = page.region === "";
  page.region = key;
  if (!first) regions.send({ seq: page.seq, state, coarse: true });
  clearTimeout(page.fine);
  page.fine = setTimeout(() => regions.send({ seq: page.seq, state, coarse: false }), first ? 0 : 250);
}

function remember() {
  const text = JSON.stringify(page.state);
  if (page.saved[page.place] === text) return;
  page.saved = [...page.saved.slice(0, page.place + 1), text].slice(-200);
  page.place = page.saved.length - 1;
  showHistory();
}

function showHistory() {
  by("undo").disabled = page.place <= 0;
  by("redo").disabled = page.place >= page.saved.length - 1;
}

function step(places) {
  const place = page.place + places;
  if (place < 0 || place >= page.saved.length) return;
  page.place = place;
  change(JSON.parse(page.saved[place]), { keep: false });
  showHistory();
}

// ----------------------------------------------------------------------------
// The boxes.

function showBoxes() {
  const { parts } = page.state;
  const held = document.activeElement;
  const same = by("parts").children.length === parts.length;
  if (!same) by("parts").replaceChildren(...parts.map((_, i) => partRow(i)));
  parts.forEach(([name, text], i) => {
    const [first, second] = by("parts").children[i].querySelectorAll("input");
    if (first !== held) first.value = name;
    if (second !== held) second.value = text;
    second.setAttribute("aria-label", `parts of ${name}`);
  });
  for (const box of document.querySelectorAll("#settings [data-box], #limits [data-box]")) {
    const key = box.dataset.box;
    const value = box.dataset.limit ? page.state.limits[key] : page.state[key];
    if (box !== held) box.value = value ?? "";
    const slider = by(`slide-${key}`);
    const plain = !/[a-z]/i.test(value ?? "") || (value ?? "").endsWith(` ${slider?.dataset.unit}`);
    if (slider && slider !== held && plain && Number.isFinite(parseFloat(value))) slider.value = parseFloat(value);
  }
  by("units").value = page.state.units;
}

function partRow(i) {
  const edit = (place) => (event) => {
    const parts = page.state.parts.map((pair) => [...pair]);
    parts[i][place] = event.target.value;
    if (parts[i][0] && parts[i][1]) change({ ...page.state, parts }, { boxes: false });
    else page.state = { ...page.state, parts };
  };
  const drop = () => {
    by("parts").replaceChildren();
    change({ ...page.state, parts: page.state.parts.filter((_, k) => k !== i) });
  };
  const name = make("input", { class: "long", list: "ingredients", "aria-label": "ingredient", autocomplete: "off", onchange: edit(0) });
  const amount = make("input", { class: "short", inputmode: "decimal", autocomplete: "off", oninput: edit(1), "data-box": i ? undefined : "parts" });
  const less = make("button", { text: "−", "aria-label": "leave this ingredient out", class: "screen", onclick: drop });
  return make("div", { class: "row", of: [name, amount, less] });
}

/** Make the box of a setting, with a slider where it is one number. */
function setting(one) {
  const set = (text) => change({ ...page.state, [one.key]: text });
  const row = boxRow(one, set, { "data-box": one.key });
  if (one.step) {
    row.append(make("input", {
      id: `slide-${one.key}`, type: "range", min: one.low, max: one.high, step: one.step, "data-unit": one.unit, "aria-label": `${one.label}, slider`,
      oninput: (event) => set(`${event.target.value} ${one.unit}`.trim()),
    }));
  }
  return row;
}

/** Make the box of one end of a limit. */
function limitRow(one) {
  const set = (text) => change({ ...page.state, limits: { ...page.state.limits, [one.key]: text } });
  const row = boxRow(one, set, { "data-box": one.key, "data-limit": "yes" });
  row.append(make("span", { class: "quiet", text: one.chance }));
  return row;
}

function boxRow(one, set, more) {
  const id = `box-${one.key}`;
  const box = make("input", { id, class: "short", autocomplete: "off", oninput: (event) => set(event.target.value), ...more });
  return make("div", { class: "row", of: [make("label", { text: one.label, for: id }), box] });
}

// ----------------------------------------------------------------------------
// Deeds: processes of their own, with progress; saving asks first.

async function deed(kind, more = {}) {
  say("fault-deed", "");
  by("done").replaceChildren();
  by("sure").hidden = true;
  const asked = { state: page.state, ...more, kind };
  try {
    page.deed = (await ask("/deed", asked)).id;
    by("running").hidden = false;
    by("running").scrollIntoView({ block: "nearest" });
    finished(await ended(page.deed), asked.state);
  } catch (error) {
    deedFailed(error);
  }
}

/** Wait until a deed has ended, and say how far it is. */
async function ended(id) {
  for (;;) {
    const told = await ask("/deed/state", { id });
    if (!told.running) return told;
    by("progress").textContent = `${Math.round(told.seconds)} s ${told.said}`;
    await new Promise((go) => setTimeout(go, LOOK_MS));
  }
}

function finished(told, state) {
  by("running").hidden = true;
  if (told.error) return say("fault-deed", told.error);
  if (told.mass) {
    const words = `A new batch, ${told.text} Its record is kept in the folder batches.`;
    return sure(words, "", () => deed("batch", { state, mass: told.mass }));
  }
  const done = [make("span", { text: `${told.text} ` })];
  if (told.open) done.push(make("a", { text: "Open the page", href: told.open, target: "_blank", rel: "noopener" }));
  const use = () => change({ ...page.state, parts: told.found });
  if (told.found) done.push(make("button", { text: "Put the point there", onclick: use }));
  by("done").replaceChildren(...done);
  return by("done").scrollIntoView({ block: "nearest" });
}

function deedFailed(error) {
  by("running").hidden = true;
  if (error instanceof Refused && error.status !== 403) say("fault-deed", `${error.message}.`);
  else failed(error, () => {});
}

/** Ask before something is written; what goes and comes may be shown. */
function sure(words, diff, act) {
  by("sure-words").textContent = words;
  say("diff", diff);
  by("sure").hidden = false;
  by("yes").onclick = () => {
    by("sure").hidden = true;
    act();
  };
  by("yes").focus();
}

async function save(kind) {
  say("fault-deed", "");
  by("sure").hidden = true;
  const asked = { kind, name: by("name").value, state: page.state, hash: page.bench.hash };
  const lines = (sign, text) => (text ? text.split("\n").map((line) => sign + line) : []);
  const told = await ask("/save", asked).catch(deedFailed);
  if (!told) return;
  const diff = [...lines("− ", told.before), ...lines("+ ", told.after)].join("\n");
  sure("This changes the bench file:", diff, () => write("/save", { ...asked, sure: true }));
}

const write = (path, asked) => ask(path, asked).then(take).catch(deedFailed);

/** After writing: the bench is a new one, the point stays. */
async function take(told) {
  by("unsave").hidden = !told.undo;
  by("saved").textContent = told.undo ? "saved" : "";
  await reload();
}

// ----------------------------------------------------------------------------
// The bench: at the start, and after a change.

function open(bench, state) {
  page.bench = bench;
  page.region = "";
  document.title = `${bench.name}: castsugar`;
  by("bench").textContent = `${bench.name}${bench.read_only ? ", read only" : ""}`;
  by("stamp").textContent = `${bench.name}, SHA-256 begins ${bench.hash.slice(0, 16)}; ${new Date().toLocaleString()}`;
  say("example", bench.example && `EXAMPLE: ${bench.example}`);
  triangle.open(bench);
  showSafety(bench.safety);
  by("ingredients").replaceChildren(...bench.ingredients.map((value) => make("option", { value })));
  const names = bench.recipes.map((one) => make("option", { text: one.name, value: one.name }));
  by("recipes").replaceChildren(make("option", { text: "a recipe", value: "" }), ...names);
  const missing = (bench.missing ?? []).map((text) => make("p", { class: "quiet", text }));
  by("settings").replaceChildren(...bench.settings.map(setting), ...missing);
  by("limits").replaceChildren(...bench.limits.map(limitRow));
  for (const one of document.querySelectorAll(".writes")) one.hidden = bench.read_only;
  change(state);
}

/** Read the bench again, or show it in other units; the point stays. */
async function reload(path = "/reload", units = page.state.units) {
  try {
    const before = page.bench.start;
    const bench = await ask(path, { units });
    banner("");
    open(bench, { ...followed(page.state, before, bench.start), units });
  } catch (error) {
    if (error instanceof Refused) banner(`${error.message}.`, "Reload", () => reload());
    else failed(error, () => reload(path, units));
  }
}

/** Return a state in which what was the bench's still is: a new throat, a new limit. */
function followed(state, before, now) {
  const own = { ...state, limits: { ...now.limits } };
  for (const key of ["cook", "minutes", "throat", "grains"]) {
    if (state[key] === before[key]) own[key] = now[key];
  }
  for (const [key, text] of Object.entries(state.limits)) {
    if (!(key in now.limits) || text === before.limits[key]) continue;
    const plain = /^\s*-?[\d.]+\s*$/.test(text); // it was in the unit shown before
    own.limits[key] = plain ? text.trim() + (/ .*/.exec(before.limits[key]) ?? "") : text;
  }
  return own;
}

function recipe(name) {
  const found = page.bench.recipes.find((one) => one.name === name);
  by("recipes").value = "";
  if (found) change({ ...page.state, parts: found.parts.map((pair) => [...pair]) });
}

async function start() {
  try {
    const bench = await ask("/bench", { units: kept?.units });
    const own = kept ? { ...bench.start, ...kept } : bench.start;
    banner("");
    enable(true);
    open(bench, own);
  } catch (error) {
    failed(error, start);
  }
}

// On a phone only the head line of the answer stays in sight.
new ResizeObserver(() => {
  const up = by("head").offsetHeight + 4 - by("answer").offsetHeight;
  by("answer").style.setProperty("--up", `${Math.min(up, 0)}px`);
}).observe(by("answer"));

by("undo").onclick = () => step(-1);
by("redo").onclick = () => step(1);
by("base").onclick = () => change(page.bench.start);
by("try").onclick = () => page.next && change(page.next);
by("add").onclick = () => {
  page.state = { ...page.state, parts: [...page.state.parts, ["", ""]] };
  showBoxes();
};
by("recipes").onchange = (event) => recipe(event.target.value);
by("units").onchange = (event) => {
  Object.assign(page, { saved: [], place: -1 }); // states of other units cannot be taken back
  reload("/bench", event.target.value);
};
by("stop").onclick = () => ask("/deed/stop", { id: page.deed }).catch(deedFailed);
by("no").onclick = () => (by("sure").hidden = true);
by("unsave").onclick = () => write("/undo", { hash: page.bench.hash });
by("weigh").onclick = () => {
  if (page.next) change(page.next);
  deed("weigh");
};
for (const one of document.querySelectorAll("[data-deed]")) one.onclick = () => deed(one.dataset.deed);
for (const one of document.querySelectorAll("[data-save]")) one.onclick = () => save(one.dataset.save);
start();
