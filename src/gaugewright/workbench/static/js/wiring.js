// The wiring of a probe: checked while it is typed, recorded at a press.

import { request, Unreachable } from "./api.js";
import { busy } from "./ask.js";
import { settle, signed } from "./forms.js";
import { record } from "./outbox.js";
import { plain } from "./say.js";
import { onSheet, renew, sheet } from "./sheet.js";
import { signal } from "./signal.js";

/** Rows that are offered where none is kept: the usual wires, blank at their ends. */
const USUAL = { loads: [{}], wires: [{}, {}, {}, {}], stations: [] };

let form = null;
let state = null;

const part = (name) => form.querySelector(`[data-part="${name}"]`);
const lists = () => [...form.querySelectorAll("[data-list]")];
const rowsOf = (list) => [...list.querySelector('[data-part="rows"]').children];
const cellsOf = (row) => [...row.querySelectorAll("[data-cell]")];
const draftKey = () => `gw-wiring|${location.pathname}${location.search}`;

function words(key, values = {}) {
  const found = form.querySelector("#wiring-says").content.querySelector(`[data-say="${CSS.escape(key)}"]`);
  return (found?.textContent ?? "").replace(/\{(\w+)\}/g, (_, name) => String(values[name] ?? ""));
}

function made(name, text, className = "") {
  const element = document.createElement(name);
  element.textContent = text;
  if (className) element.className = className;
  return element;
}

// What is typed

function addRow(list, values = {}) {
  const row = list.querySelector("template").content.firstElementChild.cloneNode(true);
  for (const cell of cellsOf(row)) {
    const value = values[cell.dataset.cell] ?? "";
    if (cell.type === "checkbox") cell.checked = value === true;
    else cell.value = value;
  }
  list.querySelector('[data-part="rows"]').append(row);
  nameRows(list);
  return row;
}

/** Every row and its button say which one they are. */
function nameRows(list) {
  const title = list.querySelector("legend").textContent;
  rowsOf(list).forEach((row, k) => {
    const button = row.querySelector('[data-do="delete-row"]');
    button.setAttribute("aria-label", `${button.textContent}: ${title} ${k + 1}`);
    for (const cell of cellsOf(row)) {
      const label = cell.closest("label").innerText.trim().split("\n")[0];
      cell.setAttribute("aria-label", `${label}, ${title} ${k + 1}`);
    }
  });
}

function typedRows(list) {
  return rowsOf(list).map((row) =>
    Object.fromEntries(cellsOf(row).map((c) => [c.dataset.cell, c.type === "checkbox" ? c.checked : c.value.trim()])),
  );
}

/** A row counts once anything stands in it. */
const isFilled = (row) => Object.values(row).some(Boolean);

function typedWiring() {
  const wiring = {};
  for (const input of form.elements) {
    if (!input.name || input.name === "reason" || "cell" in input.dataset) continue;
    if (input.type === "checkbox") wiring[input.name] = input.checked;
    else if (input.value.trim()) wiring[input.name] = input.value.trim();
  }
  for (const list of lists()) {
    const rows = typedRows(list).filter(isFilled);
    if (rows.length) wiring[list.dataset.list] = rows;
  }
  return wiring;
}

function keepDraft() {
  const rows = Object.fromEntries(lists().map((list) => [list.dataset.list, typedRows(list)]));
  localStorage.setItem(draftKey(), JSON.stringify({ wiring: typedWiring(), rows }));
}

function fill() {
  const draft = JSON.parse(localStorage.getItem(draftKey()) ?? "null");
  const kept = JSON.parse(form.dataset.kept);
  if (draft) {
    for (const input of form.elements) {
      if (!input.name || input.name === "reason" || "cell" in input.dataset) continue;
      if (input.type === "checkbox") input.checked = Boolean(draft.wiring[input.name]);
      else input.value = draft.wiring[input.name] ?? "";
    }
  } else if (!form.elements.supply.value && !Object.keys(kept).length) {
    form.elements.supply.value = form.dataset.usualSupply;
  }
  for (const list of lists()) {
    const name = list.dataset.list;
    for (const row of (draft ? draft.rows : kept)[name] ?? USUAL[name]) addRow(list, row);
  }
}

// What it comes to

function soon() {
  keepDraft();
  clearTimeout(state.timer);
  state.timer = setTimeout(check, 150);
}

/** Ask, one request at a time: what changed meanwhile is asked when the answer is there. */
async function check() {
  const mine = state;
  if (mine.isAsking) {
    mine.isStale = true;
    return;
  }
  mine.isAsking = true;
  try {
    const url = `${sheet().dataset.api}${form.dataset.url}/check`;
    const answer = await request("POST", url, { wiring: typedWiring() });
    if (mine !== state || !form.isConnected) return;
    const name = nameOf(markField(answer));
    part("wiring-error").textContent = answer.ok ? "" : `${name ? `${name}: ` : ""}${answer.data.error}`;
    if (answer.ok) show(answer.data.found);
  } catch (error) {
    if (!(error instanceof Unreachable)) throw error;
    if (mine === state) part("wiring-error").textContent = words("no-line");
  } finally {
    mine.isAsking = false;
    if (mine.isStale && mine === state) {
      mine.isStale = false;
      check();
    }
  }
}

