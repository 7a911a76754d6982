// The panel beside the line: cameras, masters and converters at the end of the window, time series, figures, actions.

import { ask } from "./ask.js";
import { page } from "./main.js";
import { el, instant, length } from "./text.js";
import { cameraPictures, showPictures } from "./pictures.js";

const panel = document.getElementById("side-panel");
let plots = null, busy = false, again = false, acting = null;

function section(id, title, ...children) {
  const body = el("div", { id: `${id}-body` }, ...children);
  panel.append(el("section", { id, "aria-labelledby": `${id}-title` }, el("h2", { id: `${id}-title` }, title), body));
  return body;
}

function start() {
  section("cameras", "Cameras");
  section("load", "Load around the window");
  section("masters", "Masters and converters");
  const figures = section("figures", "Figures of the whole run");
  figures.append(el("button", { type: "button", onclick: showFigures }, "Work them out"),
    el("p", { class: "quiet" }, "Reads all of the trace: seconds for a long run."));
  if (page.about.acts) startActions();
  const pictures = section("pictures", "Camera pictures");
  cameraPictures(pictures);
  refresh().then(() => showPictures(pictures));
}

async function refresh() {
  if (!page.line) return;
  if (busy) { again = true; return; }
  busy = true;
  try {
    do {
      again = false;
      const at = Math.floor(Math.min(page.view.until, page.end)), line = page.line.number;
      const more = Math.max(0, 10e9 - (page.view.until - page.view.since)) / 2; // a curve needs more than a moment
      const [stations, series] = await Promise.all([
        ask("/api/stations", { line, at }),
        ask("/api/series", { line, since: Math.floor(Math.max(0, page.view.since - more)), until: Math.ceil(page.view.until + more) }),
      ]);
      drawCameras(stations);
      drawMasters(stations);
      drawSeries(series);
    } while (again);
  } catch (error) {
    document.getElementById("masters-body").replaceChildren(el("p", { class: "bad" }, error.message));
  } finally {
    busy = false;
  }
}

function drawCameras(given) {
  const open = new Set([...document.querySelectorAll("#cameras details[open]")].map((one) => one.dataset.name));
  const rows = given.cameras.map((one) => {
    const state = one.state === "present" && one.exchanges && one.lost === one.exchanges ? "silent" : one.state;
    const bad = state !== "present" || one.lost > 0;
    const details = el("details", { "data-name": one.name, open: open.has(one.name) },
      el("summary", {}, one.name),
      el("dl", { class: "pairs" }, ...one.parameters.flatMap((each) => [el("dt", {}, each.name),
        el("dd", {}, each.at < 0 ? `${each.value} (default)` : `${each.value} (since ${instant(each.at)})`)])),
      ...one.locks.map((lock) => el("p", { class: "quiet" }, `locked: ${lock}`)),
      one.motors.length ? el("p", { class: "quiet" }, `motors: ${one.motors.join(", ")}`) : null);
    return el("tr", {}, el("td", {}, details), el("td", { class: "number" }, one.bus_id ?? "-"),
      el("td", { class: bad ? "bad" : undefined }, one.lost ? `${state}, ${one.lost} of ${one.exchanges} lost` : state),
      el("td", { class: "number" }, one.age === null ? `none in ${length(one.over)}` : length(one.age)));
  });
  const heads = ["camera", "bus ID", `state, last ${length(given.cameras[0] ? given.cameras[0].over : 0)}`, "age of its values"];
  fill("cameras-body", el("p", { class: "quiet" }, `At ${instant(given.at)}, the end of the window.`), table(heads, rows));
}

function drawMasters(given) {
  const masters = given.masters.map((one) => el("tr", {}, el("td", {}, one.through ? `${one.name} through ${one.through}` : one.name),
    el("td", { class: "number" }, String(one.exchanges)), el("td", { class: one.lost ? "number bad" : "number" }, String(one.lost)),
    el("td", { class: one.overdue.length ? "bad" : undefined }, one.overdue.join("; ") || "nothing"), el("td", {}, [...one.waiting, one.polls ? `${one.polls} polls` : ""].filter(Boolean).join("; ") || "nothing")));
  const boxes = given.converters.map((one) => el("tr", {}, el("td", {}, one.name), el("td", { class: "number" }, String(one.clients))));
  fill("masters-body", table(["master", "exchanges", "lost", "overdue", "waiting"], masters),
    table(["converter", "network clients"], boxes));
}

