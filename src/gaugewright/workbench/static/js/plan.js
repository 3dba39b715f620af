// The Plan stage: what is typed and drawn becomes a layout, the layout a map and figures.

import { request, Unreachable } from "./api.js";
import { busy } from "./ask.js";
import { settle, signed } from "./forms.js";
import { record } from "./outbox.js";
import { showFacts, showRanked } from "./plan-facts.js";
import { addZone, asTyped, boxOf, cells, form, length, nameRows, part, rows, takeForm, words, zonesTyped } from "./plan-form.js";
import { drawMap } from "./plan-map.js";
import { typed, volume } from "./say.js";
import { onSheet, renew, sheet } from "./sheet.js";
import { signal } from "./signal.js";

const APART = /^(try_|aim\.|cut_|reason$)/;

let state = null;

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

// What is asked of the server

function wishes() {
  const wanted = {};
  for (const input of form.elements) {
    if (!input.name || APART.test(input.name) || input.disabled) continue;
    if (input.type === "checkbox") wanted[input.name] = input.checked;
    else if (input.name === "ever_held") {
      if (input.value) wanted.ever_held = input.value === "nothing" ? [] : [input.value];
    } else if (typed(input) !== "") wanted[input.name] = typed(input);
  }
  wanted.keep_out = zonesTyped().zones;
  return wanted;
}

/** What the tank holds and what it ever held are asked before anything is planned. */
const isAsked = () => Boolean(form.elements.contents.value && form.elements.ever_held.value);

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
  if (!isAsked()) {
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
  const isSaid = isAsked();
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
  part("of-shape").hidden = !map;
  part("no-shape").hidden = Boolean(map);
  if (!map) {
    state.toTank = null;
    return;
  }
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

// Recording

async function send(button, method, to, body, errorPart) {
  const place = part(errorPart);
  place.textContent = "";
  const whole = await signed(body);
  if (!whole) return false;
  busy(form, true);
  try {
    const answer = await record(method, `${url()}${to}`, whole, button);
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
    const best = state.found?.map?.best_place;
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
  if (!takeForm()) return;
  // The sheet is drawn anew when anybody records: what was found stays until the newer answer.
  const found = state?.about === draftKey() ? state.found : null;
  state = {
    about: draftKey(), timer: 0, isAsking: false, isStale: false, found, draft: null, isDrawing: false, toTank: null, aim: null,
  };
  restoreDraft();
  listenToMap(part("map"));
  if (found) show({ ok: true, data: found });
  refresh();
});
