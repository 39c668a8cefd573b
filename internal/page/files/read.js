// The screen Read: a photo, or a number read by eye, to a heading or a refusal.
import { byId, make, show, setText, speak, facts, decimal, ageText, markFault, utcOffsetMinutes } from "./dom.js";
import { figures, arrow, shareBar, sketch } from "./figure.js";
import { reader, helm, cancelled } from "./engine.js";
import { settingsNow, onSettings } from "./settings.js";
import { placeNow, onPlace, renewPlace, dropPlace, openPlace, showPhotosPlace } from "./place.js";
import { photoBytes, changedText } from "./photofile.js";
import { setPicture } from "./picture.js";
import { keepReading, when } from "./kept.js";
import { warningList } from "./shell.js";

const quietFor = 300; // ms without a line of progress
const silentFor = 60; // s without a sign of the program, after which a person should not wait on
const statedFor = 600; // s, after which what was said by hand was of another photo
const oldAfter = 300; // s, after which a heading is no longer that of a vehicle that stands
let runNow = 0;
let askedCamera = 0; // ms, when the camera was asked for
let statedAt = 0; // ms, when something was last said by hand
let askAgain = null; // what was asked last, to be asked again with another word of the person
let shownAt = null; // ms by this device's clock, of the reading that is shown
let askedBy = null, shownBy = null; // settings and place by which was asked last, and by which what is shown was read
let endWork = () => {}; // of the photo that is being read

function clearReading() {
  byId("read-plate").hidden = true;
  byId("read-refused").hidden = true;
  byId("stated-again").hidden = true;
  byId("read-none").hidden = true;
  for (const id of ["read-notes", "read-budget"]) {
    byId(id).hidden = true;
    byId(id).open = false;
  }
  setPicture(null);
  showPhotosPlace("");
  shownAt = null;
}

// working shows that it goes on, after a moment; it returns how to end it and to name a stage.
function working() {
  const begun = performance.now();
  let stage = "reading", heard = begun;
  const line = () => {
    const since = (then) => Math.floor((performance.now() - then) / 1000);
    const s = since(begun), silent = since(heard) >= silentFor;
    setText(byId("working-line"), stage + " …" + (s >= 2 ? " " + s + " s" : "") + (silent ? ": no answer for a minute. Cancel, and choose the photo again" : ""));
  };
  const opening = setTimeout(() => { line(); byId("working").hidden = false; }, quietFor);
  const counting = setInterval(line, 500);
  const focused = document.activeElement; // a disabled button loses it
  byId("take").disabled = byId("choose").disabled = true;
  endWork = () => {
    clearTimeout(opening);
    clearInterval(counting);
    byId("working").hidden = true;
    byId("take").disabled = byId("choose").disabled = false;
    if (document.activeElement === document.body) (focused.checkVisibility() ? focused : byId("choose")).focus({ preventScroll: true });
    endWork = () => {};
  };
  return {
    stage(text) {
      stage = text;
      heard = performance.now();
      line();
    },
    end: endWork,
  };
}

// deviceTime is the device's, with the UTC offset that it had at a local time, or at one in ms:
// summer time may have begun or ended since. "" stands for now.
function deviceTime(local) {
  const now = Date.now(), then = local ? new Date(local).getTime() : now;
  return { device_now_ms: now, device_utc_offset_min: utcOffsetMinutes(Number.isNaN(then) ? now : then) };
}

// readingBy is what a heading depends on, besides its photo: the settings without those that
// change no heading, and a place that somebody gave. The device's moves with it.
function readingBy() {
  const { course_deg, grid, position_form, distance_unit, journey, stops, position, ...by } = settingsNow();
  const place = placeNow();
  return { settings: JSON.stringify(by), place: place && place.source !== "device" ? place.latitude_deg + " " + place.longitude_deg : "" };
}

// startAnew ends what went before, whatever it was: nothing of it stays on the screen or comes later.
function startAnew() {
  endWork();
  clearReading();
  byId("stated-again").hidden = !askAgain;
  if (reader.busy) reader.cancel(); // it reads the photo before, or draws it
  return ++runNow;
}

