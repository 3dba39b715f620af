// The pour: type the litres, press once, see the verdict.

import { request, Unreachable } from "./api.js";
import { busy, complain, reason } from "./ask.js";
import { bodyOf, isWaiting, offerAnyway, settle, signed } from "./forms.js";
import { record } from "./outbox.js";
import { plain, say, sayAll, typed } from "./say.js";
import { forget, handlers, renew, sheet } from "./sheet.js";
import { signal } from "./signal.js";

const tankUrl = () => `${sheet().dataset.api}/tanks/${encodeURIComponent(sheet().dataset.tank)}`;

/** Record a pour, or put right the litres, or the counts, of the one in doubt. */
export async function pour(form, extra = {}) {
  if (form.dataset.busy === "true") return;
  const isCorrection = form.dataset.mode === "correct";
  const input = form.elements.added_l ?? (isCorrection ? form.elements.counts : undefined);
  const text = input ? typed(input) : "";
  if (input && !text) {
    complain(form, { error: say(input.name === "counts" ? "type-counts" : "need-litres"), field: input.name, isWhole: true });
    return;
  }
  if (isCorrection && input.value.trim() === input.defaultValue) {
    complain(form, { error: say("same-figure"), field: input.name, isWhole: true });
    return;
  }
  const body = isCorrection
    ? {
        pour: Number(form.dataset.pourNumber),
        finding: form.dataset.finding,
        answer: "corrected",
        [input.name]: text,
        reason: say(input.name === "counts" ? "reread" : "retyped"),
      }
    : { ...bodyOf(form), ...extra };
  await post(form, isCorrection ? "/answers" : "/pours", body);
}

/** Send what a person decided, and show the verdict before the sheet is drawn anew. */
async function post(form, route, plainBody, place = form) {
  const body = await signed(plainBody);
  if (!body) return;
  busy(form, true);
  try {
    const answer = await record("POST", tankUrl() + route, body, place);
    offerAnyway(form, answer);
    if (!(await settle(form, answer))) return;
    forget(form);
    const entry = document.querySelector('form[data-form="pour"]');
    if (entry) forget(entry);
    const { verdict } = answer.data;
    if (verdict) tell(verdict);
    signal(verdict?.blocks ? "finding" : "recorded");
    await renew(verdict?.blocks ? "" : "litres");
    if (verdict?.blocks) {
      window.scrollTo(0, 0); // the entry and the finding, whatever was scrolled to before
      document.querySelector(".verdict button")?.focus({ preventScroll: true });
    }
  } finally {
    busy(form, false);
  }
}

/** The verdict in one sentence, at once; the drawn sheet follows. */
function tell(verdict) {
  const side = document.querySelector("[data-pour] .side");
  if (!side) return;
  for (const old of side.querySelectorAll(".verdict, .verdict-line")) old.remove();
  const line = document.createElement("section");
  line.className = "verdict-line";
  line.dataset.first = "true";
  const found = verdict.findings.find((finding) => finding.is_open);
  line.textContent = `${verdict.blocks ? "▲" : "■"} ${found ? found.message : verdict.sentence}`;
  side.querySelector("form.entry")?.after(line);
}

async function answer(button) {
  const row = button.closest("[data-answers]");
  const form = button.closest(".verdict");
  const body = {
    pour: Number(row.dataset.pourNumber) || null,
    finding: row.dataset.finding,
    answer: button.dataset.answer,
  };
  if (button.dataset.answer === "kept") {
    const why = await reason(say("keep-what"), sayAll("quick-keep"), button.textContent);
    if (why === null) return;
    body.reason = why;
  } else if (button.dataset.answer === "repeated") body.reason = say("reread");
  else {
    body.reason = button.dataset.reason || say("taken-over");
    if (button.dataset.addedL) body.added_l = Number(button.dataset.addedL);
    if (button.dataset.counts) body.counts = Number(button.dataset.counts);
  }
  await post(form, "/answers", body, button);
}

async function voidPour(button) {
  const url = `${sheet().dataset.api}/pours/${button.dataset.void}/void`;
  const place =
    button.closest(".verdict") ?? document.querySelector("form.entry") ?? button.closest("section, div");
  if (isWaiting(url, place, button)) return;
  const why = await reason(say("void-what"), sayAll("quick-void"), button.firstChild.textContent.trim());
  if (why === null) return;
  const body = await signed({ reason: why });
  if (!body) return;
  const answered = await record("POST", url, body, button);
  if (await settle(place, answered)) {
    signal("recorded");
    await renew("litres");
  }
}

let timer = 0;

/** Where the amount that is being typed should land. */
function foresee(form) {
  clearTimeout(timer);
  const place = document.querySelector('span[data-part="landing"]');
  const text = form.elements.added_l ? typed(form.elements.added_l) : "";
  if (!place || form.dataset.mode === "correct" || !text) return;
  timer = setTimeout(async () => {
    try {
      const found = await request("GET", `${tankUrl()}/forecast?added_l=${encodeURIComponent(text)}`);
      if (typed(form.elements.added_l) !== text) return;
      if (found.ok && found.data) {
        place.textContent = say("land", {
          counts: plain(found.data.counts),
          band: plain(found.data.u95_counts),
        });
      } else if (found.ok) place.textContent = say("no-land");
    } catch (error) {
      if (!(error instanceof Unreachable)) throw error;
    }
  }, 300);
}

async function rig(form) {
  const answered = await request("POST", `${sheet().dataset.api}/rig/pour`, {
    litres: typed(form.elements.litres),
  });
  if (!answered.ok) form.querySelector('[data-part="rig"]').textContent = answered.data.error;
}

Object.assign(handlers, { pour, rig });

document.addEventListener("click", (event) => {
  const button = event.target.closest("button");
  if (!button) return;
  if (button.dataset.answer) answer(button);
  if (button.dataset.void) voidPour(button);
  if (button.dataset.do === "focus-litres" || button.dataset.do === "focus-counts") {
    const input = document.getElementById(button.dataset.do === "focus-counts" ? "right-counts" : "litres");
    input.focus();
    input.select();
  }
  if (button.dataset.do === "anyway" && button.closest("form").dataset.form === "pour") {
    pour(button.closest("form"), { is_unsteady_kept: true });
  }
});

document.addEventListener("input", (event) => {
  const form = event.target.closest('form[data-form="pour"]');
  if (form) foresee(form);
});
