// The line on a canvas. What there is to draw comes from the server as nanoseconds and metres; here it becomes pixels.

import { instant, nice } from "./text.js";

const TOP = 26, BOTTOM = 30, LEAST = 17;

export function colours() {
  const style = getComputedStyle(document.documentElement);
  const of = (name) => style.getPropertyValue(`--${name}`).trim();
  return Object.fromEntries(["sheet", "ink", "quiet", "rule", "faint", "accent", "bad", "good", "request", "reply", "stray",
    "break", "mark", "hit"].map((name) => [name, of(name)]));
}

// A fill for a role: plain, or with a hatch, so that nobody needs to tell colours apart.
export function fill(context, role, colour) {
  if (["request", "mark", "faint"].includes(role)) return colour[role];
  const tile = document.createElement("canvas");
  tile.width = tile.height = 8;
  const on = tile.getContext("2d");
  on.fillStyle = colour[role];
  on.fillRect(0, 0, 8, 8);
  on.strokeStyle = colour.sheet;
  on.lineWidth = 1.4;
  on.beginPath();
  if (role === "reply" || role === "stray") { on.moveTo(-2, 10); on.lineTo(10, -2); on.moveTo(-2, 2); on.lineTo(2, -2); on.moveTo(6, 10); on.lineTo(10, 6); }
  if (role === "stray") { on.moveTo(-2, -2); on.lineTo(10, 10); }
  if (role === "break") { on.moveTo(4, 0); on.lineTo(4, 8); }
  on.stroke();
  return context.createPattern(tile, "repeat");
}

// Where things are: pixels of an instant and of a place along the cable.
export class Scale {
  constructor(line, view, width, height) {
    Object.assign(this, { line, view, width, height });
    this.left = width < 560 ? 92 : 168;
    this.right = width - 10;
    this.low = TOP + 12;
    this.high = height - BOTTOM - 12;
  }
  x(at) { return this.left + (at - this.view.since) / (this.view.until - this.view.since) * (this.right - this.left); }
  y(metres) { return this.low + metres / this.line.length * (this.high - this.low); }
  at(x) { return this.view.since + (x - this.left) / (this.right - this.left) * (this.view.until - this.view.since); }
  metres(y) { return (y - this.low) / (this.high - this.low) * this.line.length; }
  delay(one, other) { return Math.abs(one - other) / (this.line.velocity * 0.299792458); }
}

export function heightFor(line, width) {
  return Math.max(width < 560 ? 260 : 320, TOP + BOTTOM + 24 + LEAST * 1.7 * line.stands.length);
}

export function prepare(canvas, height) {
  const ratio = window.devicePixelRatio || 1;
  const width = canvas.clientWidth;
  if (height) canvas.style.height = `${height}px`;
  canvas.width = Math.round(width * ratio);
  canvas.height = Math.round((height || canvas.clientHeight) * ratio);
  const context = canvas.getContext("2d");
  context.setTransform(ratio, 0, 0, ratio, 0, 0);
  return { context, width, height: height || canvas.clientHeight };
}

export function drawLine(canvas, line, picture, view, chosen) {
  const { context, width, height } = prepare(canvas, heightFor(line, canvas.clientWidth));
  const colour = colours();
  const scale = new Scale(line, view, width, height);
  context.clearRect(0, 0, width, height);
  context.font = "12px system-ui, sans-serif";
  drawTime(context, scale, colour);
  drawStations(context, scale, colour);
  context.save();
  context.beginPath();
  context.rect(scale.left, 0, scale.right - scale.left, height - BOTTOM + 4);
  context.clip();
  if (picture && picture.line === line.number) {
    if (picture.level === "summary") drawSums(context, scale, picture, colour);
    drawExchanges(context, scale, picture, colour);
    drawBands(context, scale, picture, colour, chosen);
    drawOutcomes(context, scale, picture, colour);
    drawCuts(context, scale, picture, colour);
    drawSigns(context, scale, picture, colour);
  }
  context.restore();
  return scale;
}

