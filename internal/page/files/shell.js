// Which screen is open, day and night, and the cautions that come before all else.
import { byId, make, speak, complain } from "./dom.js";
import { getValue, setValue } from "./store.js";

const screens = ["read", "steer", "kept", "settings", "cautions"];
const watchers = [];
let openScreen = "cautions";
let cautionsRead = false;

export const screenNow = () => openScreen;

// onScreen calls what a screen does when it is opened.
export function onScreen(name, work) { watchers.push([name, work]); }

function go(name, focus) {
  if (!cautionsRead || !screens.includes(name)) name = cautionsRead ? "read" : "cautions";
  openScreen = name;
  for (const s of screens) byId("screen-" + s).hidden = s !== name;
  for (const a of byId("nav").querySelectorAll("a")) {
    if (a.hash === "#" + name) a.setAttribute("aria-current", "page");
    else a.removeAttribute("aria-current");
  }
  window.scrollTo(0, 0);
  if (focus) byId("title-" + name).focus({ preventScroll: true });
  for (const [of, work] of watchers) if (of === name || of === "*") work(name);
}

async function setNight(on) {
  document.documentElement.classList.toggle("dark", on);
  byId("night").setAttribute("aria-pressed", String(on));
  document.querySelector('meta[name="theme-color"]').content = on ? "#000000" : "#ffffff";
}

export async function startShell() {
  const night = Boolean(await getValue("night"));
  cautionsRead = Boolean(await getValue("cautions_read"));
  document.body.classList.toggle("unread", !cautionsRead);
  setNight(night);
  byId("night").addEventListener("click", () => {
    const on = byId("night").getAttribute("aria-pressed") !== "true";
    setNight(on);
    setValue("night", on);
  });
  byId("understood").addEventListener("click", () => {
    cautionsRead = true;
    setValue("cautions_read", true);
    document.body.classList.remove("unread");
    if (location.hash === "#read") go("read", true);
    else location.hash = "#read";
  });
  window.addEventListener("hashchange", () => go(location.hash.slice(1), true));
  byId("trouble-seen").addEventListener("click", () => complain(""));
  for (const close of document.querySelectorAll("[data-close]")) {
    close.addEventListener("click", () => close.closest("dialog").close());
  }
  for (const step of document.querySelectorAll("[data-step]")) {
    step.addEventListener("click", () => stepField(byId(step.dataset.for), Number(step.dataset.step)));
  }
  go(location.hash.slice(1) || "read", false);
}

// stepField moves a bearing in its field by whole degrees, round the circle.
function stepField(field, by) {
  const now = Number(field.value.replace(",", ".")) || 0;
  const next = ((now + by) % 360 + 360) % 360;
  field.value = Number.isInteger(next) ? String(next).padStart(3, "0") : next.toFixed(1).padStart(5, "0");
  field.dispatchEvent(new Event("input", { bubbles: true }));
  field.dispatchEvent(new Event("change", { bubbles: true }));
  speak(field.value);
}

// warningList shows what a reading warns of.
export function warningList(list, warnings) {
  list.replaceChildren(...warnings.map((w) => make("li", {}, w.text, " ", make("code", {}, w.code))));
}
