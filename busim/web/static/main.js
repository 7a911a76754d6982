// The page: which line and which stretch of time is shown, and what keys, pointer and buttons do to that.

import { ask, watch } from "./ask.js";
import { colours, drawLine, drawOverview, fill, prepare } from "./draw.js";
import { el, instant, length } from "./text.js";

const at = (id) => document.getElementById(id);
const SPANS = [3600e9, 600e9, 60e9, 10e9, 1e9, 200e6, 50e6, 10e6, 2e6, 500e3];
const LEAST = 20e3;
const KEYS = [
  ["← →", "earlier, later"], ["+ −", "closer, wider"], ["1 … 9, 0", "a span, from an hour to half a millisecond"],
  ["Home End", "first and last moment"], ["space", "follow the run, or pause"], ["n p", "next and previous of what “Go to” says"],
  ["l", "next line"], [". ,", "next and previous band"], ["Esc", "let go of the band"], ["?", "this list"],
];
const LEGEND = [
  ["request", "request"], ["reply", "reply"], ["stray", "of no exchange that a master reported"], ["break", "break"],
  ["mark", "wide spans: share of time with characters on the wire"], ["faint", "and inside exchanges"],
];

export const page = { about: null, line: null, view: { since: 0, until: 1e9 }, end: 0, complete: false, follow: false };
let picture = null, overview = null, scale = null, chosen = null, asked = 0, busy = false, again = false;

async function start() {
  try {
    page.about = await ask("/api/about");
    if (!page.about.lines.length && !page.about.complete) return setTimeout(start, 500); // it has only just begun
  } catch (error) {
    at("state").textContent = `This page cannot be shown: ${error.message}`;
    at("state").className = "bad";
    return;
  }
  page.end = page.about.end;
  page.complete = page.about.complete;
  at("title").textContent = page.about.plan;
  document.title = `${page.about.plan} - busim`;
  for (const span of SPANS) at("span").append(el("option", { value: span }, length(span)));
  at("span").append(el("option", { value: "", hidden: true }, "other"));
  for (const what of page.about.jumps) at("what").append(el("option", { value: what }, what));
  for (const line of page.about.lines) {
    at("lines").append(el("button", { type: "button", "data-line": line.number, onclick: () => choose(line) }, line.name));
  }
  at("help-keys").append(...KEYS.map(([keys, what]) => el("tr", {}, el("th", { scope: "row" }, keys), el("td", {}, what))));
  legend();
  page.follow = !page.complete;
  const span = Math.min(60e9, Math.max(page.end, 1e9));
  page.view = page.follow ? { since: Math.max(0, page.end - 10e9), until: Math.max(page.end, 10e9) } : { since: 0, until: span };
  if (page.about.lines.length) choose(page.about.lines[0]);
  listen();
  watch(grown, () => { if (!page.complete) state("the page's server is away; trying again"); });
  state();
  document.dispatchEvent(new CustomEvent("busim-ready"));
}

function state(text) {
  const run = page.complete ? "recorded run" : "being recorded";
  at("state").textContent = text || `${run}, ${length(page.end)}; ${page.about.clock} clock, seed ${page.about.seed}`;
  at("follow").disabled = page.complete;
  at("follow").setAttribute("aria-pressed", String(page.follow));
}

function grown(now) {
  if (now.error) return state(now.error);
  page.end = Math.max(page.end, now.end);
  page.complete = now.complete;
  if (page.complete) page.follow = false;
  state();
  if (page.follow) {
    const span = page.view.until - page.view.since;
    page.view = { since: Math.max(0, page.end - span), until: Math.max(page.end, span) };
    refresh(false); // a moment later the new records are there: drawn once and not twice
  } else if (page.view.until > page.end - 1e9) refresh(false);
}

function choose(line) {
  page.line = line;
  chosen = null;
  for (const button of at("lines").children) button.setAttribute("aria-pressed", String(Number(button.dataset.line) === line.number));
  at("said").textContent = line.said;
  overview = null;
  refresh();
}

// Draw what there is at once, then ask for what belongs here; one question at a time, the last one counts.
export async function refresh(now = true) {
  if (now) draw();
  if (busy) { again = true; return; }
  busy = true;
  try {
    do {
      again = false;
      const { since, until } = page.view, line = page.line, number = ++asked;
      const width = Math.max(50, Math.round(at("line").clientWidth));
      const begun = performance.now();
      const [made, strip] = await Promise.all([
        ask("/api/picture", { line: line.number, since: Math.floor(since), until: Math.ceil(until), width }),
        overview && !page.follow ? overview : ask("/api/overview", { line: line.number, width }),
      ]);
      if (number !== asked) continue;
      picture = made;
      overview = strip;
      draw();
      at("line").dataset.level = picture.level;
      document.dispatchEvent(new CustomEvent("busim-moved"));
      at("line").dataset.took = (performance.now() - begun).toFixed(1);
    } while (again);
  } catch (error) {
    state(error.message);
  } finally {
    busy = false;
  }
}

