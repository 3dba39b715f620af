// The bench: waiting for drips, and where readings come from.

import { request, Unreachable } from "./api.js";
import { complain } from "./ask.js";
import { signed, settle } from "./forms.js";
import { plain, say } from "./say.js";
import { handlers, onSheet, renew, sheet } from "./sheet.js";
import { signal } from "./signal.js";

const DRIP_S = 15;
const HINTS = new Set(["port", "pattern", "half_line_after_s"]);
let kinds = null;

/** Count the seconds that a wet probe needs to drip. */
function drip(button) {
  const place = button.closest("[data-bench]").querySelector('[data-part="drip"]');
  const until = performance.now() + DRIP_S * 1000;
  button.disabled = true;
  const tick = () => {
    const left = Math.ceil((until - performance.now()) / 1000);
    if (!place.isConnected) return;
    place.textContent = left > 0 ? say("wait-drips", { seconds: left }) : "";
    if (left > 0) setTimeout(tick, 250);
    else {
      button.disabled = false;
      signal("steady");
    }
  };
  tick();
}

/** Fill the form of an instrument from the kinds that there are. */
async function instrumentForm(form) {
  kinds ??= (await request("GET", "/api/instruments/kinds")).data;
  if (!form.isConnected) return;
  const now = JSON.parse(form.dataset.now);
  form.elements.kind.replaceChildren(
    ...kinds.map(({ kind }) => new Option(say(`kind-${kind}`), kind, false, kind === now.kind)),
  );
  fields(form, now);
}

function fields(form, now) {
  const kind = kinds.find((found) => found.kind === form.elements.kind.value);
  const box = (asked) => field(asked, now.kind === kind.kind ? now[asked.name] : asked.default);
  const usual = new Set([
    "counts_min",
    "counts_max",
    "silent_after_s",
    "frozen_after_s",
    "retry_first_s",
    "retry_most_s",
  ]);
  const own = kind.settings.filter(({ name }) => !usual.has(name)).map(box);
  const more = document.createElement("details");
  const title = document.createElement("summary");
  title.textContent = say("more-settings");
  more.append(title, ...kind.settings.filter(({ name }) => usual.has(name)).map(box));
  form.querySelector('[data-part="settings"]').replaceChildren(...own, more);
  form.querySelector('[data-part="tester"]').hidden = !kind.settings.some(({ name }) => name === "pattern");
}

function field(asked, value) {
  const box = document.createElement("div");
  box.className = "f";
  const label = document.createElement("label");
  label.htmlFor = `set-${asked.name}`;
  const { words, unit } = named(asked.name);
  label.textContent = unit ? `${words} [${unit}]` : words;
  const choices = asked.type.startsWith("Literal[")
    ? asked.type
        .slice(8, -1)
        .split(",")
        .map((one) => one.trim().replace(/^['"]|['"]$/g, ""))
    : asked.type === "bool"
      ? ["true", "false"]
      : null;
  const input = document.createElement(choices ? "select" : "input");
  if (choices) input.replaceChildren(...choices.map((one) => new Option(one, one)));
  input.id = label.htmlFor;
  input.name = asked.name;
  input.dataset.type = asked.type;
  input.required = asked.is_required;
  input.autocomplete = "off";
  input.value = value ?? "";
  box.append(label, input);
  if (HINTS.has(asked.name)) {
    const hint = document.createElement("p");
    hint.className = "hint";
    hint.id = `${input.id}-hint`;
    hint.textContent = say(`hint-${asked.name}`, { counts: "{counts}", temperature_c: "{temperature_c}" });
    input.setAttribute("aria-describedby", hint.id);
    box.append(hint);
  }
  return box;
}

/** A setting's name in words, its unit apart. */
function named(name) {
  const unit = /_s$/.test(name) ? "s" : /_hz$/.test(name) ? "Hz" : "";
  const words = (unit ? name.replace(/_[a-z]+$/, "") : name).replaceAll("_", " ");
  return { words: words[0].toUpperCase() + words.slice(1), unit };
}

function settingsOf(form) {
  const settings = { kind: form.elements.kind.value };
  for (const input of form.querySelectorAll('[data-part="settings"] [name]')) {
    const text = input.value.trim();
    if (text === "") continue;
    const type = input.dataset.type;
    if (type === "bool") settings[input.name] = text === "true";
    else {
      const figure = /^(int|float|Literal\[\d)/.test(type) ? Number(text.replace(",", ".")) : Number.NaN;
      // What is no figure goes as it was typed: the answer names it.
      settings[input.name] = Number.isFinite(figure) ? figure : text;
    }
  }
  return settings;
}

async function instrument(form) {
  const body = await signed({ settings: settingsOf(form) });
  if (!body) return;
  const url = `${sheet().dataset.api}/instruments/${encodeURIComponent(form.dataset.tank)}`;
  try {
    const answer = await request("PUT", url, body);
    if (await settle(form, answer)) await renew();
  } catch (error) {
    if (!(error instanceof Unreachable)) throw error;
    complain(form, { error: say("offline-now") });
  }
}

async function tryPattern(form) {
  const pattern = form.querySelector('[name="pattern"]').value;
  const lines = form.querySelector("#lines").value.split("\n").filter(Boolean);
  const answer = await request("POST", "/api/instruments/try-pattern", { pattern, lines });
  if (!answer.ok) {
    complain(form, answer.data);
    return;
  }
  complain(form, null);
  form.querySelector('[data-part="found"]').replaceChildren(
    ...answer.data.map((found) => {
      const item = document.createElement("li");
      item.textContent = `${found.problem === null ? "■" : "▲"} ${found.line} → ${found.problem ?? plain(found.counts, 1)}`;
      return item;
    }),
  );
}

Object.assign(handlers, { instrument });

document.addEventListener("click", (event) => {
  const button = event.target.closest("button");
  if (!button) return;
  if (button.dataset.do === "drip") drip(button);
  if (button.dataset.do === "try") tryPattern(button.closest("form"));
});

// Another kind has other settings.
document.addEventListener("change", (event) => {
  const form = event.target.closest('form[data-form="instrument"]');
  if (form && event.target.name === "kind") fields(form, JSON.parse(form.dataset.now));
});

onSheet(() => {
  for (const form of document.querySelectorAll('form[data-form="instrument"]')) instrumentForm(form);
});
