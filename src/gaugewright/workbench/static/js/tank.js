// The tank editor: the drawing follows what is typed.

import { request, Unreachable } from "./api.js";
import { busy, complain } from "./ask.js";
import { bodyOf, settle, signed } from "./forms.js";
import { record } from "./outbox.js";
import { forget, handlers, onSheet, sheet } from "./sheet.js";
import { signal } from "./signal.js";

/** Show the sizes that the chosen shape has. */
function fitShape(form) {
  const shape = form.elements["tank.shape"].value;
  for (const box of form.querySelectorAll("[data-size]")) {
    const belongs = box.dataset.shapes.split(" ").includes(shape);
    box.hidden = !belongs;
    box.querySelector("input, select").disabled = !belongs;
  }
}

function described(form) {
  const { tank, probe, name, reason } = bodyOf(form);
  if (tank.end_depth_mm) tank.ends = "dished";
  return { tank, probe: probe ?? {}, name: name ?? "", ...(reason ? { reason } : {}) };
}

/** A tank's id from its name: letters and figures of ASCII, and none that is taken. */
function idOf(form) {
  const plain = form.elements.name.value
    .normalize("NFKD")
    .toLowerCase()
    .replace(/[^a-z0-9]+/g, "-");
  const id = plain.replace(/^-+|-+$/g, "").slice(0, 34) || "tank";
  const taken = new Set(form.dataset.taken.split(" "));
  let free = id;
  for (let k = 2; taken.has(free); k += 1) free = `${id}-${k}`;
  return free;
}

let timer = 0;

/** Draw what is typed so far; what is still missing is said quietly. */
function preview(form) {
  clearTimeout(timer);
  timer = setTimeout(async () => {
    const words = document.querySelector('[data-part="preview-words"]');
    const { tank, probe } = described(form);
    try {
      const url = `/jobs/${encodeURIComponent(sheet().dataset.job)}/preview`;
      const answer = await request("POST", url, { tank, probe });
      if (answer.ok) {
        const fresh = new DOMParser().parseFromString(answer.data.text, "text/html");
        document.querySelector('[data-part="preview"]').replaceChildren(...fresh.body.childNodes);
        words.textContent = "";
      } else words.textContent = answer.data.error;
    } catch (error) {
      if (!(error instanceof Unreachable)) throw error;
    }
  }, 250);
}

async function tank(form) {
  if (form.dataset.busy === "true") return;
  const id = form.elements.tank_id.value || idOf(form);
  const body = await signed(described(form));
  if (!body) return;
  busy(form, true);
  try {
    const url = `${sheet().dataset.api}/tanks/${encodeURIComponent(id)}`;
    const answer = await record("PUT", url, body, form);
    if (!(await settle(form, answer))) return;
    forget(form);
    signal("recorded");
    location.assign(`plan?tank=${encodeURIComponent(id)}`);
  } finally {
    busy(form, false);
  }
}

Object.assign(handlers, { tank });

const FORM = 'form[data-form="tank"]';
document.addEventListener("input", (event) => {
  const form = event.target.closest(FORM);
  if (form) preview(form);
});
document.addEventListener("change", (event) => {
  const form = event.target.closest(FORM);
  if (form) fitShape(form);
});
onSheet(() => document.querySelectorAll(FORM).forEach(fitShape));
