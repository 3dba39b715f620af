// The check before leaving: begin it, watch it, record its verdict.

import { request, Unreachable } from "./api.js";
import { busy, complain } from "./ask.js";
import { settle, signed } from "./forms.js";
import { age, plain, say } from "./say.js";
import { forget, handlers, onSheet, renew, sheet } from "./sheet.js";
import { signal } from "./signal.js";

const SIGNS = { good: "■", note: "◌", missing: "▲", wrong: "⬣" };
const COLOURS = { good: "good", note: "soft", missing: "warn", wrong: "stop" };
const EVERY_MS = 2000;
const FIRST_ASKED = {
  records_http: ["url", "value_path", "time_path", "every_s"],
  records_mqtt: ["host", "topic", "value_path", "time_path"],
  records_file: ["path", "value_column", "time_column"],
};
/** Units of the settings that have one, and the keyboard that a phone should bring. */
const UNITS = { every_s: "s", timeout_s: "s" };
const KEYBOARDS = { float: "decimal", int: "numeric" };
let ways = null;
let timer = 0;

const box = () => document.querySelector("[data-arrives]");
const part = (name) => box().querySelector(`[data-part="${name}"]`);
const typedKey = () => `gw-arrives|${location.pathname}|${box().dataset.tank}`;
const api = () => `${sheet().dataset.api}/tanks/${encodeURIComponent(box().dataset.tank)}/arrives`;

function words(key, values = {}) {
  const found = document.getElementById("arrives-says").content.querySelector(`[data-say="${key}"]`);
  if (!found) throw new Error(`no words for ${key}`);
  return found.textContent.replace(/\{(\w+)\}/g, (_, name) => String(values[name] ?? ""));
}

async function load() {
  clearTimeout(timer);
  const here = box();
  if (!here) return;
  try {
    const form = here.querySelector('form[data-form="arrives"]');
    if (form) {
      ways ??= (await request("GET", "/api/arrives/ways")).data;
      if (!form.isConnected) return;
      const now = lastSettings(form);
      form.elements.kind.replaceChildren(
        ...ways.map(({ kind }) => new Option(words(`way-${kind}`), kind, false, kind === now.kind)),
      );
      fields(form, now);
    }
    const answer = await request("GET", api());
    if (answer.ok && here.isConnected) show(answer.data);
  } catch (error) {
    if (!(error instanceof Unreachable)) throw error;
  }
}

/** What was set last: as typed on this device, else as the last check kept it. */
function lastSettings(form) {
  return JSON.parse(localStorage.getItem(typedKey()) ?? form.dataset.now);
}

/** The fields of the chosen way; what is seldom needed is folded away. */
function fields(form, now = {}) {
  const way = ways.find(({ kind }) => kind === form.elements.kind.value);
  const own = new Set([...document.getElementById("arrives-says").content.querySelectorAll("[data-say]")].map((each) => each.dataset.say));
  const asked = way.settings.filter(({ name }) => own.has(`set-${name}`));
  const first = FIRST_ASKED[way.kind].map((name) => asked.find((setting) => setting.name === name));
  const made = (setting) => field(setting, now.kind === way.kind ? now[setting.name] : setting.default);
  const more = document.createElement("details");
  const title = document.createElement("summary");
  title.textContent = words("more");
  more.append(title, ...asked.filter((setting) => !first.includes(setting)).map(made));
  part("way-settings").replaceChildren(...first.map(made), more);
}

function field(setting, value) {
  const place = document.createElement("div");
  place.className = "f";
  const label = document.createElement("label");
  label.htmlFor = `way-${setting.name}`;
  label.textContent = words(`set-${setting.name}`);
  const isSwitch = setting.type === "bool";
  const input = document.createElement(isSwitch ? "select" : "input");
  if (isSwitch) input.replaceChildren(new Option(words("no"), "false"), new Option(words("yes"), "true"));
  input.id = label.htmlFor;
  input.name = `settings.${setting.name}`;
  input.dataset.type = setting.type;
  input.required = setting.is_required;
  input.autocomplete = "off";
  input.autocapitalize = "none";
  input.spellcheck = false;
  const keyboard = setting.name === "url" ? "url" : KEYBOARDS[setting.type];
  if (keyboard) input.inputMode = keyboard;
  input.value = value ?? "";
  const row = document.createElement("div");
  row.className = "field";
  row.append(input);
  if (UNITS[setting.name]) {
    const unit = document.createElement("span");
    unit.className = "unit";
    unit.textContent = UNITS[setting.name];
    row.append(unit);
  }
  place.append(label, row);
  return place;
}