function draw() {
  if (!page.line) return;
  scale = drawLine(at("line"), page.line, picture, page.view, chosen);
  if (overview) drawOverview(at("overview"), overview, page.view);
  const strip = at("overview");
  strip.setAttribute("aria-valuemax", Math.round(page.end / 1e6));
  strip.setAttribute("aria-valuenow", Math.round(page.view.since / 1e6));
  strip.setAttribute("aria-valuetext", `from ${instant(page.view.since)} to ${instant(page.view.until)}`);
  const span = page.view.until - page.view.since;
  at("span").value = SPANS.includes(span) ? span : "";
  at("line").setAttribute("aria-label", description(span));
}

function description(span) {
  const head = `${page.line.name}, ${length(span)} from ${instant(page.view.since, span / 1000)}`;
  if (!picture) return head;
  if (picture.level === "summary") {
    const lost = picture.rows.reduce((sum, row) => sum + row[5] + row[6], 0);
    return `${head}: sums per ${length(picture.step)}, ${lost} lost or damaged`;
  }
  const hits = picture.bands.filter((band) => band.collides).length;
  const silent = picture.exchanges.filter((one) => one.outcome === "time-out").length;
  return `${head}: ${picture.bands.length} bursts, ${hits} in collisions, ${silent} requests without an answer, ${picture.signs.length} signs`;
}

// -- moving ---------------------------------------------------------------------------------------------------

export function show(since, until) {
  const span = Math.max(LEAST, until - since);
  const low = Math.min(Math.max(0, since), Math.max(0, page.end - span / 4));
  page.view = { since: Math.round(low), until: Math.round(low + span) };
  refresh();
}

function pause() {
  page.follow = false;
  state();
}

function zoom(factor, middle = (page.view.since + page.view.until) / 2) {
  const span = page.view.until - page.view.since, wanted = Math.min(Math.max(span * factor, LEAST), 8 * 3600e9);
  if (middle < page.end - span) pause();
  show(middle - (middle - page.view.since) * wanted / span, middle + (page.view.until - middle) * wanted / span);
}

function spanned(span) {
  const middle = chosen ? chosen.start : page.follow ? page.end - span / 2 : (page.view.since + page.view.until) / 2;
  show(middle - span / 2, middle + span / 2);
}

const span = () => page.view.until - page.view.since;
const actions = {
  left: () => { pause(); show(page.view.since - span() / 2, page.view.until - span() / 2); },
  right: () => { pause(); show(page.view.since + span() / 2, page.view.until + span() / 2); },
  in: () => zoom(1 / 4),
  out: () => zoom(4),
  follow: () => { page.follow = !page.follow && !page.complete; state(); if (page.follow) show(page.end - span(), page.end); },
  next: () => jump(0),
  previous: () => jump(1),
  first: () => { pause(); show(0, span()); },
  last: () => show(page.end - span(), page.end),
  line: () => { const all = page.about.lines; choose(all[(all.indexOf(page.line) + 1) % all.length]); },
  band: () => step(1),
  "band back": () => step(-1),
  free: () => { chosen = null; draw(); },
  help: () => at("help").showModal(),
};

async function jump(back) {
  pause();
  const middle = Math.round((page.view.since + page.view.until) / 2);
  try {
    const found = await ask("/api/jump", { line: page.line.number, what: at("what").value, at: middle, back });
    told(el("p", {}, found.at === null ? found.text : `${instant(found.at, 1e3)}: ${found.text}`));
    if (found.at !== null) {
      const wanted = Math.min(span(), 200e6);
      show(found.at - wanted / 2, found.at + wanted / 2);
    }
  } catch (error) {
    told(el("p", { class: "bad" }, error.message));
  }
}

function step(by) {
  if (!picture || !picture.bands.length) return told(el("p", { class: "quiet" }, "No bands here: zoom in first."));
  pause();
  const bands = picture.bands;
  const place = chosen ? bands.findIndex((band) => band.start === chosen.start && band.driver === chosen.driver) : -1;
  const next = bands[Math.min(bands.length - 1, Math.max(0, place < 0 ? (by > 0 ? 0 : bands.length - 1) : place + by))];
  pick(next);
  if (next.start < page.view.since || next.end > page.view.until) show(next.start - span() / 2, next.start + span() / 2);
}

// -- what is under the pointer -----------------------------------------------------------------------------------

