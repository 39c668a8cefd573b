// Readings that stay on the device until they are handed over.
import { byId, make, setText, speak, complain, faultText, ask, markFault } from "./dom.js";
import { allKept, keep, keptInMemory, remove } from "./store.js";
import { helm } from "./engine.js";
import { onScreen, screenNow } from "./shell.js";
import { settingsNow } from "./settings.js";

// changesStored is fulfilled when every change of a row is.
let changesStored = Promise.resolve();

const newId = () => Date.now().toString(36) + "-" + [...crypto.getRandomValues(new Uint8Array(6))].map((b) => b.toString(16).padStart(2, "0")).join("");

// keepReading stores a reading; where the device refuses it says so, and the reading stays shown.
export async function keepReading(answer, kind, name) {
  const before = answer.photo_sha256 ? (await allKept()).find((k) => k.photo_sha256 === answer.photo_sha256) : null;
  const item = {
    id: newId(), by: kind, photo: kind === "photo" ? name : "", photo_sha256: answer.photo_sha256 ?? "", name, reading: answer.reading, say: answer.say, kept_ms: Date.now(), odometer: "", odometer_unit: settingsNow().distance_unit ?? "km", stood: false, note: "",
  };
  // A photo that was read again is one reading, the last; a log takes no photo twice.
  if (before) for (const said of ["id", "kept_ms", "odometer", "odometer_unit", "stood", "note"]) item[said] = before[said];
  if (!await keep(item)) {
    complain("This device did not store the reading: it is full, or it refuses this page. Write the heading down. It stays under Kept until the page is closed.");
  }
  if (screenNow() === "kept") showKept();
}

// when is a reading's date and time by its own offset.
export function when(answer) {
  const { say } = answer;
  if (!say.local_date) return { date: "", time: "" };
  const date = new Date(say.local_date + "T00:00Z").toLocaleDateString("en-GB", { day: "numeric", month: "long", year: "numeric", timeZone: "UTC" });
  return { date, time: say.local_time + " " + say.utc_offset };
}

const headingText = (item) => item.say.heading + "° ± " + item.say.plus_minus + "°";

// shows is all of a kept reading that its row shows.
const shows = (item) => JSON.stringify([headingText(item), when(item), item.by, item.name, item.odometer, item.odometer_unit, item.stood, item.note]);

// rowOf is the row that stands and shows a reading as it is stored; what is being typed there stays.
function rowOf(item) {
  const row = document.getElementById("kept-" + item.id)?.parentElement;
  return row?.dataset.shows === shows(item) ? row : keptRow(item);
}

function keptRow(item) {
  const { date, time } = when(item);
  const fault = make("p", { className: "fault", id: "odo-fault-" + item.id, hidden: true });
  const odometer = make("input", { type: "text", inputMode: "decimal", value: item.odometer, autocomplete: "off" });
  const unit = make("select", {}, ...["km", "mi", "nmi"].map((u) => make("option", { selected: u === item.odometer_unit }, u)));
  const note = make("input", { type: "text", value: item.note, autocomplete: "off", maxLength: 200 });
  const store = async () => {
    const text = odometer.value.trim().replace(",", ".");
    const parted = /^\d{1,3}\.\d{3}$/.test(text); // 45,210 would be taken for 45.21
    const bad = parted || text !== "" && !/^\d+(\.\d+)?$/.test(text);
    markFault(odometer, fault, parted ? "do thousands or tenths begin there? Write it as 45210 or 45210.4" : bad ? "an odometer reads as 45210.4" : "");
    // One that is in doubt goes into no file, nor does the one before it; the rest is kept.
    Object.assign(item, { odometer: bad ? "" : text, odometer_unit: unit.value, note: note.value.trim(), stood: stood.checked });
    row.dataset.shows = shows(item);
    const kept = keep(item);
    changesStored = Promise.allSettled([changesStored, kept]);
    if (!await kept) complain("This device did not store the change.");
  };
  const stood = make("input", { type: "checkbox", checked: item.stood });
  for (const field of [odometer, unit, note, stood]) field.addEventListener("change", store);
  const heading = headingText(item);
  const row = make("li", {},
    make("details", { id: "kept-" + item.id },
      make("summary", {}, make("b", {}, heading), make("span", {}, date + ", " + time), make("small", {}, item.by === "photo" ? item.name : item.name + ", by eye")),
      make("div", { className: "fields three" },
        make("label", {}, "Odometer", odometer),
        make("label", {}, "in", unit),
        make("label", {}, "Note", note)),
      make("label", { className: "stood" }, stood, make("span", {}, "stood", make("small", {}, "nothing was run since the entry before"))),
      fault,
      make("button", { type: "button", onclick: () => removeOne(item, heading) }, "Remove this reading")));
  row.dataset.shows = shows(item);
  return row;
}

