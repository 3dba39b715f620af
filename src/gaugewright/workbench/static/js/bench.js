// The bench: waiting for drips, and where readings come from.

import { request } from "./api.js";
import { complain } from "./ask.js";
import { signed, settle } from "./forms.js";
import { say } from "./say.js";
import { renew, sheet } from "./sheet.js";
import { signal } from "./signal.js";

const DRIP_S = 15;
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
export async function instrumentForm(form) {
  kinds ??= (await request("GET", "/api/instruments/kinds")).data;
  const now = JSON.parse(form.dataset.now);
  const select = form.elements.kind;
  select.replaceChildren(
    ...kinds.kinds.map((kind) => new Option(kind.title ?? kind.kind, kind.kind, false, kind.kind === now.kind)),
  );
  fields(form, now);
}

function fields(form, now) {
  const kind = kinds.kinds.find((found) => found.kind === form.elements.kind.value);
  const place = form.querySelector('[data-part="settings"]');
  place.replaceChildren(
    ...kind.fields.map((field) => {
      const box = document.createElement("div");
      box.className = "f";
      const label = document.createElement("label");
      label.htmlFor = `set-${field.name}`;
      label.textContent = field.label ?? field.name;
      const input = document.createElement(field.choices ? "select" : "input");
      input.id = label.htmlFor;
      input.name = field.name;
      input.dataset.type = field.type;
      const value = now.kind === kind.kind ? now[field.name] : field.default;
      if (field.choices) input.replaceChildren(...field.choices.map((one) => new Option(one, one)));
      input.value = value ?? "";
      box.append(label, input);
      return box;
    }),
  );
  form.querySelector('[data-part="tester"]').hidden = !kind.fields.some((field) => field.name === "pattern");
}

function settingsOf(form) {
  const settings = { kind: form.elements.kind.value };
  for (const input of form.querySelectorAll('[data-part="settings"] [name]')) {
    const text = input.value.trim();
    if (text === "") continue;
    const type = input.dataset.type;
    if (type === "bool") settings[input.name] = text === "true";
    else if (type === "int" || type === "float") settings[input.name] = Number(text.replace(",", "."));
    else settings[input.name] = text;
  }
  return settings;
}

async function instrument(form) {
  const body = await signed({ settings: settingsOf(form) });
  if (!body) return;
  const url = `${sheet().dataset.api}/instruments/${encodeURIComponent(form.dataset.tank)}`;
  const answer = await request("PUT", url, body);
  if (await settle(form, answer)) await renew();
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
    ...(answer.data.found ?? answer.data.lines ?? []).map((found) => {
      const item = document.createElement("li");
      item.textContent = typeof found === "string" ? found : `${found.line ?? ""} → ${found.counts ?? found.error ?? found.message ?? "–"}`;
      return item;
    }),
  );
}

export const handlers = { instrument };

/** The buttons of the bench. */
export function click(event) {
  const button = event.target.closest("button");
  if (!button) return;
  if (button.dataset.do === "drip") drip(button);
  if (button.dataset.do === "try") tryPattern(button.closest("form"));
}

/** Another kind has other settings. */
export function change(event) {
  const form = event.target.closest('form[data-form="instrument"]');
  if (form && event.target.name === "kind") fields(form, JSON.parse(form.dataset.now));
}