function drawTime(context, scale, colour) {
  const step = nice((scale.view.until - scale.view.since) / Math.max(2, (scale.right - scale.left) / 110));
  context.fillStyle = colour.quiet;
  context.textAlign = "center";
  for (let at = Math.ceil(scale.view.since / step) * step; at <= scale.view.until; at += step) {
    const x = scale.x(at);
    context.strokeStyle = colour.faint;
    context.lineWidth = 1;
    line(context, x, TOP, x, scale.height - BOTTOM);
    if (x < scale.right - 20) context.fillText(instant(at, step), x, scale.height - 10);
  }
}

function drawStations(context, scale, colour) {
  let last = -1e9;
  const narrow = scale.left < 120;
  const stands = [...scale.line.stands].sort((one, other) => one.metres - other.metres);
  for (const stand of stands) {
    const y = scale.y(stand.metres);
    last = Math.max(y, last + LEAST);
    context.strokeStyle = colour.rule;
    context.lineWidth = stand.kind === "camera" ? 1 : 1.6;
    context.setLineDash(stand.kind === "camera" ? [] : [6, 3]);
    line(context, scale.left, y, scale.right, y);
    context.setLineDash([]);
    line(context, scale.left - 8, last, scale.left, y);
    context.fillStyle = stand.planned ? colour.ink : colour.bad;
    context.textAlign = "right";
    const said = stand.planned ? stand.name : `${stand.name} (not planned)`;
    context.fillText(fit(context, narrow ? said : `${said}  ${stand.metres} m`, scale.left - 14), scale.left - 11, last + 4);
  }
}

function fit(context, text, room) {
  if (context.measureText(text).width <= room) return text;
  let short = text;
  while (short && context.measureText(`${short}…`).width > room) short = short.slice(0, -1);
  return `${short}…`;
}

// Sums over steps of time: how full the wire was, how long masters were busy, and what was lost.
function drawSums(context, scale, picture, colour) {
  const columns = ["start", ...picture.columns];
  const wire = columns.indexOf("wire_ns"), inside = columns.indexOf("inside_ns");
  const lost = columns.indexOf("time_outs"), harmed = columns.indexOf("damaged");
  const floor = scale.height - BOTTOM, room = floor - TOP;
  let last = -1e9;
  for (const row of picture.rows) {
    const x = scale.x(row[0]), over = Math.max(1, scale.x(row[0] + picture.step) - x - 0.5);
    context.fillStyle = colour.faint;
    context.fillRect(x, floor - room * Math.min(1, row[inside] / picture.step), over, room * Math.min(1, row[inside] / picture.step));
    context.fillStyle = colour.mark;
    context.fillRect(x, floor - room * Math.min(1, row[wire] / picture.step), over, room * Math.min(1, row[wire] / picture.step));
    if (row[lost]) cross(context, x + over / 2, TOP + 8, 4, colour.hit);
    if (row[harmed]) triangle(context, x + over / 2, TOP + 20, 4, colour.hit);
    const count = row[lost] + row[harmed];
    if (count && x > last + 46) {
      last = x;
      context.fillStyle = colour.ink;
      context.textAlign = "left";
      context.fillText(`${count} lost`, x + 6, TOP - 6);
    }
  }
}

export function corners(scale, band) {
  const top = scale.delay(band.metres, band.top), bottom = scale.delay(band.metres, band.bottom);
  return (start, end) => [
    [scale.x(start + top), scale.y(band.top)], [scale.x(start), scale.y(band.metres)],
    [scale.x(start + bottom), scale.y(band.bottom)], [scale.x(end + bottom), scale.y(band.bottom)],
    [scale.x(end), scale.y(band.metres)], [scale.x(end + top), scale.y(band.top)],
  ];
}

