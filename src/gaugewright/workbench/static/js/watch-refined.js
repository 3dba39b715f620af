// The offer on the Watch stage: the table made better from service, taken over or left.

import { request, Unreachable } from "./api.js";
import { say } from "./say.js";
import { onSheet, restore } from "./sheet.js";

/** A long log is read and looked through for it. */
const LONGEST_MS = 900000;
const asked = new Map();

const key = (place) => `gw-refined-left|${location.pathname}|${place.dataset.left}`;

function made(tag, text, parent, kind = "") {
  const element = document.createElement(tag);
  element.textContent = text;
  if (kind) element.className = kind;
  parent.append(element);
  return element;
}

function show(place, answer, words) {
  place.dataset.state = answer.ok ? "offered" : "none";
  if (!answer.ok) {
    place.replaceChildren();
    made("h2", words.title, place).id = "refined-title";
    made("p", `${words.nothing} ${answer.data.error}`, place, "soft");
    return;
  }
  const piece = new DOMParser().parseFromString(answer.data.text, "text/html");
  place.replaceChildren(...[...piece.body.childNodes].map((node) => document.adoptNode(node)));
  for (const form of place.querySelectorAll("form[data-form]")) restore(form);
  place.querySelector("[data-refined-leave]").addEventListener("click", () => {
    localStorage.setItem(key(place), "left");
    left(place, words);
    place.querySelector("button").focus();
  });
}

function left(place, words) {
  place.dataset.state = "left";
  place.replaceChildren();
  made("h2", words.title, place).id = "refined-title";
  made("p", words.left, place).setAttribute("role", "status");
  const again = made("button", words.again, place, "alt");
  again.type = "button";
  again.addEventListener("click", () => {
    localStorage.removeItem(key(place));
    ask(place, words);
  });
}

async function ask(place, words) {
  const url = place.dataset.refined;
  if (asked.has(url)) {
    show(place, asked.get(url), words);
    return;
  }
  place.replaceChildren();
  made("h2", words.title, place).id = "refined-title";
  const waiting = made("p", words.wait, place, "soft");
  try {
    const answer = await request("GET", url, undefined, LONGEST_MS);
    if (answer.ok) asked.set(url, answer);
    if (place.isConnected) show(place, answer, words);
  } catch (error) {
    if (!(error instanceof Unreachable)) throw error;
    waiting.textContent = say("offline");
  }
}

onSheet(() => {
  const place = document.querySelector("[data-refined]");
  if (!place) return;
  const words = JSON.parse(place.dataset.words);
  if (localStorage.getItem(key(place))) left(place, words);
  else ask(place, words);
});