function show(status) {
  const here = box();
  const isNew = part("running").hidden && status.is_running;
  part("running").hidden = !status.is_running;
  if (part("begin")) part("begin").hidden = status.is_running;
  if (!status.is_running) return;
  if (isNew && part("begin")) part("begin").open = false; // folded once the check is over
  part("sentence").textContent = `${status.is_safe ? "■" : "▲"} ${status.sentence}`;
  part("sentence").className = `outcome ${status.is_safe ? "good" : ""}`;
  part("counted").textContent = words(status.records ? "counted" : "counted-none", {
    readings: plain(status.readings),
    records: plain(status.records),
    time: age(status.seconds),
    here: plain(status.last_reading, 0),
    there: `${plain(status.last_record, status.unit === "counts" ? 0 : 1)}\u00a0${status.unit}`,
    age: age(status.record_age_s ?? 0),
  });
  part("far-trouble").textContent = status.trouble;
  part("items").replaceChildren(
    ...status.items.map((item) => {
      const line = document.createElement("li");
      const sign = document.createElement("span");
      sign.className = COLOURS[item.state];
      sign.textContent = SIGNS[item.state];
      line.append(sign, ` ${item.message}`);
      return line;
    }),
  );
  const button = here.querySelector('[data-do="ignition"]');
  button.textContent = words(status.is_off ? "on-again" : "off-now");
  button.setAttribute("aria-pressed", String(status.is_off));
  clearTimeout(timer);
  timer = setTimeout(look, EVERY_MS);
}

async function look() {
  if (!box() || part("running").hidden) return;
  try {
    const answer = await request("GET", api());
    if (box() && answer.ok) show(answer.data);
  } catch (error) {
    if (!(error instanceof Unreachable)) throw error;
    timer = setTimeout(look, EVERY_MS);
  }
}

function settingsOf(form) {
  const settings = { kind: form.elements.kind.value };
  for (const input of part("way-settings").querySelectorAll("[name]")) {
    const text = input.value.trim();
    if (text === "") continue;
    settings[input.name.replace("settings.", "")] = input.dataset.type === "bool" ? text === "true" : text;
  }
  return settings;
}

async function arrives(form) {
  if (form.dataset.busy === "true") return;
  busy(form, true);
  try {
    const answer = await request("POST", api(), {
      settings: settingsOf(form),
      shows: form.elements.shows.value,
      every_s: form.elements.every_s.value.trim() || null,
      hz: form.elements.hz.value.trim() || null,
      is_off_wanted: form.elements.is_off_wanted.checked,
    });
    complain(form, answer.ok ? null : answer.data);
    if (!answer.ok) return;
    localStorage.setItem(typedKey(), JSON.stringify(settingsOf(form)));
    forget(form);
    show(answer.data);
    document.getElementById("arrives-title").scrollIntoView({ block: "start" });
  } catch (error) {
    if (!(error instanceof Unreachable)) throw error;
    complain(form, { error: say("offline") });
  } finally {
    busy(form, false);
  }
}

async function verdict(form) {
  if (form.dataset.busy === "true") return;
  const body = await signed({});
  if (!body) return;
  busy(form, true);
  try {
    const answer = await request("POST", sheet().dataset.api + form.dataset.url, body);
    if (!(await settle(form, answer))) return;
    signal("recorded");
    await renew("arrives-title");
  } catch (error) {
    if (!(error instanceof Unreachable)) throw error;
    complain(form, { error: say("offline") });
  } finally {
    busy(form, false);
  }
}

async function press(path, body) {
  try {
    const answer = await request("POST", `${api()}${path}`, body);
    if (!answer.ok) complain(part("running"), answer.data);
    else if (path === "/stop") await renew();
    else show(answer.data);
  } catch (error) {
    if (!(error instanceof Unreachable)) throw error;
    complain(part("running"), { error: say("offline") });
  }
}

/** What was gathered is lost: it takes a second press, on a button that says so. */
function giveUp(button) {
  if (button.dataset.asked) {
    press("/stop", {});
    return;
  }
  button.dataset.asked = "true";
  button.textContent = button.dataset.sure;
}

Object.assign(handlers, { arrives, verdict });

document.addEventListener("click", (event) => {
  const button = event.target.closest("[data-arrives] button");
  if (button?.dataset.do === "ignition") press("/ignition", { is_off: button.getAttribute("aria-pressed") !== "true" });
  if (button?.dataset.do === "give-up") giveUp(button);
});
document.addEventListener("change", (event) => {
  const form = event.target.closest('form[data-form="arrives"]');
  if (form && event.target.name === "kind") fields(form, lastSettings(form));
});
onSheet(load);
