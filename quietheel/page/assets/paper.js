// The paper roll: heel across (port to the left, as one looks forward), time downwards, now at the top. Every station
// hangs its pen from the scale and writes on the same paper; windows and movements are ruled across it.

import { FIGURES, Sheet, clock, digitsOf, ink, niceStep } from "./dom.js";

const TOP = 58;
const LEFT = 46;
export const DASHES = [[], [7, 3], [2, 3], [10, 3, 2, 3], [4, 4], [1, 4]];

export class Paper {
  constructor(canvas) {
    this.lanes = [];
    this.rows = [];
    this.first = 0;
    this.seconds = 600;
    this.low = -1;
    this.high = 1;
    this.day = null;
    this.sheet = new Sheet(canvas, (pen, width, height) => this.draw(pen, width, height));
  }

  // strip: {lanes, first, rows, keep, anew}; rows hold low and high of each lane in whole steps, null where silent.
  take(strip) {
    if (strip.lanes) { this.lanes = strip.lanes; this.keep = strip.keep; }
    const end = this.first + this.rows.length;
    // A part that overlaps what is there (a message that was on its way while the whole was taken) adds only its end.
    let rows = strip.rows;
    if (strip.anew || strip.first > end || strip.first < this.first) { this.first = strip.first; this.rows = []; }
    else rows = rows.slice(end - strip.first);
    for (const row of rows) this.rows.push(row);
    if (this.rows.length > this.keep) {
      const over = this.rows.length - this.keep;
      this.rows.splice(0, over);
      this.first += over;
    }
    this.sheet.ask();
  }

  show(day) { this.day = day; this.sheet.ask(); }

  span(seconds) { this.seconds = seconds; this.sheet.ask(); }

  range(heels) {
    let low = Infinity;
    let high = -Infinity;
    for (const row of this.rows.slice(-this.seconds)) {
      for (const n of heels) {
        if (row[2 * n] === null) continue;
        const step = this.lanes[n].step;
        if (row[2 * n] * step < low) low = row[2 * n] * step;
        if (row[2 * n + 1] * step > high) high = row[2 * n + 1] * step;
      }
    }
    if (!(high >= low)) return;
    const span = Math.max(high - low, 0.1);
    const tight = high - low < (this.high - this.low) * 0.5;
    const outside = low < this.low || high > this.high;
    if (outside || tight) {
      const middle = (low + high) / 2;
      this.low = middle - span * 0.62;
      this.high = middle + span * 0.62;
    }
  }

  draw(pen, width, height) {
    const heels = this.lanes.map((lane, n) => n).filter((n) => this.lanes[n].quantity === "heel");
    const sides = this.lanes.map((lane, n) => n).filter((n) => ["wind_speed", "line_tension"].includes(this.lanes[n].quantity));
    const sideWidth = sides.length ? Math.min(86, (width - LEFT) * 0.17) : 0;
    const right = width - 10 - (sideWidth + 6) * Math.min(sides.length, 2);
    const bottom = height - 6;
    this.range(heels);
    const x = (deg) => LEFT + ((deg - this.low) / (this.high - this.low)) * (right - LEFT);
    const last = this.first + this.rows.length;
    const y = (second) => TOP + ((last - second) / this.seconds) * (bottom - TOP);
    pen.font = `600 13px ${FIGURES}`;
    pen.lineJoin = "round";

    this.ground(pen, x, y, last, right, bottom);
    pen.save();
    pen.beginPath();
    pen.rect(LEFT, TOP, right - LEFT, bottom - TOP);
    pen.clip();
    this.bands(pen, y, last, right);
    heels.forEach((lane, n) => this.trace(pen, lane, n, x, y));
    pen.restore();
    this.labels(pen, y, last, right, bottom);
    this.scale(pen, x, right, heels);
    sides.slice(0, 2).forEach((lane, n) => this.side(pen, lane, right + 6 + n * (sideWidth + 6), sideWidth, y, last, bottom));
  }

