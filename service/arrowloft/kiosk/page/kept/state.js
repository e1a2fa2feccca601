// What the person has entered. It lives in this browser and leaves it in requests alone.

import { allowed, cleaned, holds } from "./clean.js";
import { forgetKey } from "./key.js";
import { STARTING } from "./starting.js";

const KEPT = "arrowloft.state";
/** What stood here before a link or a file was taken up. */
const BEFORE = "arrowloft.before";

/** The format of the state: another number is another shape, and not read. */
export const FORMAT = 1;

/** What was written or read last: what else stands there is another tab's. */
let seen = null;
let state = read() ?? fresh();
const listeners = new Set();
let told = false;
/** Whether this tab has changed something that waits to be written. */
let unwritten = false;
const changed = new Set();

function fresh() {
  return { format: FORMAT, ...structuredClone(STARTING) };
}

function read() {
  try {
    seen = localStorage.getItem(KEPT);
    const kept = JSON.parse(seen);
    return isState(kept) ? cleaned(kept) : null;
  } catch {
    return null;
  }
}

/** Whether a value has the shape of a state. */
export function isState(value) {
  return (
    holds(value) &&
    value.format === FORMAT &&
    ["metric", "imperial"].includes(value.system) &&
    holds(value.setup) &&
    holds(value.ask)
  );
}

function steps(path) {
  const found = path.split("/");
  // What is kept may come from a link: it must not reach what all objects share.
  if (!found.every(allowed)) throw new Error(path);
  return found;
}

// Another tab of this browser: both show, and keep, what was entered last.
addEventListener("storage", (event) => {
  if (event.key !== KEPT) return;
  state = read() ?? fresh();
  changed.add("");
  tell();
});

// Who comes back to a page that was put aside has missed what was told meanwhile.
for (const back of ["pageshow", "visibilitychange"]) {
  addEventListener(back, () => {
    if (!unwritten) catchUp();
    if (changed.size) tell();
  });
}

/** Take up what another tab has entered, which may not have been told here yet. */
function catchUp() {
  try {
    if (localStorage.getItem(KEPT) === seen) return;
  } catch {
    return; // Forbidden: there are no others.
  }
  state = read() ?? fresh();
  changed.add("");
}

/** The value at a path such as "setup/bow/peep_height"; undefined where there is none. */
export function get(path) {
  return steps(path).reduce(
    (value, step) =>
      value !== null && typeof value === "object" && Object.hasOwn(value, step)
        ? value[step]
        : undefined,
    state,
  );
}

/** Set what was entered at a path, making what lies on the way; undefined and "" take it away. */
export function set(path, value) {
  settle(path, value);
  state.entered = true;
}

/** The same for what the page fills in by itself: it is nobody's entry. */
export function settle(path, value) {
  // What waits to be written would be lost.
  if (!unwritten) catchUp();
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
  unwritten = true;
  tell();
}

/** All of the state, to be read only. */
export function whole() {
  return state;
}

/** Whether something other than the starting values stands here. */
export function hasEntries() {
  return state.entered === true;
}

/** Put another state in place of this one, which can be brought back once where it held entries. */
export function replace(value) {
  if (!unwritten) catchUp();
  keepBefore(hasEntries() ? JSON.stringify(state) : null);
  take(value);
}

function take(value) {
  state = { ...cleaned(value), entered: true };
  changed.add("");
  unwritten = true;
  tell();
  // Steps that were drawn from other entries are drawn anew.
  dispatchEvent(new Event("arrowloft-taken"));
}

let before = null;

function keepBefore(text) {
  before = text;
  try {
    if (text === null) localStorage.removeItem(BEFORE);
    else localStorage.setItem(BEFORE, text);
  } catch {
    // It is held until the page is closed.
  }
}

function readBefore() {
  try {
    const kept = JSON.parse(localStorage.getItem(BEFORE) ?? before);
    return isState(kept) ? kept : null;
  } catch {
    return null;
  }
}

/** Whether entries can be brought back that a link or a file has taken the place of. */
export function hasBefore() {
  return readBefore() !== null;
}

/** Bring them back. */
export function bringBack() {
  const kept = readBefore();
  keepBefore(null);
  if (kept) take(kept);
}

/** What was typed at a path before its unit was changed, as long as the value is still that. */
export function typedAt(path, value) {
  const kept = state.typed?.[path];
  return kept?.shown === value ? kept.was : value;
}

/** Keep what was typed at a path, and what it has become in another unit. */
export function keepTyped(path, was, becoming) {
  state.typed ??= {};
  state.typed[path] = { shown: becoming, was };
}

/** Forget all that was entered, and the key. */
export function reset() {
  state = fresh();
  keepBefore(null);
  forgetKey();
  // Nothing is kept until something is entered.
  unwritten = false;
  seen = null;
  try {
    localStorage.removeItem(KEPT);
  } catch {
    // Where storage is forbidden nothing was kept.
  }
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
    // What another tab has written is not written back: that may have gone on meanwhile.
    if (unwritten) write();
    for (const listener of [...listeners]) call(listener, paths);
  });
}

function write() {
  unwritten = false;
  try {
    const text = JSON.stringify(state);
    localStorage.setItem(KEPT, text);
    seen = text;
  } catch {
    // A full or forbidden storage: everything still works until the page is closed.
  }
}

/** One listener that fails keeps none of the others from being told. */
function call(listener, paths) {
  try {
    listener(paths);
  } catch (error) {
    reportError(error);
  }
}
