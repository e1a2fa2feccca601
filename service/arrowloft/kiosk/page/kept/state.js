// What the person has entered. It lives in this browser and leaves it in requests alone.

import { STARTING } from "./starting.js";

const KEPT = "arrowloft.state";

/** The format of the state: another number is another shape, and not read. */
export const FORMAT = 1;

let state = read() ?? fresh();
const listeners = new Set();
let told = false;
const changed = new Set();

function fresh() {
  return { format: FORMAT, ...structuredClone(STARTING) };
}

function read() {
  try {
    const kept = JSON.parse(localStorage.getItem(KEPT));
    return isState(kept) ? kept : null;
  } catch {
    return null;
  }
}

/** Whether a value has the shape of a state. */
export function isState(value) {
  return (
    plain(value) &&
    value.format === FORMAT &&
    ["metric", "imperial"].includes(value.system) &&
    plain(value.setup) &&
    plain(value.ask)
  );
}

function plain(value) {
  return value !== null && typeof value === "object" && !Array.isArray(value);
}

function steps(path) {
  const found = path.split("/");
  // What is kept may come from a link: it must not reach what all objects share.
  if (found.some((step) => ["__proto__", "constructor", "prototype"].includes(step)))
    throw new Error(path);
  return found;
}

/** The value at a path such as "setup/bow/peep_height"; undefined where there is none. */
export function get(path) {
  return steps(path).reduce(
    (value, step) => (value === null || value === undefined ? undefined : value[step]),
    state,
  );
}

/** Set the value at a path, making what lies on the way; undefined and "" take it away. */
export function set(path, value) {
  const way = steps(path);
  const last = way.pop();
  let place = state;
  for (const step of way) {
    if (place[step] === null || typeof place[step] !== "object") place[step] = {};
    place = place[step];
  }
  if (value === undefined || value === "") delete place[last];
  else place[last] = value;
  changed.add(path);
  tell();
}

/** All of the state, to be read only. */
export function whole() {
  return state;
}

/** Put another state in place of this one. */
export function replace(value) {
  state = structuredClone(value);
  changed.add("");
  tell();
}

/** Forget all that was entered. */
export function reset() {
  state = fresh();
  localStorage.removeItem(KEPT);
  changed.add("");
  tell();
}

/**
 * Call a listener after changes, with the paths changed; "" stands for everything.
 * Returns what ends that.
 */
export function subscribe(listener) {
  listeners.add(listener);
  return () => listeners.delete(listener);
}

function tell() {
  if (told) return;
  told = true;
  queueMicrotask(() => {
    told = false;
    const paths = [...changed];
    changed.clear();
    try {
      localStorage.setItem(KEPT, JSON.stringify(state));
    } catch {
      // A full or forbidden storage: everything still works until the page is closed.
    }
    for (const listener of [...listeners]) listener(paths);
  });
}
