// The box in which what could not be sent waits: one of each form, sent once each and in order.

import { pressId, request, Unreachable } from "./api.js";
import { plain, say } from "./say.js";
import { draftKey, keep } from "./sheet.js";

const BOX = "gw-outbox";
const SEEN = "gw-seen|";
const PAUSE_MS = 3000;
const MOST_FIGURES = 4;

/** What stands beside a job and changes nothing that others build on. */
const BESIDE = new Set(["note_added", "photo_added"]);

/** What waits, oldest first. */
export function waiting() {
  return JSON.parse(localStorage.getItem(BOX) ?? "[]");
}

function store(items) {
  localStorage.setItem(BOX, JSON.stringify(items));
  document.dispatchEvent(new Event("outbox"));
}

/** Call a function when what waits has changed, in this tab or in another. */
export function onOutbox(hook) {
  document.addEventListener("outbox", hook);
  window.addEventListener("storage", (event) => {
    if (event.key === BOX || event.key === null) hook();
  });
}

/** The address of an item's job, as its sheet has it; "" for what belongs to none. */
export const jobOf = (item) => /^\/api\/jobs\/[^/]+/.exec(item.url)?.[0] ?? "";

const isSame = (one, other) => one.body.request_id === other.body.request_id;
const keyOf = (url, place) => url + (place?.dataset.fixed ?? place?.dataset.body ?? "");

/** Whether an item was pressed in this form. */
export const isOf = (item, form) => draftKey(form) === item.draft && keyOf(item.url, form) === item.key;

/** What the page says of a second press while the first one waits; "" if none does. */
export function oneWaits(url, place) {
  const item = waiting().find((each) => (each.key ?? each.url) === keyOf(url, place));
  return item ? say("one-waits", { what: item.what ?? "" }) : "";
}

let lookAtProbe = () => null;

/** How the live reading on the screen is asked for at the moment of a press. */
export function onPress(look) {
  lookAtProbe = look;
}

const READS_PROBE = /\/(pours|bench\/(zero|span|repeat)|check-pours|back-office|answers)$/;

/** Whether the server would take the live reading for this: then that of now, not that of later. */
function takesReading(url, body) {
  if (!READS_PROBE.test(url) || (body.counts ?? body.counts_after ?? "") !== "") return false;
  return !url.endsWith("/answers") || body.answer === "repeated";
}

/** Send what was pressed in a form or by a button, or keep it until the book can be reached. */
export async function record(method, url, body, place) {
  const told = oneWaits(url, place);
  if (told) return refusal(told);
  const key = keyOf(url, place);
  const seen = localStorage.getItem(SEEN + key);
  const sent = seen === null ? body : { ...body, on: Number(seen) };
  const shown = takesReading(url, body) ? lookAtProbe() : null;
  const typedAt = new Date().toISOString();
  const answer = await answered(method, url, sent);
  if (answer) {
    localStorage.removeItem(SEEN + key);
    if (answer.ok && waiting().length) store(raised(waiting(), { url, body: sent }, lastOf(answer)));
    return answer;
  }
  if (!sent.request_id) return refusal(say("offline-now"));
  let kept = sent;
  if (takesReading(url, body)) {
    // Whatever the probe reads when the line is back is not what was seen now.
    if (!shown || url.endsWith("/answers")) return refusal(say("need-counts"), "counts");
    kept = { ...sent, typed_at: typedAt, shown };
  }
  localStorage.removeItem(SEEN + key);
  const item = { method, url, body: kept, key, what: figures(place, shown), page: location.href, title: document.title };
  if (place.matches("form")) {
    keep(place);
    item.draft = draftKey(place);
    item.typed = localStorage.getItem(item.draft);
  }
  store([...waiting(), item]);
  return { ...refusal(say("waiting-to-send")), isKept: true };
}

const refusal = (error, field = null) => ({ ok: false, status: 0, data: { error, field } });

/** The answer to a request; null where none came, or the book itself could not be reached. */
async function answered(method, url, body) {
  try {
    const answer = await request(method, url, body);
    return answer.status >= 500 && !document.querySelector("[data-read-only]") ? null : answer;
  } catch (error) {
    if (!(error instanceof Unreachable)) throw error;
    return null;
  }
}

