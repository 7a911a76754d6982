// Camera pictures: the test chart through the settings that a camera had at the end of the window, with waveform and
// vectorscope; two cameras side by side, and what differs. Values can be tried out here without touching the session.

import { token } from "./ask.js";
import { page } from "./main.js";
import { el } from "./text.js";

const TRIED = ["iris", "gain", "red_gain", "blue_gain", "master_black", "red_black", "green_black", "blue_black"];
const sides = [];
let differs = null, line = null, running = false, began = 0, onScreen = false;

export function cameraPictures(body) {
  body.append(el("p", { class: "quiet" }, "Our own test chart through each camera's settings at the end of the window: a model to learn by, computed. Values below are tried out here alone."));
  const row = el("div", { class: "sides" }, side("one"), side("two"));
  differs = el("canvas", { width: 480, height: 270, role: "img", "aria-label": "difference of the two pictures" });
  const said = el("p", { id: "difference", role: "status" });
  body.append(row, el("h3", {}, "Difference, four times as strong"), differs, said,
    el("button", { type: "button", id: "run-pictures", "aria-pressed": "false", onclick: toggle }, "Keep the pictures moving"));
  document.addEventListener("busim-moved", () => { if (onScreen && (!running || line !== page.line)) drawAll(); });
  choices();
}

// From now on they are drawn while they are on the screen: off it they cost a session nothing. Called once the sections
// above them are filled, which move them down.
export function showPictures(body) {
  new IntersectionObserver((changes) => {
    onScreen = changes.at(-1).isIntersecting;
    if (onScreen) drawAll();
  }).observe(body);
}

function side(name) {
  const mine = { name, tried: {} };
  mine.select = el("select", { "aria-label": `camera ${name}`, onchange: () => { mine.tried = {}; sliders(mine); drawAll(); } });
  mine.picture = el("canvas", { width: 480, height: 270, role: "img", "aria-label": `picture ${name}` });
  mine.wave = el("canvas", { width: 240, height: 126, role: "img", "aria-label": `waveform ${name}` });
  mine.vector = el("canvas", { width: 192, height: 192, role: "img", "aria-label": `vectorscope ${name}` });
  mine.sliders = el("details", {}, el("summary", {}, "Try values"), el("div", { class: "tries" }));
  sides.push(mine);
  return el("div", { class: "side" }, mine.select, mine.picture, el("div", { class: "scopes" }, mine.wave, mine.vector), mine.sliders);
}

function choices() {
  line = page.line;
  const cameras = page.line.stands.filter((stand) => stand.kind === "camera" && stand.number);
  sides.forEach((mine, place) => {
    mine.select.replaceChildren(...cameras.map((one) => el("option", { value: one.number }, one.name)));
    if (cameras.length) mine.select.value = cameras[Math.min(place, cameras.length - 1)].number;
    mine.tried = {};
    sliders(mine);
  });
}

function sliders(mine) {
  mine.sliders.lastElementChild.replaceChildren(...TRIED.map((name) => el("label", {}, name.replaceAll("_", " "),
    el("input", { type: "number", min: 0, max: 1023, step: 1, placeholder: "as it is", oninput: (event) => {
      if (event.target.value === "") delete mine.tried[name];
      else mine.tried[name] = Math.max(0, Math.round(Number(event.target.value)));
      drawAll();
    } }))));
}

function toggle(event) {
  running = !running;
  began = performance.now();
  event.target.setAttribute("aria-pressed", String(running));
  if (running) drawAll();
}

let busy = false, again = false;
async function drawAll() {
  if (busy) { again = true; return; }
  busy = true;
  try {
    if (line !== page.line) choices();
    const drawn = await Promise.all(sides.map(draw));
    if (drawn[0] && drawn[1]) difference(drawn[0], drawn[1]);
  } catch (error) {
    document.getElementById("difference").textContent = error.message;
  } finally {
    busy = false;
    if (again || running) { again = false; setTimeout(drawAll, running ? 60 : 0); }
  }
}

