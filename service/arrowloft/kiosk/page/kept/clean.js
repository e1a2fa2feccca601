// A state that comes from a link, a file or an older page, with nothing left in it that steps
// cannot read: what should be a list is one, what should hold members does.

import { STARTING } from "./starting.js";

/** Names that reach what all objects share. */
const SHARED = new Set(["__proto__", "constructor", "prototype"]);

/** Members that are lists of entries, each with members of its own. */
const ENTRIES = new Set(["ends", "obstacles", "others", "touched"]);

/** Members that are lists of single values. */
const VALUES = new Set(["slopes"]);

/** Members that hold members. */
const HOLDERS = new Set(
  (
    "air allowance arrow bow card distances drag ground group housing launch models " +
    "parameters scale sheet sight site tolerance"
  ).split(" "),
);

/** Far beyond what the page itself makes. */
const MOST = { deep: 8, listed: 300, long: 2000 };

const NAME = /^[\w.-]{1,80}$/;

/** Whether a name may stand in the state. */
export function allowed(name) {
  return !SHARED.has(name);
}

/** Whether a value holds members. */
export function holds(value) {
  return value !== null && typeof value === "object" && !Array.isArray(value);
}

/** The state with what steps can read, the rest left out; a copy. */
export function cleaned({ format, system, entered, setup, ask, typed }) {
  const state = { format, system, setup: tidied(setup, 1), ask: steps(ask) };
  if (entered) state.entered = true;
  if (holds(typed)) state.typed = remembered(typed);
  for (const kind of ["launch", "drag"]) {
    const chosen = state.setup[kind];
    const named = typeof chosen?.model === "string" && NAME.test(chosen.model);
    if (!named || !allowed(chosen.model)) state.setup[kind] = structuredClone(STARTING.setup[kind]);
  }
  return state;
}

/** What steps keep: each holds members. */
function steps(ask) {
  return Object.fromEntries(
    Object.entries(ask)
      .filter(([name, one]) => allowed(name) && holds(one))
      .map(([name, one]) => [name, tidied(one, 2)]),
  );
}

function tidied(members, deep) {
  const kept = {};
  for (const [name, value] of Object.entries(members)) {
    if (!allowed(name)) continue;
    const found = fitting(name, value, deep + 1);
    if (found !== undefined) kept[name] = found;
  }
  return kept;
}

/** A value as its name wants it; undefined where it is nothing of the kind. */
function fitting(name, value, deep) {
  if (deep > MOST.deep) return undefined;
  if (ENTRIES.has(name)) return listed(value, holds, deep);
  if (VALUES.has(name)) return listed(value, single, deep);
  if (HOLDERS.has(name)) return holds(value) ? tidied(value, deep) : undefined;
  if (holds(value)) return tidied(value, deep);
  return Array.isArray(value) ? listed(value, single, deep) : single(value) ? value : undefined;
}

function listed(value, fits, deep) {
  if (!Array.isArray(value)) return undefined;
  return value
    .slice(0, MOST.listed)
    .filter(fits)
    .map((one) => (holds(one) ? tidied(one, deep + 1) : one));
}

function single(value) {
  if (typeof value === "string") return value.length <= MOST.long;
  return typeof value === "boolean" || Number.isFinite(value);
}

/** What was typed in other units, by path. */
function remembered(typed) {
  return Object.fromEntries(
    Object.entries(typed)
      .filter(([, one]) => single(one?.shown) && single(one?.was))
      .filter(([path]) => path.split("/").every(allowed))
      .map(([path, { shown, was }]) => [path, { shown: String(shown), was: String(was) }]),
  );
}