/** Mark the field that an error names: a name of its own, or "wires 2 colour". */
function markField(answer) {
  for (const input of form.querySelectorAll('[aria-invalid="true"]')) input.removeAttribute("aria-invalid");
  const field = answer.ok ? "" : String(answer.data.field ?? "");
  const inRow = field.match(/^(\w+) (\d+) (\w+)$/);
  let input = form.elements[field];
  if (inRow) {
    const list = lists().find((each) => each.dataset.list === inRow[1]);
    const row = list && rowsOf(list).filter((each) => cellsOf(each).some((c) => c.checked || (c.type !== "checkbox" && c.value.trim())))[inRow[2] - 1];
    input = row && cellsOf(row).find((c) => c.dataset.cell === inRow[3]);
  }
  if (!(input instanceof HTMLElement)) return null;
  input.setAttribute("aria-invalid", "true");
  return input;
}

/** What a field is called on the screen. */
function nameOf(input) {
  if (!input) return "";
  const label = input.getAttribute("aria-label") ?? input.labels?.[0]?.firstChild?.textContent ?? "";
  return label.trim();
}

function figures(found) {
  const facts = found.load_ma ? [["load", words("load-is", { ma: plain(found.load_ma) })]] : [];
  const { cable, fuse, days_parked: days, bus } = found;
  if (cable) {
    const usual = plain(cable.usual_head_v, 1);
    facts.push(["cable", words("cable-is", {
      length: plain(cable.length_m, 1), size: cable.sizes, drop: plain(cable.drop_v, 2), share: `${plain(cable.drop_percent, 1)}\u00a0%`,
    })]);
    facts.push(["arrives", words("arrives-both", { least: plain(cable.least_head_v, 1), usual })]);
  }
  if (fuse) facts.push(["fuse", words("fuse-is", { rating: String(fuse.rating_a), most: String(fuse.largest_for_cable_a) })]);
  if (days) facts.push(["parked", words("parked-is", { days: plain(days.days), least: plain(days.least), most: plain(days.most) })]);
  if (bus) facts.push(["bus", bus.idle_ohm === null ? words("bus-none") : words("bus-is", { ohm: plain(bus.idle_ohm) })]);
  return facts;
}

function show(found) {
  part("cautions").replaceChildren(...found.cautions.map((c) => made("li", `▲ ${c.text}`)));
  part("figures").replaceChildren(...figures(found).flatMap(([key, value]) => [made("dt", words(key)), made("dd", value)]));
  const items = found.findings.map((each) => {
    const item = made("li", ` ${each.wire ? `${each.wire}: ` : ""}${each.message}`);
    item.prepend(made("b", words(each.kind), each.kind === "wrong" ? "stop" : each.kind === "open" ? "warn" : "good"));
    return item;
  });
  if (found.verdict === "clear") items.unshift(made("li", words("nothing"), "good"));
  part("remarks").replaceChildren(...items);
  showCrossings(found);
}

/** Beside each wire whether its two ends may meet. */
function showCrossings(found) {
  const list = lists().find((each) => each.dataset.list === "wires");
  const filled = rowsOf(list).filter((row) => cellsOf(row).some((c) => c.value.trim()));
  for (const row of rowsOf(list)) row.querySelector('[data-part="crossing"]').textContent = "";
  filled.forEach((row, k) => {
    const pin = found.pins[k];
    if (!pin?.signal_at_probe || !pin.signal_at_unit) return;
    const place = row.querySelector('[data-part="crossing"]');
    place.textContent = `${pin.signal_at_probe} → ${pin.signal_at_unit}: ${pin.clash ? `${words("wrong")}: ${pin.clash}` : words("right")}`;
    place.className = `crossing ${pin.clash ? "stop" : "good"}`;
  });
}

async function recordWiring(button) {
  const place = part("wiring-record-error");
  place.textContent = "";
  const why = form.elements.reason?.value.trim();
  const body = await signed({ wiring: typedWiring(), ...(why ? { reason: why } : {}) });
  if (!body) return;
  const mine = form;
  busy(mine, true);
  try {
    const answer = await record("POST", `${sheet().dataset.api}${mine.dataset.url}`, body, button);
    if (!(await settle(button.parentElement, answer))) {
      if (mine.isConnected) place.textContent ||= answer.data.error;
      return;
    }
    localStorage.removeItem(draftKey());
    signal("recorded");
    await renew();
  } finally {
    busy(mine, false);
  }
}

const actions = {
  "add-row": (button) => {
    const row = addRow(button.closest("[data-list]"));
    keepDraft();
    row.querySelector("[data-cell]").focus();
  },
  "delete-row": (button) => {
    const list = button.closest("[data-list]");
    button.closest("li").remove();
    nameRows(list);
    list.querySelector('[data-do="add-row"]').focus();
    soon();
  },
  "record-wiring": recordWiring,
};

document.addEventListener("click", (event) => {
  const button = event.target.closest("form[data-wiring] button[data-do]");
  if (button && button.getAttribute("aria-busy") !== "true") actions[button.dataset.do]?.(button);
});

document.addEventListener("submit", (event) => {
  if (event.target.matches("form[data-wiring]")) event.preventDefault();
});

document.addEventListener("input", (event) => {
  if (form?.contains(event.target) && event.target.name !== "reason") soon();
});

onSheet(() => {
  form = document.querySelector("form[data-wiring]");
  if (!form) return;
  state = { timer: 0, isAsking: false, isStale: false };
  fill();
  check();
});