function drawSeries(given) {
  const body = document.getElementById("load-body");
  const width = Math.max(240, body.clientWidth - 4);
  const seconds = given.at.map((at) => at / 1e9), percent = (values) => values.map((value) => 100 * value);
  const flat = (value) => seconds.map(() => (value === null ? null : 100 * value));
  const data = [seconds, percent(given.occupancy), percent(given.load), flat(given.computed.occupancy), flat(given.computed.load)];
  const style = getComputedStyle(document.documentElement), of = (name) => style.getPropertyValue(`--${name}`).trim();
  const axis = { stroke: of("quiet"), grid: { stroke: of("faint") }, ticks: { stroke: of("rule") } };
  const options = {
    width, height: 190, scales: { x: { time: false }, y: { range: (_, low, high) => [0, Math.max(105, high)] } }, cursor: { drag: { x: false } },
    axes: [{ ...axis, label: "s", labelSize: 16, size: 34 }, { ...axis, label: "%", labelSize: 16, size: 44 }],
    series: [{ label: "s" }, { label: "occupancy", stroke: of("request"), width: 2 }, { label: "in exchanges", stroke: of("reply"), width: 2, dash: [8, 3] },
      { label: "occupancy, computed", stroke: of("request"), width: 1, dash: [2, 4] }, { label: "load, computed", stroke: of("reply"), width: 1, dash: [2, 4] }],
  };
  if (plots) plots.destroy();
  body.replaceChildren();
  plots = new window.uPlot(options, data, body);
  const mean = (values) => (values.length ? 100 * values.reduce((sum, value) => sum + value, 0) / values.length : 0);
  const lost = given.lost.reduce((sum, value) => sum + value, 0), load = mean(given.load);
  const room = given.computed.headroom === null ? "" : `; headroom computed ${(100 * given.computed.headroom).toFixed(1)} %`;
  body.append(el("p", { class: "quiet" }, `Steps of ${length(given.step)}, measured: occupancy ${mean(given.occupancy).toFixed(1)} %, inside exchanges ${load.toFixed(1)} %, ${lost} lost or damaged${room}. Masters on one line add up.`));
}

async function showFigures() {
  fill("figures-body", el("p", { role: "status" }, "Reading the trace."));
  try {
    const made = await ask("/api/figures");
    const names = ["poll_rate", "latency_p95", "move_p95", "time_outs", "damaged", "collisions", "occupancy", "load", "headroom"];
    const rows = made.lines.map((line) => el("tr", {}, el("td", {}, line.name), ...names.map((name) => el("td", { class: "number", "data-figure": name }, made.shown[line.name][name] ?? "-"))));
    const verdicts = made.expectations.map((one) => one.verdict), count = (verdict) => verdicts.filter((one) => one === verdict).length;
    const missed = made.expectations.filter((one) => one.verdict === "missed").map((one) => el("li", { class: "bad" }, `missed: ${one.figure} of ${one.of}, expected ${one.expected}`));
    fill("figures-body", el("p", {}, `Measured in ${made.length_s} s; ${count("met")} of ${verdicts.length} expectations met, ${count("missed")} missed.`),
      el("ul", {}, ...missed), table(["line", ...names.map((name) => name.replaceAll("_", " "))], rows),
      el("ul", {}, ...(made.differences.length ? made.differences : ["Every computed figure lies within its tolerance."]).map((text) => el("li", {}, text))),
      el("button", { type: "button", onclick: showFigures }, "Again"));
  } catch (error) {
    fill("figures-body", el("p", { class: "bad" }, error.message));
  }
}

// -- actions ------------------------------------------------------------------------------------------------------

