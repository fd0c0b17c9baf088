// Small helpers. Text goes in as text nodes only, so that no name can become markup.

export const byId = (id) => document.getElementById(id);

export function make(tag, attributes = {}, ...children) {
  const node = document.createElement(tag);
  for (const [key, value] of Object.entries(attributes)) {
    if (value === null || value === undefined || value === false) continue;
    if (key.startsWith("on")) node.addEventListener(key.slice(2), value);
    else if (key === "class") node.className = value;
    else node.setAttribute(key, value === true ? "" : value);
  }
  node.append(...children.flat(2).filter((child) => child !== null && child !== undefined && child !== false));
  return node;
}

// Replace the children of a node only where what is to stand there has changed.
const shown = new WeakMap();
export function fill(node, data, build) {
  const key = JSON.stringify(data);
  if (shown.get(node) === key) return false;
  shown.set(node, key);
  node.replaceChildren(...[build()].flat().filter((child) => child !== null && child !== undefined));
  return true;
}

export function say(node, text) {
  if (node.textContent !== text) node.textContent = text;
}

let zone = 0;
export const setZone = (hours) => { zone = hours; };
export function clock(ms, seconds = true) {
  return new Date(ms + zone * 3600000).toISOString().slice(11, seconds ? 19 : 16);
}

export function heel(value, digits = 3) {
  if (value === null || value === undefined) return "–";
  const text = Math.abs(value).toFixed(digits);
  if (Number(text) === 0) return `${text}°`;
  return `${text}° ${value > 0 ? "stbd" : "port"}`;
}

export const fixed = (value, digits) => (value === null || value === undefined ? "–" : value.toFixed(digits).replace("-", "−"));

// A canvas drawn at the screen's own resolution, only while it can be seen and only when asked.
export class Sheet {
  constructor(canvas, draw) {
    this.canvas = canvas;
    this.draw = draw;
    this.seen = true;
    this.stale = false;
    this.waiting = false;
    new ResizeObserver(() => this.ask()).observe(canvas);
    new IntersectionObserver((entries) => {
      this.seen = entries[entries.length - 1].isIntersecting;
      if (this.seen && this.stale) this.ask();
    }).observe(canvas);
  }

  ask() {
    this.stale = true;
    if (this.waiting || !this.seen || document.hidden) return;
    this.waiting = true;
    requestAnimationFrame(() => {
      this.waiting = false;
      this.stale = false;
      const scale = Math.min(window.devicePixelRatio || 1, 2);
      const width = this.canvas.clientWidth;
      const height = this.canvas.clientHeight;
      if (!width || !height) return;
      if (this.canvas.width !== Math.round(width * scale) || this.canvas.height !== Math.round(height * scale)) {
        this.canvas.width = Math.round(width * scale);
        this.canvas.height = Math.round(height * scale);
      }
      const pen = this.canvas.getContext("2d");
      pen.setTransform(scale, 0, 0, scale, 0, 0);
      pen.clearRect(0, 0, width, height);
      this.draw(pen, width, height);
    });
  }
}

let inks = null;
const dark = window.matchMedia("(prefers-color-scheme: dark)");
dark.addEventListener("change", () => { inks = null; });
export function ink(name) {
  if (inks === null) inks = {};
  if (!(name in inks)) inks[name] = getComputedStyle(document.documentElement).getPropertyValue(`--${name}`).trim();
  return inks[name];
}
export const onThemeChange = (what) => dark.addEventListener("change", what);
export const FIGURES = '"Avenir Next Condensed", "Roboto Condensed", "Bahnschrift SemiCondensed", "Liberation Sans Narrow", "Arial Narrow", system-ui, sans-serif';

// A step of 1, 2 or 5 times a power of ten that gives about `count` steps over `span`.
export function niceStep(span, count) {
  const raw = span / count;
  const power = 10 ** Math.floor(Math.log10(raw));
  return [1, 2, 5, 10].find((n) => n * power >= raw * 0.999) * power;
}
export const digitsOf = (step) => Math.max(0, -Math.floor(Math.log10(step) + 1e-9));