async function draw(mine) {
  if (!mine.select.value) return null;
  const moved = running ? Math.floor((performance.now() - began) * 1e6) : 0;
  const values = new URLSearchParams({ line: page.line.number, camera: mine.select.value, at: Math.floor(Math.min(page.view.until, page.end)) + moved,
    set: Object.entries(mine.tried).map(([name, value]) => `${name}=${value}`).join(",") });
  const answer = await fetch(`/api/look?${values}`, { headers: { Authorization: `Bearer ${token}` } });
  if (!answer.ok) throw new Error((await answer.json()).error.what);
  const sizes = JSON.parse(answer.headers.get("x-busim-sizes"));
  const data = new Uint8Array(await answer.arrayBuffer());
  const [width, height] = sizes.picture, rgb = data.subarray(0, width * height * 3);
  paint(mine.picture, width, height, (place) => [rgb[3 * place], rgb[3 * place + 1], rgb[3 * place + 2]]);
  let from = width * height * 3;
  const wave = data.subarray(from, from + sizes.waveform[0] * sizes.waveform[1]);
  from += wave.length;
  const vector = data.subarray(from);
  lit(mine.wave, sizes.waveform, wave);
  lit(mine.vector, sizes.vectorscope, vector);
  levels(mine.wave, sizes);
  boxes(mine.vector, sizes);
  return { rgb, width, height };
}

function paint(canvas, width, height, colour) {
  canvas.width = width;
  canvas.height = height;
  const image = new ImageData(width, height);
  for (let place = 0; place < width * height; place++) {
    const [red, green, blue] = colour(place);
    image.data.set([red, green, blue, 255], 4 * place);
  }
  canvas.getContext("2d").putImageData(image, 0, 0);
}

function lit(canvas, [width, height], counts) {
  paint(canvas, width, height, (place) => (counts[place] ? [60 + counts[place] * 0.75, 80 + counts[place] * 0.68, 90 + counts[place] * 0.64] : [14, 17, 19]));
}

// Lines at black, the middle and full white of the signal.
function levels(canvas, sizes) {
  const context = canvas.getContext("2d"), [width, height] = sizes.waveform;
  context.font = "10px sans-serif";
  for (const level of [0, 0.5, 1]) {
    const y = (sizes.high - level) / (sizes.high - sizes.low) * (height - 1);
    context.fillStyle = "rgb(150 160 165 / 60%)";
    context.fillRect(0, y, width, 1);
    context.fillStyle = "#c8d0d4";
    context.fillText(`${100 * level} %`, 2, y - 2);
  }
}

// Where the bars at 75 % belong.
function boxes(canvas, sizes) {
  const context = canvas.getContext("2d"), size = sizes.vectorscope[0];
  context.font = "10px sans-serif";
  context.strokeStyle = context.fillStyle = "#c8d0d4";
  for (const [name, [x, y]] of Object.entries(sizes.graticule)) {
    context.strokeRect(x * size - 5, y * size - 5, 10, 10);
    const wide = context.measureText(name).width, right = x * size + 8;
    if (right + wide <= size) context.fillText(name, right, y * size + 3);
    else context.fillText(name, size - wide - 2, y * size + 18);
  }
  context.fillRect(size / 2 - 4, size / 2, 9, 1);
  context.fillRect(size / 2, size / 2 - 4, 1, 9);
}

function difference(one, other) {
  let sum = 0, most = 0;
  paint(differs, one.width, one.height, (place) => [0, 1, 2].map((part) => {
    const away = Math.abs(one.rgb[3 * place + part] - other.rgb[3 * place + part]);
    sum += away;
    most = Math.max(most, away);
    return Math.min(255, 4 * away);
  }));
  const mean = sum / (3 * one.width * one.height);
  document.getElementById("difference").textContent = `Mean difference ${(mean / 2.55).toFixed(2)} % of the signal, largest ${(most / 2.55).toFixed(0)} %.`;
}
