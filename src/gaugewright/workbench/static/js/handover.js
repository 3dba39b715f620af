// The hand-over on the Table stage: the recipe, the text to paste, what was copied back.

import { request, pressId, Unreachable } from "./api.js";
import { busy, complain, person } from "./ask.js";
import { settle, signed } from "./forms.js";
import { record } from "./outbox.js";
import { say, typed, volume } from "./say.js";
import { draftKey, forget, handlers, onSheet, renew, sheet } from "./sheet.js";
import { signal } from "./signal.js";

const box = () => document.querySelector("[data-handover]");
const part = (name) => box().querySelector(`[data-part="${name}"]`);
const api = () => `${sheet().dataset.api}/tanks/${encodeURIComponent(box().dataset.tank)}`;

function words(key, values = {}) {
  const found = document.getElementById("handover-says").content.querySelector(`[data-say="${key}"]`);
  return found.textContent.replace(/\{(\w+)\}/g, (_, name) => String(values[name] ?? ""));
}

/** What it costs, in one line with the band. */
function cost(given) {
  const lines = [given.sentence];
  if (given.recipe.scale !== "same") lines.push(words("step", { litres: volume(given.step_l, 2) }));
  if (given.below_zero_l > 0) lines.push(words("below", { litres: volume(given.below_zero_l) }));
  return lines.join(" ");
}

async function load() {
  const here = box();
  if (!here) return;
  const [given, known] = await Promise.all([
    request("GET", `${api()}/hand-over`),
    request("GET", `${sheet().dataset.api}/recipes`),
  ]).catch((error) => {
    if (!(error instanceof Unreachable)) throw error;
    return [null, null];
  });
  if (!given || !here.isConnected) return;
  part("cost").textContent = given.ok ? cost(given.data) : given.data.error;
  part("cost").classList.toggle("stop", !given.ok);
  here.querySelector("#given").value = given.ok ? given.data.text : "";
  if (given.ok) typedRows(given.data.rows);
  const form = here.querySelector('form[data-form="recipe"]');
  if (form && known.ok) {
    offer(known.data.recipes, form);
    if (!localStorage.getItem(draftKey(form))) answer(form, JSON.parse(form.dataset.now));
    fit(form);
  }
}

/** One pair of fields for each row that was handed over. */
function typedRows(rows) {
  const place = part("typed-rows");
  if (!place || place.childElementCount) return;
  const kept = JSON.parse(localStorage.getItem(draftKey(place.closest("form"))) ?? "{}");
  place.replaceChildren(
    ...rows.map((row, k) => {
      const line = document.createElement("div");
      line.className = "pair";
      const [counts, fuel] = [`typed.${k}.counts`, `typed.${k}.fuel`];
      line.append(
        cell(counts, words("their-count", { n: k + 1 }), kept[counts] ?? row.counts),
        cell(fuel, words("their-fuel", { n: k + 1 }), kept[fuel] ?? ""),
      );
      return line;
    }),
  );
}

function cell(name, label, value) {
  const input = document.createElement("input");
  input.name = name;
  input.setAttribute("aria-label", label);
  input.inputMode = "decimal";
  input.autocomplete = "off";
  input.value = value;
  return input;
}

function offer(recipes, form) {
  const select = box().querySelector("#known-recipe");
  part("known").hidden = recipes.length === 0;
  select.replaceChildren(new Option(words("choose"), ""), ...recipes.map(({ name }) => new Option(name, name)));
  select.onchange = () => {
    const found = recipes.find(({ name }) => name === select.value);
    if (!found) return;
    answer(form, found);
    fit(form);
    foresee(form);
  };
}

/** Put the answers of a recipe into the form, as they would be typed. */
function answer(form, recipe) {
  for (const [name, value] of Object.entries(recipe)) {
    const input = form.elements[name];
    if (!input) continue;
    const text = value === null ? "" : String(value);
    input.value = typeof value === "number" ? text.replace(".", document.documentElement.dataset.decimal) : text;
  }
}

/** Show the questions that matter with the answers given so far. */
function fit(form) {
  for (const question of form.querySelectorAll("[data-if]")) {
    const [name, wanted] = question.dataset.if.split("=");
    question.hidden = form.elements[name].value !== wanted;
    for (const input of question.querySelectorAll("input, select")) input.disabled = question.hidden;
  }
}