// readPhoto reads a photo. more is what the person says beside the file.
async function readPhoto(file, chosen, more = {}) {
  const run = startAnew();
  const asked = askedCamera;
  askAgain = (word) => readPhoto(file, chosen, { asked_ms: chosen === "camera" ? asked : 0, ...more, ...word });
  const stated = statedTime();
  if (stated.fault) return;
  const work = working();
  byId("cancel").onclick = () => {
    runNow++;
    reader.cancel();
    work.end();
    byId("read-none").hidden = false;
    speak("cancelled");
    byId("take").focus();
  };
  await renewPlace(60, () => work.stage("asking this device for its place"));
  if (run !== runNow) return;
  work.stage("reading");
  const photo = await photoBytes(file);
  if (run !== runNow) return;
  if (photo.refused || photo.error) {
    work.end();
    if (photo.error) showAnswer({ error: photo.error }, file.name, "");
    else refuse(photo.refused);
    return;
  }
  const request = {
    settings: settingsNow(), name: file.name, file_modified_ms: file.lastModified, chosen, place: placeNow(), body: bodyChosen(),
    asked_ms: chosen === "camera" ? asked : 0, stated_time: stated.text, shrunk_by: photo.shrunk_by, original: photo.original,
    overlay: true, ...deviceTime(stated.local || photo.clock || file.lastModified), ...more,
  };
  askedBy = readingBy();
  let shown = false;
  const showIt = (answer) => {
    if (run !== runNow || shown || answer.error === cancelled) return;
    shown = true;
    work.end();
    showAnswer(answer, file.name, changedText(photo));
    if (answer.say?.status === "ok") keepReading(photo.sha256 ? { ...answer, photo_sha256: photo.sha256 } : answer, "photo", file.name);
  };
  // The answer comes before what was found is drawn into the picture.
  const { answer, bytes } = await reader.ask("read", request, photo.bytes, ({ stage, answer: early }) => {
    if (early) showIt(JSON.parse(early));
    else if (!shown) work.stage(stage);
  });
  showIt(answer);
  if (run === runNow) setPicture(bytes);
}

async function readNumber() {
  askAgain = readNumber;
  const field = byId("number-deg"), lengthField = byId("number-length"), line = byId("number-fault");
  markFault(field, line, "");
  markFault(lengthField, line, "");
  const number = decimal(field.value), length = decimal(lengthField.value);
  if (number === null || Number.isNaN(number)) {
    markFault(field, line, "Give the number under the shadow, as 347.5");
    field.focus();
    return;
  }
  if (Number.isNaN(length)) {
    markFault(lengthField, line, "The length is no number: write it in millimetres, as 147");
    lengthField.focus();
    return;
  }
  const run = startAnew();
  const stated = statedTime();
  if (stated.fault) return;
  await renewPlace(60);
  const request = {
    settings: settingsNow(), number_deg: number, length_mm: length, place: placeNow(), body: bodyChosen(), stated_time: stated.text, ...deviceTime(stated.local),
  };
  askedBy = readingBy();
  const { answer } = await helm.ask("number", request);
  if (run !== runNow) return;
  const name = "number " + field.value.trim();
  showAnswer(answer, name, "");
  byId("by-number").open = false;
  if (answer.say?.status === "ok") await keepReading(answer, "number", name);
}

const ofPhotosPlace = (say) => say.place_note?.startsWith("place by the photo");

// showAnswer puts an answer on the screen: a heading, a refusal, or an error.
export function showAnswer(answer, name, changed) {
  clearReading();
  if (answer.error) {
    refuse({ code: answer.error.code, message: answer.error.message, todo: answer.error.hint });
    offer({ refused: answer.error });
    return;
  }
  const { say } = answer;
  notes(answer, name, changed);
  if (ofPhotosPlace(say)) showPhotosPlace(say.place);
  if (say.status !== "ok") {
    refuse(say.refused);
    offer(say);
    return;
  }
  forgetStated();
  shownBy = askedBy ?? readingBy();
  if (ofPhotosPlace(say)) shownBy = { ...shownBy, place: null }; // where the vehicle is since changes nothing
  shownAt = Date.parse(answer.reading.time_utc) + 1000 * (settingsNow().clock_error_s ?? 0);
  setText(byId("read-of"), (say.name ?? "heading") + " by the " + say.by);
  byId("read-figure").replaceChildren(figures(say.heading, "heading " + say.heading + " degrees true", true));
  setText(byId("read-sigma"), "± " + say.plus_minus + "°");
  setText(byId("read-unit"), "true, 95 %");
  turnLine(byId("read-turn"), say);
  show(byId("read-by"), say.turn && say.course ? "to course " + say.course + "° true" : "");
  const { tilt } = settingsNow();
  const counted = [tilt && "tilt of the settings counted: forward edge " + degrees(tilt.forward_deg) + ", starboard edge " + degrees(tilt.starboard_deg), horizonCounted(say), clockCounted(),
    ...(say.warnings ?? []).filter((w) => ofHourOrPlace.has(w.code)).map((w) => w.text)]
    .filter(Boolean).map((text) => text.charAt(0).toUpperCase() + text.slice(1) + ".").join("\n");
  show(byId("read-counted"), counted);
  northsLines(byId("read-norths"), [["compass", say.compass], ["steer by compass", say.steer_compass], ["grid", say.grid]]);
  budget(say.budget ?? [], say.notes ?? []);
  byId("read-plate").hidden = false;
  age();
  speak(`heading ${say.heading} degrees true, plus or minus ${say.plus_minus}${say.turn ? ", " + say.turn : ""}${counted ? ". " + counted : ""}`);
  window.scrollTo(0, 0);
}

