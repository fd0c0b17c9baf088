// Three drawings: the moment-tangent plot with its residuals, GM after each window, and the evidence of one check.

import { FIGURES, Sheet, clock, digitsOf, fixed, ink, niceStep } from "./dom.js";

const COLOUR = { fine: "starboard", caution: "warn", rejected: "port" };

function dot(pen, x, y, verdict, used) {
  const colour = ink(COLOUR[verdict] || "soft");
  pen.strokeStyle = colour;
  pen.lineWidth = 2;
  pen.beginPath();
  if (verdict === "rejected") {
    pen.moveTo(x - 5, y - 5);
    pen.lineTo(x + 5, y + 5);
    pen.moveTo(x - 5, y + 5);
    pen.lineTo(x + 5, y - 5);
  } else if (verdict === "caution") {
    pen.moveTo(x, y - 6);
    pen.lineTo(x + 6, y + 5);
    pen.lineTo(x - 6, y + 5);
    pen.closePath();
  } else {
    pen.arc(x, y, 5, 0, 7);
  }
  pen.fillStyle = used ? colour : ink("paper");
  if (verdict !== "rejected") pen.fill();
  pen.stroke();
}

function across(pen, left, right, low, high, x, at, unit) {
  const step = niceStep(high - low, 6);
  pen.textAlign = "center";
  pen.textBaseline = "top";
  for (let n = Math.ceil(low / step - 1e-9); n * step <= high + 1e-9; n += 1) {
    const value = n * step;
    pen.fillStyle = ink("soft");
    const side = Math.abs(value) < 1e-9 ? "" : value > 0 ? " S" : " P";
    pen.fillText(`${Math.abs(value).toFixed(digitsOf(step))}${side}`, x(value), at + 5);
    pen.strokeStyle = ink("rule");
    pen.lineWidth = 1;
    pen.beginPath();
    pen.moveTo(x(value), at);
    pen.lineTo(x(value), at + 4);
    pen.stroke();
  }
  pen.textAlign = "right";
  pen.fillStyle = ink("soft");
  pen.fillText(unit, right, at + 20);
}

export class Curve {
  constructor(canvas) {
    this.plot = null;
    this.sheet = new Sheet(canvas, (pen, width, height) => this.draw(pen, width, height));
  }

  show(plot) { this.plot = plot; this.sheet.ask(); }

  draw(pen, width, height) {
    const plot = this.plot;
    if (!plot) return;
    const left = 52;
    const right = width - 14;
    const foot = 38;
    const lower = Math.round(height * 0.3);
    const base = height - foot - lower - 24;
    const moments = [...plot.planned, ...plot.points.map((p) => p.moment_tm)];
    if (!moments.length) return;
    const most = Math.max(...moments.map(Math.abs), 1e-6) * 1.12;
    const tangents = plot.points.map((p) => Math.abs(p.tangent));
    const expected = plot.slope ? Math.abs(plot.slope) * most : 0;
    const tall = Math.max(...tangents, expected, 0.01) * 1.05;
    const x = (m) => left + ((m + most) / (2 * most)) * (right - left);
    const y = (t) => 8 + ((tall - t) / (2 * tall)) * (base - 8);
    pen.font = `600 13px ${FIGURES}`;

    // axes: upright and no moment
    pen.strokeStyle = ink("rule");
    pen.lineWidth = 1;
    pen.beginPath();
    pen.moveTo(left, y(0));
    pen.lineTo(right, y(0));
    pen.moveTo(x(0), 8);
    pen.lineTo(x(0), base);
    pen.stroke();
    const step = niceStep(2 * tall, 5);
    pen.textAlign = "right";
    pen.textBaseline = "middle";
    for (let n = Math.ceil(-tall / step); n * step <= tall; n += 1) {
      pen.fillStyle = ink("soft");
      pen.fillText(fixed(n * step, digitsOf(step)), left - 7, y(n * step));
      pen.beginPath();
      pen.moveTo(left - 4, y(n * step));
      pen.lineTo(left, y(n * step));
      pen.stroke();
    }
    pen.textAlign = "left";
    pen.textBaseline = "top";
    pen.fillText("tan of heel", left + 6, 6);

    // states still to come: open rings where the point will fall
    pen.setLineDash([2, 3]);
    for (const m of plot.planned) {
      const t = plot.slope === null ? 0 : plot.intercept + plot.slope * m;
      pen.strokeStyle = ink("soft");
      pen.lineWidth = 1.5;
      pen.beginPath();
      pen.arc(x(m), y(t), 6, 0, 7);
      pen.stroke();
    }
    pen.setLineDash([]);
    if (plot.slope !== null) {
      pen.strokeStyle = ink("ink");
      pen.lineWidth = 1.6;
      pen.beginPath();
      pen.moveTo(x(-most), y(plot.intercept - plot.slope * most));
      pen.lineTo(x(most), y(plot.intercept + plot.slope * most));
      pen.stroke();
    }
    for (const p of plot.points) {
      dot(pen, x(p.moment_tm), y(p.tangent), p.verdict, p.used);
    }
    // Windows of one state fall on one another: one label names them all.
    const places = new Map();
    for (const p of plot.points) {
      const key = Math.round(x(p.moment_tm) / 12);
      places.set(key, { p, labels: [...(places.get(key)?.labels ?? []), p.label] });
    }
    pen.fillStyle = ink("ink");
    pen.textBaseline = "middle";
    for (const { p, labels } of places.values()) {
      const onRight = x(p.moment_tm) > right - 60;
      pen.textAlign = onRight ? "right" : "left";
      pen.fillText(labels.join(", "), x(p.moment_tm) + (onRight ? -11 : 11), y(p.tangent) + (onRight ? -9 : 11));
    }

    this.residuals(pen, plot, x, left, right, height - foot - lower, height - foot, most);
    across(pen, left, right, -most, most, x, height - foot, "t m");
  }

