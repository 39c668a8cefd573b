// Where the readings are: by the device, by hand, or the place that was used last.
import { byId, show, setText, make, decimal, ageText, faultText, openDialog, markFault, single } from "./dom.js";
import { getValue, setValue } from "./store.js";
import { helm } from "./engine.js";
import { settingsNow, onSettings } from "./settings.js";

let placeHeld = null; // {source, latitude_deg, longitude_deg, sigma_km, taken_ms}
let placeShown = "";
let photosPlace = ""; // by which the photo on the screen Read was read
const placeWatchers = [];

const sources = { device: "by this device", hand: "by hand", last: "last used", settings: "by the log" };
// A place that was said to be here is here for so long; then the vehicle may have moved on,
// and it is but the last one known, which the computing part trusts the less the older it is.
const hereFor = 600; // s
const nearMoment = 60; // s, in which an age need not be said

export function onPlace(work) { placeWatchers.push(work); }

// placeNow is the place as the computing part wants it.
export function placeNow() {
  if (!placeHeld) return null;
  const { taken_ms, accuracy_m, ...place } = placeHeld;
  const age_s = Math.max(0, Math.round((Date.now() - taken_ms) / 1000));
  if (place.source === "hand" && age_s > hereFor) place.source = "last";
  return { ...place, age_s };
}

export function dropPlace() {
  placeHeld = null;
  setValue("last_place", null); // else it is back when the page is opened anew
  refreshPlace();
}

// showPhotosPlace shows, where no place is given, that of the photo that was read; "" for none.
export function showPhotosPlace(text) {
  photosPlace = text;
  refreshPlace();
}

export function placeText() {
  if (!placeHeld) return "not given";
  const seconds = (Date.now() - placeHeld.taken_ms) / 1000;
  const age = placeHeld.source !== "hand" || seconds > nearMoment ? ", " + ageText(seconds) : "";
  const within = placeHeld.accuracy_m ? " ± " + (placeHeld.accuracy_m < 1000 ? Math.ceil(placeHeld.accuracy_m) + " m" : (placeHeld.accuracy_m / 1000).toFixed(1) + " km") : "";
  return placeShown + within + ", " + sources[placeHeld.source] + age;
}

function refreshPlace() {
  const text = placeText();
  for (const e of document.querySelectorAll("[data-place-shown]")) setText(e, text);
  if (!placeHeld && photosPlace) setText(document.querySelector("#screen-read [data-place-shown]"), photosPlace + ", the photo's own");
  setText(byId("place-now"), placeHeld ? "Now: " + text : "No place is given.");
}

async function word() {
  const { answer } = await helm.ask("place", { settings: settingsNow(), place: placeNow() });
  if (!answer.error) placeShown = answer.shown;
  refreshPlace();
}

async function takePlace(place, shown) {
  placeHeld = place;
  placeShown = shown || `${place.latitude_deg.toFixed(4)}, ${place.longitude_deg.toFixed(4)}`;
  if (!shown) word();
  refreshPlace();
  await setValue("last_place", { ...place, shown: placeShown });
  for (const work of placeWatchers) work();
}

const refusals = {
  1: "this page may not ask the device for its place: allow it in the browser's settings for this page, or give the place by hand",
  2: "the device does not know its place now: go into the open and ask again, or give it by hand",
  3: "the device took too long to find its place: ask again, or give it by hand",
};

const placeWithin = 20000; // ms

const noSensor = () => single() || !window.isSecureContext || !navigator.geolocation;

// askDevice resolves to a fault's text, or to "".
export function askDevice() {
  if (noSensor()) return Promise.resolve("a page that was opened from a file, or not by https, has no place from the device: give it by hand");
  return new Promise((resolve) => {
    navigator.geolocation.getCurrentPosition(async ({ coords, timestamp }) => {
      // accuracy holds 95 % in metres (W3C Geolocation); sigma on each axis is 1/2.448 of that radius.
      await takePlace({
        source: "device", latitude_deg: coords.latitude, longitude_deg: coords.longitude,
        sigma_km: Math.max(coords.accuracy, 1) / 2.448 / 1000, accuracy_m: coords.accuracy, taken_ms: Math.min(timestamp, Date.now()),
      });
      resolve("");
    }, (error) => resolve(refusals[error.code] ?? refusals[2]), { enableHighAccuracy: true, timeout: placeWithin, maximumAge: 5000 });
  });
}

// renewPlace asks the device anew where it was asked before; silence is no fault then, since
// the old place tells its age. A browser that asks the person again whether it may waits for
// ever: nothing else may.
export async function renewPlace(olderThanSeconds, asking = () => {}) {
  if (placeHeld?.source !== "device" || placeNow().age_s <= olderThanSeconds) return;
  asking();
  await Promise.race([askDevice(), new Promise((resolve) => { setTimeout(resolve, placeWithin); })]);
}