// What may be wrong with the hour, or is of another place, stands beside the heading: it can make
// it wrong by far more than the ± says.
const ofHourOrPlace = new Set(["offset_taken", "offset_differs", "offset_not_local", "time_differs", "time_in_future", "file_time_differs", "photo_not_new", "place_given_since", "place_differs"]);

const degrees = (x) => x === 0 ? "level" : Math.abs(x) + "° " + (x > 0 ? "high" : "low");

// clockCounted tells of a clock error in the settings: left there from another device, an hour
// of it is worth 15 degrees.
export function clockCounted() {
  const s = settingsNow().clock_error_s;
  return s ? "clock error counted: " + Math.abs(s) + " s " + (s > 0 ? "fast" : "slow") : "";
}

// horizonCounted tells of a horizon that was measured: left on where a ridge stands for it, it
// turns a heading.
function horizonCounted(say) {
  const board = settingsNow().horizon && say.notes?.find((text) => text.startsWith("board: "));
  return board ? "counted by the horizon in the photo: " + board : "";
}

// northsLines names headings from other norths than the true one.
export function northsLines(place, norths) {
  place.replaceChildren(...norths.filter(([, text]) => text).map(([name, text]) => make("span", {}, (name + " " + text).trim())));
  place.hidden = place.childElementCount === 0;
}

// turnLine says which way to turn, with an arrow beside the words.
export function turnLine(line, say) {
  line.hidden = !say.turn;
  if (!say.turn) return;
  const side = say.turn_to ?? (say.turn.match(/\b(left|right)\b/)?.[1] ?? "on");
  line.replaceChildren(...(side === "on" ? [] : [arrow(side)]), make("span", {}, say.turn));
}

function refuse({ code, message, todo }) {
  setText(byId("refused-why"), message.charAt(0).toUpperCase() + message.slice(1));
  show(byId("refused-todo"), todo ? "What to do: " + todo.charAt(0).toUpperCase() + todo.slice(1) : "");
  setText(byId("refused-code"), code);
  byId("refused-acts").replaceChildren();
  byId("read-refused").hidden = false;
  byId("stated-again").hidden = !askAgain;
  byId("read-none").hidden = true;
  speak("no heading: " + message + ". " + (todo ?? ""));
  window.scrollTo(0, 0);
}

// offer lets the person say what only they can know, and asks again by it.
function offer(say) {
  const act = (text, work) => byId("refused-acts").append(make("button", { type: "button", onclick: work }, text));
  if (say.offered_time) {
    const t = say.offered_time;
    act(`It was taken ${t.local_date} ${t.local_time} ${t.utc_offset}`, () => askAgain({ trust_file_time: true }));
    act("State another time", () => {
      byId("stated").open = true;
      byId("stated-date").focus();
    });
  }
  if (say.offered_utc_offset) {
    act("The camera's clock was at " + say.offered_utc_offset, () => askAgain({ trust_utc_offset: true }));
    act("State the time", () => {
      byId("stated").open = true;
      byId("stated-date").focus();
    });
  }
  if (say.refused.code === "light_disagrees") {
    act("It was the moon", () => askAgain({ body: "moon" }));
    act("It was the sun", () => askAgain({ body: "sun" }));
  }
  if (say.refused.code === "no_position") {
    act("Give the place", async () => {
      await openPlace();
      if (placeNow()) askAgain({});
    });
  }
  if (say.refused.code === "position_conflict") {
    act("The photo's place is right", () => {
      dropPlace();
      askAgain({ place: null });
    });
    if (placeNow()?.source === "hand") act("The place by hand is right", () => askAgain({ place: { ...placeNow(), confirmed: true } }));
  }
}

const bodyChosen = () => byId("stated-body").value;