let wanted = null;
async function pick(band) {
  chosen = band;
  draw();
  wanted = band;
  try {
    const found = await ask("/api/burst", { line: page.line.number, driver: band.driver, start: band.start });
    if (wanted !== band) return;
    const rows = [["bytes", found.bytes || "none: a break"], ...found.fields];
    told(
      el("h2", {}, `${found.driver}, ${instant(found.start, 1e3)}, ${found.size} bytes in ${length(found.end - found.start)}${band.collides ? ", in a collision" : ""}`),
      el("dl", {}, ...rows.flatMap(([name, value]) => [el("dt", {}, name), el("dd", name === "bytes" ? { class: "bytes" } : {}, value)])),
    );
  } catch (error) {
    told(el("p", { class: "bad" }, error.message));
  }
}

function told(...children) {
  at("told").replaceChildren(...children);
}

function under(event) {
  if (!picture || !scale) return;
  const box = at("line").getBoundingClientRect();
  const x = event.clientX - box.left, y = event.clientY - box.top;
  const sign = picture.signs.find((one) => Math.abs(scale.x(one.at) - x) < 7 && Math.abs((one.metres === null ? 24 : scale.y(one.metres)) - y) < 14);
  if (sign) { wanted = null; return told(el("p", {}, `${instant(sign.at, 1e3)}: ${sign.text}`)); }
  const metres = scale.metres(y), now = scale.at(x), slack = 3 * (scale.at(1) - scale.at(0));
  const band = picture.bands.find((one) => now >= one.start - slack && now <= one.end + slack && metres >= one.top - 1 && metres <= one.bottom + 1);
  if (band && (!chosen || chosen.start !== band.start || chosen.driver !== band.driver)) pick(band);
}

// -- events ------------------------------------------------------------------------------------------------------

const BY_KEY = {
  ArrowLeft: "left", ArrowRight: "right", "+": "in", "=": "in", "-": "out", " ": "follow", n: "next", p: "previous",
  Home: "first", End: "last", l: "line", ".": "band", ",": "band back", Escape: "free", "?": "help",
};

function listen() {
  document.addEventListener("click", (event) => {
    const button = event.target.closest("[data-do]");
    if (button) actions[button.dataset.do]();
  });
  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey || event.target.closest("input, select, dialog, textarea")) return;
    if (event.key === " " && event.target.closest("button, summary")) return;
    const action = BY_KEY[event.key];
    if (action) { event.preventDefault(); actions[action](); }
    else if (/^[0-9]$/.test(event.key)) spanned(SPANS[(Number(event.key) + 9) % 10]);
  });
  at("keys").addEventListener("click", actions.help);
  at("span").addEventListener("change", () => spanned(Number(at("span").value)));
  const canvas = at("line");
  let held = null;
  canvas.addEventListener("pointerdown", (event) => { held = { x: event.clientX, ...page.view }; });
  canvas.addEventListener("pointermove", (event) => {
    if (!held || !event.buttons) return under(event);
    const moved = (event.clientX - held.x) / (scale.right - scale.left) * (held.until - held.since);
    if (Math.abs(event.clientX - held.x) > 3) { pause(); show(held.since - moved, held.until - moved); }
  });
  canvas.addEventListener("pointerup", (event) => { held = null; under(event); });
  canvas.addEventListener("wheel", (event) => {
    if (!event.ctrlKey && !event.shiftKey) return;
    event.preventDefault();
    zoom(event.deltaY > 0 ? 1.6 : 1 / 1.6, scale.at(event.clientX - canvas.getBoundingClientRect().left));
  }, { passive: false });
  canvas.addEventListener("dblclick", (event) => zoom(1 / 5, scale.at(event.clientX - canvas.getBoundingClientRect().left)));
  const strip = at("overview");
  const place = (event) => {
    const share = (event.clientX - strip.getBoundingClientRect().left) / strip.clientWidth;
    pause();
    show(share * page.end - span() / 2, share * page.end + span() / 2);
  };
  strip.addEventListener("pointerdown", place);
  strip.addEventListener("pointermove", (event) => { if (event.buttons) place(event); });
  new ResizeObserver(() => { overview = null; refresh(); }).observe(at("line").parentElement);
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => { legend(); draw(); });
}

function legend() {
  at("legend").replaceChildren(...LEGEND.map(([role, words]) => {
    const sample = el("canvas", { "aria-hidden": "true" });
    const item = el("li", {}, sample, words);
    requestAnimationFrame(() => {
      const { context, width, height } = prepare(sample, 0);
      context.fillStyle = fill(context, role, colours());
      context.fillRect(0, 0, width, height);
    });
    return item;
  }), el("li", {}, "× collision"), el("li", {}, "▾ damaged, or heard otherwise"), el("li", {}, "⚑ mark, fault, hand on site"), el("li", {}, "- - - waiting for the answer"));
}

start();
