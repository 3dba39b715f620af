// A page that was kept on this device: marked as such, with its age, until the line is back.

import { age, say } from "./say.js";

const ASK_EVERY_MS = 3000;
const KEEPER = "/keeper.js";

const root = document.documentElement;

/** Whether this page comes from this device and not from the server. */
export const isKept = () => "keptAt" in root.dataset;

/** Take the mark away: the sheet has been drawn anew from the server. */
export function unmark() {
  delete root.dataset.keptAt;
  document.getElementById("kept")?.remove();
}

/** Mark a kept page, and ask for the server until it answers; then call `back`. */
export function start(back) {
  keepFromNowOn();
  if (!isKept()) return;
  const others = document.querySelector('[data-part="kept-pages"]');
  if (others) list(others);
  else tell();
  const timer = setInterval(async () => {
    if (!isKept()) {
      clearInterval(timer);
      return;
    }
    if (!others) tell();
    try {
      await fetch("/api/session", { cache: "no-store", signal: AbortSignal.timeout(ASK_EVERY_MS) });
    } catch {
      return; // still no line
    }
    if (others) location.reload();
    else back();
  }, ASK_EVERY_MS);
}

function tell() {
  let mark = document.getElementById("kept");
  if (!mark) {
    mark = document.createElement("p");
    mark.id = "kept";
    mark.className = "banner stop";
    mark.setAttribute("role", "status");
    document.getElementById("notice").before(mark);
  }
  // A clock that was set back makes a page no younger than now.
  const seconds = Math.max(0, (Date.now() - Number(root.dataset.keptAt)) / 1000);
  const text = say("kept-page", { age: age(Math.floor(seconds)) });
  if (mark.textContent !== `⬣ ${text}`) mark.textContent = `⬣ ${text}`;
}

/** Where nothing was kept of a page: what was kept of others. */
async function list(place) {
  const names = (await caches.keys()).filter((name) => name.startsWith("gw-pages"));
  for (const name of names) {
    const cache = await caches.open(name);
    for (const request of (await cache.keys()).reverse()) {
      const url = new URL(request.url);
      if (url.pathname === "/no-line") continue;
      const text = await (await cache.match(request)).text();
      const link = document.createElement("a");
      link.href = url.pathname + url.search;
      link.textContent = new DOMParser().parseFromString(text, "text/html").title;
      const item = document.createElement("li");
      item.append(link);
      place.append(item);
    }
  }
}

/** Have the pages kept, where the browser can; elsewhere ask before one is thrown away. */
async function keepFromNowOn() {
  const workers = navigator.serviceWorker;
  if (!workers || workers.controller) return;
  try {
    await workers.register(KEEPER);
  } catch {
    return; // a private window keeps nothing: there the question before leaving has to do
  }
  const { active } = await workers.ready;
  workers.addEventListener("message", () => (root.dataset.isKeeping = "true"));
  const files = performance
    .getEntriesByType("resource")
    .map((entry) => entry.name)
    .filter((name) => new URL(name).pathname.startsWith("/static/"));
  active.postMessage({ page: location.href, files: [...new Set(files)] });
}

/** Without a keeper a reload would lose the page while the line is down: ask first. */
export function guardLeaving(isDown) {
  window.addEventListener("beforeunload", (event) => {
    if (isDown() && !navigator.serviceWorker?.controller) event.preventDefault();
  });
}
