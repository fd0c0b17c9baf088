// Marks: the next one as one large button, the others behind a few; every one is sent once and stands for good.

import { byId, clock, fill, make, say } from "./dom.js";

const KEY = "quietheel-token";
const NAME = "quietheel-name";

// The token comes after the # of the address, which no browser sends anywhere; it is kept for this tab only.
function takeToken() {
  const found = /(?:^#|&)token=([\w-]+)/.exec(location.hash);
  try {
    if (found) {
      sessionStorage.setItem(KEY, found[1]);
      history.replaceState(null, "", location.pathname);
    }
    return sessionStorage.getItem(KEY) || "";
  } catch {
    return found ? found[1] : "";
  }
}

export class Marks {
  constructor(sheet) {
    this.token = takeToken();
    this.sheet = sheet;
    this.busy = false;
    this.next = null;
    this.day = { writable: false };
    this.trouble = "";
  }

  get may() { return this.token !== "" && this.day.writable; }

  name() {
    try { return localStorage.getItem(NAME) || ""; } catch { return ""; }
  }

  rename(name) {
    try { localStorage.setItem(NAME, name); } catch { /* private window: asked again next time */ }
  }

  async post(path, body) {
    const answer = await fetch(path, {
      method: "POST",
      headers: { "content-type": "application/json", "x-quietheel-token": this.token },
      body: JSON.stringify(body),
    });
    if (!answer.ok) throw new Error(await answer.text());
    return answer.json();
  }

  // A mark carries a number of its own press, so that a retry on a bad link does not make two.
  async send(mark) {
    if (this.busy) return false;
    if (!this.name()) {
      this.introduce(() => this.send(mark));
      return false;
    }
    this.busy = true;
    this.trouble = "";
    this.render();
    try {
      await this.post("mark", { ...mark, by: this.name(), press: crypto.getRandomValues(new Uint32Array(2)).join("-") });
      if (navigator.vibrate) navigator.vibrate(60);
      return true;
    } catch (error) {
      this.trouble = error instanceof TypeError ? "not marked: the laptop does not answer; try again" : `not marked: ${error.message}`;
      return false;
    } finally {
      this.busy = false;
      this.render();
    }
  }

  show(next, day) {
    this.next = next;
    this.day = day;
    this.render();
  }

  render() {
    const action = this.may ? this.next?.action : null;
    const needs = action?.needs ?? [];
    document.body.classList.toggle("marking", Boolean(action));
    document.body.classList.toggle("confirming", needs.length > 0);
    const given = needs.filter((need) => need.done).length;
    fill(byId("act"), { action, busy: this.busy, trouble: this.trouble }, () => {
      if (!action) return [];
      const toggles = needs.map((need, n) =>
        make("button", { class: "confirm", type: "button", "data-confirm": need.code, "aria-pressed": String(need.done), disabled: this.busy, onclick: () => this.tick(need) },
          make("span", {}, need.says, make("small", {}, ` ${n + 1}`))));
      return [
        ...toggles,
        make("button", { id: "do", type: "button", "data-kind": action.kind, disabled: this.busy, onclick: () => this.act() },
          this.busy ? "marking…" : action.button, needs.length ? make("small", {}, ` ${given === needs.length ? "all" : `${given} of ${needs.length}`} confirmed`) : null),
        this.trouble ? make("p", { class: "trouble", role: "alert" }, this.trouble) : null,
      ];
    });
    fill(byId("mark-tools"), { may: this.may, writable: this.day.writable, others: this.next?.others ?? [] }, () => this.tools());
  }

  // Whoever checks a thing ticks it, each on their own phone; a tick stands in the record at once and is taken back by voiding it.
  tick(need) {
    const open = this.next.action.kind === "window_close" ? this.next.action.label : "";
    if (!need.done) this.send({ kind: "confirm", what: need.code, label: open });
    else if (need.number) this.send({ kind: "void", event: need.number, reason: "ticked by mistake" });
  }

  act() {
    const action = this.next?.action;
    if (action && this.may) this.send({ kind: action.kind, label: action.label });
  }

  tools() {
    if (!this.day.writable) return [make("p", { class: "none" }, "A recorded day: its marks stand as they were made.")];
    if (!this.may) return [make("p", { class: "none" }, "Read only here. To mark, open the address with the token that the laptop shows.")];
    const others = (this.next?.others ?? []).map((other) =>
      make("button", { type: "button", "data-kind": other.kind, onclick: () => this.other(other) }, other.button));
    return [...others, make("button", { type: "button", "data-kind": "note", onclick: () => this.note() }, "Note")];
  }

  other(other) {
    if (other.kind === "reading") this.reading(other);
    else if (other.choices) this.choose(other);
    else this.form(`${other.button}?`, other.says ?? "", [], `Yes: ${other.button.toLowerCase()}`, () => ({ kind: other.kind, label: other.label ?? "" }));
  }

  choices(options, chosen, pick) {
    const buttons = options.map((option) =>
      make("button", { type: "button", "aria-pressed": String(option.value === chosen), onclick: (event) => {
        pick(option.value);
        for (const one of buttons) one.setAttribute("aria-pressed", String(one === event.currentTarget));
      } }, option.words));
    return make("div", { class: "choice" }, buttons);
  }

  choose(other) {
    let chosen = "";
    const options = other.choices.map((choice) => ({ value: choice.label, words: choice.says }));
    this.form(other.says, "", [this.choices(options, "", (value) => { chosen = value; })], "Mark it", () =>
      chosen === "" ? "choose one" : { kind: other.kind, label: chosen });
  }

  reading(other) {
    let station = other.stations[0];
    const text = make("input", { name: "text", inputmode: "decimal", autocomplete: "off", maxlength: "200" });
    const which = other.stations.length > 1 ? [this.choices(other.stations.map((one) => ({ value: one, words: one })), station, (value) => { station = value; })] : [];
    this.form(`Reading of ${other.stations.length > 1 ? "a hand-read station" : station}`, "Turning points of successive swings, in mm, with spaces between them. It belongs to the window it is typed in, or to the last one.", [...which, make("label", {}, "Deflections in mm", text)], "Write it down", () =>
      ({ kind: "reading", station, text: text.value }));
  }

  key(event) {
    if (event.key === "n" || event.key === "N") byId("do")?.focus();
    else if (/^[1-9]$/.test(event.key)) byId("act").querySelectorAll(".confirm")[Number(event.key) - 1]?.click();
    else if ((event.key === "t" || event.key === "T") && this.may) this.note();
    else return false;
    return true;
  }

  introduce(then) {
    const by = make("input", { name: "by", autocomplete: "name", maxlength: "60" });
    const trouble = make("p", { class: "refused", role: "alert" });
    this.sheet.open(make("form", { class: "sheet", onsubmit: (event) => {
      event.preventDefault();
      if (!by.value.trim()) { say(trouble, "every mark carries the name of who made it"); return; }
      this.rename(by.value.trim());
      this.sheet.close();
      then();
    } }, make("h2", {}, "Who marks from this device?"), make("p", {}, "Your name or duty goes beside every mark you make here. It is asked once."), make("label", {}, "Name or duty", by), trouble, make("button", { type: "submit", class: "go" }, "Go on")));
    by.focus();
  }

  form(title, words, fields, button, mark) {
    const trouble = make("p", { class: "refused", role: "alert" });
    const by = make("input", { name: "by", autocomplete: "name", value: this.name(), maxlength: "60" });
    const go = make("button", { type: "submit", class: "go" }, button);
    const form = make("form", { class: "sheet", onsubmit: async (event) => {
      event.preventDefault();
      const ready = by.value.trim() ? mark(form) : "every mark carries the name of who made it";
      if (typeof ready === "string") { say(trouble, ready); return; }
      this.rename(by.value.trim());
      go.disabled = true;
      if (await this.send(ready)) this.sheet.close();
      else { say(trouble, this.trouble); go.disabled = false; }
    } }, make("h2", {}, title), words ? make("p", {}, words) : null, fields, make("label", {}, "Marked by", by), trouble, go);
    this.sheet.open(form);
    form.querySelector("textarea, input")?.focus();
  }

  note() {
    const text = make("textarea", { rows: "3", maxlength: "500", name: "text" });
    this.form("Note", "", [make("label", {}, "What happened", text)], "Write it down", () =>
      text.value.trim() ? { kind: "note", text: text.value.trim() } : "a note needs words");
  }

  void(mark) {
    const reason = make("textarea", { rows: "3", maxlength: "500", name: "reason" });
    const chips = ["marked by mistake", "someone moved", "line came taut", "wash of a passing vessel", "gusts"].map((words) =>
      make("button", { type: "button", onclick: () => { reason.value = words; } }, words));
    this.form(`Void ${mark.says}?`, "It stays on record, struck out, with your reason.", [make("div", { class: "choice" }, chips), make("label", {}, "Reason", reason)], "Void it", () =>
      reason.value.trim() ? { kind: "void", ...(mark.event ? { event: mark.event } : { label: mark.window }), reason: reason.value.trim() } : "to void something takes a reason");
  }

  // A void is a mark like any other: voiding it lets what it struck out stand again.
  restore(mark) {
    const reason = make("textarea", { rows: "3", maxlength: "500", name: "reason" });
    this.form(`Let ${mark.says} stand again?`, `It was struck out: ${mark.void}. That stays on record too, with your reason.`, [make("label", {}, "Reason", reason)], "Let it stand", () =>
      reason.value.trim() ? { kind: "void", event: mark.voidId, reason: reason.value.trim() } : "to let it stand again takes a reason");
  }

  overrule(label, now) {
    let chosen = "";
    const reason = make("textarea", { rows: "3", maxlength: "500", name: "reason" });
    const options = ["fine", "caution", "rejected"].map((word) => ({ value: word, words: word }));
    this.form(`Overrule the verdict on window ${label}`, `The checks say ${now}. Your verdict goes on record with your reason; the report shows both.`,
      [this.choices(options, "", (value) => { chosen = value; }), make("label", {}, "Reason", reason)], "Overrule", () =>
        chosen === "" ? "choose a verdict" : reason.value.trim() ? { kind: "overrule", label, verdict: chosen, reason: reason.value.trim() } : "to overrule takes a reason");
  }

  move(person, places, where) {
    let chosen = where;
    const options = [...places, "ashore"].map((place) => ({ value: place, words: place }));
    this.form(`Where is ${person}?`, "Counts from now on, until marked otherwise.", [this.choices(options, where, (value) => { chosen = value; })], "Mark the place", () =>
      chosen === where ? `${person} already stands there` : { kind: "people", person, place: chosen });
  }

  turn(mark) {
    if (mark.void === null) return make("button", { type: "button", "aria-label": `void ${mark.says}`, onclick: () => this.void({ event: mark.id, says: mark.says }) }, "Void");
    return make("button", { type: "button", "aria-label": `let ${mark.says} stand again`, onclick: () => this.restore({ voidId: mark.void_id, says: mark.says, void: mark.void }) }, "Restore");
  }

  list(marks) {
    fill(byId("mark-list"), { marks, may: this.may }, () => marks.map((mark) =>
      make("li", { class: `mark${mark.void ? " void" : ""}` },
        make("span", { class: "at" }, clock(mark.at_ms)),
        make("span", { class: "says" }, make("span", { class: "words" }, mark.says), mark.by ? make("span", { class: "at" }, ` · ${mark.by}`) : null, mark.void ? make("span", {}, ` · void: ${mark.void}`) : null),
        this.may && mark.voidable ? this.turn(mark) : make("span", {}))));
    const more = byId("mark-more");
    const list = byId("mark-list");
    more.hidden = marks.length <= 8;
    say(more, list.classList.contains("all") ? "Only the latest" : `All ${marks.length}`);
    more.onclick = () => { list.classList.toggle("all"); this.list(marks); };
  }
}
