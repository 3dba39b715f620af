// What is drawn of a stretch of a log, as SVG: no colour tells what a shape or word does not.

import { LITRES, plain } from "./say.js";
import { axis, clock, roundStep, timeTicks, zone } from "./watch-axes.js";

const SVG = "http://www.w3.org/2000/svg";
const LANES = ["refuel", "drain", "undecided"];
const SHAPES = { refuel: [-7, "l7,12h-14z"], drain: [7, "l-7,-12h14z"], undecided: [-7, "l7,7l-7,7l-7,-7z"] };
const SIGNS = { refuel: "+", drain: "\u2212", undecided: "?" };

function add(parent, name, attributes, text = "") {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  if (text) made.textContent = text;
  parent.append(made);
  return made;
}

/** Where things stand in a drawing of this size. */
export function places(width) {
  const isWide = width >= 600;
  const height = isWide ? 470 : 430;
  const foot = height - 40;
  const left = isWide ? 62 : 46;
  const low = foot - (isWide ? 108 : 96);
  return { width, height, foot, left, right: width - (isWide ? 16 : 8), top: 118, low, speed: [low + 26, foot - 34], ignition: [foot - 15, foot], size: isWide ? 14 : 13, lane: 26 };
}

/** Draw a stretch; gives the scale from seconds to places. */
export function draw(place, data, from, to, events, words) {
  const at = places(Math.max(place.clientWidth, 280));
  const svg = document.createElementNS(SVG, "svg");
  svg.setAttribute("viewBox", `0 0 ${at.width} ${at.height}`);
  svg.setAttribute("class", "wplot");
  svg.setAttribute("aria-hidden", "true");
  const x = axis(from, to, at.left, at.right);
  const seen = inside(data, from, to);
  const [low, high] = levels(data, seen);
  const y = axis(low, high, at.low, at.top);
  clip(svg, at);
  times(svg, x, from, to, at);
  drops(svg, events, from, to, x, at);
  litres(svg, y, low, high, at, words);
  const inner = add(svg, "g", { "clip-path": "url(#wplot-clip)" });
  envelopes(inner, data, x, y);
  speed(svg, inner, data, seen, x, at, words);
  ignition(svg, inner, data, x, at, words);
  lanes(svg, events, from, to, x, at, words);
  place.replaceChildren(svg);
  return x;
}

const unitL = () => LITRES[document.documentElement.dataset.volume];

function inside(data, from, to) {
  const found = [];
  data.time_s.forEach((s, k) => {
    if (s >= from && s <= to) found.push(k);
  });
  return found.length ? found : data.time_s.map((_, k) => k);
}

function levels(data, seen) {
  let [low, high] = [Infinity, -Infinity];
  for (const k of seen) {
    if (data.mean_l[k] === null) continue;
    const u = data.u_l?.[k] ?? 0;
    low = Math.min(low, data.low_l[k], data.mean_l[k] - u);
    high = Math.max(high, data.high_l[k], data.mean_l[k] + u);
  }
  if (low > high) return [0, 1];
  [low, high] = [low / unitL(), high / unitL()];
  const room = Math.max(0.06 * (high - low), 0.5);
  return [low < 0.5 * high ? Math.min(0, low) : low - room, high + room];
}

function clip(svg, at) {
  const made = add(add(svg, "defs", {}), "clipPath", { id: "wplot-clip" });
  add(made, "rect", { x: at.left, y: 0, width: at.right - at.left, height: at.height });
}

function text(parent, words, x, y, at, kind = "", anchor = "start") {
  add(parent, "text", { x, y, class: kind, "font-size": at.size, "text-anchor": anchor }, words);
}

function times(svg, x, from, to, at) {
  const most = Math.max(2, Math.floor((at.right - at.left) / (5.6 * at.size)));
  add(svg, "path", { d: `M${at.left} ${at.foot}H${at.right}`, class: "axis" });
  for (const tick of timeTicks(from, to, most)) {
    const place = x(tick.s);
    add(svg, "path", { d: `M${place} ${at.top}V${at.foot}`, class: "grid" });
    add(svg, "path", { d: `M${place} ${at.foot}v6`, class: "axis" });
    if (place > at.left + 1.6 * at.size && place < at.right - 1.6 * at.size) text(svg, tick.label, place, at.foot + 20, at, "", "middle");
  }
  const isShort = to - from < 600;
  text(svg, `${clock(from, isShort)} \u2013 ${clock(to, isShort)} ${zone}`, at.right, at.foot + 37, at, "soft", "end");
}

function litres(svg, y, low, high, at, words) {
  const step = roundStep(high - low, 6);
  const decimals = Math.max(0, -Math.floor(Math.log10(step) + 1e-9));
  text(svg, words.litres, at.left, at.top - 8, at, "soft halo");
  for (let k = Math.ceil(low / step - 1e-9); k * step <= high; k += 1) {
    const place = y(k * step);
    add(svg, "path", { d: `M${at.left} ${place}H${at.right}`, class: "grid" });
    text(svg, plain(k * step, decimals), at.left - 7, place + 0.35 * at.size, at, "", "end");
  }
}

