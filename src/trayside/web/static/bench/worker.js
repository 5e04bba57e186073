// Keeps the bench itself on the tablet. Sheets and acts are not its business: they live in the tablet's own store.
// VERSION and KEPT stand above, put there by the yard.
const CACHE = `trayside-bench-${VERSION}`;
const SHELL = "/bench/shell";

self.addEventListener("install", (event) => {
  event.waitUntil((async () => {
    const cache = await caches.open(CACHE);
    // Past the browser's own cache: these must be the files that this version was made of.
    await cache.addAll([SHELL, ...KEPT].map((address) => new Request(address, { cache: "reload" })));
    await self.skipWaiting();
  })());
});

self.addEventListener("activate", (event) => {
  event.waitUntil((async () => {
    for (const name of await caches.keys()) {
      if (name.startsWith("trayside-bench-") && name !== CACHE) await caches.delete(name);
    }
    await self.clients.claim();
  })());
});

const isPage = (path) => path === "/bench" || /^\/bench\/[^/]+\/\d+$/.test(path);

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const address = new URL(request.url);
  if (request.method !== "GET" || address.origin !== self.location.origin) return;
  const kept = request.mode === "navigate" && isPage(address.pathname) ? SHELL : KEPT.includes(address.pathname) ? address.pathname : null;
  if (kept === null) return;
  event.respondWith((async () => {
    const cache = await caches.open(CACHE);
    return (await cache.match(kept)) ?? fetch(request);
  })());
});
