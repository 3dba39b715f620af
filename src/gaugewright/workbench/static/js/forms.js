// Forms that record one thing: collect, send, say what was wrong, go on.

import { request, pressId, Unreachable } from "./api.js";
import { busy, complain, person, reason } from "./ask.js";
import { liveReading } from "./live.js";
import { clear, notice } from "./notice.js";
import { oneWaits, record } from "./outbox.js";
import { plain, say, typed } from "./say.js";
import { forget, handlers, renew, sheet, unrecorded } from "./sheet.js";
import { signal } from "./signal.js";

/** The body of a form: names with dots become objects, names with numbers lists. */
export function bodyOf(form) {
  const body = form.dataset.fixed ? JSON.parse(form.dataset.fixed) : {};
  for (const input of form.elements) {
    if (!input.name || input.disabled || input.type === "file") continue;
    if ((input.type === "checkbox" || input.type === "radio") && !input.checked) continue;
    const value = typed(input);
    if (value === "") continue;
    if ("list" in input.dataset) {
      (body[input.name] ??= []).push(value);
      continue;
    }
    const path = input.name.split(".");
    let place = body;
    path.forEach((step, k) => {
      if (k === path.length - 1) place[step] = value;
      else place = place[step] ??= /^\d+$/.test(path[k + 1]) ? [] : {};
    });
  }
  return body;
}

/** What every recording carries. */
export async function signed(body) {
  const name = await person();
  if (!name) return null;
  return { ...body, person: name, on: Number(sheet().dataset.number || 0), request_id: pressId() };
}

/** After a recording: the newer state, or what stood in the way. */
export async function settle(form, answer) {
  if (answer.ok) {
    if (answer.data.number) sheet().dataset.number = answer.data.number;
    complain(form, null);
    clear("newer");
    return true;
  }
  if (answer.status === 409 && answer.data.newer) {
    await renew();
    notice("newer", say("newer")); // not in the form: that has been drawn anew
    return false;
  }
  if (isUnsteady(answer)) {
    // Nothing that was typed is wrong, so no field is marked: it is a matter of waiting.
    complain(form, { error: `${answer.data.error}. ${say("wait-steady")}` });
    return false;
  }
  complain(form, answer.isKept ? null : answer.data); // what is kept is shown by box.js
  return false;
}

const isUnsteady = (answer) => answer.status === 409 && answer.data.field === "counts";

/** Before a stage is done: what is typed and not recorded, and what is open, is named once; a second press goes on. */
function isLeavingSomething(form) {
  const fields = unrecorded().join(", ");
  const what = form.dataset.open;
  const told = [fields && say("left-typed", { fields }), what && say("left-open", { what })].filter(Boolean).join(" ");
  if (!told || form.dataset.told === told) return false;
  form.dataset.told = told;
  complain(form, { error: told });
  return true;
}

export async function send(form, extra = {}) {
  if (form.dataset.busy === "true") return;
  const plainBody = { ...bodyOf(form), ...extra };
  if (form.dataset.needs && !(form.dataset.needs in plainBody)) {
    complain(form, { error: say("nothing-typed") });
    return;
  }
  if ("finishes" in form.dataset && isLeavingSomething(form)) return;
  const body = "anonymous" in form.dataset ? plainBody : await signed(plainBody);
  if (!body) return;
  if (form.dataset.absolute) delete body.on;
  const url = form.dataset.absolute ?? sheet().dataset.api + form.dataset.url;
  busy(form, true);
  try {
    const answer = await record(form.dataset.method ?? "POST", url, body, form);
    offerAnyway(form, answer);
    if (!(await settle(form, answer))) return;
    forget(form);
    signal("recorded");
    if ("nextJob" in form.dataset) location.assign(`/jobs/${encodeURIComponent(answer.data.job.job)}`);
    else if ("stays" in form.dataset && location.pathname !== "/pair") location.reload();
    else if (form.dataset.next) location.assign(form.dataset.next);
    else await renew();
  } finally {
    busy(form, false);
  }
}

