// Everything that happens on any page; the scripts of a stage, which ran before, add to it.

import { person, showPerson } from "./ask.js";
import "./box.js";
import * as forms from "./forms.js";
import * as kept from "./kept.js";
import { back, gone, isDown, listen, showAll, watch } from "./live.js";
import { handlers, keep, onSheet, start } from "./sheet.js";
import { unlock } from "./signal.js";

document.addEventListener("submit", (event) => {
  const handler = handlers[event.target.dataset.form];
  // One whose script did not come sends nothing; the form of a dialog closes it.
  if (handler || event.target.method !== "dialog") event.preventDefault();
  handler?.(event.target);
});

document.addEventListener("click", (event) => {
  unlock();
  const button = event.target.closest("button");
  if (button?.dataset.do === "close-dialog") button.closest("dialog").close();
  if (button?.dataset.do === "person") person(true);
  forms.click(event);
});

document.addEventListener("input", (event) => {
  const form = event.target.closest("form[data-form]");
  if (!form || form.closest("dialog")) return;
  keep(form);
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
});

onSheet(() => {
  showPerson();
  showAll();
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
