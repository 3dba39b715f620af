// The map of a tank's top: misread litres as shades and figures, zones, the places.

import { LITRES, plain } from "./say.js";

const SVG = "http://www.w3.org/2000/svg";
const SHADES = 6;

function element(name, attributes = {}, text = "") {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  if (text) made.textContent = text;
  return made;
}

/** A step of 1, 2 or 5 times a power of ten, so that so many steps reach a value. */
export function niceStep(most, steps) {
  const least = most / steps;
  const ten = 10 ** Math.floor(Math.log10(least));
  return ten * [1, 2, 5, 10].find((each) => each * ten >= least * 0.999999);
}

/**
 * The upper bounds of the shades in litres, round figures in the book's unit. They are made
 * for the free places; where others misread more, the last shade has no upper bound.
 */
function bounds(map, unitL) {
  const all = map.worst_l.flat();
  const blocked = map.blocked_by.flat();
  const free = all.filter((worst, k) => worst !== null && blocked[k] === 0);
  const highest = Math.max(...all.map((worst) => worst ?? 0));
  const most = Math.max(free.length ? Math.max(...free) : highest, 0.01) / unitL;
  const step = niceStep(most, SHADES - 1);
  const sides = Array.from({ length: Math.ceil(most / step - 1e-9) }, (_, k) => (k + 1) * step * unitL);
  return highest > sides.at(-1) + 1e-9 ? [...sides, Infinity] : sides;
}

/** The shades spread over however many steps there are. */
const shadeOf = (k, sides) => `shade k${sides.length < 2 ? 0 : Math.round((k * (SHADES - 1)) / (sides.length - 1))}`;

/** Decimals that a step needs. */
const decimalsOf = (step) => Math.max(0, -Math.floor(Math.log10(step) + 1e-9));

/** The sides of the cells around places: midway between them, at the ends the places themselves. */
function edgesOf(places) {
  const between = places.slice(1).map((each, k) => (each + places[k]) / 2);
  return [places[0], ...between, places.at(-1)];
}

/** Draw a map into a place; gives how screen points become millimetres on the tank. */
export function drawMap(place, legend, picture, words) {
  const { map, probe, tried } = picture;
  const unit = document.documentElement.dataset.volume;
  const unitL = LITRES[unit];
  const [xs, ys] = [edgesOf(map.x_mm), edgesOf(map.y_mm)];
  const [left, right, low, high] = [xs[0], xs.at(-1), ys[0], ys.at(-1)];
  // Seen from above with the front to the left, the left side is at the bottom.
  const flip = (y) => low + high - y;
  const wide = right - left;
  const px = wide / Math.max(place.clientWidth - 44, 200);
  const edge = 22 * px;
  const svg = element("svg", {
    viewBox: `${left - edge} ${low - edge} ${wide + 2 * edge} ${high - low + 2 * edge}`,
    role: "img",
    class: "map",
  });
  const sides = bounds(map, unitL);
  svg.append(patterns(px));
  shade(svg, map, sides, xs, ys, flip);
  figures(svg, map, sides[0], unitL, px, flip);
  for (const zone of [...map.zones, ...(picture.draft ? [picture.draft] : [])]) zoneOf(svg, zone, px, flip, words);
  const walls = map.walls_mm.map(([a, b]) => `M${a[0]} ${flip(a[1])}L${b[0]} ${flip(b[1])}`).join("");
  svg.append(element("path", { d: walls, class: "wall", "stroke-width": 2 * px }));
  const size = 13 * px;
  svg.append(
    element("text", { x: left - size * 0.5, y: (low + high) / 2, class: "edge", "font-size": size, "text-anchor": "middle",
      transform: `rotate(-90 ${left - size * 0.5} ${(low + high) / 2})` }, words("front")),
    element("text", { x: (left + right) / 2, y: high + size * 1.25, class: "edge", "font-size": size, "text-anchor": "middle" }, words("left")),
  );
  if (map.best_place) best(svg, map.best_place, px, flip, words, right);
  if (probe) rod(svg, probe, px, flip, "rod", words("probe"), left, right);
  if (tried) rod(svg, tried, px, flip, "rod tried", "", left, right);
  place.replaceChildren(svg);
  showLegend(legend, sides, unit, unitL, words);
  return (event) => {
    const at = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
    return { x: Math.round(at.x), y: Math.round(flip(at.y)) };
  };
}

