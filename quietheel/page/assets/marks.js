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
  constructor(sheet, refresh) {
    this.token = takeToken();
    this.sheet = sheet;
    this.refresh = refresh;
    this.ticked = new Set();
    this.forWindow = null;
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
    if (this.forWindow !== (action?.label ?? null) || !needs.length) this.ticked.clear();
    this.forWindow = action?.label ?? null;
    document.body.classList.toggle("marking", Boolean(action));
    document.body.classList.toggle("confirming", needs.length > 0);
    const state = { action, ticked: [...this.ticked], busy: this.busy, trouble: this.trouble };
    fill(byId("act"), state, () => {
      if (!action) return [];
      const toggles = needs.map((need, n) =>
        make("button", { class: "confirm", type: "button", "data-confirm": need.code, "aria-pressed": String(this.ticked.has(need.code)), onclick: () => this.tick(need.code) }, make("span", {}, need.says, make("small", {}, ` ${n + 1}`))));
      const short = needs.length - this.ticked.size;
      const words = this.busy ? "marking…" : action.button;
      return [
        ...toggles,
        make("button", { id: "do", type: "button", disabled: this.busy, onclick: () => this.act() }, words, needs.length ? make("small", {}, short ? ` ${needs.length - short} of ${needs.length} confirmed` : " all confirmed") : null),
        this.trouble ? make("p", { class: "stamp rejected", role: "alert" }, this.trouble) : null,
      ];
    });
    fill(byId("mark-tools"), { may: this.may, writable: this.day.writable, others: this.next?.others ?? [], trouble: this.trouble }, () => this.tools());
  }

  tick(code) {
    if (this.ticked.has(code)) this.ticked.delete(code);
    else this.ticked.add(code);
    this.render();
  }

  async act() {
    const action = this.next?.action;
    if (!action || !this.may) return;
    const confirmed = (action.needs ?? []).map((need) => need.code).filter((code) => this.ticked.has(code));
    if (await this.send({ kind: action.kind, label: action.label, ...(action.needs?.length ? { confirmed } : {}) })) this.ticked.clear();
    this.render();
  }

  tools() {
    if (!this.day.writable) return [make("p", { class: "none" }, "A recorded day: its marks stand as they were made.")];
    if (!this.may) return [make("p", { class: "none" }, "Read only here. To mark, open the address with the token that the laptop shows.")];
    const others = (this.next?.others ?? []).map((other) =>
      make("button", { type: "button", "data-kind": other.kind, onclick: () => this.ask(other.button, other) }, other.button));
    return [...others, make("button", { type: "button", "data-kind": "note", onclick: () => this.note() }, "Note")];
  }

  key(event) {
    if (event.key === "n" || event.key === "N") byId("do")?.focus();
    else if (/^[1-9]$/.test(event.key)) byId("act").querySelectorAll(".confirm")[Number(event.key) - 1]?.click();
    else if ((event.key === "t" || event.key === "T") && this.may) this.note();
    else return false;
    return true;
  }

  form(title, words, fields, button, mark) {
    const trouble = make("p", { class: "refused", role: "alert" });
    const by = make("input", { name: "by", autocomplete: "name", value: this.name(), maxlength: "60" });
    const go = make("button", { type: "submit", class: "go" }, button);
    const form = make("form", { class: "sheet", onsubmit: async (event) => {
      event.preventDefault();
      this.rename(by.value.trim());
      const ready = mark(form);
      if (typeof ready === "string") { say(trouble, ready); return; }
      go.disabled = true;
      if (await this.send(ready)) this.sheet.close();
      else { say(trouble, this.trouble); go.disabled = false; }
    } }, make("h2", {}, title), words ? make("p", {}, words) : null, fields, make("label", {}, "Marked by", by), trouble, go);
    this.sheet.open(form);
    form.querySelector("textarea, input")?.focus();
  }

  ask(title, other) {
    this.form(`${title}?`, other.says ?? "", [], `Yes: ${title.toLowerCase()}`, () => ({ kind: other.kind, label: other.label ?? "" }));
  }

  note() {
    const text = make("textarea", { rows: "3", maxlength: "500", name: "text" });
    this.form("Note", "", [make("label", {}, "What happened", text)], "Write it down", () =>
      text.value.trim() ? { kind: "note", text: text.value.trim() } : "a note needs words");
  }

  void(mark) {
    const reason = make("textarea", { rows: "3", maxlength: "500", name: "reason" });
    const chips = ["marked by mistake", "someone moved", "line came taut", "wash of a passing vessel", "wind"].map((words) =>
      make("button", { type: "button", onclick: () => { reason.value = words; } }, words));
    this.form(`Void ${mark.says}`, "It stays on record, struck out, with your reason.", [make("div", { class: "choice" }, chips), make("label", {}, "Reason", reason)], "Void it", () =>
      reason.value.trim() ? { kind: "void", of: mark.id, label: mark.label ?? "", reason: reason.value.trim() } : "to void something takes a reason");
  }

  move(person, posts, where) {
    let chosen = where;
    const buttons = posts.map((post) =>
      make("button", { type: "button", "aria-pressed": String(post === where), onclick: (event) => {
        chosen = post;
        for (const one of buttons) one.setAttribute("aria-pressed", String(one === event.currentTarget));
      } }, post));
    this.form(`Where is ${person}?`, "For every window from now on.", [make("div", { class: "choice" }, buttons)], "Mark the place", () =>
      chosen === where ? `${person} already stands there` : { kind: "person", person, place: chosen });
  }

  list(marks) {
    fill(byId("mark-list"), { marks, may: this.may }, () => marks.map((mark) =>
      make("li", { class: `mark${mark.void ? " void" : ""}` },
        make("span", { class: "at" }, clock(mark.at_ms)),
        make("span", { class: "says" }, mark.says, mark.by ? make("span", { class: "at" }, ` · ${mark.by}`) : null, mark.void ? make("span", {}, ` · void: ${mark.void}`) : null),
        this.may && mark.voidable && !mark.void ? make("button", { type: "button", "aria-label": `void ${mark.says}`, onclick: () => this.void(mark) }, "Void") : make("span", {}))));
  }
}