  residuals(pen, plot, x, left, right, top, bottom, most) {
    const known = plot.points.filter((p) => p.residual_deg !== null);
    let tall = 0.004;
    for (const p of known) if (p.used) tall = Math.max(tall, Math.abs(p.residual_deg) + p.u95_deg);
    for (const row of plot.band) tall = Math.max(tall, row[1]);
    tall *= 1.15;
    const middle = (top + bottom) / 2;
    const y = (deg) => middle - (deg / tall) * ((bottom - top) / 2);
    pen.fillStyle = ink("sun");
    pen.globalAlpha = 0.35;
    if (plot.band.length) {
      pen.beginPath();
      plot.band.forEach(([m, half], k) => (k ? pen.lineTo(x(m), y(half)) : pen.moveTo(x(m), y(half))));
      for (let k = plot.band.length - 1; k >= 0; k -= 1) pen.lineTo(x(plot.band[k][0]), y(-plot.band[k][1]));
      pen.fill();
    }
    pen.globalAlpha = 1;
    pen.strokeStyle = ink("ink");
    pen.lineWidth = 1.2;
    pen.beginPath();
    pen.moveTo(left, y(0));
    pen.lineTo(right, y(0));
    pen.stroke();
    pen.strokeStyle = ink("rule");
    pen.strokeRect(left + 0.5, top + 0.5, right - left - 1, bottom - top - 1);
    const step = niceStep(2 * tall, 4);
    pen.textAlign = "right";
    pen.textBaseline = "middle";
    pen.fillStyle = ink("soft");
    for (let n = Math.ceil(-tall / step); n * step <= tall; n += 1) {
      if (Math.abs(y(n * step) - middle) > (bottom - top) / 2 - 5) continue;
      pen.fillText(`${fixed(n * step, digitsOf(step))}°`, left - 5, y(n * step));
    }
    pen.textAlign = "left";
    pen.textBaseline = "bottom";
    pen.fillText("heel left over, each with its 95 % interval", left, top - 3);
    const written = [];
    for (const p of known) {
      const at = x(p.moment_tm);
      const clipped = Math.abs(p.residual_deg) > tall;
      const place = clipped ? (p.residual_deg > 0 ? top + 9 : bottom - 9) : y(p.residual_deg);
      if (!clipped) {
        pen.strokeStyle = ink(COLOUR[p.verdict] || "soft");
        pen.lineWidth = 2;
        pen.beginPath();
        pen.moveTo(at, Math.max(top, y(p.residual_deg + p.u95_deg)));
        pen.lineTo(at, Math.min(bottom, y(p.residual_deg - p.u95_deg)));
        pen.stroke();
      }
      dot(pen, at, place, p.verdict, p.used);
      if (clipped && !written.some(([x0, y0]) => Math.abs(x0 - at) < 62 && y0 === place)) {
        const side = at > (left + right) / 2 ? -1 : 1;
        written.push([at, place]);
        pen.fillStyle = ink("ink");
        pen.textBaseline = "middle";
        pen.textAlign = side < 0 ? "right" : "left";
        pen.fillText(`${fixed(p.residual_deg, 3)}°`, at + side * 9, place);
      }
    }
  }
}

export class Funnel {
  constructor(canvas) {
    this.history = [];
    this.sheet = new Sheet(canvas, (pen, width, height) => this.draw(pen, width, height));
  }

  show(history) { this.history = history; this.sheet.ask(); }