async function removeThese(items, question) {
  if (!await ask(question, "Remove", "Keep")) return;
  try {
    await remove(items.map((i) => i.id));
  } catch {
    complain("This device did not remove the readings.");
  }
  speak("removed");
  await showKept();
  byId("title-kept").focus();
}

const removeOne = (item, heading) => removeThese([item], "Remove " + heading + " from this device?");

async function showKept() {
  let items, before;
  do { // what was read before a change would undo it in its row
    before = changesStored;
    await before;
    items = await allKept();
  } while (before !== changesStored);
  byId("kept-none").hidden = items.length > 0;
  byId("kept-out").hidden = items.length === 0;
  byId("kept-remove-all").hidden = items.length === 0;
  const inMemory = keptInMemory();
  setText(byId("title-kept"), "Kept readings" + (items.length ? " (" + items.length + ")" : ""));
  if (inMemory) complain(inMemory === 1 ? "One reading is held until the page is closed only: this device does not store it." : inMemory + " readings are held until the page is closed only: this device does not store them.");
  const list = byId("kept-list"), rows = items.reverse().map(rowOf);
  for (const old of [...list.children]) if (!rows.includes(old)) old.remove();
  // One that stays is not moved: it may have the focus.
  rows.forEach((row, i) => { if (list.children[i] !== row) list.insertBefore(row, list.children[i] ?? null); });
}

// handOver makes the one file. share: by the device's own sheet, else as a download.
async function handOver(share) {
  const items = await allKept();
  const as = document.querySelector('input[name="as"]:checked').value;
  const lacking = as === "legs" ? items.find((item) => !item.odometer && !item.stood) : null;
  if (lacking) {
    complain("A leg needs what the odometer reads, or that the vehicle stood: " + headingText(lacking) + ", " + when(lacking).time + " has neither. Say it there, or hand the readings over as headings.");
    if (!document.getElementById("kept-" + lacking.id)) await showKept(); // it was stored just now
    const row = document.getElementById("kept-" + lacking.id);
    if (row) {
      row.open = true;
      row.querySelector("input").focus();
    }
    return;
  }
  const { answer } = await helm.ask("entries", { settings: settingsNow(), kept: items.map((item) => ({ ...item, kind: as === "legs" ? "leg" : "heading" })), as });
  if (answer.error) {
    complain(faultText(answer.error));
    return;
  }
  const file = new File([answer.text], answer.name, { type: "text/csv" });
  if (share) {
    try {
      await navigator.share({ files: [file], title: answer.name });
      return;
    } catch (error) {
      if (error.name === "AbortError") return;
      complain("This device did not share the file; it is saved instead.");
    }
  }
  const address = URL.createObjectURL(file);
  make("a", { href: address, download: answer.name }).click();
  setTimeout(() => URL.revokeObjectURL(address), 60000);
  speak("file saved: " + answer.name);
}

export function startKept() {
  const sample = new File(["x"], "readings.csv", { type: "text/csv" });
  byId("kept-share").hidden = !navigator.canShare?.({ files: [sample] });
  byId("kept-save").classList.toggle("first", byId("kept-share").hidden);
  byId("kept-share").addEventListener("click", () => handOver(true));
  byId("kept-save").addEventListener("click", () => handOver(false));
  byId("kept-remove-all").addEventListener("click", async () => {
    const items = await allKept();
    removeThese(items, items.length === 1 ? "Remove the one reading from this device? Hand it over first." : `Remove all ${items.length} readings from this device? Hand them over first.`);
  });
  window.addEventListener("beforeunload", (event) => { if (keptInMemory()) event.preventDefault(); });
  onScreen("kept", showKept);
  // Another window may have changed or removed what stands here.
  document.addEventListener("visibilitychange", () => { if (screenNow() === "kept" && document.visibilityState === "visible") showKept(); });
}
