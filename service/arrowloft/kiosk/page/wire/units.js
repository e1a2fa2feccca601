// Units: which ones a person is offered, and conversions by the service's own table.

import { fetched } from "./service.js";

/**
 * Kinds of quantities: dimension in the service's table, unit by system of units, the units
 * offered, and the step of the - and + buttons in each.
 */
export const KINDS = {
  distance: { dimension: "distance", metric: "m", imperial: "yd", units: { m: 1, yd: 1, ft: 1 } },
  span: { dimension: "length", metric: "cm", imperial: "in", units: { cm: 0.5, mm: 5, in: 0.25 } },
  draw: { dimension: "length", metric: "in", imperial: "in", units: { in: 0.25, cm: 0.5, mm: 5 } },
  small: { dimension: "length", metric: "mm", imperial: "mm", units: { mm: 0.1, in: 0.005 } },
  off: { dimension: "length", metric: "cm", imperial: "in", units: { cm: 0.5, mm: 5, in: 0.25 } },
  height: {
    dimension: "length",
    metric: "m",
    imperial: "ft",
    units: { m: 0.1, cm: 10, ft: 0.25, in: 1 },
  },
  altitude: { dimension: "distance", metric: "m", imperial: "ft", units: { m: 50, ft: 100 } },
  arrowMass: { dimension: "mass", metric: "gr", imperial: "gr", units: { gr: 5, g: 0.5 } },
  arrowSpeed: {
    dimension: "speed",
    metric: "m/s",
    imperial: "ft/s",
    units: { "m/s": 0.5, "ft/s": 1 },
  },
  windSpeed: {
    dimension: "speed",
    metric: "m/s",
    imperial: "mph",
    units: { "m/s": 0.5, "km/h": 1, mph: 1, kn: 1 },
  },
  drawWeight: {
    dimension: "force",
    metric: "lbf",
    imperial: "lbf",
    units: { lbf: 1, N: 5, kgf: 0.5 },
  },
  angle: { dimension: "angle", metric: "deg", imperial: "deg", units: { deg: 0.5, mrad: 5 } },
  direction: { dimension: "angle", metric: "deg", imperial: "deg", units: { deg: 15 } },
  temperature: {
    dimension: "temperature",
    metric: "degC",
    imperial: "degF",
    units: { degC: 1, degF: 1 },
  },
  pressure: {
    dimension: "pressure",
    metric: "hPa",
    imperial: "inHg",
    units: { hPa: 1, inHg: 0.05, kPa: 0.1, mmHg: 1 },
  },
};

/** Units as they are shown where their symbol is not what people write. */
const SHOWN = { degC: "°C", degF: "°F", deg: "°", gr: "grains", lbf: "lb", kgf: "kg", "": "" };

/** A unit in the words of the page. */
export function shown(unit) {
  return Object.hasOwn(SHOWN, unit) ? SHOWN[unit] : unit;
}

let listed = null;

/** Fetch the service's table of units, once. */
export async function loadUnits() {
  listed ??= (await fetched("/v1/units")).dimensions;
  return listed;
}

/** Number and unit of a text such as "276 ft/s"; the unit is empty where there is none. */
export function parted(text) {
  const found = /^\s*(-?[\d.,]*(?:[eE][+-]?\d+)?)\s*(.*?)\s*$/.exec(text ?? "");
  return found ? { number: found[1], unit: found[2] } : { number: "", unit: "" };
}

/** A number in one unit as a number in another; NaN where either is unknown. */
export function converted(number, dimension, from, to) {
  const known = listed?.[dimension] ?? {};
  if (!known[from] || !known[to]) return NaN;
  return (number * known[from].factor + known[from].offset - known[to].offset) / known[to].factor;
}

/** The same quantity as text in another unit, to six digits; as it was where it is no quantity. */
export function inUnit(text, dimension, to) {
  const { number, unit } = parted(text);
  if (unit === to || number === "") return text;
  const value = converted(Number(number), dimension, unit, to);
  return Number.isFinite(value) ? `${tidy(value, 6)} ${to}` : text;
}

/** A number to so many digits, without an exponent or a zero at its end. */
export function tidy(value, digits = 4) {
  if (!Number.isFinite(value)) return "";
  return String(Number(Number(value).toPrecision(digits)));
}

/** A number with a fixed count of decimals, a true minus and no minus zero. */
export function fixed(value, decimals) {
  if (value === null || value === undefined || !Number.isFinite(value)) return "–";
  const text = value.toFixed(decimals);
  return Number(text) === 0 ? text.replace("-", "") : text.replace("-", "−");
}

/** The `units` member of requests in a system of units. */
export function replyUnits(system) {
  return system === "metric"
    ? {
        distance: "m",
        length: "mm",
        angle: "deg",
        speed: "m/s",
        temperature: "degC",
        pressure: "hPa",
      }
    : {
        distance: "yd",
        length: "in",
        angle: "deg",
        speed: "ft/s",
        temperature: "degF",
        pressure: "inHg",
      };
}
