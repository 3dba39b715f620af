// Everything that happens on a page, by one listener of each sort.

import * as arrives from "./arrives.js";
import { person, showPerson } from "./ask.js";
import * as bench from "./bench.js";
import * as forms from "./forms.js";
import * as handover from "./handover.js";
import * as kept from "./kept.js";
import { back, gone, isDown, listen, showAll, watch } from "./live.js";
import "./plan.js";
import "./plan-next.js";
import * as pour from "./pour.js";
import { keep, onSheet, start } from "./sheet.js";
import * as sign from "./sign.js";
import { unlock } from "./signal.js";
import * as tank from "./tank.js";
import * as watching from "./watch.js";
import "./wiring.js";

const handlers = { ...forms.handlers, ...pour.handlers, ...tank.handlers, ...bench.handlers, ...handover.handlers, ...arrives.handlers, ...sign.handlers, ...watching.handlers };

document.addEventListener("submit", (event) => {
  const handler = handlers[event.target.dataset.form];
  if (!handler) return;
  event.preventDefault();
  handler(event.target);
});

document.addEventListener("click", (event) => {
  unlock();
  const button = event.target.closest("button");
  if (button?.dataset.do === "close-dialog") button.closest("dialog").close();
  if (button?.dataset.do === "person") person(true);
  forms.click(event);
  pour.click(event);
  bench.click(event);
  sign.click(event);
});

document.addEventListener("input", (event) => {
  const form = event.target.closest("form[data-form]");
  if (!form || form.closest("dialog")) return;
  keep(form);
  if (form.dataset.form === "pour") pour.foresee(form);
  if (form.dataset.form === "tank") tank.preview(form);
});

document.addEventListener("change", (event) => {
  const { pref } = event.target.dataset;
  if (pref === "theme") {
    localStorage.setItem("gw-theme", event.target.value);
    document.documentElement.dataset.theme = event.target.value;
  }
  if (pref === "sound") {
    localStorage.setItem("gw-sound", event.target.checked ? "on" : "off");
    unlock();
  }
  bench.change(event);
  const form = event.target.closest('form[data-form="tank"]');
  if (form) tank.fitShape(form);
});

onSheet(() => {
  showPerson();
  showAll();
  for (const form of document.querySelectorAll('form[data-form="tank"]')) tank.fitShape(form);
  for (const form of document.querySelectorAll('form[data-form="instrument"]')) bench.instrumentForm(form);
});

document.querySelector('[data-pref="theme"]').value = localStorage.getItem("gw-theme") ?? "auto";
document.querySelector('[data-pref="sound"]').checked = localStorage.getItem("gw-sound") === "on";
start();
kept.start(back);
kept.guardLeaving(isDown);
if (kept.isKept()) gone();
globalThis.sendHeld(); // see early.js
listen();
watch();
