// The photo with what was found drawn in, to be enlarged and moved by fingers, keys or buttons.
import { byId, openDialog } from "./dom.js";

let view = { scale: 1, x: 0, y: 0 };
let address = null;
const most = 20;
const fingers = new Map();

// setPicture takes a JPEG's bytes; null takes the old picture away.
export function setPicture(bytes) {
  if (address) URL.revokeObjectURL(address);
  address = bytes ? URL.createObjectURL(new Blob([bytes], { type: "image/jpeg" })) : null;
  byId("check-picture").hidden = !address;
  if (address) byId("picture").src = address;
  else byId("picture").removeAttribute("src");
}

function place() {
  const box = byId("picture-view").getBoundingClientRect();
  // Some of the picture stays in the window.
  const least = (size) => size * (1 - view.scale);
  view.x = Math.min(0, Math.max(least(box.width), view.x));
  view.y = Math.min(0, Math.max(least(box.height), view.y));
  byId("picture").style.transform = `translate(${view.x}px, ${view.y}px) scale(${view.scale})`;
}

// enlarge keeps the point at (x, y) of the window where it is.
function enlarge(by, x, y) {
  const scale = Math.min(most, Math.max(1, view.scale * by));
  const k = scale / view.scale;
  view = { scale, x: x - (x - view.x) * k, y: y - (y - view.y) * k };
  place();
}

function enlargeMiddle(by) {
  const box = byId("picture-view").getBoundingClientRect();
  enlarge(by, box.width / 2, box.height / 2);
}

function whole() {
  view = { scale: 1, x: 0, y: 0 };
  place();
}

const span = ([a, b]) => Math.hypot(a.x - b.x, a.y - b.y);

function moved(event) {
  if (!fingers.has(event.pointerId)) return;
  const before = [...fingers.values()].map((p) => ({ ...p }));
  const box = byId("picture-view").getBoundingClientRect();
  fingers.set(event.pointerId, { x: event.clientX - box.left, y: event.clientY - box.top });
  const after = [...fingers.values()];
  if (after.length === 1) {
    view.x += after[0].x - before[0].x;
    view.y += after[0].y - before[0].y;
    place();
  } else if (after.length === 2) {
    const centre = (p) => [(p[0].x + p[1].x) / 2, (p[0].y + p[1].y) / 2];
    const [x0, y0] = centre(before), [x1, y1] = centre(after);
    view.x += x1 - x0;
    view.y += y1 - y0;
    enlarge(span(after) / Math.max(1, span(before)), x1, y1);
  }
}

const steps = { ArrowLeft: [60, 0], ArrowRight: [-60, 0], ArrowUp: [0, 60], ArrowDown: [0, -60] };

function pressed(event) {
  if (event.key === "+" || event.key === "=") enlargeMiddle(1.5);
  else if (event.key === "-") enlargeMiddle(1 / 1.5);
  else if (event.key === "0") whole();
  else if (steps[event.key]) {
    view.x += steps[event.key][0];
    view.y += steps[event.key][1];
    place();
  } else return;
  event.preventDefault();
}

export function startPicture() {
  const box = byId("picture-view");
  byId("check-picture").addEventListener("click", () => {
    openDialog(byId("picture-dialog"));
    whole();
  });
  box.addEventListener("pointerdown", (event) => {
    const r = box.getBoundingClientRect();
    fingers.set(event.pointerId, { x: event.clientX - r.left, y: event.clientY - r.top });
    box.setPointerCapture(event.pointerId);
  });
  box.addEventListener("pointermove", moved);
  for (const end of ["pointerup", "pointercancel"]) box.addEventListener(end, (event) => fingers.delete(event.pointerId));
  box.addEventListener("wheel", (event) => {
    const r = box.getBoundingClientRect();
    enlarge(event.deltaY < 0 ? 1.25 : 0.8, event.clientX - r.left, event.clientY - r.top);
    event.preventDefault();
  }, { passive: false });
  box.addEventListener("keydown", pressed);
  byId("picture-in").addEventListener("click", () => enlargeMiddle(1.5));
  byId("picture-out").addEventListener("click", () => enlargeMiddle(1 / 1.5));
  byId("picture-whole").addEventListener("click", whole);
}
