// What lies on the device: the page's exact version, a newer one that waits, room for readings.
import { byId, facts, setText, single } from "./dom.js";
import { onScreen } from "./shell.js";
import { persist } from "./store.js";

let programVersion = "";

const workerFile = "service-worker.js";
const canStay = () => "serviceWorker" in navigator && window.isSecureContext && !single();

// tell hands a question to the service worker; null where there is none, undefined where it
// does not answer: it may be replaced at any time, and its questions are lost then.
async function tell(question) {
  const worker = navigator.serviceWorker.controller ?? (await navigator.serviceWorker.getRegistration())?.active;
  if (!worker) return null;
  const { port1, port2 } = new MessageChannel();
  const told = new Promise((resolve) => {
    port1.onmessage = ({ data }) => resolve(data);
    setTimeout(resolve, 5000);
  });
  worker.postMessage(question, [port2]);
  return told;
}

let looked = 0; // how often

// lookForNewer shows what the last question was answered: one of before may be answered later,
// by a service worker of before.
async function lookForNewer() {
  const look = ++looked;
  let state;
  for (let tries = 0; tries < 5 && state === undefined && look === looked; tries++) state = await tell({ state: true });
  if (state && look === looked) byId("bar-version").hidden = !state.newer;
}

async function changeOver() {
  byId("change-over").disabled = true;
  if (await tell({ changeOver: true })) location.reload();
  else byId("change-over").disabled = false;
}

function watch(registration) {
  lookForNewer();
  // A newer service worker comes with the newer version's files; the page stays what it is.
  navigator.serviceWorker.addEventListener("controllerchange", lookForNewer);
  navigator.serviceWorker.addEventListener("message", ({ data }) => {
    if (data?.changedOver) byId("bar-reload").hidden = false;
  });
  document.addEventListener("visibilitychange", () => {
    if (document.visibilityState === "visible") registration.update().catch(() => {});
  });
}

async function stored() {
  if (single()) return "this one file, wherever it lies; no network is needed";
  if (!canStay()) return "no: opened like this, the page needs its host each time";
  const state = await tell({ state: true });
  if (!state) return "not yet: keep the page open with the network on";
  return state.whole ? "yes, version " + state.version : "not wholly: open the page again with the network on";
}

async function showDevice() {
  const lasting = await persist();
  const place = single() || !window.isSecureContext ? "by hand: opened like this, the page has no place from the device" : "from the device or by hand";
  facts(byId("device-facts"), [
    ["works without network", await stored()],
    ["readings and settings", lasting ? "stay until you remove them" : "stay, but the device may empty them when short of room or after a week unused: hand readings over"],
    ["place", place], ["clock", new Date().toString().replace(/ \(.*/, "")], ["program", programVersion],
  ]);
}

export function showVersion(version) {
  programVersion = version;
  setText(byId("version-shown"), "shadowread " + version);
}

export function startInstalled() {
  onScreen("settings", showDevice);
  byId("reload").addEventListener("click", () => location.reload());
  byId("change-over").addEventListener("click", changeOver);
  if (!canStay()) return;
  navigator.serviceWorker.register(workerFile, { updateViaCache: "none" }).then(watch, () => {});
  navigator.serviceWorker.ready.then(() => { if (!byId("screen-settings").hidden) showDevice(); });
}
