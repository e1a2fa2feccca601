// A leaning bow as the archer sees it, its level, and where the arrow lands in the circle.

import { svg } from "../../parts/dom.js";

const SIDE = 150;
const MIDDLE = SIDE / 2;

/**
 * The drawing.
 * roll: degrees, top limb to the right positive.  right, up, allowance: in one unit; right and
 * up are null where the arrow never arrives.
 */
export function leaning({ roll, right, up, allowance }) {
  return svg(
    "svg",
    { class: "leaning", viewBox: `0 0 ${2 * SIDE + 20} ${SIDE}`, "aria-hidden": "true" },
    bow(roll),
    svg("g", { transform: `translate(${SIDE + 20} 0)` }, circle(right, up, allowance)),
  );
}

function bow(roll) {
  // The bubble goes to the end that is higher, and stays within its tube.
  const bubble = Math.max(-11, Math.min(11, -4 * roll));
  return svg(
    "g",
    {},
    svg("line", { class: "plumb", x1: MIDDLE, x2: MIDDLE, y1: 4, y2: SIDE - 4 }),
    svg(
      "g",
      { transform: `rotate(${roll} ${MIDDLE} ${MIDDLE})` },
      svg("line", { class: "limbs", x1: MIDDLE, x2: MIDDLE, y1: 12, y2: SIDE - 12 }),
      svg("line", { class: "grip", x1: MIDDLE, x2: MIDDLE, y1: MIDDLE - 16, y2: MIDDLE + 16 }),
      svg("rect", {
        class: "tube",
        x: MIDDLE - 20,
        y: MIDDLE - 42,
        width: 40,
        height: 15,
        rx: 7.5,
      }),
      svg("line", {
        class: "tick",
        x1: MIDDLE - 8,
        x2: MIDDLE - 8,
        y1: MIDDLE - 42,
        y2: MIDDLE - 27,
      }),
      svg("line", {
        class: "tick",
        x1: MIDDLE + 8,
        x2: MIDDLE + 8,
        y1: MIDDLE - 42,
        y2: MIDDLE - 27,
      }),
      svg("circle", { class: "bubble", cx: MIDDLE + bubble, cy: MIDDLE - 34.5, r: 6 }),
    ),
  );
}

function circle(right, up, allowance) {
  const farthest = right === null ? 0 : Math.max(Math.abs(right), Math.abs(up));
  const scale = (MIDDLE - 12) / Math.max(allowance, farthest);
  const [x, y] = [MIDDLE + scale * right, MIDDLE - scale * up];
  return svg(
    "g",
    {},
    svg("circle", { class: "allowed", cx: MIDDLE, cy: MIDDLE, r: Math.max(2, scale * allowance) }),
    svg("path", { class: "plumb", d: `M${MIDDLE} 4V${SIDE - 4}M4 ${MIDDLE}H${SIDE - 4}` }),
    right !== null && svg("path", { class: "impact", d: `M${x - 7} ${y - 7}l14 14m0 -14l-14 14` }),
  );
}
