// A log's drawing under the hand: moved, zoomed from a year to a minute, read out in words.

import { request, Unreachable } from "./api.js";
import { LITRES, plain, say } from "./say.js";
import { onSheet, sheet } from "./sheet.js";
import { clock, showZone, zone } from "./watch-axes.js";
import { draw, places } from "./watch-draw.js";

const SHORTEST_S = 60;
const kept = new Map();
let plot = null;

onSheet(() => {
  const place = document.querySelector("[data-watch-plot]");
  plot = null;
  if (place) open(place);
});

function open(place) {
  const events = JSON.parse(place.dataset.events);
  showZone(place.dataset.zone);
  plot = {
    place,
    canvas: place.querySelector('[data-part="canvas"]'),
    events,
    words: JSON.parse(place.dataset.words),
    data: null,
    range: kept.get(place.dataset.number) ?? null,
    whole: null,
    cursor: null,
    turn: 0,
    timer: 0,
  };
  listen(plot);
  load(plot);
}

async function load(mine) {
  mine.turn += 1;
  const turn = mine.turn;
  const width = Math.max(mine.canvas.clientWidth, 280);
  const at = places(width);
  const [from, to] = mine.range ?? [null, null];
  const range = from === null ? "" : `&from_s=${from}&to_s=${to}`;
  const url = `${sheet().dataset.api}${mine.place.dataset.url}${range}&pixels=${Math.round(at.right - at.left)}`;
  const complaint = mine.place.querySelector(".error");
  try {
    const answer = await request("GET", url);
    if (turn !== mine.turn || mine !== plot) return;
    complaint.textContent = answer.ok ? "" : answer.data.error;
    if (!answer.ok) return;
    mine.data = answer.data;
    mine.whole = [answer.data.first_s, Math.max(answer.data.last_s, answer.data.first_s + SHORTEST_S)];
    mine.range ??= [...mine.whole];
    mine.place.dataset.state = "drawn";
    show(mine);
    tell(mine);
  } catch (error) {
    if (!(error instanceof Unreachable)) throw error;
    complaint.textContent = say("offline");
  }
}

function show(mine) {
  if (!mine.data) return;
  const [from, to] = mine.range;
  [mine.place.dataset.from, mine.place.dataset.to] = mine.range.map((s) => s.toFixed(1));
  mine.x = draw(mine.canvas, mine.data, from, to, mine.events, mine.words);
  readout(mine);
}

/** Go to a stretch: at once with what is there, then with what is fetched for it. */
function go(mine, from, to) {
  if (!mine.whole) return;
  const [first, last] = mine.whole;
  const width = Math.min(Math.max(to - from, SHORTEST_S), last - first);
  const start = Math.min(Math.max((from + to - width) / 2, first), last - width);
  mine.range = [start, start + width];
  kept.set(mine.place.dataset.number, mine.range);
  requestAnimationFrame(() => show(mine));
  clearTimeout(mine.timer);
  mine.timer = setTimeout(() => load(mine), 90);
}

function zoom(mine, factor, about = null) {
  const [from, to] = mine.range;
  const middle = about ?? (from + to) / 2;
  go(mine, middle - (middle - from) * factor, middle + (to - middle) * factor);
}

function move(mine, share) {
  const [from, to] = mine.range;
  go(mine, from + share * (to - from), to + share * (to - from));
}

/** Show an event with as much around it as makes it understood. */
function showAbout(mine, start, end) {
  const around = Math.max(3 * (end - start), 3600);
  mine.cursor = (start + end) / 2;
  go(mine, start - around, end + around);
}

function next(mine) {
  const middle = (mine.range[0] + mine.range[1]) / 2;
  const isWhole = mine.range[1] - mine.range[0] >= mine.whole[1] - mine.whole[0] - 1;
  const sorted = [...mine.events].sort((a, b) => a.start_s - b.start_s);
  const found = sorted.find((e) => isWhole || (e.start_s + e.end_s) / 2 > middle + 1) ?? sorted[0];
  if (found) showAbout(mine, found.start_s, found.end_s);
}

const ACTIONS = {
  left: (mine) => move(mine, -0.5),
  right: (mine) => move(mine, 0.5),
  in: (mine) => zoom(mine, 0.5),
  out: (mine) => zoom(mine, 2),
  whole: (mine) => go(mine, ...mine.whole),
  next,
};
const KEYS = { ArrowLeft: "left", ArrowRight: "right", "+": "in", "=": "in", "-": "out", 0: "whole", Home: "whole", n: "next", N: "next" };

document.addEventListener("click", (event) => {
  const button = event.target.closest("[data-plot], [data-plot-show]");
  if (!button || !plot?.range) return;
  if (button.dataset.plot) ACTIONS[button.dataset.plot](plot);
  else {
    const [start, end] = button.dataset.plotShow.split(",").map(Number);
    showAbout(plot, start, end);
    plot.place.scrollIntoView({ block: "start" });
    plot.canvas.focus({ preventScroll: true });
  }
});

let width = window.innerWidth;
window.addEventListener("resize", () => {
  if (!plot || window.innerWidth === width) return;
  width = window.innerWidth;
  show(plot);
  load(plot);
});

