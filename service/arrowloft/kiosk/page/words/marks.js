// A mark in the words of the sight it is for.

import { fixed } from "../wire/units.js";

/** What to set for a row of marks: reading, clicks or turns where the sight has them, else travel. */
export function markWords(row, units) {
  const parts = [];
  if (row.reading !== undefined) parts.push(fixed(row.reading, 2));
  if (row.clicks !== undefined) parts.push(counted(row.clicks));
  else if (row.turns !== undefined)
    parts.push(`${fixed(Math.abs(row.turns), 2)} turns ${side(row.turns)}`);
  if (!parts.length) parts.push(travelWords(row.travel, units));
  return parts.join(", ");
}

/** Travel of the pin in words; down is positive. */
export function travelWords(travel, units) {
  return `${fixed(Math.abs(travel), units.length === "in" ? 3 : 2)} ${units.length} ${side(travel)}`;
}

/** Clicks of elevation in words; down is positive. */
export function counted(clicks) {
  const many = Math.abs(clicks);
  return many === 0 ? "0 clicks" : `${many} ${many === 1 ? "click" : "clicks"} ${side(clicks)}`;
}

/** Clicks of windage in words; pin to the right positive. */
export function countedAside(clicks) {
  const many = Math.abs(clicks);
  return many === 0
    ? "0 clicks"
    : `${many} ${many === 1 ? "click" : "clicks"} ${clicks > 0 ? "right" : "left"}`;
}

function side(value) {
  return value > 0 ? "down" : value < 0 ? "up" : "";
}
