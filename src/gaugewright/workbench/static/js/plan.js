// The Plan stage: what is typed and drawn becomes a layout, the layout a map and figures.

import { record, request, Unreachable } from "./api.js";
import { busy } from "./ask.js";
import { settle, signed } from "./forms.js";
import { drawMap } from "./plan-map.js";
import { plain, typed, volume } from "./say.js";
import { onSheet, renew, sheet } from "./sheet.js";
import { signal } from "./signal.js";

const APART = /^(try_|aim\.|cut_|reason$)/;

let form = null;
let state = null;

function words(key, values = {}) {
  const found = form.querySelector("#plan-says").content.querySelector(`[data-say="${CSS.escape(key)}"]`);
  return (found?.textContent ?? "").replace(/\{(\w+)\}/g, (_, name) => String(values[name] ?? ""));
}

const part = (name) => form.querySelector(`[data-part="${name}"]`);
const inches = () => document.documentElement.dataset.length === "in";

/** A length to the tenth of a millimetre, or hundredth of an inch. */
function length(mm) {
  return inches() ? `${plain(mm / 25.4, 2)}\u00a0in` : `${plain(mm, 1)}\u00a0mm`;
}

/** A length as it would be typed. */
function asTyped(mm) {
  const value = inches() ? Math.round((mm / 25.4) * 100) / 100 : Math.round(mm * 10) / 10;
  return String(value).replace(".", document.documentElement.dataset.decimal);
}

const draftKey = () => `gw-plan|${location.pathname}${location.search}`;

function keepDraft() {
  const fields = {};
  for (const input of form.elements) {
    if (!input.name || /^cut_/.test(input.name)) continue;
    fields[input.name] = input.type === "checkbox" ? input.checked : input.value;
  }
  const zones = rows().map((row) => Object.fromEntries(cells(row).map((c) => [c.dataset.zone, c.value])));
  localStorage.setItem(draftKey(), JSON.stringify({ fields, zones }));
}

function restoreDraft() {
  const kept = JSON.parse(localStorage.getItem(draftKey()) ?? "null");
  if (!kept) {
    for (const zone of JSON.parse(form.dataset.zones)) addZone(boxOf(zone));
    return;
  }
  for (const [name, value] of Object.entries(kept.fields)) {
    const input = form.elements[name];
    if (input?.type === "checkbox") input.checked = value;
    else if (input) input.value = value;
  }
  for (const zone of kept.zones) addZone(zone);
}

// Zones

const rows = () => [...part("zones").children];
const cells = (row) => [...row.querySelectorAll("[data-zone]")];

/** The row's fields for a zone: what is not a rectangle is taken by its sides. */
function boxOf({ name, corners_mm: corners }) {
  const [xs, ys] = [corners.map((c) => c[0]), corners.map((c) => c[1])];
  const box = { x1: Math.min(...xs), x2: Math.max(...xs), y1: Math.min(...ys), y2: Math.max(...ys) };
  return { name, ...Object.fromEntries(Object.entries(box).map(([key, mm]) => [key, asTyped(mm)])) };
}

function addZone(zone) {
  const row = form.querySelector("#zone-row").content.firstElementChild.cloneNode(true);
  for (const cell of cells(row)) cell.value = zone[cell.dataset.zone] ?? "";
  part("zones").append(row);
  nameRows();
  return row;
}

/** Every button says which zone it takes away. */
function nameRows() {
  rows().forEach((row, k) => {
    const name = row.querySelector('[data-zone="name"]').selectedOptions[0]?.textContent ?? "";
    row.querySelector("button").setAttribute("aria-label", `${row.querySelector("button").textContent}: ${name} ${k + 1}`);
  });
}

