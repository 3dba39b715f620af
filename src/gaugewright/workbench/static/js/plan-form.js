// The planning form: its words, its parts, and lengths as they are written and typed.

import { plain, typed } from "./say.js";

/** The form on the sheet that stands now, null where there is none. */
export let form = null;

/** Take the form of a sheet that stands anew. */
export function takeForm() {
  form = document.querySelector("form[data-plan]");
  return form;
}

/** The words for a key, with {names} filled in; none for a key that has no words. */
export function words(key, values = {}) {
  const found = form.querySelector("#plan-says").content.querySelector(`[data-say="${CSS.escape(key)}"]`);
  return (found?.textContent ?? "").replace(/\{(\w+)\}/g, (_, name) => String(values[name] ?? ""));
}

/** A part of the form by its name. */
export const part = (name) => form.querySelector(`[data-part="${name}"]`);

const inches = () => document.documentElement.dataset.length === "in";

/** A length to the tenth of a millimetre, or hundredth of an inch. */
export function length(mm) {
  return inches() ? `${plain(mm / 25.4, 2)}\u00a0in` : `${plain(mm, 1)}\u00a0mm`;
}

/** A length as it would be typed. */
export function asTyped(mm) {
  const value = inches() ? Math.round((mm / 25.4) * 100) / 100 : Math.round(mm * 10) / 10;
  return String(value).replace(".", document.documentElement.dataset.decimal);
}

// Keep-out zones, one row each
/** The rows of zones. */
export const rows = () => [...part("zones").children];
/** The fields of a row. */
export const cells = (row) => [...row.querySelectorAll("[data-zone]")];

/** The row's fields for a zone: what is not a rectangle is taken by its sides. */
export function boxOf({ name, corners_mm: corners }) {
  const [xs, ys] = [corners.map((c) => c[0]), corners.map((c) => c[1])];
  const box = { x1: Math.min(...xs), x2: Math.max(...xs), y1: Math.min(...ys), y2: Math.max(...ys) };
  return { name, ...Object.fromEntries(Object.entries(box).map(([key, mm]) => [key, asTyped(mm)])) };
}

/** Add a row. */
export function addZone(zone) {
  const row = form.querySelector("#zone-row").content.firstElementChild.cloneNode(true);
  for (const cell of cells(row)) cell.value = zone[cell.dataset.zone] ?? "";
  part("zones").append(row);
  nameRows();
  return row;
}

/** Every button says which zone it takes away. */
export function nameRows() {
  rows().forEach((row, k) => {
    const name = row.querySelector('[data-zone="name"]').selectedOptions[0]?.textContent ?? "";
    row.querySelector("button").setAttribute("aria-label", `${row.querySelector("button").textContent}: ${name} ${k + 1}`);
  });
}

/** The zones that have all their distances, and whether one lacks any. */
export function zonesTyped() {
  const zones = [];
  let isOpen = false;
  for (const row of rows()) {
    const found = Object.fromEntries(cells(row).map((c) => [c.dataset.zone, typed(c)]));
    if (!(found.x1 && found.x2 && found.y1 && found.y2)) {
      isOpen = true;
      continue;
    }
    const { name, x1, x2, y1, y2 } = found;
    zones.push({ name, corners_mm: [[x1, y1], [x2, y1], [x2, y2], [x1, y2]] });
  }
  return { zones, isOpen };
}