function notes(answer, name, changed) {
  const { say } = answer;
  const { date, time } = when(answer);
  facts(byId("read-facts"), [
    ["read from", name], ["picture", changed], ["time", [date, time].filter(Boolean).join(", ")], ["time from", say.time_note],
    ["clock", say.clock], ["place", say.place], ["place from", say.place_note], ["sky", say.sky], ["magnetic", say.magnetic],
  ]);
  const warnings = say.warnings ?? [];
  warningList(byId("read-warnings"), warnings);
  setText(byId("notes-count"), warnings.length ? warnings.length + " to mind" : "");
  byId("read-notes").hidden = false;
}

function budget(terms, remarks) {
  byId("budget-notes").replaceChildren(...remarks.map((text) => make("li", {}, text)));
  byId("budget-rows").replaceChildren(...terms.map((t) => make("tr", {},
    make("th", { scope: "row" }, t.label, t.meaning ? " " : null, t.meaning ? make("small", {}, t.meaning) : null), make("td", {}, t.sigma),
    make("td", {}, shareBar(t.share), " " + Math.round(100 * t.share) + " %"))));
  byId("read-budget").hidden = terms.length === 0;
}

// age says how old the heading is; an old one greys out, and one by settings or a place that hold
// no longer.
function age() {
  if (byId("stated-shown").textContent && (Date.now() - statedAt) / 1000 > statedFor) forgetStated();
  if (shownAt === null) return;
  const s = (Date.now() - shownAt) / 1000;
  const now = readingBy();
  const old = s > oldAfter, changed = shownBy.settings !== now.settings || shownBy.place !== null && shownBy.place !== now.place;
  byId("read-plate").classList.toggle("old", old || changed);
  byId("read-since").hidden = !changed;
  byId("since-again").hidden = askAgain === readNumber;
  setText(byId("read-age"), (old ? "OLD, " : "") + ageText(s));
}

// statedTime is the time given by hand: {text} in RFC 3339, or {fault}.
function statedTime() {
  const date = byId("stated-date").value, time = byId("stated-time").value, line = byId("stated-fault");
  markFault(byId("stated-offset"), line, "");
  if (!date && !time) return { text: null, local: "" };
  const typed = byId("stated-offset").value.trim().replace("−", "-");
  let fault = "";
  if (!date || !time) fault = "Give date and time both, or neither";
  else if (typed && !/^([+-]\d\d:\d\d|Z)$/.test(typed)) fault = "Give the UTC offset as +02:00";
  if (fault) {
    byId("stated").open = true;
    markFault(byId("stated-offset"), line, fault);
    byId("stated-offset").focus();
    return { fault };
  }
  return { text: date + "T" + time + typed, local: date + "T" + time }; // a time to the minute stays one: it is less sure
}

// forgetStated: what was said by hand holds for one photo. Left standing, it would give the
// next one a wrong time.
function forgetStated() {
  for (const id of ["stated-date", "stated-time", "stated-offset", "stated-body"]) byId(id).value = "";
  showStated();
}

function showStated() {
  const { value: date } = byId("stated-date"), { value: time } = byId("stated-time");
  const at = date && time ? date + " " + time + " " + (byId("stated-offset").value || settingsNow().utc_offset || "") : "";
  setText(byId("stated-shown"), [at, bodyChosen()].filter(Boolean).join(", "));
}

export function startRead() {
  byId("read-sketch").append(sketch());
  for (const [button, input, chosen] of [["take", "take-file", "camera"], ["choose", "choose-file", "album"]]) {
    byId(button).addEventListener("click", () => {
      askedCamera = Date.now();
      byId(input).click();
    });
    byId(input).addEventListener("change", (event) => {
      const [file] = event.target.files;
      event.target.value = ""; // the same file may be chosen again
      if (file) readPhoto(file, chosen);
    });
  }
  byId("number-form").addEventListener("submit", (event) => { event.preventDefault(); readNumber(); });
  for (const id of ["stated-date", "stated-time", "stated-offset", "stated-body"]) {
    byId(id).addEventListener("change", () => {
      statedAt = Date.now();
      showStated();
    });
  }
  byId("stated-again").addEventListener("click", () => askAgain({}));
  byId("stated-clear").addEventListener("click", () => {
    forgetStated();
    speak("nothing is said by hand");
  });
  forgetStated(); // a browser that loads the page anew puts fields back
  window.addEventListener("pageshow", ({ persisted }) => { if (!persisted) forgetStated(); });
  byId("since-again").addEventListener("click", () => askAgain({}));
  onSettings(age);
  onPlace(age);
  setInterval(age, 1000);
  document.addEventListener("visibilitychange", age);
}
