// Keeps the pages last seen, so that a reload without a line does not lose them.
//
// A service worker: it runs beside the pages, and only where the browser trusts the address
// (this computer, or https).  The server is always asked first.  What is kept is shown only when
// it cannot be reached, with the time at which it was kept; the API is never kept at all.  A file
// that never changes is asked for once: its path holds the version of the program.

const PAGES = "gw-pages-1";
const FILES = "gw-files-1";
const PHOTOS = "gw-photos-1";
const KEPT_AT = "x-kept-at";
const NO_LINE = "/no-line";
const WAIT_MS = 4000;
const DOWN_FOR_MS = 10000;
const MOST_PAGES = 60;
const MOST_FILES = 200;
const MOST_PHOTOS = 150;

let failedAt = -Infinity;
const trims = new Map();

self.addEventListener("install", (event) => {
  self.skipWaiting();
  event.waitUntil(keepPage(new Request(NO_LINE)).catch(() => {}));
});

self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

// The first page was loaded before there was anybody to keep it: it says what it is made of.
self.addEventListener("message", (event) => {
  const { page, files } = event.data;
  const work = [keepPage(new Request(page, { headers: { Accept: "text/html" } }))];
  for (const name of files) work.push(file(new Request(name), new URL(name)));
  event.waitUntil(Promise.allSettled(work).then(() => event.source?.postMessage("kept")));
});

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const url = new URL(request.url);
  if (request.method !== "GET" || url.origin !== self.location.origin) return;
  if (url.pathname.startsWith("/static/") || url.pathname.startsWith("/photos/")) {
    event.respondWith(file(request, url));
  } else if (request.mode === "navigate" && isPage(url)) event.respondWith(page(request));
  else if (isPage(url) && request.headers.get("accept") === "text/html") {
    event.respondWith(keepPage(request)); // a sheet drawn anew; without a line the old one stays
  }
});

const isPage = (url) => url.pathname === "/" || url.pathname === NO_LINE || url.pathname.startsWith("/jobs/");

async function page(request) {
  try {
    return await within(keepPage(request), await caches.match(request.url, { cacheName: PAGES }));
  } catch {
    const cache = await caches.open(PAGES);
    return (await shown(await cache.match(request.url))) ?? (await shown(await cache.match(NO_LINE))) ?? Response.error();
  }
}

async function file(request, url) {
  const store = url.pathname.startsWith("/photos/") ? PHOTOS : FILES;
  const known = await caches.match(request.url, { cacheName: store });
  if (known && (isForGood(known) || Date.now() - failedAt < DOWN_FOR_MS)) return known;
  try {
    return await within(keepFile(request, store), known);
  } catch (error) {
    const near = known ?? (await nearest(url));
    if (near) return near;
    throw error;
  }
}

const isForGood = (answer) => answer.headers.get("cache-control")?.includes("immutable");
const named = (url) => url.pathname.replace(/^\/static\/v-[^/]*/, "/static");

/** A page of an older day may want a file of which only the newer one was kept. */
async function nearest(wanted) {
  const cache = await caches.open(FILES);
  const others = (await cache.keys()).filter((each) => named(new URL(each.url)) === named(wanted));
  return others.length ? cache.match(others.at(-1)) : null;
}

/** Wait for the server; not for ever if there is something kept to show instead. */
async function within(answer, known) {
  if (!known) return noted(answer);
  const late = new Promise((_, refuse) => setTimeout(() => refuse(new Error("no answer")), WAIT_MS));
  return noted(Promise.race([answer, late]));
}

async function noted(answer) {
  try {
    const found = await answer;
    failedAt = -Infinity;
    return found;
  } catch (error) {
    failedAt = Date.now();
    throw error;
  }
}

/** Ask the server for a page and keep it; a device that is no longer let in keeps nothing. */
async function keepPage(request) {
  const answer = await fetch(request);
  if (answer.status === 401) await forgetPages();
  const isHtml = answer.headers.get("content-type")?.startsWith("text/html");
  if (answer.status !== 200 || answer.redirected || !isHtml) return answer;
  const text = (await answer.clone().text()).replace(/(<meta name="csrf" content=")[^"]*/, "$1");
  const headers = new Headers(answer.headers);
  headers.set(KEPT_AT, String(Date.now()));
  await put(PAGES, request.url, new Response(text, { headers }), MOST_PAGES);
  return answer;
}

async function forgetPages() {
  const cache = await caches.open(PAGES);
  for (const each of await cache.keys()) {
    if (new URL(each.url).pathname !== NO_LINE) await cache.delete(each);
  }
}

async function keepFile(request, store) {
  const answer = await fetch(request);
  if (answer.status === 200) await put(store, request.url, answer.clone(), store === FILES ? MOST_FILES : MOST_PHOTOS);
  return answer;
}

/** Keep one, as the newest, and let go of the oldest. */
async function put(name, url, answer, most) {
  const cache = await caches.open(name);
  await cache.delete(url);
  await cache.put(url, answer);
  // Of many that come at once, as the files of a page do, the first to stand looks for all.
  if (!trims.has(name)) trims.set(name, trim(cache, most).finally(() => trims.delete(name)));
  await trims.get(name);
}

async function trim(cache, most) {
  const all = await cache.keys();
  const old = all.filter((each) => new URL(each.url).pathname !== NO_LINE).slice(0, Math.max(all.length - most, 0));
  for (const each of old) await cache.delete(each);
}

/** A kept page with the time at which it was kept written into it. */
async function shown(kept) {
  if (!kept) return null;
  const at = kept.headers.get(KEPT_AT);
  const text = (await kept.text()).replace("<html ", `<html data-kept-at="${at}" `);
  return new Response(text, { headers: kept.headers });
}