function zonesTyped() {
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

// What is asked of the server

function wishes() {
  const wanted = {};
  for (const input of form.elements) {
    if (!input.name || APART.test(input.name) || input.disabled) continue;
    if (input.type === "checkbox") wanted[input.name] = input.checked;
    else if (typed(input) !== "") wanted[input.name] = typed(input);
  }
  wanted.keep_out = zonesTyped().zones;
  return wanted;
}

function tried() {
  const [x, y] = [form.elements.try_x_mm, form.elements.try_y_mm].map(typed);
  return x && y ? { x_mm: x, y_mm: y } : {};
}

function aim() {
  const wanted = {};
  for (const name of ["pours", "within_l", "fuel_l"]) {
    const value = typed(form.elements[`aim.${name}`]);
    if (value) wanted[name] = value;
  }
  return wanted;
}

const url = () => `${sheet().dataset.api}${form.dataset.url}`;

/** Ask, one request at a time: what changed meanwhile is asked when the answer is there. */
async function refresh() {
  clearTimeout(state.timer);
  if (state.isAsking) {
    state.isStale = true;
    return;
  }
  const mine = state;
  if (!form.elements.contents.value) {
    show(null);
    return;
  }
  mine.isAsking = true;
  const body = { wishes: wishes(), ...tried() };
  if (mine.draft) body.wishes.keep_out.push(mine.draft);
  try {
    const answer = await request("POST", `${url()}/plan/layout`, body);
    if (mine === state) show(answer);
  } catch (error) {
    if (!(error instanceof Unreachable)) throw error;
    if (mine === state) part("stopped").textContent = words("no-line");
  } finally {
    mine.isAsking = false;
    if (mine.isStale && mine === state) {
      mine.isStale = false;
      refresh();
    }
  }
}

function soon() {
  keepDraft();
  forgetPours();
  clearTimeout(state.timer);
  state.timer = setTimeout(refresh, 120);
}

function show(answer) {
  const isSaid = Boolean(form.elements.contents.value);
  part("ask-first").hidden = isSaid;
  const stops = ["contents", "dangerous_goods"].includes(answer?.data.field);
  part("stopped").textContent = answer && !answer.ok ? answer.data.error : "";
  part("licensed").hidden = !stops && !form.elements.licensed_person.value;
  const isKept = isSaid && !stops && (answer?.ok || state.found);
  for (const each of form.querySelectorAll('[data-part="planned"]')) each.hidden = !isKept;
  for (const input of form.querySelectorAll('[aria-invalid="true"]')) input.removeAttribute("aria-invalid");
  if (!answer?.ok) {
    const field = answer && form.elements[answer.data.field];
    if (field instanceof HTMLInputElement) field.setAttribute("aria-invalid", "true");
    return;
  }
  state.found = answer.data;
  redraw();
  showFacts(answer.data.layout);
}

function redraw() {
  const { map, layout } = state.found;
  const isTried = "x_mm" in tried();
  const standing = JSON.parse(form.dataset.probe);
  const at = { x_mm: layout.probe.x_mm, y_mm: layout.probe.y_mm };
  const probe = isTried ? ("x_mm" in standing ? { x_mm: Number(standing.x_mm), y_mm: Number(standing.y_mm) } : null) : at;
  state.toTank = drawMap(part("map"), part("legend"), { map, probe, tried: isTried ? at : null, draft: state.draft }, words);
  const place = { x: length(at.x_mm), y: length(at.y_mm), litres: volume(layout.slope.worst_l) };
  const best = map.best_place;
  const lines = [
    best ? words("best-at", { x: length(best.x_mm), y: length(best.y_mm), litres: volume(best.worst_l) }) : words("no-best"),
    words(isTried ? "tried-at" : "probe-at", place),
    zonesTyped().isOpen ? words("zones-open") : "",
  ];
  const said = lines.filter(Boolean).join(" ");
  if (part("map-words").textContent !== said) part("map-words").textContent = said;
  part("map").querySelector("svg").setAttribute("aria-label", `${words("map")} ${said}`);
  part("take-over").hidden = !isTried;
}

function showFacts(layout) {
  const { probe } = layout;
  const per = layout.litres_per_count;
  const facts = [
    ["cut", `${length(probe.cut_length_mm)} ± ${length(1.96 * probe.u_cut_length_mm)}`],
    ["touch", words(probe.bottom_verdict)],
    ["clear", words("at-least", { length: length(probe.tip_clearance_mm), least: length(probe.least_tip_clearance_mm) })],
    ["dead", volume(layout.dead_stock_l)],
    ["blind", volume(layout.blind_above_l)],
    ["per-count", `${volume(per.least, 3)} – ${volume(per.most, 3)}`],
    ["visible", volume(layout.smallest_visible_l, 2)],
    ["headroom", words("headroom-both", { upright: length(layout.headroom.upright_mm), leaning: length(layout.headroom.leaning_mm) })],
  ];
  part("facts").replaceChildren(...facts.flatMap(([key, value]) => [made("dt", words(key)), made("dd", value)]));
  part("notes").replaceChildren(...layout.notes.map((note) => made("li", note)));
  if (part("cut-words")) part("cut-words").textContent = words("cut-words", { length: length(probe.cut_length_mm) });
}

function made(name, text, attributes = {}) {
  const element = document.createElement(name);
  element.textContent = text;
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
  return element;
}

// Pours

function forgetPours() {
  state.aim = null;
  part("ranked").replaceChildren();
}

async function rank() {
  const mine = state;
  const asked = aim();
  part("pours-error").textContent = "";
  part("ranked").textContent = words("thinking");
  busy(form, true);
  try {
    const answer = await request("POST", `${url()}/plan/pours`, { wishes: wishes(), aim: asked, ...tried() });
    if (mine !== state) return;
    part("ranked").textContent = "";
    if (answer.ok) {
      state.aim = asked;
      showRanked(answer.data.plan);
    } else part("pours-error").textContent = answer.data.error;
  } catch (error) {
    if (!(error instanceof Unreachable)) throw error;
    part("ranked").textContent = "";
    part("pours-error").textContent = words("no-line");
  } finally {
    busy(form, false);
  }
}

function showRanked(plan) {
  const table = made("table", "");
  const head = made("tr", "");
  head.append(...["do", "left-open", "minutes"].map((key) => made("th", words(key), { scope: "col" })));
  const body = plan.actions.map((action) => {
    const row = made("tr", "");
    row.append(made("td", action.what, { class: "words" }), made("td", volume(action.error_left_l)), made("td", plain(action.minutes)));
    return row;
  });
  const [thead, tbody] = [made("thead", ""), made("tbody", "")];
  thead.append(head);
  tbody.append(...body);
  table.append(thead, tbody);
  const all = {
    pours: plain(plan.pours.length), litres: volume(plan.fuel_needed_l, 0), minutes: plain(plan.minutes), error: volume(plan.error_left_l),
  };
  part("ranked").replaceChildren(made("p", words("in-all", all)), table, made("p", words("ends", { why: plan.why_it_ends })));
}

// Recording

async function send(button, method, to, body, errorPart) {
  const place = part(errorPart);
  place.textContent = "";
  const whole = await signed(body);
  if (!whole) return false;
  busy(form, true);
  try {
    const answer = await record(method, `${url()}${to}`, whole);
    if (!(await settle(button.parentElement, answer))) {
      if (form?.isConnected) place.textContent ||= answer.data.error;
      return false;
    }
    signal("recorded");
    return true;
  } finally {
    busy(form, false);
  }
}

async function recordPlan(button) {
  const cut = [form.elements.cut_length_mm, form.elements.cut_again_mm].map(typed);
  const body = { wishes: wishes(), cut_mm: cut };
  if (state.aim) body.aim = state.aim;
  const why = form.elements.reason?.value.trim();
  if (why) body.reason = why;
  if (!(await send(button, "POST", "/plan/confirmed", body, "record-error"))) return;
  localStorage.removeItem(draftKey());
  await renew();
}

async function takeOver(button) {
  const { probe } = state.found.layout;
  const kept = JSON.parse(form.dataset.probe);
  const proposed = Object.fromEntries(["tip_clearance_mm", "active_length_mm", "counts_empty", "counts_full"].map((k) => [k, probe[k]]));
  const body = {
    tank: JSON.parse(form.dataset.tank),
    probe: { ...proposed, ...kept, x_mm: probe.x_mm, y_mm: probe.y_mm },
    name: form.dataset.name,
    reason: words("moved"),
  };
  if (!(await send(button, "PUT", "", body, "stopped"))) return;
  forgetPlace();
  keepDraft();
  await renew();
}

function tryPlace(x, y) {
  form.elements.try_x_mm.value = asTyped(x);
  form.elements.try_y_mm.value = asTyped(y);
  soon();
}

function forgetPlace() {
  form.elements.try_x_mm.value = "";
  form.elements.try_y_mm.value = "";
}

// Hands on the map

function drawing(isOn) {
  state.isDrawing = isOn;
  part("map").classList.toggle("drawing", isOn);
  const button = form.querySelector('[data-do="draw"]');
  button.setAttribute("aria-pressed", String(isOn));
  button.textContent = words(isOn ? "drawing" : "draw");
}

function rectangle(a, b) {
  return { name: part("kind").value, corners_mm: [[a.x, a.y], [b.x, a.y], [b.x, b.y], [a.x, b.y]] };
}

function listenToMap(place) {
  let from = null;
  place.addEventListener("pointerdown", (event) => {
    if (!event.isPrimary || event.button || !state.toTank) return;
    from = { at: state.toTank(event), x: event.clientX, y: event.clientY };
    if (state.isDrawing || event.pointerType === "mouse") place.setPointerCapture(event.pointerId);
  });
  place.addEventListener("pointermove", (event) => {
    if (!from || !event.isPrimary) return;
    const isDragged = Math.hypot(event.clientX - from.x, event.clientY - from.y) > 8;
    if (!(isDragged && (state.isDrawing || event.pointerType === "mouse"))) return;
    state.draft = rectangle(from.at, state.toTank(event));
    redraw();
    refresh();
  });
  place.addEventListener("pointerup", (event) => {
    if (!from || !event.isPrimary) return;
    const { draft } = state;
    const start = from;
    from = null;
    state.draft = null;
    if (draft) {
      addZone(boxOf(draft));
      drawing(false);
      soon();
    } else if (!state.isDrawing) tryPlace(start.at.x, start.at.y);
  });
  place.addEventListener("pointercancel", () => {
    from = null;
    if (!state.draft) return;
    state.draft = null;
    refresh();
  });
}

const actions = {
  draw: () => drawing(!state.isDrawing),
  "add-zone": () => {
    const row = addZone({ name: part("kind").value });
    keepDraft();
    row.querySelector("input").focus();
  },
  "delete-zone": (button) => {
    button.closest("li").remove();
    nameRows();
    form.querySelector('[data-do="add-zone"]').focus();
    soon();
  },
  "try-best": () => {
    const best = state.found?.map.best_place;
    if (best) tryPlace(best.x_mm, best.y_mm);
  },
  "forget-place": () => {
    forgetPlace();
    soon();
  },
  "take-over": takeOver,
  rank,
  "record-plan": recordPlan,
};

document.addEventListener("click", (event) => {
  const button = event.target.closest("form[data-plan] button[data-do]");
  if (button && button.getAttribute("aria-busy") !== "true") actions[button.dataset.do]?.(button);
});

document.addEventListener("submit", (event) => {
  if (event.target.matches("form[data-plan]")) event.preventDefault();
});

document.addEventListener("input", (event) => {
  if (!form?.contains(event.target)) return;
  const { name } = event.target;
  if (/^cut_|^reason$/.test(name) || event.target.dataset.part === "kind") return;
  if (event.target.dataset.zone === "name") nameRows();
  if (/^aim\./.test(name)) {
    keepDraft();
    forgetPours();
  } else soon();
});

addEventListener("resize", () => {
  if (form?.isConnected && state.found && !part("map").closest("[hidden]")) redraw();
});

onSheet(() => {
  form = document.querySelector("form[data-plan]");
  if (!form) return;
  state = { timer: 0, isAsking: false, isStale: false, found: null, draft: null, isDrawing: false, toTank: null, aim: null };
  restoreDraft();
  listenToMap(part("map"));
  refresh();
});