async function startActions() {
  const body = section("actions", "Act on the session");
  try {
    acting = await ask("/api/actions");
  } catch (error) {
    return body.append(el("p", { class: "bad" }, error.message));
  }
  const which = el("select", { id: "action", onchange: () => fields() }, ...acting.actions.map((one) => el("option", { value: one.name }, one.name)));
  body.append(el("form", { id: "act", onsubmit: act }, el("label", {}, "Action ", which), el("div", { id: "act-fields", class: "bar" }), el("button", {}, "Do it")),
    el("p", { id: "act-said", role: "status" }));
  fields();
}

function chosenAction() {
  return acting.actions.find((one) => one.name === document.getElementById("action").value);
}

function fields() {
  const one = chosenAction();
  fill("act-fields", el("p", { class: "quiet" }, one.what), ...one.arguments.map((each) => el("label", {}, `${each.name} `, input(one, each))));
}

function input(action, each) {
  const known = names(action, each);
  if (!known) return el("input", { name: each.name, title: each.what, autocomplete: "off", size: 14, placeholder: each.kind === "values" ? "by=50 ms" : "" });
  const none = each.needed ? [] : [el("option", { value: "" }, "-")];
  return el("select", { name: each.name, title: each.what }, ...none, ...known.map((name) => el("option", { value: name }, name)));
}

function names(action, each) {
  const of = (kind) => page.about.lines.flatMap((line) => line.stands).filter((stand) => stand.kind === kind && stand.number).map((stand) => stand.name);
  const lines = page.about.lines.map((line) => line.name);
  if (each.words.length) return each.words;
  if (each.kind === "camera") return of("camera");
  if (each.kind === "converter") return of("converter");
  if (each.kind === "line") return lines;
  if (each.kind === "place") return [...of("camera"), ...of("converter"), ...lines];
  if (action.name === "fault" && each.name === "fault") return [...acting.presets, ...acting.faults].map((one) => one.name);
  return null;
}

async function act(event) {
  event.preventDefault();
  const one = chosenAction(), given = {};
  for (const [name, text] of new FormData(event.target)) {
    const kind = one.arguments.find((each) => each.name === name).kind;
    if (!text) continue;
    if (kind === "number") given[name] = Number(text);
    else if (kind === "values") given[name] = Object.fromEntries(text.split(/[,;]/).map((part) => part.split("=").map((word) => word.trim())));
    else given[name] = text;
  }
  const words = [one.name, ...Object.values(given).map((value) => (typeof value === "object" ? JSON.stringify(value) : value))].join(" ");
  if (one.asks && !(await sure(words))) return;
  const said = document.getElementById("act-said");
  try {
    const done = await ask("/api/actions", {}, { action: one.name, arguments: given });
    said.className = "";
    said.textContent = `${done.done}, at ${instant(done.at_ns)}`;
  } catch (error) {
    said.className = "bad";
    said.textContent = `not done: ${error.message}`;
  }
}

function sure(words) {
  return new Promise((resolve) => {
    const dialog = el("dialog", { "aria-label": "Are you sure?" }, el("h2", {}, words),
      el("p", {}, "This is the emulated line. On a real one it would reach cameras, supplies and moving heads: switch off, clear the area and follow the local code first."),
      el("form", { method: "dialog", class: "bar" }, el("button", { value: "yes" }, "Do it"), el("button", { value: "no", autofocus: true }, "Leave it")));
    dialog.addEventListener("close", () => { dialog.remove(); resolve(dialog.returnValue === "yes"); });
    document.body.append(dialog);
    dialog.showModal();
  });
}

function table(heads, rows) {
  return el("div", { class: "scroll", tabindex: "0", role: "region", "aria-label": heads.join(", ") },
    el("table", {}, el("thead", {}, el("tr", {}, ...heads.map((head) => el("th", { scope: "col" }, head)))), el("tbody", {}, ...rows)));
}

function fill(id, ...children) {
  document.getElementById(id).replaceChildren(...children);
}

let later = 0;
function soon() {
  clearTimeout(later);
  later = setTimeout(refresh, 250);
}
document.addEventListener("busim-ready", start);
document.addEventListener("busim-moved", soon);
