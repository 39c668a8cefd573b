// What lies on the device: the page's exact version, a newer one that waits, room for readings.
import { byId, facts, setText, single } from "./dom.js";
import { onScreen } from "./shell.js";
import { persist } from "./store.js";

let changing = false;
let deviceLine = {};

const workerFile = "service-worker.js";
const canStay = () => "serviceWorker" in navigator && window.isSecureContext && !single();

function waiting(registration) {
  const bar = byId("bar-version");
  bar.hidden = !(registration.waiting && navigator.serviceWorker.controller);
}

function watch(registration) {
  waiting(registration);
  registration.addEventListener("updatefound", () => {
    registration.installing?.addEventListener("statechange", () => { waiting(registration); showDevice(); });
  });
  byId("change-over").addEventListener("click", () => {
    changing = true;
    registration.waiting?.postMessage({ changeOver: true });
  });
  document.addEventListener("visibilitychange", () => {
    if (document.visibilityState === "visible") registration.update().catch(() => {});
  });
}

// stored asks the service worker whether each of its files lies in the device.
async function stored() {
  if (single()) return "this one file, wherever it lies; no network is needed";
  if (!canStay()) return "no: opened like this, the page needs its host each time";
  const worker = navigator.serviceWorker.controller ?? (await navigator.serviceWorker.getRegistration())?.active;
  if (!worker) return "not yet: keep the page open with the network on";
  const { port1, port2 } = new MessageChannel();
  const answer = new Promise((resolve) => {
    port1.onmessage = ({ data }) => resolve(data);
    setTimeout(() => resolve(null), 3000);
  });
  worker.postMessage({ stored: true }, [port2]);
  const told = await answer;
  if (!told) return "not known: open the page again with the network on";
  return told.missing.length ? "not wholly: open the page again with the network on" : "yes, version " + told.version;
}

export async function showDevice() {
  deviceLine.stored = await stored();
  const lasting = await persist();
  const place = single() || !window.isSecureContext ? "by hand: opened like this, the page has no place from the device" : "from the device or by hand";
  facts(byId("device-facts"), [
    ["works without network", deviceLine.stored],
    ["readings and settings", lasting ? "stay until you remove them" : "stay, but the device may empty them when short of room or after a week unused: hand readings over"],
    ["place", place], ["clock", new Date().toString().replace(/ \(.*/, "")], ["version", deviceLine.version],
  ]);
}

export function showVersion(version) {
  deviceLine.version = version;
  setText(byId("version-shown"), "shadowread " + version);
}

export function startInstalled() {
  onScreen("settings", showDevice);
  byId("reload").addEventListener("click", () => location.reload());
  if (!canStay()) return;
  const had = Boolean(navigator.serviceWorker.controller);
  navigator.serviceWorker.addEventListener("controllerchange", () => {
    if (changing) location.reload();
    else if (had) byId("bar-reload").hidden = false;
  });
  navigator.serviceWorker.register(workerFile, { updateViaCache: "none" }).then(watch, () => {});
}
