// The page for photos without a line: kept when it was last opened in reach of the shop, given when the shop is not.
const KEPT = "jartest-1";
const mine = (url) => url.pathname.endsWith("/pocket.js") || url.searchParams.has("pocket");

self.addEventListener("install", (event) => {
  event.waitUntil(caches.open(KEPT).then((c) => c.add("pocket.js")).then(() => self.skipWaiting()));
});
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));
self.addEventListener("fetch", (event) => {
  const url = new URL(event.request.url);
  if (event.request.method !== "GET" || !mine(url)) return;
  event.respondWith(
    (async () => {
      const shelf = await caches.open(KEPT);
      try {
        const fresh = await fetch(event.request);
        if (fresh.ok) await shelf.put(event.request.url, fresh.clone());
        return fresh;
      } catch (error) {
        const before = await shelf.match(event.request.url, { ignoreVary: true });
        if (before) return before;
        throw error;
      }
    })(),
  );
});
