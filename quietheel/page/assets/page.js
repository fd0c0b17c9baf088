// The page keeps the latest of every section and draws a section only when it has changed.

import { byId, clock, fill, fixed, heel, make, onThemeChange, say, setZone } from "./dom.js";
import { Curve, Funnel, evidence } from "./curve.js";
import { Marks } from "./marks.js";
import { Paper } from "./paper.js";

const state = {};
const paper = new Paper(byId("roll"));
const curve = new Curve(byId("curve"));
const funnel = new Funnel(byId("funnel"));

const sheet = {
  node: byId("sheet"),
  open(content) {
    const shut = make("button", { type: "button", class: "shut", "aria-label": "close", onclick: () => this.close() }, "✕");
    this.node.replaceChildren(content, shut);
    if (!this.node.open) this.node.showModal();
  },
  close() { this.node.close(); this.node.replaceChildren(); },
};
sheet.node.addEventListener("click", (event) => { if (event.target === sheet.node) sheet.close(); });
const marks = new Marks(sheet);

// ---- sections ---------------------------------------------------------------------------------------------------

const draw = {
  day(day) {
    setZone(day.utc_offset_h);
    say(byId("who"), [day.vessel, day.test, day.place].filter(Boolean).join(" · "));
    spans();
  },
  now(now) {
    say(byId("clock"), now.words);
  },
  next(next) {
    say(byId("sentence"), next.sentence);
    say(byId("then"), next.then);
    say(byId("caution"), next.caution);
  },
  still(still) {
    fill(byId("still-words"), still.words, () => [still.words]);
    byId("still-bar").firstElementChild.style.width = `${Math.round(88 * Math.min(still.part, 1) + (still.part >= 1 ? 12 : 0))}%`;
  },
  stations(stations) {
    fill(byId("stations"), stations, () => stations.map((one) => make("div", { class: `station${one.ill ? " ill" : ""}` },
      penOf(one), make("span", { class: "name" }, one.name), make("span", { class: "reads" }, one.reads), make("span", { class: "says" }, one.says))));
  },
  windows(windows) { fill(byId("window-list"), windows, () => windowRows(windows)); },
  gm(gm) {
    fill(byId("gm"), [gm.value_m, gm.u95_m], () => (gm.value_m === null ? ["–"] : [`${gm.value_m.toFixed(gm.u95_m < 0.01 ? 4 : 3)} `, make("small", {}, `± ${fixed(gm.u95_m, gm.u95_m < 0.01 ? 4 : 3)} m`)]));
    say(byId("gm-words"), gm.says);
    byId("funnel").style.display = gm.history.length ? "" : "none";
    funnel.show(gm.history);
      byId("funnel").setAttribute("aria-label", `GM after each window: ${gm.says}`);
  },
  plot(plot) {
    curve.show(plot);
    byId("curve").setAttribute("aria-label", `Moment-tangent plot, ${plot.points.length} points: ${plot.points.map((p) => `${p.label} ${p.moment_tm.toFixed(1)} t m`).join(", ")}`);
  },
  time(time) {
    fill(byId("time-body"), time, () => [
      make("p", {}, time.says),
      make("div", { class: "steps" }, time.steps.flatMap((step) => [make("span", { class: `at ${step.state}` }, step.at), make("span", { class: step.state }, step.what)])),
    ]);
  },
  people(people) {
    fill(byId("people-body"), { people, may: marks.may }, () => [
      make("p", {}, people.says),
      ...people.changes.map((change) => make("p", { class: "away" }, change)),
      ...people.posts.map((post) => make("div", { class: "post" }, make("h3", {}, `${post.name} · ${post.people.length}`),
        make("p", { class: marks.may ? "row" : "" }, post.people.flatMap((one, n) => [n && !marks.may ? ", " : null, personOf(one, post.name, people.places)])))),
    ]);
  },
  marks(list) { marks.list(list); },
  kit(kit) {
    fill(byId("kit-body"), kit, () => [make("dl", { class: "facts" }, kit.flatMap((fact) => [make("dt", {}, fact.what), make("dd", { class: fact.ill ? "ill" : "" }, fact.says)]))]);
  },
};

function penOf(one) {
  const place = state.strip.lanes.filter((lane) => lane.quantity === "heel").findIndex((lane) => lane.station === one.name);
  if (place < 0) return make("span", {});
  const pen = make("span", { class: "pen", "aria-hidden": "true" }, String(place + 1));
  pen.style.background = `var(--s${place % 6})`;
  return pen;
}

function personOf(one, place, places) {
  const words = `${one.name}${one.duty ? ` (${one.duty})` : ""}`;
  if (!marks.may) return make("span", { class: one.from ? "away" : "" }, words);
  return make("button", { type: "button", class: one.from ? "away" : "", "data-person": one.name, onclick: () => marks.move(one.name, places, place) }, words);
}

function windowRows(windows) {
  if (!windows.length) return [make("li", { class: "none" }, "No window yet.")];
  return windows.map((one) => {
    const kind = one.void ? "void" : one.stop_ms === null ? "open" : one.verdict ?? "wait";
    const u95 = one.u95_deg === null ? "" : ` ± ${fixed(one.u95_deg, 4)}°`;
    return make("li", {}, make("button", { type: "button", class: `window${kind === "open" ? " now" : ""}${one.void ? " void" : ""}`, "data-window": one.label, onclick: () => openWindow(one) },
      make("span", { class: `label${one.label.length > 3 ? " long" : ""}` }, one.label),
      make("span", {}, make("span", { class: "heel" }, one.heel_deg === null ? "–" : heel(one.heel_deg, 4)), make("span", { class: "side" }, u95)),
      make("span", { class: `stamp ${kind}` }, kind === "wait" ? "at work" : kind),
      make("span", { class: "why" }, one.words)));
  });
}

