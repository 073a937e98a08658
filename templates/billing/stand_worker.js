/* Keeps the stand page open without signal. It answers for the stand alone, and sends no sale:
   the page does that, so that a person sees it. */
"use strict";

const CACHE = "stand-2";
const SHELL = {{ shell|safe }};
const SCOPE = {{ scope|safe }};
// After this time, show the stored page instead of waiting for a weak connection.
const PATIENCE_MS = 4000;

async function keep(request, response) {
  // A sign-in page in place of the stand is not worth keeping.
  if (response.ok && !response.redirected && response.type === "basic") {
    const cache = await caches.open(CACHE);
    await cache.put(request, response.clone());
  }
  return response;
}

async function fetchInTime(request) {
  const control = new AbortController();
  const timer = setTimeout(() => control.abort(), PATIENCE_MS);
  try {
    return await fetch(request, { signal: control.signal });
  } finally {
    clearTimeout(timer);
  }
}

async function freshOrKept(request, key) {
  try {
    return await keep(key, await fetchInTime(request));
  } catch (error) {
    const kept = await caches.match(key);
    if (kept) return kept;
    throw error;
  }
}

async function otherPage(request) {
  try {
    return await fetch(request);
  } catch {
    return Response.redirect(SCOPE);
  }
}

self.addEventListener("install", (event) => {
  event.waitUntil(
    Promise.all(SHELL.map(async (url) => keep(url, await fetch(url, { cache: "reload" })))).then(
      () => self.skipWaiting(),
    ),
  );
});

self.addEventListener("activate", (event) => {
  event.waitUntil(
    caches
      .keys()
      .then((names) =>
        Promise.all(
          names
            .filter((name) => name.startsWith("stand-") && name !== CACHE)
            .map((name) => caches.delete(name)),
        ),
      )
      .then(() => self.clients.claim()),
  );
});

self.addEventListener("fetch", (event) => {
  const url = new URL(event.request.url);
  if (event.request.method !== "GET" || url.origin !== self.location.origin) return;
  if (url.pathname === SCOPE) event.respondWith(freshOrKept(event.request, SCOPE));
  else if (SHELL.includes(url.pathname)) event.respondWith(freshOrKept(event.request, url.pathname));
  else if (event.request.mode === "navigate") event.respondWith(otherPage(event.request));
});
