// What is known beforehand: instrument, course, how the board stands. Checked and put into
// words by the computing part, kept on the device.
import { byId, make, show, setText, facts, decimal, faultText, markFault, complain, openDialog, ask } from "./dom.js";
import { getValue, setValue, storeIsLate } from "./store.js";
import { helm } from "./engine.js";

let settings = {};
const settingsWatchers = [];

export const settingsNow = () => settings;
export function onSettings(work) { settingsWatchers.push(work); }

// Each field of the screen: where it stands in the settings, what it is called, and a word
// where the name does not say enough.
const settingFields = [
  { path: "course_deg", label: "True course, °" },
  { path: "rod_height_mm", label: "Rod height above the sheet, mm", note: "with it the shadow's length checks the clock" },
  { path: "level_sigma_deg", label: "Rod from plumb, one sigma, °", note: "empty: 0.5 with a bubble, as the rod's image shows" },
  { path: "lubber_sigma_deg", label: "Lubber line of one setting-up, one sigma, °", note: "empty: 0, the heading is the sheet's" },
  { path: "tilt.forward_deg", label: "Board: forward edge high, °", note: "measured on it, low is negative" },
  { path: "tilt.starboard_deg", label: "Board: starboard edge high, °" },
  { path: "tilt.sigma_deg", label: "Tilt, one sigma, °" },
  { path: "horizon", label: "The photo shows a flat horizon", check: true },
  { path: "horizon.sigma_deg", label: "Slope of the ground to it, one sigma, °" },
  { path: "horizon.eye_m", label: "Camera above that ground, m" },
  { path: "print_scale.0", label: "Print over nominal, athwart", note: "1.000 where it is true" },
  { path: "print_scale.1", label: "Print over nominal, fore and aft" },
  { path: "clock_error_s", label: "This device's clock is fast by, s", note: "its camera's too; that of another camera is said in the journey's file" },
  { path: "utc_offset", label: "UTC offset", text: true, note: "as +02:00; empty: this device's" },
  { path: "position_form", label: "Positions in", options: [["degrees", "degrees"], ["degrees_minutes", "degrees and minutes"]] },
  { path: "grid", label: "Grid headings anywhere", check: true, note: "near a pole they come unasked" },
];

const fieldId = (path) => "set-" + path.replaceAll(/[._]/g, "-");

function valueAt(path) {
  return path.split(".").reduce((o, key) => o?.[key], settings);
}

function fieldRow(f) {
  const id = fieldId(f.path);
  const fault = make("p", { className: "fault", id: id + "-fault", hidden: true });
  let input;
  if (f.options) input = make("select", { id }, ...f.options.map(([value, text]) => make("option", { value }, text)));
  else if (f.check) input = make("input", { id, type: "checkbox" });
  else input = make("input", { id, type: "text", inputMode: f.text ? "text" : "decimal", autocomplete: "off" });
  input.addEventListener("change", takeFields);
  return make("div", { className: f.check ? "set check" : "set" }, make("label", {}, make("span", {}, f.label, f.note ? make("small", {}, f.note) : null), input), fault);
}

// fill writes the settings into their fields.
function fillFields() {
  for (const f of settingFields) {
    const input = byId(fieldId(f.path)), value = valueAt(f.path);
    if (f.check) input.checked = Boolean(value);
    else input.value = value ?? (f.options ? f.options[0][0] : "");
  }
  foldHorizon();
}

function foldHorizon() {
  const off = !byId(fieldId("horizon")).checked;
  for (const path of ["horizon.sigma_deg", "horizon.eye_m"]) byId(fieldId(path)).disabled = off;
}

// typed is what the fields say; faults are of fields that are no numbers.
function typed() {
  const flat = {}, faults = [];
  for (const f of settingFields) {
    const input = byId(fieldId(f.path));
    if (f.check) flat[f.path] = input.checked;
    else if (f.text || f.options) flat[f.path] = input.value.trim() || null;
    else {
      const x = decimal(input.value);
      if (Number.isNaN(x)) faults.push({ field: f.path, message: "this is no number", hint: "write it as 12.5" });
      else flat[f.path] = x;
    }
  }
  const next = { ...settings };
  for (const f of settingFields) if (!f.path.includes(".") && f.path !== "horizon" && f.path in flat) next[f.path] = flat[f.path];
  const given = (...paths) => paths.some((p) => flat[p] !== null && flat[p] !== undefined);
  next.tilt = given("tilt.forward_deg", "tilt.starboard_deg")
    ? { forward_deg: flat["tilt.forward_deg"] ?? 0, starboard_deg: flat["tilt.starboard_deg"] ?? 0, sigma_deg: flat["tilt.sigma_deg"] ?? null } : null;
  next.horizon = flat.horizon ? { sigma_deg: flat["horizon.sigma_deg"] ?? null, eye_m: flat["horizon.eye_m"] ?? null } : null;
  next.print_scale = given("print_scale.0", "print_scale.1") ? [flat["print_scale.0"] ?? 1, flat["print_scale.1"] ?? 1] : null;
  return { next, faults };
}

// Empty parts are left out: what is not said has its default in one place, the computing part.
function trimmed(o) {
  return Object.fromEntries(Object.entries(o).filter(([, v]) => v !== null && v !== undefined && v !== "" && v !== false)
    .map(([k, v]) => [k, v && typeof v === "object" && !Array.isArray(v) ? trimmed(v) : v]));
}

