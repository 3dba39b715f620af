// The live reading: one stream for the whole page, never older than it says.

import { isKept } from "./kept.js";
import { clear, notice } from "./notice.js";
import { flush, isDue, onPress, waiting } from "./outbox.js";
import { age, length, plain, say, volume } from "./say.js";
import { isAtRest, renew, sheet } from "./sheet.js";
import { signal } from "./signal.js";

const OLD_AFTER_S = 2;
const GONE_AFTER_S = 3;
const REFUSED_WAIT_S = 3;

const latest = new Map(); // tank → {event, arrived}
const judged = new Map(); // tank → verdict that was signalled last
let stream = null;
let streamUrl = "";
let heard = 0;
let isGone = false;

const now = () => performance.now() / 1000;

/** The reading of a tank if it is live at this moment, else null. */
export function liveReading(tank) {
  const known = latest.get(tank);
  return known && isLive(known) ? known.event : null;
}

onPress(() => {
  const reading = liveReading(sheet().dataset.tank);
  if (!reading) return null;
  return {
    counts: reading.mean_counts ?? reading.counts,
    is_steady: reading.verdict === "steady",
    steadiness: reading.reason ?? "",
    source: reading.source ?? "",
  };
});

const ageOf = (known) => (known.event.age_s ?? 0) + now() - known.arrived;
const isLive = (known) =>
  !isGone && known.event.is_live && known.event.counts !== null && ageOf(known) <= OLD_AFTER_S;

/** Listen to the job of this page. */
export function listen() {
  const api = sheet().dataset.api;
  if (!api) return;
  if (stream && streamUrl === `${api}/live` && stream.readyState !== EventSource.CLOSED) return;
  stream?.close();
  streamUrl = `${api}/live`;
  stream = new EventSource(streamUrl);
  heard ||= now();
  stream.addEventListener("open", back);
  stream.addEventListener("reading", (message) => {
    const event = JSON.parse(message.data);
    heard = now();
    latest.set(event.tank_id, { event, arrived: now() });
    back();
    show(event.tank_id);
  });
  stream.addEventListener("job", grown);
  stream.addEventListener("ping", grown);
  stream.addEventListener("rig", (message) => {
    heard = now();
    const rig = JSON.parse(message.data);
    const place = document.querySelector('[data-part="rig"]');
    if (place) place.textContent = say(rig.is_pouring ? "rig-pouring" : "rig-shows", { litres: volume(rig.shown_l) });
  });
  stream.addEventListener("bye", gone);
}

/** The journal may have grown on another device: then the sheet is drawn anew. */
function grown(message) {
  back();
  const { number } = JSON.parse(message.data);
  if (number > Number(sheet().dataset.number) && isAtRest()) renew();
}

/** Whether the line to the server is down, as far as is known. */
export const isDown = () => isGone;

/** The line is down: nothing is live. */
export function gone() {
  if (isGone) return;
  isGone = true;
  notice("offline", say("offline"));
  for (const tank of latest.keys()) show(tank);
}

let isComingBack = false;

/** The server answers again: send what waited, and draw the sheet anew. */
export async function back() {
  heard = now();
  const wasGone = isGone || isKept();
  isGone = false;
  clear("offline");
  if ((!wasGone && !isDue()) || isComingBack) return;
  isComingBack = true;
  try {
    const { taken, refused } = await flush();
    if (taken && !refused) {
      notice("well", say("sent"));
      signal("recorded");
    } else if (wasGone && !waiting().length) notice("well", say("back"));
    if (taken || wasGone || refused) await renew();
  } finally {
    isComingBack = false;
  }
}

let tried = 0;

/** The stream was refused: ask again now and then, and whether this device is still let in. */
async function reopen() {
  if (now() - tried < REFUSED_WAIT_S) return;
  tried = now();
  listen();
  try {
    const answer = await fetch(sheet().dataset.api, { cache: "no-store" });
    if (answer.status === 401) location.reload(); // the way in again stands there
  } catch {
    // no line: that is told already
  }
}