  ground(pen, x, y, last, right, bottom) {
    const every = this.seconds > 300 ? 60 : this.seconds > 150 ? 30 : 15;
    pen.textBaseline = "middle";
    pen.textAlign = "right";
    for (let second = Math.ceil((last - this.seconds) / every) * every; second <= last; second += every) {
      const at = Math.round(y(second)) + 0.5;
      if (at > bottom - 4) continue;
      pen.strokeStyle = ink("faint");
      pen.lineWidth = 1;
      pen.beginPath();
      pen.moveTo(LEFT, at);
      pen.lineTo(right, at);
      pen.stroke();
      if (at > TOP + 8 && (every < 60 || second % 120 === 0)) {
        pen.fillStyle = ink("soft");
        pen.fillText(clock(second * 1000, every < 60).slice(every < 60 ? 3 : 0), LEFT - 6, at);
      }
    }
    const step = niceStep(this.high - this.low, 5);
    for (let n = Math.ceil(this.low / step); n * step <= this.high; n += 1) {
      const at = Math.round(x(n * step)) + 0.5;
      pen.strokeStyle = ink("faint");
      pen.beginPath();
      pen.moveTo(at, TOP);
      pen.lineTo(at, bottom);
      pen.stroke();
    }
    if (this.low < 0 && this.high > 0) {
      pen.strokeStyle = ink("ink");
      pen.lineWidth = 1.5;
      pen.setLineDash([14, 3, 2, 3]);
      pen.beginPath();
      pen.moveTo(x(0), TOP);
      pen.lineTo(x(0), bottom);
      pen.stroke();
      pen.setLineDash([]);
    }
  }

  bands(pen, y, last, right) {
    for (const window of this.day?.windows ?? []) {
      const stop = window.stop_ms === null ? last : window.stop_ms / 1000;
      const top = Math.max(y(stop), TOP);
      const low = y(window.start_ms / 1000);
      if (low < TOP || top > 5000) continue;
      pen.fillStyle = ink(window.void ? "faint" : "sun");
      pen.globalAlpha = window.void ? 0.5 : 0.2;
      pen.fillRect(LEFT, top, right - LEFT, low - top);
      pen.globalAlpha = 1;
    }
  }

  labels(pen, y, last, right, bottom) {
    pen.textBaseline = "middle";
    for (const window of this.day?.windows ?? []) {
      const stop = window.stop_ms === null ? last : window.stop_ms / 1000;
      const low = Math.min(y(window.start_ms / 1000), bottom);
      const top = Math.max(y(stop), TOP);
      if (low < TOP + 4 || top > bottom - 4) continue;
      pen.strokeStyle = ink("ink");
      pen.lineWidth = 3;
      pen.beginPath();
      pen.moveTo(LEFT + 1.5, top);
      pen.lineTo(LEFT + 1.5, low);
      pen.stroke();
      const words = `window ${window.label}${window.void ? ", void" : window.stop_ms === null ? ", open" : window.verdict ? `, ${window.verdict}` : ""}`;
      if (top < bottom - 20) this.flag(pen, words, LEFT + 8, Math.max(top + 11, TOP + 12));
    }
    let above = -99;
    for (const mark of [...(this.day?.rules ?? [])].reverse()) {
      const at = y(mark.at_ms / 1000);
      if (at < TOP || at > bottom) continue;
      pen.strokeStyle = ink("blue");
      pen.lineWidth = 1.5;
      pen.setLineDash([3, 3]);
      pen.beginPath();
      pen.moveTo(LEFT, at);
      pen.lineTo(right, at);
      pen.stroke();
      pen.setLineDash([]);
      if (at - above < 17 || at > bottom - 9) continue;
      above = at;
      this.flag(pen, mark.says, right - 3, Math.max(at, TOP + 10), true);
    }
  }

