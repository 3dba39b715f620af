// One sheet: where it is, what is typed on it, and how it is drawn anew.

import { unmark } from "./kept.js";

const hooks = [];

/** What answers a press on Record, by the form's `data-form`; the scripts of a stage add theirs. */
export const handlers = {};

/** Call a function each time the sheet stands anew. */
export function onSheet(hook) {
  hooks.push(hook);
}

/** The sheet's own element, with the job, the tank and the entry number that it shows. */
export function sheet() {
  return document.getElementById("sheet");
}

/** Prepare the sheet that stands on the page. */
export function start() {
  const current = document.querySelector('#stages [aria-current="step"]');
  if (current) {
    const strip = current.parentElement;
    strip.scrollLeft = current.offsetLeft - (strip.clientWidth - current.offsetWidth) / 2;
  }
  for (const form of document.querySelectorAll("form[data-form]")) restore(form);
  for (const hook of hooks) hook();
}

const LONGEST_PRESS_MS = 30000;
const CLICK_AFTER_MS = 100;
let letGo = Promise.resolve();
let lift = null;

/** A finger is down: what it is on must still stand there when it comes up, or the press is lost. */
function pressed() {
  if (lift) return;
  letGo = new Promise((done) => (lift = done));
  setTimeout(lifted, LONGEST_PRESS_MS, lift);
}

/** It is up again, or will not be heard of any more; the click itself comes a little later. */
function lifted(done = lift) {
  if (!done) return;
  setTimeout(() => {
    done();
    if (lift === done) lift = null;
  }, CLICK_AFTER_MS);
}

document.addEventListener("pointerdown", pressed, true);
for (const end of ["pointerup", "pointercancel", "contextmenu", "dragend"]) document.addEventListener(end, () => lifted(), true);
window.addEventListener("blur", () => lifted());

let latest = 0;

/** Fetch the page again and put its sheet in the place of the old one. */
export async function renew(focusId = "") {
  const turn = (latest += 1);
  let text;
  try {
    const answer = await fetch(location.href, { headers: { Accept: "text/html" }, cache: "no-store" });
    if (answer.status === 401) {
      location.reload(); // no longer paired: what stands here now is the way in again
      return;
    }
    text = await answer.text();
  } catch {
    return; // the line is down: the sheet stays, and is drawn anew when the line is back
  }
  const fresh = new DOMParser().parseFromString(text, "text/html");
  await letGo;
  if (turn !== latest || !fresh.getElementById("sheet")) return;
  const here = new Set(scriptsOf(document));
  if (scriptsOf(fresh).some((name) => !here.has(name))) {
    location.reload(); // what stood here was no stage, but said why it could not be shown
    return;
  }
  const held = document.activeElement?.id;
  const isOpen = new Set(openDetails(document));
  for (const id of ["title", "stages", "sheet"]) {
    const old = document.getElementById(id);
    const made = fresh.getElementById(id);
    if (old && made) old.replaceWith(document.adoptNode(made));
  }
  for (const details of sheet().querySelectorAll("details")) details.open ||= isOpen.has(titleOf(details));
  unmark();
  start();
  const next = document.getElementById(focusId || held || "");
  if (next) next.focus({ preventScroll: !focusId });
}

const scriptsOf = (page) => [...page.querySelectorAll("script[src]")].map((each) => each.getAttribute("src").split("/").at(-1));
const titleOf = (details) => details.querySelector("summary").textContent;
const openDetails = (root) => [...root.querySelectorAll("#sheet details[open]")].map(titleOf);

/** Whether the sheet may be drawn anew by itself, without taking away what a hand is at. */
export function isAtRest() {
  const hasFile = [...document.querySelectorAll('input[type="file"]')].some((input) => input.files.length);
  return !hasFile && !document.querySelector('[data-busy="true"]');
}

/** The name under which what is typed into a form is kept on this device. */
export function draftKey(form) {
  const about = [form.dataset.url, form.dataset.mode, form.dataset.pourNumber].filter(Boolean).join("|");
  return `gw-draft|${location.pathname}${location.search}|${form.dataset.form}|${about}`;
}

/** Keep what is typed. */
export function keep(form) {
  const kept = {};
  for (const input of form.elements) {
    if (!input.name || input.type === "file" || input.type === "hidden") continue;
    if (input.type === "checkbox" || input.type === "radio") {
      if (input.checked !== input.defaultChecked) kept[`${input.name}=${input.value}`] = input.checked;
    } else if (input.value !== (input.defaultValue ?? "")) kept[input.name] = input.value;
  }
  if (Object.keys(kept).length) localStorage.setItem(draftKey(form), JSON.stringify(kept));
  else localStorage.removeItem(draftKey(form));
}

/** The names of the fields whose text is typed on this sheet and not in the book. */
export function unrecorded() {
  const names = [];
  for (const form of sheet().querySelectorAll('form:is([data-form="send"], [data-form="pour"], [data-form="tank"], [data-form="mount"])')) {
    const kept = JSON.parse(localStorage.getItem(draftKey(form)) ?? "{}");
    for (const input of form.elements) {
      if (input.name && input.name in kept && kept[input.name] !== "") names.push(input.labels?.[0]?.firstChild?.textContent.trim() ?? input.name);
    }
  }
  return [...new Set(names)];
}

/** Forget it: it is in the book. */
export function forget(form) {
  localStorage.removeItem(draftKey(form));
}

/** Put back what was typed into a form and not recorded. */
export function restore(form) {
  if (form.closest("dialog")) return;
  const kept = JSON.parse(localStorage.getItem(draftKey(form)) ?? "{}");
  for (const input of form.elements) {
    const choice = `${input.name}=${input.value}`;
    if ((input.type === "checkbox" || input.type === "radio") && choice in kept) input.checked = kept[choice];
    else if (input.name && input.name in kept && input.type !== "file") input.value = kept[input.name];
  }
}