function listen(mine) {
  const { canvas } = mine;
  const fingers = new Map();
  let pinch = null;
  let isWheeled = false;
  canvas.addEventListener("keydown", (event) => {
    const action = KEYS[event.key];
    if (!action || !mine.range || event.ctrlKey || event.metaKey || event.altKey) return;
    event.preventDefault();
    ACTIONS[action](mine);
  });
  // The wheel turns the page until the drawing is chosen by a press.
  canvas.addEventListener("blur", () => (isWheeled = false));
  canvas.addEventListener("wheel", (event) => {
    if (!mine.range || !(isWheeled || event.ctrlKey)) return;
    event.preventDefault();
    zoom(mine, Math.exp(Math.sign(event.deltaY) * Math.min(Math.abs(event.deltaY), 120) * 0.004), timeAt(mine, event));
  }, { passive: false });
  canvas.addEventListener("pointerdown", (event) => {
    isWheeled = true;
    fingers.set(event.pointerId, event);
    canvas.setPointerCapture(event.pointerId);
    pinch = null;
  });
  canvas.addEventListener("pointermove", (event) => {
    if (!mine.x) return;
    if (!fingers.has(event.pointerId)) {
      if (event.pointerType === "mouse") point(mine, timeAt(mine, event));
      return;
    }
    const before = [...fingers.values()];
    fingers.set(event.pointerId, event);
    const now = [...fingers.values()];
    if (now.length === 1) {
      const [from, to] = mine.range;
      const shift = timeAt(mine, before[0]) - timeAt(mine, now[0]);
      if (shift) go(mine, from + shift, to + shift);
      return;
    }
    pinch ??= { range: [...mine.range], times: before.slice(0, 2).map((each) => timeAt(mine, each)), x: mine.x };
    pinched(mine, pinch, now);
  });
  for (const name of ["pointerup", "pointercancel"]) {
    canvas.addEventListener(name, (event) => {
      const first = fingers.get(event.pointerId);
      fingers.delete(event.pointerId);
      pinch = null;
      if (first && name === "pointerup" && !fingers.size) point(mine, timeAt(mine, event), true);
    });
  }
}

/** Keep the two times that lie under two fingers under them. */
function pinched(mine, pinch, now) {
  const box = mine.canvas.getBoundingClientRect();
  const at = places(Math.max(mine.canvas.clientWidth, 280));
  const [a, b] = now.slice(0, 2).map((each) => ((each.clientX - box.left) * at.width) / box.width);
  const [s, t] = pinch.times;
  if (Math.abs(b - a) < 8 || s === t) return;
  const perPixel = (t - s) / (b - a);
  if (perPixel <= 0) return;
  const from = s - (a - at.left) * perPixel;
  go(mine, from, from + (at.right - at.left) * perPixel);
}

function timeAt(mine, event) {
  const box = mine.canvas.getBoundingClientRect();
  const at = places(Math.max(mine.canvas.clientWidth, 280));
  return mine.x.back(((event.clientX - box.left) * at.width) / box.width);
}

function point(mine, seconds, isSaid = false) {
  mine.cursor = seconds;
  readout(mine);
  if (isSaid) mine.place.querySelector('[data-part="said"]').textContent = read(mine);
}

function readout(mine) {
  mine.place.querySelector('[data-part="readout"]').textContent = read(mine);
  const svg = mine.canvas.querySelector("svg");
  svg?.querySelector(".cursor")?.remove();
  if (!svg || mine.cursor === null || mine.cursor < mine.range[0] || mine.cursor > mine.range[1]) return;
  const at = places(Math.max(mine.canvas.clientWidth, 280));
  const line = document.createElementNS("http://www.w3.org/2000/svg", "path");
  line.setAttribute("d", `M${mine.x(mine.cursor)} ${at.top}V${at.foot}`);
  line.setAttribute("class", "cursor");
  svg.append(line);
}

/** What the log says at the cursor, in words. */
function read(mine) {
  const { data, words } = mine;
  if (!data || mine.cursor === null || !data.time_s.length) return "";
  let nearest = 0;
  data.time_s.forEach((s, k) => {
    if (Math.abs(s - mine.cursor) < Math.abs(data.time_s[nearest] - mine.cursor)) nearest = k;
  });
  const s = data.time_s[nearest];
  const unit = document.documentElement.dataset.volume;
  const figure = (l) => plain(l / LITRES[unit], 1);
  const parts = [`${clock(s, true)} ${zone}`];
  if (data.mean_l[nearest] === null) parts.push(words.none);
  else parts.push(`${figure(data.mean_l[nearest])}${data.u_l ? ` ± ${figure(data.u_l[nearest])}` : ""} ${unit}`);
  if (data.speed_kmh[nearest] !== null) parts.push(`${plain(data.speed_kmh[nearest])} km/h`);
  if (data.ignition[nearest] !== null) parts.push(data.ignition[nearest] > 0 ? words.on : words.off);
  return parts.join(", ");
}

/** Say what the stretch holds to those who cannot see it. */
function tell(mine) {
  const [from, to] = mine.range;
  const shown = mine.data.mean_l.filter((l, k) => l !== null && mine.data.time_s[k] >= from && mine.data.time_s[k] <= to);
  const unit = document.documentElement.dataset.volume;
  const count = (kind) => mine.events.filter((e) => e.kind === kind && e.end_s >= from && e.start_s <= to).length;
  const litres = shown.length ? `${plain(Math.min(...shown) / LITRES[unit])}\u2013${plain(Math.max(...shown) / LITRES[unit])} ${unit}` : mine.words.none;
  const counts = ["refuel", "drain"].map((kind) => `${mine.words[kind]}: ${count(kind)}`).join(", ");
  const said = `${clock(from)} \u2013 ${clock(to)} ${zone}: ${litres}; ${counts}.`;
  mine.place.querySelector('[data-part="said"]').textContent = said;
  mine.canvas.setAttribute("aria-label", `${mine.words.label} ${said}`);
}