  flag(pen, words, at, y, fromRight = false) {
    const wide = pen.measureText(words).width + 8;
    const left = fromRight ? at - wide : at;
    pen.fillStyle = ink("paper");
    pen.globalAlpha = 0.86;
    pen.fillRect(left, y - 9, wide, 18);
    pen.globalAlpha = 1;
    pen.fillStyle = ink("ink");
    pen.textAlign = "left";
    pen.fillText(words, left + 4, y + 0.5);
  }

  // A roll is seen as it is while two minutes fill the paper; over longer stretches its reach is a band and its mean a line.
  trace(pen, lane, n, x, y) {
    const step = this.lanes[lane].step;
    const from = Math.max(0, this.rows.length - this.seconds);
    const group = this.seconds > 150 ? Math.round(this.seconds / 60) : 1;
    const colour = ink(`s${n % 6}`);
    pen.fillStyle = colour;
    pen.strokeStyle = colour;
    let run = [];
    const flush = () => {
      if (run.length > 1) {
        pen.globalAlpha = group > 1 ? 0.2 : 0.35;
        pen.beginPath();
        for (const [low, , , at] of run) pen.lineTo(x(low), at);
        for (let k = run.length - 1; k >= 0; k -= 1) pen.lineTo(x(run[k][1]), run[k][3]);
        pen.fill();
        pen.globalAlpha = 1;
        pen.lineWidth = group > 1 ? 2 : 1.6;
        pen.setLineDash(DASHES[n % 6]);
        pen.beginPath();
        for (const [, , mean, at] of run) pen.lineTo(x(mean), at);
        pen.stroke();
        pen.setLineDash([]);
      }
      run = [];
    };
    // Groups begin at whole multiples, so that a drawn line does not change its past as the paper moves.
    let k = from + ((group - ((this.first + from) % group)) % group);
    for (; k < this.rows.length; k += group) {
      let low = Infinity;
      let high = -Infinity;
      let sum = 0;
      let count = 0;
      const end = Math.min(k + group, this.rows.length);
      for (let j = k; j < end; j += 1) {
        const row = this.rows[j];
        if (row[2 * lane] === null) continue;
        if (row[2 * lane] < low) low = row[2 * lane];
        if (row[2 * lane + 1] > high) high = row[2 * lane + 1];
        sum += row[2 * lane] + row[2 * lane + 1];
        count += 2;
      }
      if (!count) { flush(); continue; }
      run.push([low * step, high * step, (sum / count) * step, y(this.first + (k + end) / 2)]);
    }
    flush();
  }

  scale(pen, x, right, heels) {
    const step = niceStep(this.high - this.low, 5);
    const digits = digitsOf(step);
    pen.fillStyle = ink("paper");
    pen.fillRect(0, 0, right + 4, TOP);
    pen.strokeStyle = ink("ink");
    pen.lineWidth = 2;
    pen.beginPath();
    pen.moveTo(LEFT, 24);
    pen.lineTo(right, 24);
    pen.stroke();
    pen.lineWidth = 1.5;
    pen.textBaseline = "alphabetic";
    pen.textAlign = "center";
    pen.font = `600 13px ${FIGURES}`;
    for (let n = Math.ceil((this.low * 5) / step); (n * step) / 5 <= this.high; n += 1) {
      const deg = (n * step) / 5;
      const at = x(deg);
      const whole = n % 5 === 0;
      pen.strokeStyle = ink("ink");
      pen.beginPath();
      pen.moveTo(at, 24);
      pen.lineTo(at, whole ? 15 : 20);
      pen.stroke();
      if (whole && at > LEFT + 14 && at < right - 14) {
        pen.fillStyle = Math.abs(deg) < 1e-9 ? ink("ink") : deg > 0 ? ink("starboard") : ink("port");
        pen.fillText(Math.abs(deg) < 1e-9 ? "upright" : `${Math.abs(deg).toFixed(digits)}° ${deg > 0 ? "S" : "P"}`, at, 12);
      }
    }
    const expected = this.day?.expected_deg;
    if (expected !== null && expected !== undefined && expected > this.low && expected < this.high) {
      pen.fillStyle = ink("sun");
      pen.strokeStyle = ink("ink");
      const at = x(expected);
      pen.beginPath();
      pen.moveTo(at, 25);
      pen.lineTo(at + 7, 33);
      pen.lineTo(at, 41);
      pen.lineTo(at - 7, 33);
      pen.closePath();
      pen.fill();
      pen.stroke();
    }
    this.pens(pen, x, right, heels);
  }