/** Look twice a second whether what is shown is still true. */
export function watch() {
  setInterval(() => {
    if (!stream) return;
    if (now() - heard > GONE_AFTER_S) gone();
    if (stream.readyState === EventSource.CLOSED) reopen();
    for (const tank of latest.keys()) show(tank);
  }, 250);
  window.addEventListener("offline", gone);
  window.addEventListener("online", () => {
    if (isGone) {
      stream?.close();
      listen();
    }
  });
  document.addEventListener("visibilitychange", () => {
    if (!document.hidden) showAll(); // what was live before the pocket is old now
  });
}

function put(root, part, text) {
  const place = root.querySelector(`[data-part="${part}"]`);
  if (place && place.textContent !== text) place.textContent = text;
}

/** Show again what is known; called when the sheet stands anew. */
export function showAll() {
  listen();
  for (const tank of latest.keys()) show(tank);
}

function show(tank) {
  const known = latest.get(tank);
  const { event } = known;
  const live = isLive(known);
  const counts = live ? event.counts : (event.last_counts ?? event.counts);
  const seconds = ageOf(known);
  for (const root of document.querySelectorAll(`[data-live="${CSS.escape(tank)}"]`)) {
    const hasOne = counts !== null && counts !== undefined;
    root.dataset.state = live ? (event.verdict ?? "too_early") : hasOne ? "old" : "none";
    put(root, "counts", plain(counts, 0));
    put(root, "age", hasOne ? say(live ? "ago" : "old", { age: age(seconds) }) : say("none-yet"));
    put(root, "sign", live ? ({ steady: "■", not_steady: "▲" }[event.verdict] ?? "◌") : hasOne ? "⬣" : "◌");
    put(root, "verdict", say(live ? (event.verdict ?? "too_early") : "not-live"));
    put(root, "reason", live ? reasonOf(event) : "");
    put(root, "noise", live ? noiseOf(event) : "");
    put(root, "litres", live && isNumber(event.litres) ? ` = ${litresOf(event)}` : "");
    put(root, "trouble", event.trouble ? event.trouble.message : "");
    put(root, "trouble-details", event.trouble?.details ?? "");
    const more = root.querySelector('[data-part="trouble-more"]');
    if (more) more.hidden = !event.trouble?.details;
    announce(tank, live, event);
  }
  draw(tank, live, counts);
}

function reasonOf(event) {
  const notes = (event.notes ?? []).map((note) => note.message).join(" ");
  return [event.verdict === "steady" ? "" : (event.reason ?? ""), notes].filter(Boolean).join("; ");
}

const isNumber = (value) => value !== null && value !== undefined;

const litresOf = (event) => volume(event.litres) + (event.u95_l ? `\u00a0±\u00a0${volume(event.u95_l)}` : "");

function noiseOf(event) {
  if (!isNumber(event.noise_counts)) return "";
  const counts = plain(event.noise_counts, 1);
  if (!isNumber(event.noise_l)) return say("noise-counts", { counts });
  return say("noise", { counts, litres: volume(event.noise_l) });
}

function announce(tank, live, event) {
  const verdict = live ? event.verdict : "not-live";
  const before = judged.get(tank);
  if (verdict === before || verdict === null) return;
  judged.set(tank, verdict);
  const place = document.querySelector('[data-part="announce"]');
  if (place && (verdict === "steady" || before === "steady")) place.textContent = say(verdict);
  if (verdict === "steady" && before !== undefined) signal("steady");
}

function draw(tank, live, counts) {
  const pour = document.querySelector(`[data-pour][data-tank="${CSS.escape(tank)}"]`);
  const figure = pour?.querySelector("[data-drawing]");
  if (!figure) return;
  figure.classList.toggle("old", !live);
  if (counts === null || counts === undefined) return;
  for (const svg of figure.querySelectorAll("svg[data-mm-per-count]")) {
    const { scale, countsEmpty, mmPerCount, tipMm } = svg.dataset;
    const wetted = (counts - Number(countsEmpty)) * Number(mmPerCount);
    const level = Number(tipMm) + Math.max(wetted, 0);
    for (const part of svg.querySelectorAll('[data-part="level"]')) {
      part.setAttribute("transform", `translate(0 ${(-level * Number(scale)).toFixed(2)})`);
      part.classList.remove("unknown");
    }
    const words = svg.querySelector(".level-words");
    if (words) words.textContent = wetted < 0 ? say("off-scale") : length(level);
  }
}
