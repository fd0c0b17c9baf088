"use strict";
// The deadweight survey on a tablet: everything stays in this page and in the browser's own store until it is saved to a
// file. Text a person types only ever becomes text, never markup.
const form = JSON.parse(document.body.dataset.form);
const store = "quietheel survey in tonnes " + form.key;
const SEEN = "space seen";
const SHUT = "not opened";
const TO_DO = "still to do";
const byId = (id) => document.getElementById(id);

let state = { current: 0, by: "", spaces: form.spaces.map((name) => ({ name, seen: "", why: "", rows: [] })) };
try {
  const kept = JSON.parse(localStorage.getItem(store));
  if (kept && Array.isArray(kept.spaces) && kept.spaces.length) state = kept;
} catch (error) { /* no store here, or one that cannot be read: the page works without */ }

function keep() {
  try { localStorage.setItem(store, JSON.stringify(state)); byId("kept").textContent = "kept on this device"; }
  catch (error) { byId("kept").textContent = "NOT kept on this device: save the file before closing"; }
}

function make(tag, text, settings) {
  const node = document.createElement(tag);
  if (text) node.textContent = text;
  for (const [name, value] of Object.entries(settings || {})) {
    if (name.startsWith("on")) node.addEventListener(name.slice(2), value); else node.setAttribute(name, value);
  }
  return node;
}

const counted = (items) => items + (items === 1 ? " item" : " items");
const number = (text) => Number(String(text).trim().replace(",", "."));
const isNumber = (text) => String(text).trim() !== "" && Number.isFinite(number(text));
const wanted = (column, row) => column.needed && !(column.only_move && row.action !== "move");

function wrong(column, row) {
  const value = String(row[column.name] ?? "").trim();
  if (value === "") return wanted(column, row) ? "needed" : "";
  if (column.kind === "number" && !isNumber(value)) return "not a number";
  if (column.mass && number(value) < 0) return "not below 0";
  return "";
}

// A scale reads kilograms: what the tonnes come to, so that a slip of a thousand is seen at once.
function inKilograms(column, row) {
  const value = row[column.name] ?? "";
  return column.mass && isNumber(value) ? "= " + Number((number(value) * 1000).toPrecision(10)) + " kg" : "";
}

const faults = (row) => form.columns.filter((column) => wrong(column, row)).length;
const tonnes = (rows) => rows.reduce((sum, row) => {
  if (row.action === "move" || !isNumber(row.mass_t)) return sum;
  return sum + (row.action === "on" ? 1 : -1) * number(row.mass_t);
}, 0);

function word(space) {
  if (space.seen === "shut") return ["✕", "not opened", "rejected"];
  if (space.rows.some(faults)) return ["▲", "to complete", "caution"];
  if (space.seen === "done") return ["●", "done", "fine"];
  return space.rows.length || space.seen ? ["▲", "begun", "caution"] : ["○", "to do", "open"];
}

function drawSpaces() {
  const list = byId("spaces");
  list.replaceChildren(...state.spaces.map((space, index) => {
    const [shape, text, tone] = word(space);
    const button = make("button", "", { type: "button", onclick: () => { state.current = index; draw(); byId("space").focus(); } });
    if (index === state.current) button.setAttribute("aria-current", "true");
    const mark = make("span", shape + " " + text, { class: "mark " + tone });
    button.append(make("span", space.name, { class: "space-name" }), mark, make("span", space.rows.length ? counted(space.rows.length) : ""));
    const item = make("li");
    item.append(button);
    return item;
  }));
  drawTotals();
}

function drawTotals() {
  const rows = state.spaces.flatMap((space) => space.rows);
  const done = state.spaces.filter((space) => space.seen === "done" && !space.rows.some(faults)).length;
  const shut = state.spaces.filter((space) => space.seen === "shut").map((space) => space.name);
  const net = tonnes(rows);
  byId("totals").textContent =
    done + " of " + state.spaces.length + " spaces done; " + counted(rows.length) + "; net " +
    Math.abs(net).toFixed(3) + " t to go " + (net > 0 ? "on" : "off") + (shut.length ? "; not opened: " + shut.join(", ") : "");
}

function field(space, row, column) {
  const label = make("label", "", { class: "field " + column.kind });
  label.append(make("span", column.label));
  const changed = (event) => {
    row[column.name] = event.target.value;
    if (column.name === "action") { draw(); return; }
    show();
    keep();
    drawSpaces();
  };
  let input;
  if (column.choices.length) {
    input = make("select", "", { onchange: changed });
    for (const choice of column.choices) input.append(make("option", choice.label, { value: choice.value }));
    input.value = row[column.name] ?? column.choices[0].value;
  } else {
    input = make("input", "", { oninput: changed, autocomplete: "off" });
    input.value = row[column.name] ?? "";
  }
  const hint = make("span", "", { class: "fault" });
  const show = () => {
    const fault = wrong(column, row);
    hint.className = fault ? "fault" : "hint";
    hint.textContent = fault || inKilograms(column, row);
    if (fault) input.setAttribute("aria-invalid", "true"); else input.removeAttribute("aria-invalid");
  };
  show();
  label.append(input, hint);
  return label;
}