function drawBands(context, scale, picture, colour, chosen) {
  const fills = Object.fromEntries(["request", "reply", "stray", "break"].map((role) => [role, fill(context, role, colour)]));
  let said = -1e9, named = -1e9;
  const dotted = {};
  for (const band of picture.bands) {
    const shape = corners(scale, band);
    const wide = scale.x(band.end) - scale.x(band.start);
    const outline = shape(band.start, Math.max(band.end, band.start + (scale.view.until - scale.view.since) / 4000));
    context.globalAlpha = band.bits ? 0.25 : 0.88;
    context.fillStyle = fills[band.role];
    if (thin(outline) && !band.bits && !band.collides) { // a thousand of them: a rectangle is drawn several times as fast
      const [left, top] = outline[0], bottom = outline[2][1];
      context.fillRect(left, top, outline[5][0] - left, bottom - top);
    } else {
      path(context, outline);
      context.fill();
    }
    context.globalAlpha = 1;
    if (band.bits) drawBits(context, scale, band, shape, colour);
    if (band.collides) { context.strokeStyle = colour.hit; context.lineWidth = 2.5; context.stroke(); }
    const x = scale.x(band.start), y = scale.y(band.metres);
    if (x >= (dotted[band.driver] ?? -1e9) + 1) { // not twice at one place
      dotted[band.driver] = x;
      dot(context, x, y, 3, colour.ink);
    }
    if (band.collides) {
      cross(context, x, y, 5, colour.hit);
      if (x > said + 64) { said = x; words(context, "collision", Math.min(x + 4, scale.right - 54), TOP - 8, colour.hit, colour.sheet); }
    }
    if (band.role === "stray" && !band.collides && x > named + 120) { named = x; words(context, "nobody's request", x + 4, TOP + 5, colour.ink, colour.sheet); }
    if (chosen && chosen.driver === band.driver && chosen.start === band.start) {
      path(context, shape(band.start, band.end));
      context.strokeStyle = colour.ink;
      context.lineWidth = Math.min(3, Math.max(1.5, wide));
      context.stroke();
    }
  }
}

// Whether neither its length nor the delay of the cable can be seen.
function thin(outline) {
  const across = outline.map(([x]) => x);
  return Math.max(...across) - Math.min(...across) < 2;
}

function drawBits(context, scale, band, shape, colour) {
  for (const [start, end, level, part, sampled] of band.bits) {
    path(context, shape(start, end));
    context.fillStyle = level ? colour.sheet : colour[band.role] || colour.stray;
    context.globalAlpha = level ? 0.6 : 0.9;
    context.fill();
    context.globalAlpha = 1;
    context.strokeStyle = colour.rule;
    context.lineWidth = part === "start" ? 2 : 0.7;
    context.stroke();
    const across = scale.x(end) - scale.x(start);
    if (across > 9) {
      const word = part === "start" ? "S" : part === "stop" ? "E" : part === "parity" ? "P" : part;
      context.fillStyle = level ? colour.ink : colour.sheet;
      context.textAlign = "center";
      context.fillText(word, scale.x((start + end) / 2), scale.y(band.metres) - 8);
    }
    for (const stand of across > 4 ? scale.line.stands : []) {
      if (stand.number === band.driver || stand.metres < band.top || stand.metres > band.bottom) continue;
      const x = scale.x(sampled + scale.delay(band.metres, stand.metres));
      dot(context, x, scale.y(stand.metres), 2.4, colour.ink, level ? colour.sheet : undefined);
    }
  }
}

function drawExchanges(context, scale, picture, colour) {
  for (const one of picture.exchanges) {
    const y = scale.y(one.metres);
    context.strokeStyle = colour.ink;
    if (one.answered >= 0) {
      const from = scale.x(one.asked), to = scale.x(one.answered);
      context.lineWidth = 1.6;
      context.setLineDash(to - from > 3 ? [2, 2] : []); // one dash, or the whole
      line(context, from, y, to, y);
    } else if (one.outcome !== "unanswered") {
      context.lineWidth = 2;
      context.strokeStyle = colour.hit;
      context.setLineDash([7, 4]);
      line(context, scale.x(one.asked), y, scale.x(one.ended), y);
      context.setLineDash([]);
      line(context, scale.x(one.ended), y - 6, scale.x(one.ended), y + 6);
    }
    context.setLineDash([]);
  }
}

function drawOutcomes(context, scale, picture, colour) {
  let said = -1e9;
  for (const one of picture.exchanges) {
    if (!["time-out", "damaged", "refused", "ran-together"].includes(one.outcome)) continue;
    const word = { "time-out": "no answer", "ran-together": "ran together" }[one.outcome] || one.outcome;
    const x = Math.min(scale.right - 64, Math.max(scale.x(one.asked) + 4, scale.left + 4));
    if (x > said + 66) { said = x; words(context, word, x, scale.y(one.metres) - 6, colour.hit, colour.sheet); }
  }
}