  // One bar a window: where GM lay, with its interval; the bars close in as the day goes on.
  draw(pen, width, height) {
    const bars = this.history;
    if (!bars.length) return;
    const left = 52;
    const right = width - 14;
    const bottom = height - 20;
    const final = bars[bars.length - 1];
    const reach = Math.max(...bars.slice(-6).map((b) => Math.abs(b.value_m - final.value_m) + Math.min(b.u95_m, 4 * final.u95_m)), final.u95_m * 1.5);
    const y = (value) => 6 + ((final.value_m + reach - value) / (2 * reach)) * (bottom - 6);
    const x = (n) => left + 16 + (n / Math.max(bars.length - 1, 1)) * (right - left - 32);
    pen.font = `600 13px ${FIGURES}`;
    pen.fillStyle = ink("sun");
    pen.globalAlpha = 0.35;
    pen.fillRect(left, y(final.value_m + final.u95_m), right - left, y(final.value_m - final.u95_m) - y(final.value_m + final.u95_m));
    pen.globalAlpha = 1;
    const step = niceStep(2 * reach, 3);
    pen.textBaseline = "middle";
    pen.textAlign = "right";
    pen.fillStyle = ink("soft");
    for (let n = Math.ceil((final.value_m - reach) / step); n * step <= final.value_m + reach; n += 1) {
      pen.fillText(`${(n * step).toFixed(digitsOf(step))} m`, left - 4, y(n * step));
    }
    pen.textAlign = "center";
    bars.forEach((bar, n) => {
      pen.strokeStyle = ink("ink");
      pen.lineWidth = 3;
      pen.beginPath();
      pen.moveTo(x(n), Math.max(2, y(bar.value_m + bar.u95_m)));
      pen.lineTo(x(n), Math.min(bottom, y(bar.value_m - bar.u95_m)));
      pen.stroke();
      pen.fillStyle = ink("ink");
      pen.beginPath();
      pen.arc(x(n), Math.min(Math.max(y(bar.value_m), 3), bottom), 4.5, 0, 7);
      pen.fill();
      pen.fillStyle = ink("soft");
      pen.fillText(bar.label, x(n), height - 8);
    });
  }
}

// Evidence of one check: named curves against time, the window between two rules.
export function evidence(canvas, picture) {
  return new Sheet(canvas, (pen, width, height) => {
    const left = 56;
    const right = width - 10;
    const bottom = height - 22;
    const names = Object.keys(picture.curves);
    const all = names.flatMap((name) => picture.curves[name].flatMap((v, k) => {
      if (v === null) return [];
      const half = picture.whiskers[name]?.[k] ?? 0;
      return half ? [v - half, v + half] : [v];
    }));
    if (!all.length) return;
    let low = Math.min(...all);
    let high = Math.max(...all);
    const margin = (high - low) * 0.08 || 1e-3;
    low -= margin;
    high += margin;
    const first = picture.x[0];
    const last = picture.x[picture.x.length - 1];
    const inset = picture.points ? 14 : 0;
    const x = (t) => left + inset + ((t - first) / (last - first || 1)) * (right - left - 2 * inset);
    const y = (v) => 8 + ((high - v) / (high - low)) * (bottom - 8);
    pen.font = `600 13px ${FIGURES}`;
    const step = niceStep(high - low, 4);
    pen.textAlign = "right";
    pen.textBaseline = "middle";
    for (let n = Math.ceil(low / step); n * step <= high; n += 1) {
      pen.strokeStyle = ink("faint");
      pen.beginPath();
      pen.moveTo(left, y(n * step));
      pen.lineTo(right, y(n * step));
      pen.stroke();
      pen.fillStyle = ink("soft");
      pen.fillText(`${fixed(n * step, digitsOf(step))}${picture.unit === "deg" ? "°" : ` ${picture.unit}`}`, left - 5, y(n * step));
    }
    names.forEach((name, n) => {
      pen.strokeStyle = ink(`s${n % 6}`);
      pen.fillStyle = ink(`s${n % 6}`);
      if (picture.points) {
        picture.curves[name].forEach((value, k) => {
          if (value === null) return;
          const half = picture.whiskers[name]?.[k] ?? 0;
          pen.lineWidth = 2;
          pen.beginPath();
          pen.moveTo(x(picture.x[k]), y(value - half));
          pen.lineTo(x(picture.x[k]), y(value + half));
          pen.stroke();
          pen.beginPath();
          pen.arc(x(picture.x[k]), y(value), 4.5, 0, 7);
          pen.fill();
        });
        return;
      }
      pen.lineWidth = n ? 2.4 : 1.3;
      pen.setLineDash(n > 1 ? [6, 3] : []);
      pen.beginPath();
      let down = false;
      picture.curves[name].forEach((value, k) => {
        if (value === null) { down = false; return; }
        if (down) pen.lineTo(x(picture.x[k]), y(value));
        else pen.moveTo(x(picture.x[k]), y(value));
        down = true;
      });
      pen.stroke();
      pen.setLineDash([]);
    });
    let at = left + 6;
    names.forEach((name, n) => {
      pen.fillStyle = ink(`s${n % 6}`);
      pen.textAlign = "left";
      pen.fillText(name, at, 12);
      at += pen.measureText(name).width + 16;
    });
    pen.fillStyle = ink("soft");
    pen.textBaseline = "alphabetic";
    pen.textAlign = "left";
    pen.fillText(picture.timed ? clock(first) : fixed(first, 3), left, height - 5);
    pen.textAlign = "right";
    pen.fillText(picture.timed ? clock(last) : `${fixed(last, 3)} ${picture.x_unit}`, right, height - 5);
  });
}
