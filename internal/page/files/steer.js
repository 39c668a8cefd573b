// The screen Steer: the number to hold under the shadow, as the sun moves.
import { byId, make, show, setText, speak, facts, decimal, ageText, faultText, markFault, utcOffsetMinutes } from "./dom.js";
import { figures, dial } from "./figure.js";
import { helm } from "./engine.js";
import { settingsNow, changeSettings, onSettings } from "./settings.js";
import { placeNow, renewPlace, onPlace, placeText } from "./place.js";
import { onScreen, screenNow, warningList } from "./shell.js";
import { turnLine, northsLines, clockCounted } from "./read.js";

const staleAfter = 60; // s: a number that nobody counted on for so long is greyed
const eyeOldAfter = 120; // s, after which a number read by eye is no longer that of this heading
let toStop = null; // the name of a stop
let courseWrong = false; // what stands in its field is none: the number of the one before must not stand beside it
let answered = null; // {at, next} of the number that is shown
let eye = null; // {number, text, at} of a number read by eye, and what was said of it
let asking = false, again = false;
let spokenNumber = "";
let lock = null;

const steering = () => screenNow() === "steer" && document.visibilityState === "visible";

function missing() {
  if (courseWrong && toStop === null) return "Correct the course.";
  if (settingsNow().course_deg === undefined && toStop === null) return "Give a course.";
  if (!placeNow()) return "Give the place: touch Place below.";
  return "";
}

function request(at) {
  return {
    settings: settingsNow(), course_deg: settingsNow().course_deg ?? null, stop: toStop ?? "", time_ms: at, device_now_ms: Date.now(), place: placeNow(),
    device_utc_offset_min: utcOffsetMinutes(at),
  };
}

// askEye asks which way to turn by a number read by eye, for the moment at which it was read:
// the sun runs on, the heading that it showed does not.
async function askEye() {
  const asked = eye;
  if (!asked || missing()) return;
  const { answer } = await helm.ask("steer", { ...request(asked.at), number_deg: asked.number });
  if (eye !== asked) return;
  eye.fault = answer.error ? faultText(answer.error) : "";
  eye.say = answer.say ?? { turn: null };
  markFault(byId("eye-deg"), byId("eye-fault"), eye.fault);
  turnLine(byId("steer-turn"), eye.say);
  steerAge();
}

// count asks for the number now, one question at a time.
async function count() {
  if (!steering()) return;
  if (asking) {
    again = true;
    return;
  }
  const lacks = missing();
  if (lacks) {
    blank(lacks);
    return;
  }
  asking = true;
  const at = Date.now();
  const { answer } = await helm.ask("steer", request(at));
  asking = false;
  if (again) {
    again = false;
    count();
    return;
  }
  showSteer(answer, at);
}

// blank shows why there is no number, in its place: no old one stays.
function blank(why) {
  answered = null;
  byId("steer-figure").replaceChildren();
  byId("steer-dial").replaceChildren();
  byId("steer-changes").replaceChildren();
  for (const id of ["steer-usable", "steer-norths", "steer-turn", "steer-by"]) show(byId(id), "");
  setText(byId("steer-age"), "");
  setText(byId("steer-for"), "no number to hold");
  show(byId("steer-why"), why);
  byId("steer-plate").classList.remove("old");
}

export function showSteer(answer, at) {
  if (answer.error) {
    blank(faultText(answer.error));
    return;
  }
  const { say } = answer;
  if (say.status === "ok") number(say);
  else {
    blank(say.refused.message.charAt(0).toUpperCase() + say.refused.message.slice(1) + (say.refused.todo ? ": " + say.refused.todo : ""));
    show(byId("steer-usable"), say.usable ? "usable " + say.usable : "");
  }
  // In two seconds the sun runs by less than the dial can be read to, and a telephone's
  // battery is spared.
  answered = { at, next: Math.min(Math.max(say.next_ms ?? 0, at + 2000), at + 30000) };
  steerNotes(say);
  steerAge();
}

function number(say) {
  show(byId("steer-why"), "");
  setText(byId("steer-for"), "hold for course " + say.held + (say.to ? ", to " + say.to.replace(/, course .*/, "") : ""));
  byId("steer-figure").replaceChildren(figures(say.number, "hold " + say.number + " under the shadow", false));
  byId("steer-dial").replaceChildren(dial(Number(say.number)));
  byId("steer-changes").replaceChildren(...(say.changes ?? []).slice(0, 3).map((c) => make("li", {}, make("b", {}, c.number), " ", make("span", {}, c.local_time))));
  show(byId("steer-usable"), "usable " + say.usable);
  northsLines(byId("steer-norths"), [["compass", say.compass], ["grid", say.grid], ["", clockCounted()]]);
  if (eye?.say) turnLine(byId("steer-turn"), eye.say);
  const whole = String(Math.round(Number(say.number)) % 360);
  if (whole !== spokenNumber) {
    if (spokenNumber !== "") speak("hold " + whole);
    spokenNumber = whole;
  }
}