function markFaults(faults) {
  for (const f of settingFields) {
    const fault = faults.find((x) => x.field === f.path) ?? faults.find((x) => x.field && f.path.startsWith(x.field + "."));
    markFault(byId(fieldId(f.path)), byId(fieldId(f.path) + "-fault"), fault ? faultText(fault) : "");
  }
}

async function takeFields() {
  foldHorizon();
  const { next, faults } = typed();
  if (faults.length) {
    markFaults(faults);
    return;
  }
  await changeSettings(next);
}

// changeSettings checks settings and takes them where they have no fault; it resolves to the faults.
export async function changeSettings(next) {
  const { answer } = await helm.ask("settings", { settings: trimmed(next) });
  if (answer.error) {
    complain(faultText(answer.error));
    return [answer.error];
  }
  const faults = answer.faults ?? [];
  markFaults(faults);
  if (faults.length) {
    const elsewhere = faults.filter((x) => !settingFields.some((f) => f.path === x.field || f.path.startsWith(x.field + ".")));
    if (elsewhere.length) show(byId("record-fault"), faultText(elsewhere[0]));
    return faults;
  }
  await adopt(answer);
  return [];
}

async function adopt(answer) {
  settings = trimmed(answer.settings);
  show(byId("record-fault"), "");
  shownRecords(answer.shown ?? {});
  if (!byId("settings-fields").contains(document.activeElement)) fillFields();
  if (!await setValue("settings", settings) && !storeIsLate()) complain("The settings could not be stored on this device; they hold until the page is closed.");
  for (const work of settingsWatchers) work();
}

function shownRecords(shown) {
  show(byId("journey-shown"), settings.journey ? "Journey: " + settings.journey : "");
  const drop = (label, change) => make("button", { type: "button", className: "small", "aria-label": "remove " + label, onclick: async () => {
    if (await ask("Remove the " + label + "?", "Remove", "Keep")) changeSettings({ ...settings, ...change });
  } }, "Remove");
  const row = (text, label, change) => text && make("span", { className: "record" }, make("span", {}, text), drop(label, change));
  // Those of the journey's cameras follow those that were opened by themselves.
  const own = settings.lenses ?? [];
  const lenses = (shown.lenses ?? []).map((text, i) => ["lens", i < own.length ? row(text, "lens", { lenses: own.filter((_, j) => j !== i) }) : text]);
  const pairs = [
    ["instrument", row(shown.instrument, "instrument's record", { instrument: null })],
    ...lenses,
    ["deviation card", row(shown.card, "deviation card", { deviation_card: null })],
    ["stops", (shown.stops ?? []).map((s) => s.name + ", " + s.shown).join("; ")],
  ];
  facts(byId("records-shown"), pairs.some(([, what]) => what) ? pairs : [["records", "none"]]);
}

// openRecord takes a record or a journey's settings, told by their content.
async function openRecord(text, line) {
  show(line, "");
  const { answer } = await helm.ask("open_settings", { settings, text });
  const fault = answer.error ?? answer.faults?.[0];
  if (fault) {
    show(line, faultText(fault));
    return false;
  }
  await adopt(answer);
  return true;
}

const mostRecordBytes = 1 << 20; // no record comes near; a photo chosen by mistake does

async function openFiles(event) {
  const line = byId("record-fault"), files = [...event.target.files];
  event.target.value = ""; // the same file may be chosen again
  for (const file of files) {
    if (file.size > mostRecordBytes) {
      show(line, file.name + " is no record: it is too large. Choose a file that shadowread wrote.");
      break;
    }
    try {
      if (!await openRecord(await file.text(), line)) break;
    } catch {
      show(line, file.name + " cannot be read: choose it again.");
      break;
    }
  }
}

// catchUp takes over what was set in another window meanwhile: left as it was here, headings
// would be by what holds no longer, and the next change would undo the other's.
async function catchUp() {
  if (document.visibilityState !== "visible") return;
  const stored = await getValue("settings");
  if (stored && JSON.stringify(stored) !== JSON.stringify(settings)) await changeSettings(stored);
}

export async function startSettings() {
  byId("settings-fields").append(...settingFields.map(fieldRow));
  settings = (await getValue("settings")) ?? {};
  if (storeIsLate()) complain("This device's store does not answer: settings, records and readings of before are not here, and headings are without them. Close other windows of this page and load it anew.");
  fillFields();
  shownRecords({});
  for (const seen of [document, window]) seen.addEventListener(seen === document ? "visibilitychange" : "focus", catchUp);
  byId("record-open").addEventListener("click", () => byId("record-file").click());
  byId("record-file").addEventListener("change", openFiles);
  byId("record-paste").addEventListener("click", () => openDialog(byId("paste-dialog")));
  byId("paste-take").addEventListener("click", async () => {
    if (!await openRecord(byId("paste-text").value, byId("paste-fault"))) return;
    byId("paste-text").value = "";
    byId("paste-dialog").close();
  });
  byId("settings-clear").addEventListener("click", async () => {
    if (await ask("Forget all settings and records on this device? Kept readings stay.", "Forget", "Keep")) {
      await changeSettings({});
      fillFields();
    }
  });
}

// recheckSettings puts what was kept into words, once the computing part is there.
export const recheckSettings = () => changeSettings(settings);
