"use strict";
// Enhances a page that is whole without it: choosing, zooming, reading out, moving. Nothing moves unasked.
(() => {
  const runs = JSON.parse(document.getElementById("data").textContent);
  const one = (selector, from = document) => from.querySelector(selector);
  const all = (selector, from = document) => [...from.querySelectorAll(selector)];
  const SVG = "http://www.w3.org/2000/svg";
  const TRAIL = 4000, KNOT = 200, TICK = 20;
  const SCALES = [9, 20, 40, 70, 110, 160, 240, 360, 540];
  const state = { key: Object.keys(runs)[0], t: 0, scale: 4, playing: false, wait: null };
  const minus = (text) => text.replace("-", "\u2212");
  const clock = (ms) => `${(ms / 1000).toFixed(2)} s`;

  // --- values between two known instants
  function place(at, t) {
    let low = 0, high = at.length - 1;
    while (low < high) {
      const middle = (low + high + 1) >> 1;
      if (at[middle] <= t) low = middle; else high = middle - 1;
    }
    return low;
  }
  function value(at, values, t) {
    const k = place(at, t);
    if (k + 1 >= at.length || t <= at[k]) return values[k];
    return values[k] + (values[k + 1] - values[k]) * (t - at[k]) / (at[k + 1] - at[k]);
  }
  const pose = (of, t) => ["x", "y", "h"].map((axis) => value(of.t, of[axis], t));
  function told(mechanism, t) {
    if (mechanism.words.length) {
      const k = place(mechanism.t, t), number = mechanism.v[k];
      return number < 0 ? "on its way" : mechanism.words[number];
    }
    const unit = mechanism.unit === "\u00b0" ? "\u00b0" : ` ${mechanism.unit}`;
    return minus((value(mechanism.t, mechanism.v, t) / 10).toFixed(mechanism.decimals)) + unit;
  }

  // --- which run is shown
  const views = () => all(`.view[data-view="${state.key}"]`);
  const scroller = () => one(`.view[data-view="${state.key}"] .scroll`);
  const waits = () => all(".mv", scroller()).sort((one, other) => one.dataset.at - other.dataset.at);
  function choose(key) {
    if (!(key in runs)) return;
    state.key = key;
    const [plan, battery] = key.split("-");
    for (const view of all(".view")) {
      view.hidden = view.dataset.view !== key;
      if (view.matches(".drawn") && view.dataset.view.split("-")[0] === plan) view.classList.toggle("paper", view.dataset.view === key);
    }
    for (const set of all("fieldset.battery")) {
      set.hidden = set.dataset.plan !== plan;
      if (!set.hidden) all("input", set)[Number(battery)].checked = true;
    }
    const chosen = all("input[name=plan]")[Number(plan)];
    if (chosen) chosen.checked = true;
    one("#instant").max = runs[key].end;
    gauges();
    select(null);
    rescale(false);
    show(Math.min(state.t, runs[key].end));
  }
  const batteryOf = (plan) => all(`fieldset.battery[data-plan="${plan}"] input`).findIndex((input) => input.checked);
  for (const input of all("input[name=plan]")) {
    input.addEventListener("change", () => choose(`${input.value}-${batteryOf(input.value)}`));
  }
  for (const set of all("fieldset.battery")) {
    set.addEventListener("change", (event) => choose(`${set.dataset.plan}-${event.target.value}`));
  }

  // --- scale
  function rescale(keep = true) {
    const box = scroller(), run = runs[state.key];
    const before = box.scrollWidth > box.clientWidth && keep ? (box.scrollLeft + box.clientWidth / 2) / box.scrollWidth : null;
    const least = box.clientWidth / (run.end / 1000);
    const k = state.scale < 0 ? least : Math.max(SCALES[state.scale], least);
    document.documentElement.style.setProperty("--k", k);
    for (const time of all(".time")) time.classList.toggle("far", k < 55);
    if (before !== null) box.scrollLeft = before * box.scrollWidth - box.clientWidth / 2;
    torn();
  }
  function torn() {
    const box = scroller();
    box.parentElement.classList.toggle("torn", box.scrollLeft > 1);
  }
  const closer = (by) => { state.scale = Math.min(SCALES.length - 1, Math.max(0, state.scale + by)); rescale(); };
  one("#closer").addEventListener("click", () => closer(1));
  one("#farther").addEventListener("click", () => closer(-1));
  one("#whole").addEventListener("click", () => { state.scale = -1; rescale(); });
  for (const box of all(".scroll")) box.addEventListener("scroll", torn);

  // --- reading the waits
  const read = one("#read");
  const sentences = new Map();
  for (const wait of all(".mv")) {
    const told = one("title", wait);
    sentences.set(wait, told.textContent);
    wait.addEventListener("mouseenter", () => { read.textContent = sentences.get(wait); });
  }
  function select(wait, follow = true) {
    all(".mv.on").forEach((old) => old.classList.remove("on"));
    state.wait = wait;
    if (!wait) return;
    wait.classList.add("on");
    read.textContent = sentences.get(wait);
    if (follow) show(Number(wait.dataset.at) / 1000);
    bring(Number(wait.dataset.at) / 1000);
  }
  function bring(t) {
    const box = scroller(), x = t / runs[state.key].end * box.scrollWidth;
    if (x < box.scrollLeft + 40 || x > box.scrollLeft + box.clientWidth - 160) box.scrollLeft = x - box.clientWidth / 3;
  }
  function step(by) {
    const list = waits();
    if (!list.length) return;
    const index = list.indexOf(state.wait);
    select(list[index < 0 ? 0 : Math.min(list.length - 1, Math.max(0, index + by))]);
  }
  function lane(by) {
    const list = waits(), lanes = runs[state.key].mechanisms.map((each) => each.name);
    if (!list.length) return;
    const at = state.wait ? Number(state.wait.dataset.at) : 1000 * state.t;
    let index = state.wait ? lanes.indexOf(state.wait.dataset.lane) + by : 0;
    for (; index >= 0 && index < lanes.length; index += by || 1) {
      const own = list.filter((wait) => wait.dataset.lane === lanes[index]);
      if (own.length) {
        const gap = (wait) => Math.abs(Number(wait.dataset.at) - at);
        select(own.reduce((best, wait) => (gap(wait) < gap(best) ? wait : best)));
        return;
      }
    }
  }
  const KEYS = {
    ArrowRight: () => step(1), ArrowLeft: () => step(-1), ArrowDown: () => lane(1), ArrowUp: () => lane(-1),
    Home: () => select(waits()[0]), End: () => select(waits().at(-1)), "+": () => closer(1), "-": () => closer(-1),
    " ": () => play(!state.playing),
  };
  for (const box of all(".scroll")) {
    box.addEventListener("keydown", (event) => {
      if (event.ctrlKey || event.altKey || event.metaKey) return;
      const plan = state.key.split("-")[0], key = `${plan}-${Number(event.key) - 1}`;
      if (/^[1-9]$/.test(event.key) && key in runs) { choose(key); scroller().focus(); event.preventDefault(); }
      else if (event.key in KEYS) { KEYS[event.key](); event.preventDefault(); }
    });
    const track = one(".track", box);
    let dragging = false;
    const point = (event) => {
      const at = track.getBoundingClientRect();
      show(Math.max(0, Math.min(1, (event.clientX - at.left) / at.width)) * runs[state.key].end);
    };
    track.addEventListener("pointerdown", (event) => {
      if (event.button) return;
      const wait = event.target.closest(".mv");
      if (wait) select(wait, false);
      dragging = event.pointerType === "mouse";
      point(event);
    });
    track.addEventListener("pointermove", (event) => { if (dragging) point(event); });
    addEventListener("pointerup", () => { dragging = false; });
  }

  // --- the field, and the positions beside it
  function gauges() {
    for (const view of views()) {
      const body = one(".gauges tbody", view);
      if (!body) continue;
      body.replaceChildren();
      const row = (name, class_) => {
        const tr = document.createElement("tr"), th = document.createElement("th");
        th.scope = "row"; th.className = "l"; th.textContent = name;
        const bar = document.createElement("td"), text = document.createElement("td");
        bar.className = "gauge"; bar.append(document.createElement("i")); text.className = "l";
        tr.className = class_; tr.append(th, bar, text); body.append(tr);
      };
      for (const mechanism of runs[state.key].mechanisms) row(mechanism.name, "");
      row("bus", "volts");
    }
  }
  const spans = new Map();
  function span(values) {
    if (!spans.has(values)) spans.set(values, [Math.min(0, ...values), Math.max(...values, 1)]);
    return spans.get(values);
  }
  function show(t) {
    const run = runs[state.key];
    state.t = t = Math.round(Math.max(0, Math.min(run.end, t)));
    one("#instant").value = t;
    one("#instant").setAttribute("aria-valuetext", clock(t));
    one("#clock").textContent = clock(t);
    for (const view of views()) {
      const now = one(".now", view);
      if (now) { now.style.setProperty("--t", 100 * t / run.end); one("span", now).textContent = clock(t); now.classList.toggle("early", t < run.end / 500); }
      const drawn = one("svg.field", view);
      if (drawn) { move(drawn, run, t); positions(view, run, t); }
    }
  }
  function move(drawn, run, t) {
    const high = Number(drawn.dataset.high), wide = Number(drawn.dataset.wide);
    const set = (group, of) => {
      const [x, y, h] = pose(of, t);
      group.setAttribute("transform", `translate(${x.toFixed(1)} ${(high - y).toFixed(1)}) rotate(${(-h / 10).toFixed(2)})`);
    };
    set(one(".robot:not(.partner)", drawn), run.pose);
    if (run.partner) set(one(".partner", drawn), run.partner);
    const from = Math.max(0, t - TRAIL), points = [];
    for (let at = from; at < t; at += TICK) points.push(pose(run.pose, at));
    points.push(pose(run.pose, t));
    one(".trail", drawn).setAttribute("points", points.map(([x, y]) => `${x.toFixed(0)},${(high - y).toFixed(0)}`).join(" "));
    const knots = one(".knots", drawn), ink = one(".trail", drawn).classList[1];
    knots.replaceChildren();
    for (let at = Math.ceil(from / KNOT) * KNOT; at <= t; at += KNOT) {
      const [x, y] = pose(run.pose, at), knot = document.createElementNS(SVG, "circle");
      knot.setAttribute("cx", `${100 * x / wide}%`); knot.setAttribute("cy", `${100 * (high - y) / high}%`);
      knot.setAttribute("r", at % 1000 ? 2.6 : 4); knot.setAttribute("class", `fill-${ink}`);
      knots.append(knot);
    }
  }
  function positions(view, run, t) {
    one(".instant", view).textContent = clock(t);
    const rows = all(".gauges tbody tr", view);
    run.mechanisms.forEach((mechanism, index) => {
      const [low, high] = span(mechanism.v), now = value(mechanism.t, mechanism.v, t);
      const share = mechanism.words.length ? 0 : (now - low) / (high - low);
      rows[index].cells[1].firstChild.style.width = `${Math.max(0, 100 * share)}%`;
      rows[index].cells[2].textContent = told(mechanism, t);
    });
    const volts = value(run.bus.t, run.bus.v, t), last = rows.at(-1);
    last.cells[1].firstChild.style.width = `${100 * volts / span(run.bus.v)[1]}%`;
    last.cells[2].textContent = `${(volts / 100).toFixed(2)} V`;
    const under = run.moves.filter(([begin, end]) => begin <= t && t < end).map((each) => each[2]);
    const points = run.deliveries.filter((at) => at <= t).length;
    one(".under", view).textContent = `Under way: ${under.join("; ") || "nothing"}. Delivered so far: ${points}.`;
  }

  // --- time
  let last = 0;
  function play(on) {
    if (on && state.t >= runs[state.key].end) show(0);
    state.playing = on;
    const button = one("#play");
    button.textContent = on ? "Stop" : "Play";
    button.setAttribute("aria-pressed", String(on));
    if (on) { last = performance.now(); requestAnimationFrame(frame); }
  }
  function frame(now) {
    if (!state.playing) return;
    const t = state.t + (now - last) * Number(one("#speed").value);
    if (t - state.t >= 1) { last = now; show(t); bring(state.t); }
    if (state.t >= runs[state.key].end) play(false); else requestAnimationFrame(frame);
  }
  one("#play").addEventListener("click", () => play(!state.playing));
  one("#back").addEventListener("click", () => { show(Math.ceil(state.t / TICK) * TICK - TICK); bring(state.t); });
  one("#on").addEventListener("click", () => { show(Math.floor(state.t / TICK) * TICK + TICK); bring(state.t); });
  one("#instant").addEventListener("input", (event) => { show(Number(event.target.value)); bring(state.t); });
  addEventListener("resize", () => rescale());

  choose(all(".view").find((view) => !view.hidden).dataset.view);
})();