async function openWindow(one) {
  const head = make("h2", {}, `Window ${one.label}`);
  const body = make("div", { class: "sheet" }, head, make("p", {}, `${clock(one.start_ms)} to ${one.stop_ms === null ? "now" : clock(one.stop_ms)} · ${one.words}`));
  if (marks.may && !one.void) {
    body.append(make("div", { class: "row" },
      make("button", { type: "button", onclick: () => marks.void({ window: one.label, says: `window ${one.label}` }) }, "Void this window…"),
      one.verdict ? make("button", { type: "button", onclick: () => marks.overrule(one.label, one.verdict) }, "Overrule the verdict…") : null));
  }
  if (marks.may && one.void_id !== null) {
    body.append(make("div", { class: "row" },
      make("button", { type: "button", onclick: () => marks.restore({ voidId: one.void_id, says: `window ${one.label}`, void: one.void }) }, "Let it stand again…")));
  }
  sheet.open(body);
  let detail;
  try {
    const answer = await fetch(`window/${encodeURIComponent(one.id)}`);
    if (!answer.ok) { body.append(make("p", { class: "none" }, await answer.text())); return; }
    detail = await answer.json();
  } catch {
    body.append(make("p", { class: "refused" }, "the laptop does not answer"));
    return;
  }
  const pictures = [];
  if (detail.stations.length) {
    body.append(make("table", {}, make("tr", {}, ["station", "heel", "± 95 %", "rate", ""].map((word, n) => make("th", { class: n > 0 && n < 4 ? "n" : null }, word))),
      detail.stations.map((row) => make("tr", {}, make("td", {}, row.name), make("td", { class: "n" }, heel(row.heel_deg, 4)), make("td", { class: "n" }, row.u95_deg === null ? "–" : `${fixed(row.u95_deg, 4)}°`), make("td", { class: "n" }, `${fixed(row.rate_hz, 1)} Hz`), make("td", {}, row.says)))));
  }
  if (detail.people.length) body.append(make("p", {}, make("strong", {}, "Roll call: "), detail.people.join(" ")));
  for (const check of detail.checks) {
    const box = make("div", { class: "check" }, make("p", {}, make("span", { class: `stamp ${check.verdict}` }, check.code), ` ${check.says}`));
    if (check.picture) {
      const canvas = make("canvas", { role: "img", "aria-label": check.says });
      box.append(canvas);
      pictures.push([canvas, check.picture]);
    }
    body.append(box);
  }
  if (detail.clean) body.append(make("p", { class: "none" }, detail.clean));
  for (const [canvas, picture] of pictures) evidence(canvas, picture).ask();
}

function spans() {
  fill(byId("spans"), paper.seconds, () => [120, 300, 600].map((seconds) =>
    make("button", { type: "button", "aria-pressed": String(seconds === paper.seconds), onclick: () => { paper.span(seconds); spans(); } }, `${seconds / 60} min`)));
  const steered = Boolean(state.day?.steered && marks.token);
  fill(byId("play"), steered, () => (steered ? [["Hold / go on", { paused: "turn" }], ["Slower", { factor: 0.5 }], ["Faster", { factor: 2 }], ["From the start", { again: true }]]
    .map(([words, body]) => make("button", { type: "button", onclick: () => marks.post("play", body).catch(() => {}) }, words)) : []));
}

// ---- what comes in ----------------------------------------------------------------------------------------------

function take(delta) {
  if (delta.strip) {
    state.strip = { ...state.strip, ...delta.strip };
    paper.take(delta.strip);
  }
  for (const [name, value] of Object.entries(delta)) if (name !== "strip") state[name] = value;
  for (const name of ["day", "now", "next", "still", "stations", "windows", "gm", "plot", "time", "people", "marks", "kit"]) {
    if (name in delta) draw[name](delta[name]);
  }
  if ("next" in delta || "day" in delta) marks.show(state.next, state.day);
  if ("windows" in delta || "stations" in delta || "rules" in delta || "expected_deg" in delta) {
    paper.show({ windows: state.windows, stations: state.stations, rules: state.rules, expected_deg: state.expected_deg });
  }
}

let heard = performance.now();
function listen() {
  const stream = new EventSource("stream");
  stream.addEventListener("delta", (event) => {
    heard = performance.now();
    document.body.classList.remove("stale");
    take(JSON.parse(event.data));
    say(byId("line"), "");
  });
  stream.addEventListener("error", () => {
    if (!document.body.classList.contains("stale")) say(byId("line"), "the laptop does not answer; trying again");
  });
}
setInterval(() => {
  if (performance.now() - heard <= 5000) return;
  document.body.classList.add("stale");
  say(byId("line"), `nothing from the laptop for ${Math.round((performance.now() - heard) / 1000)} s: all below is old`);
}, 2000);

document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey || sheet.node.open || /^(INPUT|TEXTAREA|SELECT)$/.test(event.target.tagName)) return;
  if (event.key === "w" || event.key === "W") {
    (byId("window-list").querySelector("button") ?? byId("windows")).focus();
    event.preventDefault();
  } else if (marks.key(event)) event.preventDefault();
});
byId("window-list").addEventListener("keydown", (event) => {
  const step = { ArrowDown: 1, ArrowUp: -1 }[event.key];
  if (!step) return;
  const rows = [...byId("window-list").querySelectorAll("button")];
  rows[rows.indexOf(document.activeElement) + step]?.focus();
  event.preventDefault();
});
const redraw = () => { for (const one of [paper, curve, funnel]) one.sheet.ask(); };
document.addEventListener("visibilitychange", redraw);
onThemeChange(redraw);

take(JSON.parse(byId("whole").textContent));
listen();