function handText(axis, sides) {
  const deg = decimal(byId(axis + "-deg").value), min = decimal(byId(axis + "-min").value), side = byId(axis + "-side").value;
  const name = axis === "lat" ? "latitude" : "longitude";
  if (deg === null || Number.isNaN(deg) || deg < 0) return { fault: `the ${name} is no number of degrees: write it as 22.9, or 22 and 54.0 minutes`, field: byId(axis + "-deg") };
  if (Number.isNaN(min) || (min !== null && (min < 0 || min >= 60))) return { fault: `the minutes of the ${name} run from 0 to 60`, field: byId(axis + "-min") };
  if (min !== null && !Number.isInteger(deg)) return { fault: `with minutes, the ${name} has whole degrees`, field: byId(axis + "-deg") };
  if (!sides.includes(side)) return { fault: `say whether the ${name} is ${axis === "lat" ? "north or south" : "east or west"}`, field: byId(axis + "-side") };
  // The text goes on as it was typed: its digits say how well the place is known.
  const typed = (id) => byId(id).value.trim().replace(",", ".");
  return { text: typed(axis + "-deg") + (min === null ? "" : " " + typed(axis + "-min")) + " " + side };
}

async function takeByHand(event) {
  event.preventDefault();
  const line = byId("hand-fault");
  for (const id of ["lat-deg", "lat-min", "lat-side", "lon-deg", "lon-min", "lon-side"]) markFault(byId(id), line, "");
  const lat = handText("lat", ["N", "S"]), lon = handText("lon", ["E", "W"]);
  const bad = lat.fault ? lat : lon.fault ? lon : null;
  if (bad) {
    markFault(bad.field, line, bad.fault);
    bad.field.focus();
    return;
  }
  const { answer } = await helm.ask("place", { settings: settingsNow(), place: { source: "hand", text: lat.text + ", " + lon.text } });
  if (answer.error) {
    show(line, faultText(answer.error));
    return;
  }
  await takePlace({ source: "hand", ...answer.place, taken_ms: Date.now() }, answer.shown);
  byId("place-dialog").close();
}

async function takeByDevice() {
  const button = byId("place-device");
  show(byId("place-fault"), "");
  button.disabled = true;
  setText(button, "asking …");
  const fault = await askDevice();
  button.disabled = false;
  setText(button, "Ask this device");
  show(byId("place-fault"), fault.charAt(0).toUpperCase() + fault.slice(1));
  if (!fault) byId("place-dialog").close();
}

// openPlace resolves when the person has done with it.
export async function openPlace() {
  const last = placeHeld ? null : await getValue("last_place");
  const offer = byId("place-last");
  offer.hidden = !last;
  if (last) setText(offer, "Last used: " + last.shown + ", " + ageText((Date.now() - last.taken_ms) / 1000));
  offer.onclick = () => {
    takePlace({ ...last, source: "last" }, last.shown);
    byId("place-dialog").close();
  };
  const here = byId("place-here");
  here.hidden = !placeHeld || placeNow().age_s < nearMoment;
  here.onclick = () => {
    takePlace({ ...placeHeld, source: "hand", taken_ms: Date.now() }, placeShown);
    byId("place-dialog").close();
  };
  byId("place-device").hidden = noSensor();
  show(byId("place-fault"), noSensor() ? "Opened like this, the page has no place from the device: give it by hand." : "");
  const log = settingsNow().position, logOffer = byId("place-log");
  logOffer.hidden = !log;
  if (log) setText(logOffer, "The log's estimate, " + ageText((Date.now() - Date.parse(log.time_utc)) / 1000));
  logOffer.onclick = () => {
    takePlace({ source: "settings", latitude_deg: log.latitude_deg, longitude_deg: log.longitude_deg, sigma_km: log.sigma_km, taken_ms: Date.parse(log.time_utc) });
    byId("place-dialog").close();
  };
  const stops = settingsNow().stops ?? [];
  byId("place-stops-label").hidden = stops.length === 0;
  byId("place-stops").replaceChildren(make("option", { value: "" }), ...stops.map((s, i) => make("option", { value: String(i) }, s.name)));
  refreshPlace();
  const dialog = byId("place-dialog");
  openDialog(dialog);
  return new Promise((resolve) => { dialog.addEventListener("close", resolve, { once: true }); });
}

export async function startPlace() {
  const last = await getValue("last_place");
  if (last) {
    placeHeld = { ...last, source: last.source === "hand" ? "hand" : "last" };
    placeShown = last.shown;
  }
  refreshPlace();
  setInterval(refreshPlace, 10000);
  for (const b of document.querySelectorAll("[data-place]")) b.addEventListener("click", openPlace);
  byId("place-device").addEventListener("click", takeByDevice);
  byId("place-form").addEventListener("submit", takeByHand);
  byId("place-stops").addEventListener("change", (event) => {
    const stop = (settingsNow().stops ?? [])[event.target.value];
    if (!stop) return;
    takePlace({ source: "hand", latitude_deg: stop.latitude_deg, longitude_deg: stop.longitude_deg, taken_ms: Date.now() });
    byId("place-dialog").close();
  });
  onSettings(() => { if (placeHeld) word(); });
}