function steerNotes(say) {
  facts(byId("steer-facts"), [
    ["sky", say.sky], ["clock", [say.local_time, say.utc_offset].filter(Boolean).join(" ")], ["place", placeText()], ["place from", say.place_note], ["number read", eye?.say?.heading ? eye.text + " is heading " + eye.say.heading : ""], ["instrument", say.correction],
    ["screen", lock ? "kept awake" : "may go dark by itself: this browser does not keep it awake"],
  ]);
  const warnings = say.warnings ?? [];
  warningList(byId("steer-warnings"), warnings);
  setText(byId("steer-count"), warnings.length ? warnings.length + " to mind" : "");
}

function steerAge() {
  if (!answered) return;
  const s = (Date.now() - answered.at) / 1000;
  const stale = s > staleAfter || s < -2;
  const eyeOld = eye && (Date.now() - eye.at) / 1000 > eyeOldAfter;
  byId("steer-plate").classList.toggle("old", stale);
  byId("steer-turn").classList.toggle("old", Boolean(eyeOld));
  setText(byId("steer-age"), stale ? "OLD, " + ageText(s) : "");
  show(byId("steer-by"), eye && !byId("steer-turn").hidden ? (eyeOld ? "OLD: " : "") + "by number " + eye.text + ", " + ageText((Date.now() - eye.at) / 1000) : "");
}

async function takeCourse() {
  const field = byId("course-deg"), line = byId("course-fault");
  const course = decimal(field.value);
  toStop = null;
  byId("to-stop").value = "";
  if (Number.isNaN(course)) {
    courseWrong = true;
    markFault(field, line, "The course is no number: write it as 058");
    count();
    return;
  }
  markFault(field, line, "");
  spokenNumber = "";
  const faults = await changeSettings({ ...settingsNow(), course_deg: course });
  courseWrong = faults.length > 0;
  if (courseWrong) markFault(field, line, faultText(faults[0]));
  count();
}

async function takeEye(event) {
  event.preventDefault();
  const field = byId("eye-deg"), line = byId("eye-fault");
  const read = decimal(field.value);
  if (read === null || Number.isNaN(read) || read < 0 || read > 360) {
    markFault(field, line, "Give the number under the shadow, from 0 to 360, as 347.5");
    field.focus();
    return;
  }
  markFault(field, line, "");
  eye = { number: read, at: Date.now(), text: field.value.trim() };
  turnLine(byId("steer-turn"), {}); // that of the number before
  await askEye();
  window.scrollTo(0, 0);
  if (!byId("steer-turn").hidden) speak(byId("steer-turn").textContent);
}

function stops() {
  const list = settingsNow().stops ?? [];
  byId("to-stop-label").hidden = list.length === 0;
  byId("to-stop").replaceChildren(make("option", { value: "" }, "by the course above"), ...list.map((s) => make("option", { value: s.name, selected: s.name === toStop }, s.name)));
  const field = byId("course-deg");
  if (document.activeElement !== field && settingsNow().course_deg !== undefined) field.value = String(settingsNow().course_deg).padStart(3, "0");
}

// The screen stays on while it is steered by; a browser lets go of it whenever the page is hidden.
async function stayAwake() {
  if (!steering()) {
    lock?.release().catch(() => {});
    lock = null;
    return;
  }
  if (lock || !navigator.wakeLock) return;
  try {
    lock = await navigator.wakeLock.request("screen");
    lock.addEventListener("release", () => { lock = null; });
  } catch { /* said under the notes */ }
}

function resume() {
  stayAwake();
  if (!steering()) return;
  steerAge();
  count();
}

// A clock that was set, or a device that slept, shows as a second that was none.
function everySecond() {
  let before = Date.now();
  setInterval(() => {
    const now = Date.now(), jumped = Math.abs(now - before - 1000) > 3000;
    before = now;
    if (!steering()) return;
    steerAge();
    if (jumped || !answered || now >= answered.next) count();
  }, 1000);
  setInterval(async () => { if (steering()) await renewPlace(60); }, 60000);
}

export function startSteer() {
  byId("course-form").addEventListener("submit", (event) => { event.preventDefault(); takeCourse(); });
  byId("course-deg").addEventListener("change", takeCourse);
  byId("to-stop").addEventListener("change", (event) => {
    toStop = event.target.value || null;
    spokenNumber = "";
    count();
    askEye();
  });
  byId("eye-form").addEventListener("submit", takeEye);
  onSettings(() => { stops(); count(); askEye(); });
  onPlace(count);
  onScreen("*", resume);
  document.addEventListener("visibilitychange", resume);
  stops();
  everySecond();
}
