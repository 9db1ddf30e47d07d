// Keeps the page itself, one version at a time.  Answers of the service are kept by the page (js/api.js), which
// marks their age; streams and questions pass through here untouched.
const VERSION = "PAGE_VERSION";
const FILES = "PAGE_FILES";
const SHELF = `noonframe-page-${VERSION}`;
const PATIENCE_MS = 1500;
const HOW = { ignoreSearch: true, ignoreVary: true };

self.addEventListener("install", (event) => {
  event.waitUntil(
    caches.open(SHELF)
      .then((shelf) => shelf.addAll(["./", "./app.webmanifest", ...FILES]))
      .then(() => self.skipWaiting()),
  );
});

self.addEventListener("activate", (event) => {
  event.waitUntil((async () => {
    for (const name of await caches.keys()) {
      if (name.startsWith("noonframe-page-") && name !== SHELF) await caches.delete(name);
    }
    await self.clients.claim();
  })());
});

async function pageSoon(request) {
  const kept = await caches.match("./", HOW);
  if (!kept) return fetch(request);
  const late = new Promise((resolve) => setTimeout(resolve, PATIENCE_MS, kept));
  const fresh = fetch(request).then((answer) => (answer.ok ? answer : kept), () => kept);
  return Promise.race([fresh, late]);
}

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const url = new URL(request.url);
  if (request.method !== "GET" || url.origin !== self.location.origin) return;
  if (request.mode === "navigate") {
    if (url.pathname === new URL("./", self.location).pathname) event.respondWith(pageSoon(request));
    return;
  }
  if (url.pathname.includes("/page/") || url.pathname.endsWith("/app.webmanifest")) {
    event.respondWith(caches.match(request, HOW).then((kept) => kept ?? fetch(request)));
  }
});
