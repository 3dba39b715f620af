// The two questions that any sheet may ask: who, and why.

import { say } from "./say.js";

const YEAR = 365 * 24 * 3600;

/** The name that stands beside what is recorded; asks once on a device. "" if refused. */
export async function person(isAskedAgain = false) {
  const known = localStorage.getItem("gw-person") ?? "";
  if (known && !isAskedAgain) return known;
  const dialog = document.getElementById("ask-person");
  const input = dialog.querySelector("input");
  input.value = known;
  if (!(await shown(dialog))) return "";
  const name = input.value.trim();
  localStorage.setItem("gw-person", name);
  document.cookie = `person=${encodeURIComponent(name)}; path=/; max-age=${YEAR}; samesite=strict`;
  showPerson();
  return name;
}

/** Write the name wherever the page shows it. */
export function showPerson() {
  const name = localStorage.getItem("gw-person");
  if (name) for (const place of document.querySelectorAll("[data-person]")) place.textContent = name;
}

/** A reason in words, with some offered as buttons. `null` if the person went back. */
export async function reason(what, quick = [], yes = "") {
  const dialog = document.getElementById("ask-reason");
  const input = dialog.querySelector("input");
  const row = dialog.querySelector('[data-part="quick"]');
  const button = dialog.querySelector('[data-part="yes"]');
  const usual = button.textContent;
  dialog.querySelector('[data-part="what"]').textContent = what;
  input.value = "";
  row.replaceChildren(
    ...quick.map((text) => {
      const offer = document.createElement("button");
      offer.type = "button";
      offer.className = "alt";
      offer.textContent = text;
      offer.addEventListener("click", () => {
        input.value = text;
        button.focus();
      });
      return offer;
    }),
  );
  if (yes) button.textContent = yes;
  const isGiven = await shown(dialog);
  button.textContent = usual;
  return isGiven ? input.value.trim() : null;
}

function shown(dialog) {
  return new Promise((resolve) => {
    dialog.returnValue = "";
    dialog.addEventListener("close", () => resolve(dialog.returnValue === "ok"), { once: true });
    dialog.showModal();
  });
}

/** Say in a form what was wrong, at the field where it is known; what the page says itself is whole. */
export function complain(form, problem) {
  const place = form.querySelector(".error") ?? form.parentElement.querySelector(".error");
  for (const input of form.querySelectorAll('[aria-invalid="true"]')) input.removeAttribute("aria-invalid");
  if (place) place.textContent = problem?.error ?? "";
  form.querySelector(".error-here")?.remove();
  if (!problem) return;
  const name = String(problem.field ?? "")
    .split(",")[0]
    .trim();
  const field = name && form.querySelector(`[name="${CSS.escape(name)}"], [name$=".${CSS.escape(name)}"]`);
  if (field && field.type !== "hidden") {
    if (place && !problem.isWhole) place.textContent = named(field, problem.error);
    field.setAttribute("aria-invalid", "true");
    field.closest("details")?.setAttribute("open", "");
    field.focus();
    if (place && isOutOfSight(place)) sayHere(field, problem.error);
  }
}

/** A sentence with the name of its field before it, where the field has one on the screen. */
export function named(field, sentence) {
  const label = field.labels?.[0]?.firstChild?.textContent.trim() ?? field.getAttribute("aria-label");
  return label ? `${label.replace(/[:?]$/, "")}: ${sentence}` : sentence;
}

function isOutOfSight(element) {
  const { top, bottom } = element.getBoundingClientRect();
  return bottom < 0 || top > innerHeight;
}

/** On a long form what was wrong also stands at the field, for the eye alone: it is announced once. */
function sayHere(field, sentence) {
  const here = document.createElement("p");
  here.className = "error-here";
  here.setAttribute("aria-hidden", "true");
  here.textContent = sentence;
  (field.closest(".f") ?? field).append(here);
}

/** Mark a button as busy while its request is under way. */
export function busy(form, isBusy) {
  for (const button of form.querySelectorAll("button")) {
    if (isBusy) button.setAttribute("aria-busy", "true");
    else button.removeAttribute("aria-busy");
  }
  form.dataset.busy = isBusy ? "true" : "";
}
export { say };