function patterns(px) {
  const defs = element("defs");
  for (const [id, size] of [["hatch-wall", 9], ["hatch-zone", 6]]) {
    const made = element("pattern", { id, width: size * px, height: size * px, patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)" });
    made.append(element("line", { x1: 0, y1: 0, x2: 0, y2: size * px, class: "hatch", "stroke-width": (id === "hatch-zone" ? 1.6 : 0.8) * px }));
    defs.append(made);
  }
  return defs;
}

function shade(svg, map, sides, xs, ys, flip) {
  const paths = sides.map(() => "");
  let blocked = "";
  map.worst_l.forEach((row, j) => {
    row.forEach((worst, i) => {
      if (worst === null) return;
      const cell = `M${xs[i]} ${flip(ys[j])}H${xs[i + 1]}V${flip(ys[j + 1])}H${xs[i]}z`;
      const k = sides.findIndex((side) => worst <= side + 1e-9);
      paths[k < 0 ? sides.length - 1 : k] += cell;
      if (map.blocked_by[j][i] >= 2) blocked += cell;
    });
  });
  paths.forEach((d, k) => svg.append(element("path", { d, class: shadeOf(k, sides), "shape-rendering": "crispEdges" })));
  svg.append(element("path", { d: blocked, fill: "url(#hatch-wall)" }));
}

function figures(svg, map, step, unitL, px, flip) {
  const columns = Math.max(2, Math.min(6, Math.round((map.x_mm.at(-1) - map.x_mm[0]) / (58 * px))));
  const rows = Math.max(2, Math.min(5, Math.round((map.y_mm.at(-1) - map.y_mm[0]) / (52 * px))));
  const decimals = decimalsOf(step / unitL);
  for (let r = 0; r < rows; r += 1) {
    for (let c = 0; c < columns; c += 1) {
      const i = Math.round(((c + 0.5) / columns) * (map.x_mm.length - 1));
      const j = Math.round(((r + 0.5) / rows) * (map.y_mm.length - 1));
      const worst = map.worst_l[j][i];
      if (worst === null) continue;
      const at = { x: map.x_mm[i], y: flip(map.y_mm[j]) + 4 * px, "font-size": 12 * px, "stroke-width": 3 * px };
      svg.append(element("text", { ...at, class: "figure-l", "text-anchor": "middle" }, plain(worst / unitL, decimals)));
    }
  }
}

function zoneOf(svg, zone, px, flip, words) {
  const points = zone.corners_mm.map(([x, y]) => `${x},${flip(y)}`).join(" ");
  const xs = zone.corners_mm.map((c) => c[0]);
  const ys = zone.corners_mm.map((c) => flip(c[1]));
  svg.append(
    element("polygon", { points, class: "zone-fill" }),
    element("polygon", { points, fill: "url(#hatch-zone)", class: "zone-edge", "stroke-width": 2 * px }),
  );
  const middle = { x: (Math.min(...xs) + Math.max(...xs)) / 2, y: Math.min(...ys) + 15 * px };
  svg.append(element("text", { ...middle, class: "name", "font-size": 13 * px, "stroke-width": 4 * px, "text-anchor": "middle" }, words(`zone-${zone.name}`) || zone.name));
}

function label(svg, x, y, text, px, right) {
  const isRight = x + 80 * px > right;
  const at = { x: x + (isRight ? -13 : 13) * px, y: y + 4 * px, "text-anchor": isRight ? "end" : "start" };
  if (text) svg.append(element("text", { ...at, class: "name", "font-size": 14 * px, "stroke-width": 4 * px }, text));
}

function best(svg, found, px, flip, words, right) {
  const [x, y, r] = [found.x_mm, flip(found.y_mm), 11 * px];
  const d = `M${x} ${y - r}l${r} ${r}l${-r} ${r}l${-r} ${-r}z`;
  svg.append(element("path", { d, class: "best", "stroke-width": 3 * px, "data-x": found.x_mm, "data-y": found.y_mm }));
  label(svg, x, y - 12 * px, words("best"), px, right);
}

function rod(svg, at, px, flip, kind, text, left, right) {
  const [x, y, r] = [at.x_mm, flip(at.y_mm), 8 * px];
  const made = element("g", { class: kind, "stroke-width": 2.5 * px });
  made.append(
    element("circle", { cx: x, cy: y, r }),
    element("path", { d: `M${x - 1.6 * r} ${y}h${3.2 * r}M${x} ${y - 1.6 * r}v${3.2 * r}` }),
  );
  svg.append(made);
  label(svg, x, y + 13 * px, text, px, right);
}

function showLegend(legend, sides, unit, unitL, words) {
  const decimals = decimalsOf(sides[0] / unitL);
  const written = (litres) => plain(litres / unitL, decimals);
  const rows = sides.map((side, k) => {
    const row = document.createElement("li");
    const swatch = element("svg", { viewBox: "0 0 26 18", width: 26, height: 18, "aria-hidden": "true", class: "map" });
    swatch.append(element("rect", { x: 1, y: 1, width: 24, height: 16, class: `${shadeOf(k, sides)} swatch` }));
    const from = written(k ? sides[k - 1] : 0);
    const range = side === Infinity ? words("over", { litres: `${from}\u00a0${unit}` }) : `${from}\u2013${written(side)}\u00a0${unit}`;
    row.append(swatch, range);
    return row;
  });
  const hatched = document.createElement("li");
  const mark = element("svg", { viewBox: "0 0 26 18", width: 26, height: 18, "aria-hidden": "true", class: "map" });
  mark.append(element("rect", { x: 1, y: 1, width: 24, height: 16, class: "shade swatch" }), element("path", { d: "M4 17L20 1M12 17L25 4M1 12L12 1", class: "hatch", "stroke-width": 1.2 }));
  hatched.append(mark, words("hatched"));
  legend.replaceChildren(...rows, hatched);
}