function drawRow(space, row, index) {
  const box = make("fieldset");
  box.append(make("legend", "item " + (index + 1)));
  const fields = make("div", "", { class: "fields" });
  for (const column of form.columns) {
    if (column.name === "space" || (column.only_move && row.action !== "move")) continue;
    fields.append(field(space, row, column));
  }
  const copy = make("button", "Copy", { type: "button", onclick: () => { space.rows.splice(index + 1, 0, { ...row }); draw(); } });
  const drop = make("button", "Remove", { type: "button", onclick: () => {
    if (confirm("Remove item " + (index + 1) + " of " + space.name + "?")) { space.rows.splice(index, 1); draw(); }
  } });
  const actions = make("div", "", { class: "actions" });
  actions.append(copy, drop);
  box.append(fields, actions);
  return box;
}

function draw() {
  const space = state.spaces[state.current] || state.spaces[0];
  byId("space").textContent = space.name;
  byId("rows").replaceChildren(...space.rows.map((row, index) => drawRow(space, row, index)));
  for (const input of document.querySelectorAll("input[name=seen]")) input.checked = input.value === space.seen;
  byId("why").value = space.why;
  byId("why-line").hidden = space.seen !== "shut";
  byId("by").value = state.by;
  drawSpaces();
  keep();
}

function add() {
  const row = Object.fromEntries(form.columns.map((column) => [column.name, column.choices.length ? column.choices[0].value : ""]));
  row.surveyed_by = state.by;
  state.spaces[state.current].rows.push(row);
  draw();
  const boxes = byId("rows").querySelectorAll("fieldset");
  boxes[boxes.length - 1].querySelector("input").focus();
}

const quoted = (text) => (/[",\r\n]/.test(text) ? '"' + text.replaceAll('"', '""') + '"' : text);

function cell(column, space, row) {
  if (column.name === "space") return quoted(space.name);
  if (column.only_move && row.action !== "move") return "";
  const value = String(row[column.name] ?? "").trim();
  return quoted(column.kind === "number" && isNumber(value) ? String(number(value)) : value);
}

function csv() {
  const lines = [form.columns.map((column) => column.name).join(",")];
  const line = (space, row) => lines.push(form.columns.map((column) => cell(column, space, row)).join(","));
  for (const space of state.spaces) {
    for (const row of space.rows) line(space, row);
    if (space.seen === "done") line(space, { item: SEEN, action: "none", surveyed_by: state.by });
    else if (space.seen === "shut") line(space, { item: SHUT, action: "not surveyed", note: space.why });
    else if (!space.rows.length) line(space, { item: TO_DO, action: "not surveyed" });
  }
  return lines.join("\r\n") + "\r\n";
}

// A spreadsheet may have saved it with semicolons; the first line tells.
function read(text) {
  const head = text.split(/\r?\n/).find((line) => line.trim() && !line.startsWith("#")) || "";
  const mark = [";", "\t"].find((one) => head.split(one).length > head.split(",").length) || ",";
  const rows = [[""]];
  let inside = false;
  for (let i = 0; i < text.length; i += 1) {
    const letter = text[i];
    const row = rows[rows.length - 1];
    if (inside && letter === '"' && text[i + 1] === '"') { row[row.length - 1] += '"'; i += 1; }
    else if (letter === '"') inside = !inside;
    else if (!inside && letter === mark) row.push("");
    else if (!inside && letter === "\n") rows.push([""]);
    else if (inside || letter !== "\r") row[row.length - 1] += letter;
  }
  return rows.filter((row) => row.some((cell) => cell.trim() && !row[0].startsWith("#")));
}

function load(text) {
  const [head, ...rows] = read(text.replace(/^\ufeff/, ""));
  const names = head.map((name) => name.trim());
  if (!names.includes("item") || !names.includes("action")) {
    byId("kept").textContent = "This is no survey.csv: its first line should name the columns item and action";
    return;
  }
  for (const cells of rows) {
    const row = Object.fromEntries(names.map((name, index) => [name, (cells[index] ?? "").trim()]));
    const name = row.space || "Elsewhere";
    let space = state.spaces.find((one) => one.name === name);
    if (!space) { space = { name, seen: "", why: "", rows: [] }; state.spaces.push(space); }
    if (row.action === "none") { space.seen = "done"; continue; }
    if (row.action === "not surveyed") {
      if (row.item !== TO_DO) { space.seen = "shut"; space.why = row.note || ""; }
      continue;
    }
    space.rows.push(row);
  }
  draw();
}

byId("add").addEventListener("click", add);
byId("by").addEventListener("input", (event) => { state.by = event.target.value; keep(); });
byId("why").addEventListener("input", (event) => { state.spaces[state.current].why = event.target.value; keep(); });
for (const input of document.querySelectorAll("input[name=seen]")) {
  input.addEventListener("change", () => { state.spaces[state.current].seen = input.value; draw(); });
}
byId("another").addEventListener("click", () => {
  const name = (prompt("Name of the space") || "").trim();
  if (!name || state.spaces.some((space) => space.name === name)) return;
  state.spaces.push({ name, seen: "", why: "", rows: [] });
  state.current = state.spaces.length - 1;
  draw();
});
byId("save").addEventListener("click", () => {
  const link = make("a", "", { href: URL.createObjectURL(new Blob([csv()], { type: "text/csv" })), download: "survey.csv" });
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 1000);
});
byId("load").addEventListener("change", async (event) => {
  const file = event.target.files[0];
  if (file) load(await file.text());
  event.target.value = "";
});
byId("clear").addEventListener("click", () => {
  if (!confirm("Empty this form? Save survey.csv first.")) return;
  state = { current: 0, by: state.by, spaces: form.spaces.map((name) => ({ name, seen: "", why: "", rows: [] })) };
  draw();
});
draw();
