// Words for distances, and for where an arrow lands at the target.

import { fixed } from "../wire/units.js";

/** Unit in which shifts at the target are told: centimetres beside millimetres of the sight. */
export function targetUnit(units) {
  return units.length === "mm" ? "cm" : units.length;
}

/** A length of a reply in that unit. */
export function atTarget(value, units) {
  return value === null ? null : value / (units.length === "mm" ? 10 : 1);
}

/** The size of a shift at the target: "8.2 cm". */
export function size(value, units) {
  return `${fixed(Math.abs(atTarget(value, units)), decimals(value, units))} ${targetUnit(units)}`;
}

/** Whether a shift is so small that its size reads as nothing. */
export function nothing(value, units) {
  return Number(atTarget(value, units).toFixed(decimals(value, units))) === 0;
}

/** Where an arrow lands, right and up positive: "8.2 cm right and 0.3 cm low". */
export function landing(right, up, units) {
  if (right === null || up === null) return "nowhere: it never reaches the target";
  const parts = [
    !nothing(right, units) && `${size(right, units)} ${right > 0 ? "right" : "left"}`,
    !nothing(up, units) && `${size(up, units)} ${up > 0 ? "high" : "low"}`,
  ].filter(Boolean);
  return parts.length ? parts.join(" and ") : "on the aim point";
}

/** A distance: whole where it is whole, else to a tenth. */
export function distanceWords(value, units) {
  return `${distanceNumber(value)} ${units.distance}`;
}

/** Its number alone. */
export function distanceNumber(value) {
  return fixed(value, Math.abs(value - Math.round(value)) < 0.05 ? 0 : 1);
}

function decimals(value, units) {
  return Math.abs(atTarget(value, units)) < 9.95 ? 1 : 0;
}
