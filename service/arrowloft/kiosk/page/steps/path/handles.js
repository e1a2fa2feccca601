// Handles that are dragged by finger, mouse or pen, and moved by keys.

import { el, svg } from "../../parts/dom.js";

/** How far a pointer goes before a direction counts, pixels: a glove never moves quite straight. */
const SLACK = 8;

/** Keys, and what they move by: [along, across] in notches; with Shift ten times as much. */
const KEYS = {
  ArrowLeft: [-1, 0],
  ArrowRight: [1, 0],
  ArrowUp: [0, 1],
  ArrowDown: [0, -1],
  PageUp: [0, 10],
  PageDown: [0, -10],
};

/**
 * Handles over a drawing.
 * dragged(key, x, y): a handle is to be at a place, in pixels.  pressed(key, along, across): a key.
 * held(on): whether one is being dragged.
 * Returns show(list): [{key, x, y, label, valuetext, now, least, most}].
 */
export function handles(layer, told) {
  const made = new Map();
  return (list) => {
    for (const [key, element] of made) {
      if (list.some((one) => one.key === key)) continue;
      element.remove();
      made.delete(key);
    }
    for (const one of list) {
      if (!made.has(one.key)) {
        made.set(one.key, handle(one.key, told));
        layer.append(made.get(one.key));
      }
      place(made.get(one.key), one);
    }
  };
}

function handle(key, told) {
  const element = el(
    "div",
    { class: "handle", role: "slider", tabindex: "0", "data-key": key },
    cross(),
  );
  drag(element, key, told);
  element.addEventListener("keydown", (event) => {
    const way = KEYS[event.key];
    if (!way || event.ctrlKey || event.altKey || event.metaKey) return;
    event.preventDefault();
    const times = event.shiftKey && event.key.startsWith("Arrow") ? 10 : 1;
    told.pressed(key, way[0] * times, way[1] * times);
  });
  return element;
}

function place(element, { x, y, label, valuetext, now, least, most, only }) {
  element.spot = { x, y };
  element.style.transform = `translate(${x.toFixed(1)}px, ${y.toFixed(1)}px) translate(-50%, -50%)`;
  element.classList.toggle("along", Boolean(only));
  const told = {
    "aria-label": label,
    "aria-valuetext": valuetext,
    "aria-valuenow": now,
    "aria-valuemin": least,
    "aria-valuemax": most,
    "aria-orientation": only ? "horizontal" : "vertical",
  };
  for (const [name, value] of Object.entries(told)) element.setAttribute(name, value);
}

function drag(element, key, told) {
  let from = null;
  element.addEventListener("pointerdown", (event) => {
    if (event.button !== 0 || !event.isPrimary) return;
    event.preventDefault();
    element.focus({ preventScroll: true });
    element.setPointerCapture(event.pointerId);
    element.classList.add("held");
    from = { x: event.clientX, y: event.clientY, spot: element.spot, free: {} };
    told.held(true);
  });
  element.addEventListener("pointermove", (event) => {
    if (!from) return;
    told.dragged(key, moved(from, "x", event.clientX), moved(from, "y", event.clientY));
  });
  const end = () => {
    if (!from) return;
    from = null;
    element.classList.remove("held");
    told.held(false);
  };
  for (const event of ["pointerup", "pointercancel", "lostpointercapture"])
    element.addEventListener(event, end);
}

/** Where the handle is to be; undefined as long as the pointer has not left the slack. */
function moved(from, axis, now) {
  const way = now - from[axis];
  from.free[axis] ||= Math.abs(way) > SLACK;
  return from.free[axis]
    ? from.spot[axis] + way - Math.min(SLACK, Math.max(-SLACK, way))
    : undefined;
}

function cross() {
  return svg(
    "svg",
    { viewBox: "-20 -20 40 40", width: 40, height: 40, "aria-hidden": "true" },
    svg("path", { class: "up-down", d: "M0-12V12M-5-8L0-13L5-8M-5 8L0 13L5 8" }),
    svg("path", { d: "M-12 0H12M-8-5L-13 0L-8 5M8-5L13 0L8 5" }),
  );
}
