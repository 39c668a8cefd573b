// What every part of the page needs of the document.

export const byId = (id) => document.getElementById(id);

// single tells the form of one file, which carries the program in itself (program.js).
export const single = () => byId("program") !== null;

// make builds an element; text goes in as text, never as markup.
export function make(tag, props = {}, ...inside) {
  const e = document.createElement(tag);
  for (const [name, value] of Object.entries(props)) {
    if (name in e && name !== "list") e[name] = value;
    else e.setAttribute(name, value);
  }
  e.append(...inside.filter((x) => x !== null && x !== undefined && x !== "").map((x) => typeof x === "string" ? unbroken(x) : x));
  return e;
}

export function draw(tag, attributes = {}, ...inside) {
  const e = document.createElementNS("http://www.w3.org/2000/svg", tag);
  for (const [name, value] of Object.entries(attributes)) e.setAttribute(name, value);
  e.append(...inside);
  return e;
}

// unbroken keeps a value and its ±, and a unit and what it is of, on one line.
const unbroken = (text) => text.replaceAll(" ± ", "\u00a0±\u00a0").replaceAll(", °", ",\u00a0°");

export function setText(e, text) {
  text = unbroken(String(text));
  if (e.textContent !== text) e.textContent = text;
}

// show writes a text, and hides its place where there is none.
export function show(e, text) {
  setText(e, text || "");
  e.hidden = !text;
}

// speak is for screen readers: results and refusals, never what counts by the second.
export function speak(text) {
  const line = byId("spoken");
  line.textContent = "";
  setTimeout(() => { line.textContent = text; }, 60);
}

// complain is for what the person must know whichever screen is open.
export function complain(text) {
  setText(byId("trouble-text"), text);
  byId("bar-trouble").hidden = !text;
}

// faultText is an error of the computing part in one paragraph.
export function faultText(error) {
  const sentence = error.message.charAt(0).toUpperCase() + error.message.slice(1);
  return error.hint ? sentence + ": " + error.hint : sentence;
}

// decimal reads a field: a number, null where it is empty, NaN where it is none. A comma
// is a decimal sign, as many keyboards have no other.
export function decimal(text) {
  const trimmed = text.trim().replace(",", ".");
  if (trimmed === "") return null;
  return /^[-+]?(\d+\.?\d*|\.\d+)$/.test(trimmed) ? Number(trimmed) : NaN;
}

// markFault puts a fault beside its field, for eyes and for screen readers.
export function markFault(field, place, text) {
  show(place, text.charAt(0).toUpperCase() + text.slice(1));
  if (text) {
    field.setAttribute("aria-invalid", "true");
    field.setAttribute("aria-describedby", place.id);
  } else {
    field.removeAttribute("aria-invalid");
    field.removeAttribute("aria-describedby");
  }
}

export function facts(list, pairs) {
  list.replaceChildren(...pairs.filter(([, what]) => what).flatMap(([name, what]) => [make("dt", {}, name), make("dd", {}, what)]));
}

export function ageText(seconds) {
  const s = Math.max(0, Math.round(seconds));
  if (s < 5) return "just now";
  if (s < 60) return s + " s ago";
  if (s < 3600) return Math.floor(s / 60) + " min ago";
  if (s < 172800) return Math.floor(s / 3600) + " h " + Math.floor((s % 3600) / 60) + " min ago";
  return Math.floor(s / 86400) + " days ago";
}

// utcOffsetMinutes is the device's, east positive.
export const utcOffsetMinutes = (ms) => -new Date(ms).getTimezoneOffset();

export function openDialog(dialog) {
  dialog.showModal();
  dialog.querySelector("h2, p")?.focus();
}

// ask is for what cannot be made undone.
export function ask(question, yes, no) {
  const dialog = byId("ask-dialog");
  setText(byId("ask-text"), question);
  setText(byId("ask-yes"), yes);
  setText(byId("ask-no"), no);
  dialog.returnValue = "";
  dialog.showModal();
  byId("ask-no").focus();
  return new Promise((resolve) => {
    byId("ask-yes").onclick = () => dialog.close("yes");
    byId("ask-no").onclick = () => dialog.close("no");
    dialog.onclose = () => resolve(dialog.returnValue === "yes");
  });
}
