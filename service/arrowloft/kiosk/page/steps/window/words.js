// Which distances a sight's window shows, in words.

import { distanceWords } from "../../words/target.js";
import { fixed, parted, shown } from "../../wire/units.js";

const NEAR = 1e-6;

/** Spans as far as they meet the distances asked for: very near ones share the marks of far ones. */
export function reach(spans, rows) {
  const distances = rows.map((row) => row.distance);
  const [low, high] = [Math.min(...distances), Math.max(...distances)];
  return spans.filter((span) => span.to > low + NEAR && span.from < high - NEAR);
}

/** Rounds the ends of a span to what surely lies within it. */
const inward = ({ from, to }) => [
  Math.ceil(10 * from - NEAR) / 10,
  Math.floor(10 * to + NEAR) / 10,
];

/** Rounds the ends of a span. */
export const nearest = ({ from, to }) => [from, to];

/** Spans of distances: "47 m to 90 m". */
export function spanWords(spans, units, rounded = inward) {
  if (!spans.length) return "none of these distances";
  return spans
    .map((span) =>
      rounded(span)
        .map((end) => distanceWords(end, units))
        .join(" to "),
    )
    .join(" and ");
}

/** Whether the window showed a distance before any move. */
export function shownBefore({ fits_before: spans }, distance) {
  return spans.some((span) => span.from - NEAR <= distance && distance <= span.to + NEAR);
}

/** Which of the distances lie beyond the window as it was before any move. */
export function beyond(reply) {
  const { rows, units } = reply;
  const ordered = [...rows].sort((one, other) => one.distance - other.distance);
  const runs = [];
  for (const [index, row] of ordered.entries()) {
    if (shownBefore(reply, row.distance)) continue;
    const run = runs.at(-1);
    if (run?.last === index - 1) run.last = index;
    else runs.push({ first: index, last: index });
  }
  if (!runs.length) return "All these distances lie in the window.";
  const at = (index) => distanceWords(ordered[index].distance, units);
  const words = runs.map(({ first, last }) =>
    last === ordered.length - 1
      ? `${at(first)} and farther`
      : first === last
        ? at(first)
        : `${at(first)} to ${at(last)}`,
  );
  return `Beyond the window: ${words.join(", ")}.`;
}

/** The move of the whole sight as it was asked for or found; "" where there is none. */
export function moveWords({ bring, shift, units }, asked) {
  if (asked.shifts) return counted(asked.shifts[0]);
  if (!bring) return "";
  if (bring.clicks !== undefined) return counted({ clicks: bring.clicks });
  if (bring.turns !== undefined)
    return counted({ turns: Number(fixed(bring.turns, 2).replace("−", "-")) });
  return counted({ length: `${shift.toFixed(units.length === "in" ? 3 : 2)} ${units.length}` });
}

function counted({ clicks, turns, length }) {
  const { number, unit } =
    clicks !== undefined
      ? { number: clicks, unit: Math.abs(clicks) === 1 ? "click" : "clicks" }
      : turns !== undefined
        ? { number: turns, unit: Math.abs(turns) === 1 ? "turn" : "turns" }
        : parted(length);
  const value = Number(number);
  return `${Math.abs(value)} ${shown(unit)} ${value > 0 ? "down" : value < 0 ? "up" : ""}`.trim();
}