/** What was pressed, in the words and figures that stood on the screen. */
function figures(place, shown) {
  const all = [...(place.elements ?? [])].filter(
    (input) => input.name && !["hidden", "file", "checkbox", "radio"].includes(input.type) && input.value.trim(),
  );
  const said = all.slice(0, MOST_FIGURES).map((input) => {
    const label = input.labels?.[0]?.firstChild?.textContent.trim() ?? input.name;
    return [label, input.selectedOptions?.[0]?.textContent ?? input.value.trim(), input.dataset.unit].filter(Boolean).join(" ");
  });
  if (all.length > MOST_FIGURES) said.push("…");
  const button = place.matches("button") ? place : place.querySelector("button");
  if (!said.length) said.push(button.textContent.trim());
  if (shown) said.push(say("shown-counts", { counts: plain(shown.counts) }));
  return said.join("; ");
}

const lastOf = (answer) => answer.data.entries?.at(-1)?.number;

/** Items with those of the same job, pressed on the same sheet as one, built on a later entry. */
function raised(items, from, number) {
  if (!number) return items;
  return items.map((each) =>
    jobOf(each) === jobOf(from) && each.body.on === from.body.on ? { ...each, body: { ...each.body, on: number } } : each,
  );
}

/** The first that may be sent: what was pressed after one that was refused waits behind it. */
function next() {
  const stopped = new Set();
  for (const item of waiting()) {
    const job = jobOf(item);
    if (!item.refused && !stopped.has(job)) return item;
    if (job) stopped.add(job);
  }
  return null;
}

let isFlushing = false;
let pausedUntil = 0;

/** Whether something can be sent now. */
export const isDue = () => !isFlushing && performance.now() >= pausedUntil && next() !== null;

/** Send what waits; gives how many were taken and how many refused. What is refused stays. */
export async function flush() {
  const found = { taken: 0, refused: 0 };
  if (!isDue()) return found;
  isFlushing = true;
  try {
    for (let item = next(); item; item = next()) {
      const answer = await request(item.method, item.url, item.body);
      if (answer.status >= 500 || answer.status === 401) {
        pausedUntil = performance.now() + PAUSE_MS; // a device not paired now may be again
        break;
      }
      if (answer.ok) {
        found.taken += 1;
        taken(item, answer);
      } else if (answer.data.newer?.every((entry) => BESIDE.has(entry.kind))) {
        store(raised(waiting(), item, answer.data.number));
      } else {
        found.refused += 1;
        const { error, field } = answer.data;
        const isIt = (each) => isSame(each, item) && each.body.on === item.body.on;
        store(waiting().map((each) => (isIt(each) ? { ...each, refused: { error, field } } : each)));
      }
    }
  } catch (error) {
    if (!(error instanceof Unreachable)) throw error;
  } finally {
    isFlushing = false;
  }
  return found;
}

/** It is in the book: what was typed since into its form stays. */
function taken(item, answer) {
  const others = waiting().filter((each) => !isSame(each, item));
  store(raised(others, item, lastOf(answer)));
  if (item.draft && localStorage.getItem(item.draft) === item.typed) localStorage.removeItem(item.draft);
}

/** Have one that was refused sent again, now that a person has seen the job up to an entry. */
export function sendAgain(item, number) {
  const again = (each) => {
    const body = { ...each.body, on: number };
    return isSame(each, item) ? { ...each, body: { ...body, request_id: pressId() }, refused: undefined } : { ...each, body };
  };
  store(waiting().map((each) => (jobOf(each) === jobOf(item) ? again(each) : each)));
}

/** Whether the fields of an item's form are free for its figures, or hold them still. */
export function isFree(item) {
  return Boolean(item.typed) && [null, item.typed].includes(localStorage.getItem(item.draft));
}

/** Take one out of the box; its figures go back into its form's fields where those are free. */
export function takeBack(item) {
  if (isFlushing) return false;
  if (isFree(item)) localStorage.setItem(item.draft, item.typed);
  // It may be in the book, its answer lost: the next press builds on what was seen at this one.
  if (!item.refused && item.body.on !== undefined) localStorage.setItem(SEEN + item.key, item.body.on);
  store(waiting().filter((each) => !isSame(each, item)));
  return true;
}