/** A reading that is not steady may be recorded all the same, as what it is. */
export function offerAnyway(form, answer) {
  const row = form.querySelector(".anyway");
  if (row) row.hidden = !isUnsteady(answer);
}

async function photo(form) {
  const name = await person();
  if (!name) return;
  const data = new FormData(form);
  const own = {
    person: name,
    on: sheet().dataset.number,
    request_id: pressId(),
    stage: sheet().dataset.stage,
  };
  for (const [key, value] of Object.entries(own)) data.set(key, value);
  busy(form, true);
  try {
    const answer = await request("POST", sheet().dataset.api + form.dataset.url, data);
    if (await settle(form, answer)) await renew();
  } catch (error) {
    if (!(error instanceof Unreachable)) throw error;
    complain(form, { error: say("offline") });
  } finally {
    busy(form, false);
  }
}

async function mount(form) {
  const file = form.querySelector('input[type="file"]');
  const shas = [];
  if (file?.files.length) {
    const name = await person();
    if (!name) return;
    const data = new FormData();
    const own = {
      file: file.files[0],
      person: name,
      on: sheet().dataset.number,
      request_id: pressId(),
      stage: "Mount",
      item: form.dataset.item,
    };
    for (const [key, value] of Object.entries(own)) data.set(key, value);
    if (form.dataset.tank) data.set("tank_id", form.dataset.tank);
    try {
      const answer = await request("POST", `${sheet().dataset.api}/photos`, data);
      if (!(await settle(form, answer))) return;
      shas.push(...answer.data.job.photos.slice(-1).map((p) => p.sha256));
    } catch (error) {
      if (!(error instanceof Unreachable)) throw error;
      complain(form, { error: say("offline") });
      return;
    }
  }
  await send(form, shas.length ? { photo_sha256: shas } : {});
}

/** Whether the same press waits to be sent already: a second one would only be refused later. */
export function isWaiting(url, place, button) {
  const error = oneWaits(url, button);
  if (error) complain(place, { error });
  return error !== "";
}

async function askAndPost(button) {
  const url = sheet().dataset.api + button.dataset.post;
  const place = button.closest("section, div");
  if (isWaiting(url, place, button)) return;
  const why = await reason(button.dataset.ask);
  if (why === null) return;
  const body = await signed({ ...JSON.parse(button.dataset.body ?? "{}"), reason: why });
  if (!body) return;
  const answer = await record("POST", url, body, button);
  if (await settle(place, answer)) await renew();
}

async function pairing(form) {
  const answer = await request("POST", "/api/pairing", {});
  if (!answer.ok) {
    complain(form, answer.data);
    return;
  }
  const picture = new DOMParser().parseFromString(answer.data.qr_svg, "image/svg+xml").documentElement;
  form.querySelector('[data-part="qr"]').replaceChildren(document.adoptNode(picture));
  form.querySelector('[data-part="url"]').textContent = answer.data.url;
  form.querySelector('[data-part="code"]').hidden = false;
}

async function takeIn(form) {
  busy(form, true);
  try {
    const answer = await request(
      "POST",
      "/api/jobs/import",
      form.querySelector('input[type="file"]').files[0],
    );
    if (answer.ok) location.assign(`/jobs/${encodeURIComponent(answer.data.job)}`);
    else complain(form, answer.data);
  } catch (error) {
    if (!(error instanceof Unreachable)) throw error;
    complain(form, { error: say("offline") });
  } finally {
    busy(form, false);
  }
}

Object.assign(handlers, { send, photo, mount, pairing, import: takeIn });

/** Buttons outside of forms. */
export function click(event) {
  const button = event.target.closest("button");
  if (!button) return;
  if (button.dataset.post) askAndPost(button);
  if (button.dataset.take) {
    const reading = liveReading(button.dataset.tank);
    const field = button.closest("form").elements[button.dataset.take];
    if (reading) field.value = plain(reading.mean_counts ?? reading.counts, 1).replaceAll("\u202f", "");
    else complain(button.closest("form"), { error: say("not-live") });
  }
  if (button.dataset.do === "anyway" && button.closest("form").dataset.form === "send") {
    send(button.closest("form"), { is_unsteady_kept: true });
  }
}