  // Points stand where the heel is; bodies are pushed apart so that every number can be read.
  pens(pen, x, right, heels) {
    const stations = this.day?.stations ?? [];
    const found = [];
    heels.forEach((lane, n) => {
      const station = stations.find((one) => one.name === this.lanes[lane].station);
      if (!station || station.now_deg === null || station.now_deg === undefined) return;
      found.push({ n, point: Math.min(Math.max(x(station.now_deg), LEFT), right) });
    });
    found.sort((one, other) => one.point - other.point);
    found.forEach((one, k) => { one.body = k ? Math.max(one.point, found[k - 1].body + 19) : one.point; });
    const excess = found.length ? (found[found.length - 1].body - found[found.length - 1].point) / 2 : 0;
    for (const { n, point, body } of found) {
      const at = Math.min(Math.max(body - excess, LEFT), right - 4);
      pen.fillStyle = ink(`s${n % 6}`);
      pen.beginPath();
      pen.moveTo(at - 8, 28);
      pen.lineTo(at + 8, 28);
      pen.lineTo(at + 8, 44);
      pen.lineTo(point + 1, TOP);
      pen.lineTo(point - 1, TOP);
      pen.lineTo(at - 8, 44);
      pen.closePath();
      pen.fill();
      pen.fillStyle = ink("paper");
      pen.font = `700 12px ${FIGURES}`;
      pen.fillText(String(n + 1), at, 41);
    }
  }

  side(pen, lane, left, wide, y, last, bottom) {
    const { quantity, step } = this.lanes[lane];
    const wind = quantity === "wind_speed";
    const rows = this.rows.slice(-this.seconds);
    let top = wind ? 5 : 1;
    for (const row of rows) if (row[2 * lane + 1] !== null && row[2 * lane + 1] * step > top) top = row[2 * lane + 1] * step;
    const unit = niceStep(top, 2);
    top = Math.ceil(top / unit - 1e-9) * unit;
    const x = (value) => left + (value / top) * wide;
    pen.fillStyle = ink("paper");
    pen.fillRect(left - 5, 0, wide + 20, TOP);
    pen.font = `600 13px ${FIGURES}`;
    pen.textBaseline = "alphabetic";
    pen.fillStyle = ink("soft");
    pen.textAlign = "left";
    pen.fillText(wind ? "wind" : "line", left, 12);
    pen.textAlign = "right";
    pen.fillText(`${top.toFixed(digitsOf(unit))} ${wind ? "m/s" : "kN"}`, left + wide, 40);
    pen.strokeStyle = ink("soft");
    pen.lineWidth = 1.5;
    pen.beginPath();
    pen.moveTo(left, 24);
    pen.lineTo(left + wide, 24);
    pen.moveTo(left + wide, 24);
    pen.lineTo(left + wide, 19);
    pen.moveTo(left, 24);
    pen.lineTo(left, bottom);
    pen.stroke();
    pen.fillStyle = wind ? ink("blue") : ink("port");
    pen.globalAlpha = 0.75;
    pen.beginPath();
    pen.moveTo(left, y(last - rows.length));
    rows.forEach((row, k) => {
      const value = row[2 * lane] === null ? 0 : Math.max(row[2 * lane + 1] * step, 0);
      pen.lineTo(x(value), y(last - rows.length + k));
      pen.lineTo(x(value), y(last - rows.length + k + 1));
    });
    pen.lineTo(left, y(last));
    pen.fill();
    pen.globalAlpha = 1;
  }
}
