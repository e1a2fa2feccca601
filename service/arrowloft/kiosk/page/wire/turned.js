// Quantities turned over into another unit: rounded as people would write them, and given back
// as they were typed when the unit comes back.

import { startingIn } from "../kept/starting.js";
import { keepTyped, set, settle, typedAt, whole } from "../kept/state.js";
import { converted, KINDS, parted, tidy } from "./units.js";

/** Units that are turned over when the system of units changes, by what they become. */
const TURNED = {
  metric: { yd: "m", ft: "m", "ft/s": "m/s", mph: "m/s", degF: "degC", inHg: "hPa" },
  imperial: { m: "yd", "m/s": "ft/s", "km/h": "mph", degC: "degF", hPa: "inHg" },
};

/** Lengths that read better in a unit of their own. */
const OWN = { peep_height: KINDS.span, radius: KINDS.span, altitude: KINDS.altitude };

/** Units of length that belong to the other system, for those. */
const OTHERS = { metric: ["in", "ft"], imperial: ["cm", "mm", "m"] };

/** Digits that a small value keeps in any case. */
const LEAST_DIGITS = 3;

/** Change the system of units, and everything entered with it. */
export function turnAll(system) {
  for (const part of ["setup", "ask"]) turn(whole()[part], part, system);
  settle("system", system);
}

/**
 * Put the quantity at a path into another unit; one that came from there is as it was typed.
 * put: keeps it, as a person's entry or not.
 */
export function turnAt(path, kind, to, put = set) {
  const text = path.split("/").reduce((value, step) => value?.[step], whole());
  const was = typedAt(path, text);
  const becoming = turned(was, kind, to);
  if (becoming === text) return;
  keepTyped(path, was, becoming);
  put(path, becoming);
}

/** A quantity as text in another unit, rounded to a part of that unit's step. */
export function turned(text, kind, to) {
  const { number, unit } = parted(text);
  if (unit === to || number === "") return text;
  const value = converted(Number(number), kind.dimension, unit, to);
  return Number.isFinite(value) ? `${rounded(value, kind.units[to] ?? 1)} ${to}` : text;
}

/** An example's value in a unit of the system, where its own unit is of the other. */
export function turnedExample(value, system, kind) {
  const to = becomes(parted(value).unit, system);
  return to && to in kind.units ? turned(value, kind, to) : value;
}

/** A tenth of the step is worth showing, nothing finer; a small value keeps three digits. */
function rounded(value, step) {
  const fine = Math.max(0, -Math.floor(Math.log10(step / 10)));
  const own = value === 0 ? 0 : LEAST_DIGITS - 1 - Math.floor(Math.log10(Math.abs(value)));
  return tidy(Number(value.toFixed(Math.min(12, Math.max(fine, own)))), 12);
}

function becomes(unit, system) {
  return Object.hasOwn(TURNED[system], unit) ? TURNED[system][unit] : undefined;
}

function turn(value, path, system) {
  if (value !== null && typeof value === "object") {
    for (const [name, one] of Object.entries(value)) turn(one, `${path}/${name}`, system);
    return;
  }
  if (typeof value !== "string") return;
  const starting = startingIn(system, path, value);
  if (starting !== undefined) {
    settle(path, starting);
    return;
  }
  const was = typedAt(path, value);
  const name = path.split("/").at(-1);
  if (was !== value && !foreign(name, parted(was).unit, system)) {
    settle(path, was);
    return;
  }
  const { unit } = parted(value);
  const to =
    (Object.hasOwn(OWN, name) ? OWN[name][system] : undefined) ??
    (path.includes("/wind") && unit === "m/s" ? KINDS.windSpeed[system] : becomes(unit, system));
  const kind = Object.hasOwn(OWN, name)
    ? OWN[name]
    : Object.values(KINDS).find((one) => unit in one.units && to in one.units);
  if (to && kind) turnAt(path, kind, to, settle);
}

/** Whether a unit is one of the other system. */
function foreign(name, unit, system) {
  if (Object.hasOwn(OWN, name)) return OTHERS[system].includes(unit);
  return becomes(unit, system) !== undefined;
}