function answers(form) {
  const found = {};
  for (const input of form.elements) {
    if (input.name && !input.disabled) found[input.name] = input.name === "header" ? input.value : typed(input);
  }
  return found;
}

let timer = 0;

/** Say what the answers typed so far would cost; records nothing. */
function foresee(form) {
  clearTimeout(timer);
  timer = setTimeout(async () => {
    if (!form.isConnected || !form.elements.name.value.trim()) return;
    try {
      const tried = await request("POST", `${api()}/hand-over/try`, { recipe: answers(form) });
      if (!form.isConnected) return;
      part("tried").textContent = tried.ok ? cost(tried.data) : tried.data.error;
    } catch (error) {
      if (!(error instanceof Unreachable)) throw error;
    }
  }, 400);
}

async function recipe(form) {
  if (form.dataset.busy === "true") return;
  const body = await signed({ recipe: answers(form) });
  if (!body) return;
  busy(form, true);
  try {
    const url = sheet().dataset.api + form.dataset.url;
    const answered = await record("POST", url, body, form);
    if (!(await settle(form, answered))) return;
    forget(form);
    forget(box().querySelector('form[data-form="copied"]'));
    signal("recorded");
    for (const details of box().querySelectorAll("details")) details.open = false;
    await renew();
  } finally {
    busy(form, false);
  }
}

async function photographed(form) {
  const input = form.elements.photo;
  if (!input.files.length) return [];
  const data = new FormData();
  const own = { file: input.files[0], person: await person(), on: sheet().dataset.number, stage: "Table" };
  for (const [key, value] of Object.entries({ ...own, request_id: pressId(), tank_id: box().dataset.tank })) {
    data.set(key, value);
  }
  const answered = await request("POST", `${sheet().dataset.api}/photos`, data);
  if (!(await settle(form, answered))) return null;
  return answered.data.job.photos.slice(-1).map((photo) => photo.sha256);
}

function isClean(job) {
  const tank = job.tanks.find((each) => each.tank_id === box().dataset.tank);
  return tank.hand_over.stands === "clean";
}

async function copied(form) {
  if (form.dataset.busy === "true") return;
  const file = form.elements.shown_file.files[0];
  const rows = [...form.querySelectorAll(".typed-rows .pair")]
    .map((line) => [...line.querySelectorAll("input")].map((input) => input.value.trim()))
    .filter(([, fuel]) => fuel !== "");
  let own;
  if (form.elements.text.value.trim()) own = { text: form.elements.text.value, way: "pasted" };
  else if (file) own = { text: await file.text(), way: "file" };
  else if (rows.length) own = { rows };
  else {
    complain(form, { error: words("empty"), field: "text", isWhole: true });
    return;
  }
  if (!(await person())) return;
  busy(form, true);
  try {
    const photos = await photographed(form);
    if (photos === null) return;
    const body = await signed({ ...own, photo_sha256: photos });
    if (!body) return;
    const answered = await record("POST", sheet().dataset.api + form.dataset.url, body, form);
    if (!(await settle(form, answered))) return;
    // Rows typed by thumb are not typed again for one slip: they stay until nothing differs.
    if (!own.rows || isClean(answered.data.job)) {
      forget(form);
      form.reset();
    }
    signal("recorded");
    await renew("back-title");
  } catch (error) {
    if (!(error instanceof Unreachable)) throw error;
    complain(form, { error: say("offline") });
  } finally {
    busy(form, false);
  }
}

/** Copy by the clipboard where the browser lets us, else mark the text to be copied by hand. */
async function copyGiven() {
  const text = box().querySelector("#given");
  text.focus();
  text.select();
  try {
    if (navigator.clipboard) await navigator.clipboard.writeText(text.value);
    else if (!document.execCommand("copy")) throw new DOMException("not allowed", "NotAllowedError");
    part("copied").textContent = words("copied");
  } catch (error) {
    if (!(error instanceof DOMException)) throw error;
    part("copied").textContent = words("mark");
  }
}

Object.assign(handlers, { recipe, copied });

document.addEventListener("click", (event) => {
  if (event.target.closest('[data-do="copy-given"]')) copyGiven();
});
document.addEventListener("input", (event) => {
  const form = event.target.closest('form[data-form="recipe"]');
  if (!form) return;
  fit(form);
  foresee(form);
});
onSheet(load);