/** Stretches over which a line may run: no hole in time, no missing value. */
function runs(data, column) {
  const apart = new Set(data.apart);
  const found = [];
  let run = [];
  column.forEach((value, k) => {
    if ((apart.has(k) || value === null) && run.length) {
      found.push(run);
      run = [];
    }
    if (value !== null) run.push(k);
  });
  if (run.length) found.push(run);
  return found;
}

const point = (x, y) => `${x.toFixed(1)},${y.toFixed(1)}`;

function envelopes(inner, data, x, y) {
  const [band, scatter, mean] = [[], [], []];
  for (const run of runs(data, data.mean_l)) {
    const xs = run.length > 1 ? run.map((k) => x(data.time_s[k])) : [x(data.time_s[run[0]]) - 1, x(data.time_s[run[0]]) + 1];
    const ks = run.length > 1 ? run : [run[0], run[0]];
    const at = (values) => ks.map((k) => y(values(k) / unitL()));
    const area = (upper, lower) => `M${xs.map((px, i) => point(px, upper[i])).join("L")}L${xs.map((px, i) => point(px, lower[i])).reverse().join("L")}Z`;
    if (data.u_l) band.push(area(at((k) => data.mean_l[k] + data.u_l[k]), at((k) => data.mean_l[k] - data.u_l[k])));
    scatter.push(area(at((k) => data.high_l[k]), at((k) => data.low_l[k])));
    const middle = at((k) => data.mean_l[k]);
    mean.push(`M${xs.map((px, i) => point(px, middle[i])).join("L")}`);
  }
  add(inner, "path", { d: band.join(""), class: "band" });
  add(inner, "path", { d: scatter.join(""), class: "scatter" });
  add(inner, "path", { d: mean.join(""), class: "mean" });
}

function speed(svg, inner, data, seen, x, at, words) {
  const [top, bottom] = at.speed;
  const most = Math.max(10, ...seen.map((k) => data.speed_kmh[k] ?? 0));
  const y = axis(0, most * 1.05, bottom, top);
  add(svg, "path", { d: `M${at.left} ${bottom}H${at.right}`, class: "grid" });
  text(svg, words.speed, at.left, top - 6, at, "soft");
  const step = roundStep(most, 2);
  for (let k = 0; k * step <= most; k += 1) text(svg, plain(k * step), at.left - 7, y(k * step) + 5, at, "", "end");
  const lines = runs(data, data.speed_kmh).map((run) => `M${run.map((k) => point(x(data.time_s[k]), y(data.speed_kmh[k]))).join("L")}`);
  add(inner, "path", { d: lines.join(""), class: "speed" });
}

function ignition(svg, inner, data, x, at, words) {
  const [top, bottom] = at.ignition;
  let d = "";
  for (const run of runs(data, data.ignition)) {
    run.forEach((k, i) => {
      if (!data.ignition[k]) return;
      const before = i ? (x(data.time_s[run[i - 1]]) + x(data.time_s[k])) / 2 : x(data.time_s[k]) - 1;
      const after = i + 1 < run.length ? (x(data.time_s[run[i + 1]]) + x(data.time_s[k])) / 2 : x(data.time_s[k]) + 1;
      d += `M${point(before, bottom)}V${(bottom - (bottom - top) * data.ignition[k]).toFixed(1)}H${after.toFixed(1)}V${bottom}Z`;
    });
  }
  add(inner, "path", { d, class: "ignition" });
  text(svg, words.ignition, at.left, top - 4, at, "soft halo");
}

const isShown = (e, from, to) => e.end_s >= from && e.start_s <= to;
const middleOf = (e, x, at) => Math.min(Math.max(x((e.start_s + e.end_s) / 2), at.left), at.right);

/** From each event down to the litres that it changed. */
function drops(svg, events, from, to, x, at) {
  const d = events
    .filter((e) => e.kind !== "undecided" && isShown(e, from, to))
    .map((e) => `M${middleOf(e, x, at).toFixed(1)} ${at.lane + 30 * LANES.indexOf(e.kind) + 8}V${at.low}`);
  add(svg, "path", { d: d.join(""), class: "drop" });
}

function lanes(svg, events, from, to, x, at, words) {
  LANES.forEach((kind, row) => {
    const y = at.lane + 30 * row;
    const shown = events.filter((e) => e.kind === kind && isShown(e, from, to));
    if (kind === "undecided" && !shown.length) return;
    add(svg, "path", { d: `M${at.left} ${y}H${at.right}`, class: "grid" });
    shown.forEach((e, k) => {
      const place = middleOf(e, x, at);
      const [up, shape] = SHAPES[kind];
      add(svg, "path", { d: `M${point(place, y + up)}${shape}`, class: `mark ${kind}${e.is_explained ? " hollow" : ""}` });
      const written = SIGNS[kind] + plain(Math.abs(e.litres) / unitL());
      const next = k + 1 < shown.length ? middleOf(shown[k + 1], x, at) : at.right + 7;
      if (place + 10 + 0.62 * at.size * written.length < next - 7) text(svg, written, place + 10, y + 5, at, "halo");
    });
    text(svg, `${words[kind]}: ${shown.length}`, at.left, y - 11, at, "soft halo");
  });
}
