/* Keeps the stand on this device, so that it opens without signal. It stores the page and the
   files that the page loads, each checked against what the server says of it, and sends no sale:
   the page does that, so that a person sees it. */
"use strict";

const VERSION = {{ version|safe }};
// The SHA-256 of each file.
const SHELL = {{ shell|safe }};
const ROOT = {{ root|safe }};
const STAND = {{ stand|safe }};
const CACHE = `stand-${VERSION}`;
const PATIENCE_MS = {{ patience_ms|safe }};
const INSTALL_PATIENCE_MS = 30000;

// Pages that came newer than what is kept here: their files must come from the server too.
const newerPages = new Set();

/* Fetch an answer and all of its body within a time. */
async function fetchWhole(url, patience, options) {
  const control = new AbortController();
  const timer = setTimeout(() => control.abort(), patience);
  try {
    const answer = await fetch(url, { ...options, signal: control.signal });
    return { answer, bytes: await answer.arrayBuffer() };
  } finally {
    clearTimeout(timer);
  }
}

function rebuilt({ answer, bytes }) {
  const headers = new Headers(answer.headers);
  headers.delete("Content-Encoding");
  headers.delete("Content-Length");
  return new Response(bytes, { status: answer.status, headers });
}

async function digest(bytes) {
  const sum = new Uint8Array(await crypto.subtle.digest("SHA-256", bytes));
  return [...sum].map((byte) => byte.toString(16).padStart(2, "0")).join("");
}

/* ---- the files ---- */

async function keepFile(cache, url) {
  const before = await caches.match(url);
  if (before && (await digest(await before.clone().arrayBuffer())) === SHELL[url]) {
    await cache.put(url, before);
    return;
  }
  // What the browser itself kept may be such a wrong one, and be taken for unchanged.
  const got = await fetchWhole(url, INSTALL_PATIENCE_MS, { cache: "reload" });
  // A portal's page, or a body that was cut off, has another one.
  if (!got.answer.ok || (await digest(got.bytes)) !== SHELL[url]) throw new Error(`Not whole: ${url}`);
  await cache.put(url, rebuilt(got));
}

async function file(event, url) {
  if (newerPages.has(event.clientId)) return fetch(event.request, { cache: "no-cache" });
  const cache = await caches.open(CACHE);
  const page = event.clientId && (await self.clients.get(event.clientId));
  // A browser may not tell whose a page is that still loads.
  if (!page) return fetch(event.request).catch(() => cache.match(url));
  // On all other pages the files are as new as the page.
  if (new URL(page.url).pathname !== STAND) return fetch(event.request);
  return (await cache.match(url)) ?? fetch(event.request);
}

/* ---- the stand page ---- */

function isStandPage({ answer, bytes }) {
  if (!answer.ok || answer.redirected || answer.headers.get("X-Stand") !== "1") return false;
  return new TextDecoder().decode(bytes).trimEnd().endsWith("</html>");
}

/* Whether the house answers with another page: the one to sign in, or that this is not allowed. A
   portal's has no such policy. */
function isOurRefusal({ answer }) {
  const isRefusal = answer.redirected || (answer.status >= 400 && answer.status < 500);
  return isRefusal && answer.headers.has("Content-Security-Policy");
}

const isThisVersion = ({ answer }) => answer.headers.get("X-Stand-Version") === VERSION;

/* The page without who is signed in and who else there is: on a shared device it may be opened when
   another person is. */
function ofNobody({ answer, bytes }) {
  const page = new TextDecoder().decode(bytes);
  const nameless = page.replaceAll(/ data-(people|person)="[^"]*"/g, "");
  return { answer, bytes: new TextEncoder().encode(nameless) };
}

async function keepPage(cache, got) {
  await cache.put(STAND, rebuilt(ofNobody(got)));
}

async function fetchPage(url, patience) {
  // A redirect within the house is followed here, so that one to elsewhere fails.
  return fetchWhole(url, patience, { credentials: "same-origin", mode: "same-origin", cache: "no-store" });
}

async function freshOrKept(event) {
  const cache = await caches.open(CACHE);
  let got = null;
  try {
    got = await fetchPage(event.request.url, PATIENCE_MS);
  } catch {
    return (await cache.match(STAND)) ?? Response.error();
  }
  if (isStandPage(got)) {
    if (isThisVersion(got)) await keepPage(cache, got).catch(() => {});
    else {
      newerPages.add(event.resultingClientId);
      event.waitUntil(self.registration.update().catch(() => {}));
    }
    return rebuilt(got);
  }
  if (isOurRefusal(got)) return got.answer.redirected ? Response.redirect(got.answer.url) : rebuilt(got);
  return (await cache.match(STAND)) ?? rebuilt(got);
}

/* ---- every other page ---- */

async function otherPage(event, pathname) {
  const coming = fetch(event.request);
  // Only the first page is known to be quick: a report may take its time.
  const tooLate = new Promise((_, reject) => {
    if (pathname === ROOT) setTimeout(reject, PATIENCE_MS);
  });
  try {
    return await Promise.race([coming, tooLate]);
  } catch {
    const isKept = await (await caches.open(CACHE)).match(STAND);
    return isKept ? Response.redirect(STAND) : coming;
  }
}

/* ---- when ---- */

/* Keep the page and its files; those that are here and whole are not fetched again. */
async function install() {
  const cache = await caches.open(CACHE);
  await Promise.all(Object.keys(SHELL).map((url) => keepFile(cache, url)));
  const got = await fetchPage(STAND, INSTALL_PATIENCE_MS);
  if (!isStandPage(got) || !isThisVersion(got)) throw new Error("Not the stand page");
  await keepPage(cache, got);
}

async function removeEarlier() {
  for (const name of await caches.keys()) {
    if (name.startsWith("stand-") && name !== CACHE) await caches.delete(name);
  }
  await self.clients.claim();
}

self.addEventListener("install", (event) => event.waitUntil(install()));
self.addEventListener("activate", (event) => event.waitUntil(removeEarlier()));
self.addEventListener("message", (event) => {
  if (event.data === "take over") self.skipWaiting();
  if (event.data === "keep the page") event.waitUntil(install().catch(() => {}));
});

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const url = new URL(request.url);
  if (request.method !== "GET" || url.origin !== self.location.origin) return;
  if (request.mode === "navigate") {
    if (url.pathname === STAND) event.respondWith(freshOrKept(event));
    else event.respondWith(otherPage(event, url.pathname));
  } else if (Object.hasOwn(SHELL, url.pathname)) event.respondWith(file(event, url.pathname));
});
