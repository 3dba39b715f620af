// Requests to the server, and the box in which what could not be sent waits.

import { notice } from "./notice.js";
import { say } from "./say.js";

const BOX = "gw-outbox";

/** The server could not be reached: nobody knows yet whether it got the request. */
export class Unreachable extends Error {}

function token() {
  return document.querySelector('meta[name="csrf"]').content;
}

async function freshToken() {
  const answer = await fetch("/api/session", { cache: "no-store" });
  if (!answer.ok) return false;
  document.querySelector('meta[name="csrf"]').content = (await answer.json()).csrf_token;
  return true;
}

/** Send a request; gives {ok, status, data}. Throws Unreachable when no answer came, by then in so many ms. */
export async function request(method, url, body, patience = 0) {
  for (let attempt = 0; ; attempt += 1) {
    const headers = { "X-Csrf-Token": token(), Accept: "application/json" };
    const isFile = body instanceof FormData || body instanceof Blob;
    if (body instanceof Blob) headers["Content-Type"] = "application/zip";
    else if (!isFile) headers["Content-Type"] = "application/json";
    let answer;
    let data;
    try {
      answer = await fetch(url, {
        method,
        headers,
        body: body === undefined || isFile ? body : JSON.stringify(body),
        signal: AbortSignal.timeout(patience || (isFile ? 120000 : 15000)),
      });
      const text = await answer.text();
      data = answer.headers.get("content-type")?.includes("json") ? JSON.parse(text) : { text };
    } catch (error) {
      throw new Unreachable(String(error));
    }
    if (answer.status === 403 && data.field === "csrf" && attempt === 0) {
      try {
        if (await freshToken()) continue;
      } catch (error) {
        throw new Unreachable(String(error));
      }
    }
    return { ok: answer.ok, status: answer.status, data };
  }
}

/** A new name for one press of a button; the same one is sent again when the line was down. */
export function pressId() {
  if (crypto.randomUUID) return crypto.randomUUID();
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 0x0f) | 0x40;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = [...bytes].map((b) => b.toString(16).padStart(2, "0")).join("");
  return `${hex.slice(0, 8)}-${hex.slice(8, 12)}-${hex.slice(12, 16)}-${hex.slice(16, 20)}-${hex.slice(20)}`;
}

/** What waits to be sent, oldest first. */
export function waiting() {
  return JSON.parse(localStorage.getItem(BOX) ?? "[]");
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

function store(items) {
  localStorage.setItem(BOX, JSON.stringify(items));
  document.dispatchEvent(new CustomEvent("outbox", { detail: items.length }));
}

/** Send, or keep it until the server is back. `draft` is what was typed, by its key. */
export async function record(method, url, body, draft = "") {
  const shown = takesReading(url, body) ? lookAtProbe() : null;
  const typedAt = new Date().toISOString();
  try {
    return await request(method, url, body);
  } catch (error) {
    if (!(error instanceof Unreachable)) throw error;
    let kept = body;
    if (takesReading(url, body)) {
      // Whatever the probe reads when the line is back is not what was seen now.
      if (!shown || url.endsWith("/answers")) {
        return { ok: false, status: 0, data: { error: say("need-counts"), field: "counts" } };
      }
      kept = { ...body, typed_at: typedAt, shown };
    }
    store([...waiting(), { method, url, body: kept, draft, page: location.href }]);
    notice("kept", say("waiting-to-send"));
    return { ok: false, status: 0, data: { error: say("waiting-to-send"), field: null }, isKept: true };
  }
}

let isFlushing = false;

/** Send what waits, once each and in order; gives how many were taken and what was refused. */
export async function flush() {
  if (isFlushing || !waiting().length) return { taken: 0, refused: [] };
  isFlushing = true;
  const refused = [];
  let taken = 0;
  try {
    while (waiting().length) {
      const item = waiting()[0];
      const answer = await request(item.method, item.url, item.body);
      if (answer.status >= 500 || answer.status === 401) break; // a device not paired now may be again
      store(waiting().slice(1));
      if (answer.ok) {
        taken += 1;
        localStorage.removeItem(item.draft);
      } else refused.push({ item, answer });
    }
  } catch (error) {
    if (!(error instanceof Unreachable)) throw error;
  } finally {
    isFlushing = false;
  }
  return { taken, refused };
}