function drawCuts(context, scale, picture, colour) {
  picture.cuts.forEach((cut, place) => {
    const until = place + 1 < picture.cuts.length ? picture.cuts[place + 1].from : picture.until;
    for (const metres of cut.metres) {
      const y = scale.y(metres), x = Math.max(scale.left, scale.x(cut.from));
      context.strokeStyle = colour.hit;
      context.lineWidth = 2;
      context.setLineDash([3, 5]);
      line(context, x, y, scale.x(until), y);
      context.setLineDash([]);
      words(context, "pair open", x + 4, y - 4, colour.hit, colour.sheet);
    }
  });
}

function drawSigns(context, scale, picture, colour) {
  let said = -1e9;
  for (const sign of picture.signs) {
    const x = scale.x(sign.at), y = sign.metres === null ? TOP - 2 : scale.y(sign.metres);
    if (sign.what === "damaged" || sign.what === "amiss") triangle(context, x, y - 3, 5, colour.hit);
    else flag(context, x, sign.metres === null ? TOP : y, sign.what === "mark" ? colour.mark : colour.bad, colour.ink);
    if (sign.what === "mark" && x > said + 90) { said = x; words(context, sign.text.slice(0, 24), x + 8, TOP - 8, colour.ink, colour.sheet); }
  }
}

// The whole run as one strip, with the window that is shown.
export function drawOverview(canvas, overview, view) {
  const { context, width, height } = prepare(canvas, 0);
  const colour = colours();
  context.clearRect(0, 0, width, height);
  const x = (at) => at / overview.end * width;
  for (const row of overview.rows) {
    const over = Math.max(1, x(row[0] + overview.step) - x(row[0]));
    const wire = Math.min(1, row[3] / overview.step), inside = Math.min(1, row[4] / overview.step);
    context.fillStyle = colour.faint;
    context.fillRect(x(row[0]), height * (1 - inside), over, height * inside);
    context.fillStyle = colour.mark;
    context.fillRect(x(row[0]), height * (1 - wire), over, height * wire);
    if (row[5] || row[6]) triangle(context, x(row[0]) + over / 2, 6, 4, colour.hit);
  }
  const left = x(view.since), right = Math.max(x(view.until), left + 3);
  context.fillStyle = colour.ink;
  context.globalAlpha = 0.12;
  context.fillRect(left, 0, right - left, height);
  context.globalAlpha = 1;
  context.strokeStyle = colour.ink;
  context.lineWidth = 2;
  context.strokeRect(left, 1, right - left, height - 2);
}

function line(context, x, y, tox, toy) { context.beginPath(); context.moveTo(x, y); context.lineTo(tox, toy); context.stroke(); }
function path(context, points) { context.beginPath(); points.forEach(([x, y], place) => (place ? context.lineTo(x, y) : context.moveTo(x, y))); context.closePath(); }
function dot(context, x, y, size, colour, inner) {
  context.beginPath(); context.arc(x, y, size, 0, 2 * Math.PI); context.fillStyle = inner || colour; context.fill();
  if (inner) { context.strokeStyle = colour; context.lineWidth = 1; context.stroke(); }
}
function cross(context, x, y, size, colour) { context.strokeStyle = colour; context.lineWidth = 2; line(context, x - size, y - size, x + size, y + size); line(context, x - size, y + size, x + size, y - size); }
function triangle(context, x, y, size, colour) { context.fillStyle = colour; context.beginPath(); context.moveTo(x, y + size); context.lineTo(x - size, y - size); context.lineTo(x + size, y - size); context.closePath(); context.fill(); }
function flag(context, x, y, colour, ink) { context.strokeStyle = ink; context.lineWidth = 1.2; line(context, x, y + 6, x, y - 10); context.fillStyle = colour; context.fillRect(x, y - 10, 8, 6); }
function words(context, text, x, y, colour, ground) {
  context.textAlign = "left";
  context.lineWidth = 3;
  context.strokeStyle = ground;
  context.strokeText(text, x, y);
  context.fillStyle = colour;
  context.fillText(text, x, y);
}
