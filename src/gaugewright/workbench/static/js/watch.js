// The Watch stage: give a log, see its months.

import { pressId, request, Unreachable } from "./api.js";
import { busy, complain, person } from "./ask.js";
import { settle } from "./forms.js";
import { plain, say, LITRES } from "./say.js";
import { forget, handlers, onSheet, renew, sheet } from "./sheet.js";
import { signal } from "./signal.js";
import "./watch-plot.js";
import "./watch-refined.js";

/** A year of records over a weak radio link, and looked through. */
const LONGEST_MS = 900000;

async function watchLog(form) {
  if (form.dataset.busy === "true") return;
  const name = await person();
  if (!name) return;
  const data = new FormData(form);
  if (!form.elements.receipts.files.length) data.delete("receipts");
  for (const [key, value] of Object.entries({ person: name, on: sheet().dataset.number, request_id: pressId() })) data.set(key, value);
  const working = form.querySelector('[data-part="working"]');
  working.textContent = working.dataset.words;
  busy(form, true);
  try {
    const answer = await request("POST", sheet().dataset.api + form.dataset.url, data, LONGEST_MS);
    if (!(await settle(form, answer))) return;
    forget(form);
    form.reset();
    signal("recorded");
    busy(form, false);
    if (new URL(location.href).searchParams.has("entry")) location.assign(location.pathname + location.search.replace(/[?&]entry=\d+/, ""));
    else await renew("watch-title");
  } catch (error) {
    if (!(error instanceof Unreachable)) throw error;
    complain(form, { error: say("offline") });
  } finally {
    working.textContent = "";
    busy(form, false);
  }
}

Object.assign(handlers, { "watch-log": watchLog });

onSheet(async () => {
  const place = document.querySelector("[data-months]");
  if (!place) return;
  const words = JSON.parse(place.dataset.words);
  place.textContent = words.wait;
  try {
    const { ok, data } = await request("GET", sheet().dataset.api + place.dataset.months);
    if (!place.isConnected) return;
    if (ok) showMonths(place, data, words);
    else place.textContent = data.error;
  } catch (error) {
    if (!(error instanceof Unreachable)) throw error;
    place.textContent = say("offline");
  }
});

function showMonths(place, { months, how }, words) {
  const unit = document.documentElement.dataset.volume;
  const figure = (found) => {
    if (!found) return words.unknown;
    const litres = plain(found.litres / LITRES[unit], 1);
    return found.u_litres === null ? `${litres} (${words["no-band"]})` : `${litres} ± ${plain(found.u_litres / LITRES[unit], 1)}`;
  };
  const heads = [words.month, `${words.unexplained}, ${unit}`, `${words.filled}, ${unit}`, `${words.used}, ${unit}`, words.seen];
  const table = document.createElement("table");
  table.setAttribute("role", "table"); // stays one where a phone stacks its cells
  const row = (cells, tag, parent) => {
    const made = document.createElement("tr");
    made.setAttribute("role", "row");
    cells.forEach((cell, k) => {
      const each = document.createElement(tag);
      if (tag === "th") each.scope = "col";
      each.setAttribute("role", tag === "th" ? "columnheader" : "cell");
      each.dataset.label = heads[k];
      each.textContent = cell;
      made.append(each);
    });
    parent.append(made);
  };
  row(heads, "th", table.createTHead());
  const body = table.createTBody();
  for (const m of months) row([m.month, figure(m.unexplained), figure(m.filled), figure(m.used), `${plain(100 * m.seen)}\u00a0%`], "td", body);
  place.replaceChildren(table);
  const hints = (texts) =>
    texts.map((each) => {
      const made = document.createElement("p");
      made.className = "hint";
      made.textContent = each;
      return made;
    });
  const more = document.createElement("details");
  const title = document.createElement("summary");
  title.textContent = words.how;
  more.append(title, ...hints(how));
  document.querySelector('[data-part="month-notes"]').replaceChildren(...hints([...new Set(months.flatMap((m) => m.notes))]), more);
}
