// What to check of an end that does not fit, in words.

import { measured, proven } from "../../wire/verified.js";
import { parted } from "../../wire/units.js";

/** Names of units in slips such as inches-for-centimetres, as they are written in entries. */
const WRITTEN = {
  inches: "in",
  centimetres: "cm",
  millimetres: "mm",
  yards: "yd",
  metres: "m",
  feet: "ft/s",
};
const NAMED = { feet: "ft/s" };
const SIGNS = ["sign", "up-for-down", "left-for-right"];

/** What would explain an end that does not fit, and what to check. names: as the service has them. */
export function explained(names, end) {
  const found = [...new Set(names.map((name) => words(name, end)).filter(Boolean))];
  const fit = found.length ? `It would fit ${found.join(", or ")}. ` : "";
  return `${fit}${check(end)}`;
}

function check(end) {
  if (end.kind === "speed") return "Check the speed, its unit, and where the chronograph stood.";
  if (proven(end)) return "Check the distance, and where the sight stood.";
  return measured(end)
    ? "Check up and down, the unit, the distance, and where the sight stood."
    : "Check where you touched the target, the distance, and where the sight stood.";
}

function words(name, end) {
  if (name === "sign-of-mark")
    return "if the sight had stood as far up as it is said to stand down";
  if (SIGNS.includes(name))
    return measured(end)
      ? "if up and down, or left and right, were taken for each other"
      : "if the arrows had landed on the other side of the middle";
  return unitSlip(name, end);
}

/** A unit written for another one, where it was written at all. */
function unitSlip(name, end) {
  const [wrote, meant] = name.split("-for-");
  const speed = end.kind === "speed";
  // A place that was touched has no unit, and beside it a wrong distance is told by "Check".
  if (!speed && !measured(end)) return "";
  const unit = (text) => parted(text).unit;
  const ofLength = ["inches", "centimetres", "millimetres"].includes(wrote);
  const own = speed ? end.speed : ofLength ? end.up : end.distance;
  const written = speed && wrote === "metres" ? "m/s" : WRITTEN[wrote];
  if (unit(own) !== written) return "";
  const what = speed ? "the speed" : ofLength ? "the lengths" : "the distance";
  const other = speed && meant === "metres" ? "m/s" : (NAMED[meant] ?? meant);
  return `if ${what} were in ${other}`;
}
