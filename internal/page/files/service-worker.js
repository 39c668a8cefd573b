// Holds one exact version of the page on the device. The version and the files are written
// in by shadowread page.
const version = "@VERSION@";
const files = ["@FILES@"];

// One host may hold several pages, each in a folder of its own.
const here = new URL(self.registration.scope);
const ours = "shadowread " + here.pathname + " ";
const choice = ours + "chosen"; // a cache of one entry: the version that the page is shown in
const start = "./";

const addressOf = (name) => new URL(name === "index.html" ? start : name, here).href;
const cacheOf = (v) => caches.open(ours + "version " + v);

// A response that came by a redirect is refused for a navigation: it is made anew.
async function clean(response) {
  if (!response.redirected) return response;
  return new Response(await response.blob(), { status: 200, headers: { "Content-Type": response.headers.get("Content-Type") ?? "text/html" } });
}

async function fetchAll() {
  const cache = await cacheOf(version);
  await Promise.all(files.map(async (name) => {
    const response = await fetch(addressOf(name), { cache: "reload" });
    if (!response.ok) throw new Error(name + ": " + response.status);
    await cache.put(addressOf(name), await clean(response));
  }));
}

async function chosen() {
  const note = await (await caches.open(choice)).match(here.href);
  return note ? note.text() : null;
}

async function choose(v) {
  await (await caches.open(choice)).put(here.href, new Response(v));
  await drop();
}

// drop removes what is neither shown nor waiting.
async function drop() {
  const keep = [choice, ours + "version " + version, ours + "version " + await chosen()];
  for (const name of await caches.keys()) {
    if (name.startsWith(ours) && !keep.includes(name)) await caches.delete(name);
  }
}

// shown is the version that the page is shown in: a newer one lies beside it until somebody
// asks for it. A browser changes its service worker when it likes, the page not.
async function shown() {
  const v = await chosen();
  return v && await caches.has(ours + "version " + v) ? v : version;
}

async function answer(request) {
  const cache = await cacheOf(await shown());
  const address = new URL(request.url);
  const index = address.pathname === here.pathname || address.pathname === here.pathname + "index.html";
  return await cache.match(index ? here.href : request, { ignoreSearch: true }) ?? fetch(request);
}

// state is what the page asks: which version it is, whether a newer one waits, what is missing.
async function state() {
  const v = await shown(), cache = await cacheOf(v);
  const held = (await cache.keys()).length;
  const whole = v === version ? (await Promise.all(files.map((name) => cache.match(addressOf(name))))).every(Boolean) : held > 0;
  return { version: v, newer: v === version ? null : version, whole };
}

async function changeOver(asker) {
  await choose(version);
  for (const client of await self.clients.matchAll({ includeUncontrolled: true })) {
    if (client.id !== asker) client.postMessage({ changedOver: true });
  }
  return { changedOver: true };
}

async function install() {
  await fetchAll();
  if (!await chosen()) await choose(version);
  await self.skipWaiting(); // it goes on showing the version that was chosen
}

self.addEventListener("install", (event) => event.waitUntil(install()));
self.addEventListener("activate", (event) => event.waitUntil(drop().then(() => self.clients.claim())));
self.addEventListener("message", (event) => {
  const work = event.data?.changeOver ? changeOver(event.source.id) : state();
  event.waitUntil(work.then((told) => event.ports[0].postMessage(told)));
});
self.addEventListener("fetch", (event) => {
  if (event.request.method !== "GET" || !event.request.url.startsWith(here.href)) return;
  event.respondWith(answer(event.request));
});
