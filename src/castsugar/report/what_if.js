"use strict";
// Which mixes remain under three limits. The rule is that of castsugar.decide.remaining;
// mixes, limits and words come as data, and what the page shows at first is what
// Python wrote by the same rule.
(function () {
  const find = (name) => document.getElementById("what-if-" + name);
  const data = JSON.parse(find("data").textContent);
  const dials = data.dials;
  const sliders = dials.map((_, k) => find("slider-" + k));
  const dots = Array.from(find("dots").children);
  const sizes = Array.from(find("sizes").children, (dot) => dot.getAttribute("r"));
  const marks = [find("base"), find("new")];
  const count = dots.length + marks.length; // base and new come last
  const REMAINS = 0, OUT = 1, UNKNOWN = 2, CLASSES = ["k", "r", "u"];

  // 1 beyond a limit or endless, 2 not known but asked for, else 0.
  function against(dial, cap, i) {
    const value = dial.values[i];
    if (value === null) return cap === null && !dial.needed ? REMAINS : UNKNOWN;
    if (dial.endless !== null && value >= dial.endless) return OUT;
    return cap !== null && dial.sign * value > dial.sign * cap ? OUT : REMAINS;
  }

  // How a mix stands against each limit and, last, against those that stay.
  function parts(caps, i) {
    return [...dials.map((dial, k) => against(dial, caps[k], i)), Number(data.others[i])];
  }

  function standing(caps) {
    return Array.from({ length: count }, (_, i) => {
      const found = parts(caps, i);
      return found.includes(OUT) ? OUT : found.includes(UNKNOWN) ? UNKNOWN : REMAINS;
    });
  }

  function highest(states) {
    const velocity = dials[2].values;
    let best = null;
    states.forEach((state, i) => {
      if (state === REMAINS && (best === null || velocity[i] > velocity[best])) best = i;
    });
    return best;
  }

  const remaining = (states) => states.filter((state) => state === REMAINS).length;

  function words(dial, value) {
    if (value === null) return "not computed";
    if (dial.endless !== null && value >= dial.endless) return dial.ends;
    const text = Number(value.toPrecision(4)) + " " + dial.unit;
    return dial.psi ? text + " (" + Math.round(value * dial.psi) + " psi)" : text;
  }

  function recipe(i) {
    const shares = data.percents[i].map((share, k) => [share, data.names[k]]);
    const there = shares.filter((pair) => pair[0] > 0);
    return there.map((pair) => pair[0].toFixed(1) + " % " + pair[1]).join(", ");
  }

  function bestWords(i) {
    const known = dials.filter((dial) => dial.column);
    const order = [known[known.length - 1], ...known.slice(0, -1)]; // c* first
    const told = order.map((dial) => dial.name + " " + words(dial, dial.values[i]));
    if (data.set) {
      const set = data.set[i];
      told.push(data.set_name + " " + (set === null ? "not computed" : set.toFixed(2)));
    }
    const whose = data.both[i - dots.length];
    return "Highest c* that remains: " + (whose ? whose + ", " : "") + recipe(i) + ". " +
      told.join("; ") + ".";
  }

  function nothingWords(caps) {
    const ways = [];
    dials.forEach((dial, k) => {
      if (caps[k] === null) return;
      const back = remaining(standing(caps.map((cap, j) => (j === k ? null : cap))));
      if (back) ways.push(dial.name + " (brings back " + back + ")");
    });
    if (ways.length) return "Nothing remains: relax " + ways.join(" or ") + ".";
    const some = remaining(standing(caps.map(() => null)));
    return "Nothing remains: " + (some ? data.stuck : data.hopeless) + ".";
  }

  function memberWords(caps, state, which) {
    const found = parts(caps, dots.length + which);
    const told = [...dials.map((dial) => dial.name), "the limits that stay"];
    const named = (code) => told.filter((_, k) => found[k] === code).join(", ");
    if (state === OUT) return data.both[which] + " is ruled out by " + named(OUT) + ".";
    if (state === REMAINS) return data.both[which] + " remains.";
    return data.both[which] + " cannot be judged; not computed: " + named(UNKNOWN) + ".";
  }

  function say(name, text) {
    if (find(name).textContent !== text) find(name).textContent = text;
  }

  function draw() {
    const caps = dials.map((dial, k) => dial.stops[Number(sliders[k].value)]);
    dials.forEach((dial, k) => {
      const text = caps[k] === null ? dial.any : words(dial, caps[k]);
      say("output-" + k, text);
      sliders[k].setAttribute("aria-valuetext", text);
    });
    const states = standing(caps);
    [...dots, ...marks].forEach((shape, i) => {
      shape.setAttribute("class", CLASSES[states[i]]);
      if (i < dots.length) shape.setAttribute("r", sizes[states[i] === UNKNOWN ? 1 : 0]);
    });
    const kept = remaining(states), best = highest(states), ring = find("ring");
    const dark = states.filter((state) => state === UNKNOWN).length;
    say("count", kept + " of " + count + " mixes remain" +
      (dark ? "; " + dark + " are not computed" : "") + ".");
    say("best", best === null ? nothingWords(caps) : bestWords(best));
    marks.forEach((_, k) => say("member-" + k, memberWords(caps, states[dots.length + k], k)));
    if (best === null) {
      ring.setAttribute("visibility", "hidden");
      return;
    }
    const dot = dots[best];
    ring.setAttribute("transform", dot
      ? "translate(" + dot.getAttribute("cx") + "," + dot.getAttribute("cy") + ")"
      : marks[best - dots.length].getAttribute("transform"));
    ring.removeAttribute("visibility");
  }

  sliders.forEach((slider) => slider.addEventListener("input", draw));
  find("reset").addEventListener("click", () => {
    sliders.forEach((slider, k) => { slider.value = String(dials[k].start); });
    draw();
  });
  sliders.forEach((slider, k) => { slider.value = String(dials[k].start); });
  draw();
})();
