// Keeps the tasting pages at hand where the bench speaks https. The network comes first: what is kept is shown only when
// the bench does not answer. It keeps pages and their files, never an answer with sheets; the queue lives in the page.
"use strict";

const KEPT = "evenhand-taste-1";
const PATIENCE_MS = 5000;

const isPage = (request, address) => request.mode === "navigate" && address.pathname.startsWith("/taste/");
const isFile = (address) => address.pathname.startsWith("/static/");

self.addEventListener("install", () => self.skipWaiting());

self.addEventListener("activate", (event) => {
  event.waitUntil(
    (async () => {
      for (const name of await caches.keys()) if (name !== KEPT) await caches.delete(name);
      await self.clients.claim();
    })(),
  );
});

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const address = new URL(request.url);
  if (request.method !== "GET" || address.origin !== location.origin) return;
  if (isPage(request, address) || isFile(address)) event.respondWith(answer(request, address));
});

async function answer(request, address) {
  const kept = await caches.open(KEPT);
  const key = address.origin + address.pathname; // one page a table, whichever cup it opens with
  try {
    const found = await fetch(request, { signal: AbortSignal.timeout(PATIENCE_MS) });
    if (found.status === 200 && !found.redirected) await kept.put(key, found.clone());
    // Led to the log-in: the next person on this phone sees nobody's pages.
    else if (isPage(request, address) && (found.redirected || found.type === "opaqueredirect")) await forgetPages(kept);
    return found;
  } catch (error) {
    const found = await kept.match(key);
    if (found) return found;
    throw error;
  }
}

async function forgetPages(kept) {
  for (const one of await kept.keys()) if (!isFile(new URL(one.url))) await kept.delete(one);
}
