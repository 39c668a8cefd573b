// Holds one exact version of the page on the device. The version and the files are written
// in by shadowread page.
const version = "@VERSION@";
const files = ["@FILES@"];

// One host may hold several pages, each in a folder of its own.
const ours = "shadowread " + new URL(self.registration.scope).pathname + " ";
const cacheName = ours + version;
const start = "./";

const addressOf = (name) => new URL(name === "index.html" ? start : name, self.registration.scope).href;

// A response that came by a redirect is refused for a navigation: it is made anew.
async function clean(response) {
  if (!response.redirected) return response;
  return new Response(await response.blob(), { status: 200, headers: { "Content-Type": response.headers.get("Content-Type") ?? "text/html" } });
}

async function fetchAll() {
  const cache = await caches.open(cacheName);
  await Promise.all(files.map(async (name) => {
    const response = await fetch(addressOf(name), { cache: "reload" });
    if (!response.ok) throw new Error(name + ": " + response.status);
    await cache.put(addressOf(name), await clean(response));
  }));
}

async function dropOthers() {
  for (const name of await caches.keys()) {
    if (name.startsWith(ours) && name !== cacheName) await caches.delete(name);
  }
  await self.clients.claim();
}

async function answer(request) {
  const cache = await caches.open(cacheName);
  const here = new URL(self.registration.scope), address = new URL(request.url);
  const index = address.pathname === here.pathname || address.pathname === here.pathname + "index.html";
  const found = await cache.match(index ? start : request, { ignoreSearch: true });
  return found ?? fetch(request);
}

async function missing() {
  const cache = await caches.open(cacheName);
  const found = await Promise.all(files.map((name) => cache.match(addressOf(name))));
  return files.filter((_, i) => !found[i]);
}

// A new version waits until somebody asks for it: no page changes under way.
self.addEventListener("install", (event) => event.waitUntil(fetchAll()));
self.addEventListener("activate", (event) => event.waitUntil(dropOthers()));
self.addEventListener("message", (event) => {
  if (event.data?.changeOver) self.skipWaiting();
  if (event.data?.stored) event.waitUntil(missing().then((names) => event.ports[0].postMessage({ version, missing: names })));
});
self.addEventListener("fetch", (event) => {
  if (event.request.method !== "GET" || !event.request.url.startsWith(self.registration.scope)) return;
  event.respondWith(answer(event.request));
});
