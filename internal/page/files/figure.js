// The large figures and the dial, drawn: they are as high as we say whatever typefaces a
// device has.
import { draw } from "./dom.js";

// Figures as they are cut into a scale, strokes of one width in a cell of 56 by 100.
const strokes = {
  0: "M7 29A21 22 0 0 1 49 29V71A21 22 0 0 1 7 71Z",
  1: "M11 26L33 7V100",
  2: "M7 33V29A21 22 0 0 1 49 29C49 50 9 64 8 93H56",
  3: "M5 7H45L26 41.5H28A21 25.8 0 0 1 28 93C18 93 9.5 87 6 77",
  4: "M38 100V7L7 70H56",
  5: "M50 7H14L11.5 48C17 43 22.5 41 28 41A21 26 0 0 1 28 93C18 93 9.5 88 5.5 79",
  6: "M43 3C20 20 7 44 7 69A21 24 0 0 0 49 69A21 24 0 0 0 7 69",
  7: "M0 7H48C34 34 24 64 22 100",
  8: "M28 47A17.5 20 0 0 1 28 7A17.5 20 0 0 1 28 47A21 23 0 0 1 28 93A21 23 0 0 1 28 47Z",
  9: "M13 97C36 80 49 56 49 31A21 24 0 0 0 7 31A21 24 0 0 0 49 31",
  "-": "M8 52H48",
};
const cell = 56, gap = 12, point = 15, ring = 24;

// figures draws a number such as 359.9. spoken is what a screen reader says for it.
export function figures(number, spoken, withRing) {
  let x = 0;
  const cut = draw("g", { class: "cut" });
  for (const c of number) {
    if (c === ".") {
      cut.append(draw("circle", { cx: x + point / 2, cy: 91, r: 9, class: "dot" }));
      x += point + gap;
      continue;
    }
    cut.append(draw("path", { d: strokes[c] ?? strokes["-"], transform: `translate(${x} 0)` }));
    x += cell + gap;
  }
  if (withRing) {
    cut.append(draw("circle", { cx: x + ring / 2 - 2, cy: 13, r: 8.5, class: "ring" }));
    x += ring + gap;
  }
  return draw("svg", { viewBox: `0 0 ${x - gap} 100`, role: "img", "aria-label": spoken }, cut);
}

// The dial about a number, as the sheet has it: numbers grow to the left for an eye at the
// rod that looks along the shadow. The shadow lies fast in the middle, the dial runs under it.
const middle = 180, foot = 520, rim = 440, perDegree = 1.9;

function onDial(degrees, radius) {
  const a = -degrees * perDegree * Math.PI / 180;
  return [middle + radius * Math.sin(a), foot - radius * Math.cos(a)].map((v) => v.toFixed(1));
}

export function dial(number) {
  const scale = draw("g", { class: "scale" });
  const whole = Math.round(number);
  for (let n = whole - 13; n <= whole + 13; n++) {
    const from = n - number;
    const long = n % 10 === 0 ? 25 : n % 5 === 0 ? 19 : 12;
    const [x1, y1] = onDial(from, rim), [x2, y2] = onDial(from, rim + long);
    scale.append(draw("path", { d: `M${x1} ${y1}L${x2} ${y2}`, class: n % 10 === 0 ? "ten" : "one" }));
    if (n % 10 === 0) {
      const [x, y] = onDial(from, rim + 33);
      scale.append(draw("text", { x, y, "text-anchor": "middle", transform: `rotate(${(-from * perDegree).toFixed(2)} ${x} ${y})` }, String(((n % 360) + 360) % 360)));
    }
  }
  const [x1, y1] = onDial(13.5, rim), [x2, y2] = onDial(-13.5, rim);
  scale.append(draw("path", { d: `M${x1} ${y1}A${rim} ${rim} 0 0 1 ${x2} ${y2}`, class: "ten" }));
  // A shadow has no hard end: its tip lies beyond the scale or before it.
  const shadow = draw("path", { d: `M175 132V60H185V132Z`, class: "shadow" });
  return draw("svg", { viewBox: "0 22 360 110", "aria-hidden": "true" }, scale, shadow);
}

// arrow points the way to turn; round corners, since a turn is meant and no step aside.
export function arrow(side) {
  const d = side === "right" ? "M6 34V24A14 14 0 0 1 20 10H33M24 2L34 10L24 18" : "M34 34V24A14 14 0 0 0 20 10H7M16 2L6 10L16 18";
  return draw("svg", { viewBox: "0 0 40 38", class: "arrow", "aria-hidden": "true" }, draw("path", { d }));
}

// shareBar draws a share of the whole; the figure stands beside it.
export function shareBar(share) {
  return draw("svg", { viewBox: "0 0 84 12", class: "share", "aria-hidden": "true" },
    draw("rect", { x: 1, y: 3, width: (82 * Math.min(1, share)).toFixed(1), height: 6 }), draw("path", { d: "M1 0V12M83 0V12" }));
}

// sketch shows from where to photograph the sheet: across the shadow.
export function sketch() {
  const x = 180, y = 88, radius = 56, ticks = [];
  for (let n = 0; n < 72; n++) {
    const a = n * Math.PI / 36, out = radius + (n % 6 === 0 ? 11 : 6);
    ticks.push(`M${(x + radius * Math.sin(a)).toFixed(1)} ${(y - radius * Math.cos(a)).toFixed(1)}L${(x + out * Math.sin(a)).toFixed(1)} ${(y - out * Math.cos(a)).toFixed(1)}`);
  }
  const rays = [];
  for (let n = 0; n < 8; n++) {
    const a = n * Math.PI / 4;
    rays.push(`M${(38 + 19 * Math.cos(a)).toFixed(1)} ${(62 + 19 * Math.sin(a)).toFixed(1)}l${(9 * Math.cos(a)).toFixed(1)} ${(9 * Math.sin(a)).toFixed(1)}`);
  }
  const line = (d, more = {}) => draw("path", { d, ...more });
  const text = (at, words) => draw("text", at, words);
  return draw("svg", { viewBox: "0 0 360 216", class: "sketch", role: "img", "aria-label": "The sheet from above: the sun at one side, the rod's shadow on the other, the camera at right angles to the shadow" },
    line("M98 6H262V170H98Z"), draw("circle", { cx: x, cy: y, r: radius }), line(ticks.join("")),
    line(`M${x} ${y}L268 108`, { class: "shadow" }), draw("circle", { cx: x, cy: y, r: 5, class: "shadow" }),
    draw("circle", { cx: 38, cy: 62, r: 13 }), line(rays.join("")), text({ x: 22, y: 112 }, "sun"), text({ x: 274, y: 114 }, "shadow"),
    line("M158 204V190H169L173 184H187L191 190H202V204Z"), draw("circle", { cx: x, cy: 196, r: 5 }), line("M180 180V158M174 166L180 158L186 166"), text({ x: 212, y: 203 }, "camera"));
}
