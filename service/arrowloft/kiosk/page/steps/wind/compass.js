// Where the wind blows from: a dial seen from above, the target at its top, the archer at its foot.

import { svg } from "../../parts/dom.js";

const STEP = 15;
const SIDE = 300;
const MIDDLE = SIDE / 2;
const RIM = 118;
const TURNS = {
  ArrowRight: STEP,
  ArrowUp: STEP,
  ArrowLeft: -STEP,
  ArrowDown: -STEP,
  PageUp: 90,
  PageDown: -90,
};

/** An angle between 0 and 360 deg. */
export function around(angle) {
  return ((angle % 360) + 360) % 360;
}

/** Where a wind blows from, deg clockwise from the target, in words. */
export function windWords(from) {
  const angle = around(from);
  const side = angle < 180 ? "right" : "left";
  const off = Math.min(angle, 360 - angle);
  if (off < 7.5) return "from straight ahead";
  if (off < 37.5) return `from ahead, a little from the ${side}`;
  if (off < 52.5) return `from ahead and the ${side} alike`;
  if (off < 82.5) return `from the ${side}, a little ahead`;
  if (off <= 97.5) return `from the ${side}`;
  if (off <= 127.5) return `from the ${side}, a little behind`;
  if (off <= 142.5) return `from behind and the ${side} alike`;
  if (off <= 172.5) return `from behind, a little from the ${side}`;
  return "from straight behind";
}

/**
 * The dial. changed: told of a direction that was touched or set by key, deg.
 * Returns {element, turn}: turn(angle) shows a direction.
 */
export function compass(changed) {
  const arrow = svg(
    "g",
    { class: "wind-arrow" },
    svg("path", { class: "shaft", d: `M${MIDDLE} ${MIDDLE - RIM + 8}V${MIDDLE - RIM + 34}` }),
    svg("path", { class: "head", d: `M${MIDDLE} ${MIDDLE - RIM + 56}l-15 -28h30z` }),
  );
  const element = svg(
    "svg",
    {
      class: "compass",
      viewBox: `0 0 ${SIDE} ${SIDE}`,
      role: "slider",
      tabindex: "0",
      "aria-label": "Where the wind blows from, clockwise from the target",
      "aria-valuemin": 0,
      "aria-valuemax": 360 - STEP,
    },
    svg("circle", { class: "rim", cx: MIDDLE, cy: MIDDLE, r: RIM }),
    ticks(),
    range(),
    arrow,
  );
  let now = 0;
  const turn = (angle) => {
    now = around(angle);
    arrow.setAttribute("transform", `rotate(${now} ${MIDDLE} ${MIDDLE})`);
    element.setAttribute("aria-valuenow", String(Math.round(now)));
    element.setAttribute("aria-valuetext", `${windWords(now)}, ${Math.round(now)} degrees`);
  };
  listen(element, changed, () => now);
  return { element, turn };
}

function listen(element, changed, now) {
  const touched = (event) => {
    const box = element.getBoundingClientRect();
    const across = event.clientX - box.left - box.width / 2;
    const ahead = box.top + box.height / 2 - event.clientY;
    // At the very middle a touch has no direction.
    if (Math.hypot(across, ahead) < box.width / 20) return;
    const angle = (Math.atan2(across, ahead) * 180) / Math.PI;
    changed(around(STEP * Math.round(angle / STEP)));
  };
  element.addEventListener("pointerdown", (event) => {
    element.setPointerCapture(event.pointerId);
    touched(event);
  });
  element.addEventListener("pointermove", (event) => {
    if (element.hasPointerCapture(event.pointerId)) touched(event);
  });
  element.addEventListener("keydown", (event) => {
    const to = event.key === "Home" ? 0 : event.key in TURNS ? now() + TURNS[event.key] : null;
    if (to === null) return;
    event.preventDefault();
    changed(around(STEP * Math.round(to / STEP)));
  });
}

function ticks() {
  const all = Array.from({ length: 360 / STEP }, (_, index) => index * STEP);
  return all.map((angle) =>
    svg("line", {
      class: "tick",
      x1: MIDDLE,
      x2: MIDDLE,
      y1: MIDDLE - RIM,
      y2: MIDDLE - RIM + (angle % 90 ? 8 : 16),
      transform: `rotate(${angle} ${MIDDLE} ${MIDDLE})`,
    }),
  );
}

/** The target, the archer and the line between them, from above. */
function range() {
  const [top, foot] = [MIDDLE - 48, MIDDLE + 46];
  return svg(
    "g",
    { class: "range", "font-size": 15, "text-anchor": "middle" },
    svg("line", { class: "shot", x1: MIDDLE, x2: MIDDLE, y1: top, y2: foot }),
    svg("rect", { class: "butt", x: MIDDLE - 24, y: top - 5, width: 48, height: 10, rx: 2 }),
    svg("circle", { class: "archer", cx: MIDDLE, cy: foot, r: 8 }),
    svg("line", { class: "bow", x1: MIDDLE - 14, x2: MIDDLE + 14, y1: foot - 14, y2: foot - 14 }),
    svg("text", { x: MIDDLE + 30, y: top + 24 }, "target"),
    svg("text", { x: MIDDLE + 28, y: foot + 3 }, "you"),
    svg(
      "text",
      { x: SIDE - 15, y: MIDDLE + 5, transform: `rotate(90 ${SIDE - 15} ${MIDDLE})` },
      "right",
    ),
    svg("text", { x: 15, y: MIDDLE + 5, transform: `rotate(-90 15 ${MIDDLE})` }, "left"),
    svg("text", { x: MIDDLE, y: SIDE - 10 }, "behind"),
  );
}
