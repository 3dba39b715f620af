// Requests to the server.

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
