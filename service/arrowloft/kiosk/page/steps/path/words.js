// What was found of things in the way, in words.

import { nameOf, THINGS } from "./entries.js";
import { converted, fixed } from "../../wire/units.js";

/** A chance of touching worth a word. */
const RISKY = 0.01;

/** A length of a reply without its sign. */
export function lengthWords(value, { length }) {
  const size = Math.abs(value);
  if (length === "in") return joint(fixed(size, size < 10 ? 1 : 0), "in");
  if (size >= 3000) return joint(fixed(size / 1000, 1), "m");
  return size < 9.5
    ? joint(fixed(size, 0), "mm")
    : joint(fixed(size / 10, size < 95 ? 1 : 0), "cm");
}

/** A number and its unit, which no line parts. */
function joint(number, unit) {
  return `${number}\u00a0${unit}`;
}

function distanceWords(value, { distance }) {
  return joint(fixed(value, Math.abs(value - Math.round(value)) < 0.05 ? 0 : 1), distance);
}

/** The margin as it stands at a thing in the drawing. */
export function marginWords(row, units) {
  return row.clear
    ? `clears by ${lengthWords(row.margin, units)}`
    : `touches: ${lengthWords(row.margin, units)} into it`;
}

function quoted(name) {
  return `“${name}”`;
}

function joined(words) {
  return words.length < 2 ? words.join("") : `${words.slice(0, -1).join(", ")} and ${words.at(-1)}`;
}

/** The answer for everything in the way, in one sentence. found: [{entry, row}]. */
export function answer(found, reply) {
  const touched = found.filter(({ row }) => !row.clear);
  if (touched.length === 1)
    return `Do not shoot: the arrow touches ${quoted(nameOf(touched[0].entry))}, ${lengthWords(touched[0].row.margin, reply.units)} into it.`;
  if (touched.length)
    return `Do not shoot: the arrow touches ${joined(touched.map(({ entry }) => quoted(nameOf(entry))))}.`;
  if (reply.ground?.below_ground)
    return "Do not shoot: the arrow meets the ground before the target.";
  if (!found.length)
    return `The arrow rises ${lengthWords(reply.apex.height, reply.units)} above your line of sight, at ${distanceWords(reply.apex.distance, reply.units)}. Add what stands in the way.`;
  const risky = found
    .filter(({ chance }) => chance >= RISKY)
    .sort((one, other) => other.chance - one.chance);
  if (risky.length)
    return `One well-aimed arrow passes, but about ${inHundred(risky[0].chance)} of yours would touch ${quoted(nameOf(risky[0].entry))}.`;
  const close = reply.notes.some(({ code }) => code === "margin-uncertain");
  const least = found.reduce((one, other) => (other.row.margin < one.row.margin ? other : one));
  const room = `${lengthWords(least.row.margin, reply.units)}${found.length > 1 ? `, at ${quoted(nameOf(least.entry))}` : ""}`;
  if (close) return `Too close to be sure: least room is ${room}.`;
  return found.length > 1
    ? `The arrow clears all ${found.length}. Least room: ${room}.`
    : `The arrow clears ${quoted(nameOf(least.entry))} by ${room}.`;
}

function inHundred(chance) {
  if (chance >= 0.995) return "100 in 100";
  return `${Math.max(1, Math.round(100 * chance))} in 100`;
}

/** The rows of a reply by the entries that they come from; the nearer trunk stands for a gap. */
export function byEntry(entries, origins, rows, units) {
  return entries.map((entry, index) => {
    const own = rows.filter((_, at) => origins[at] === index);
    const row = own.reduce((one, other) => (other.margin < one.margin ? other : one), own[0]);
    // Nobody touches both trunks with one arrow: the chances add up.
    const chance = own.every((one) => one.touch_chance !== undefined)
      ? Math.min(
          1,
          own.reduce((sum, one) => sum + one.touch_chance, 0),
        )
      : undefined;
    return { entry, row, rows: own, chance, units };
  });
}

/** What there is to say of one thing, sentence by sentence; the margin comes first. */
export function sentences({ entry, row, rows, chance }, { units }, share) {
  const said = [
    `${row.clear ? "Clears by" : "Touches:"} ${lengthWords(row.margin, units)}${row.clear ? "" : " into it"}${nearest(entry, row)}.`,
  ];
  if (chance !== undefined) said.push(chanceWords(chance));
  if (entry.kind !== "gap") said.push(overSight(row, units));
  if (THINGS[entry.kind].edge === "bottom") said.push(branchWords(row, units, share));
  if (entry.kind !== "gap") said.push(targets(row, units));
  else said.push(room(rows, units));
  return said.filter(Boolean);
}

function nearest(entry, { nearest_edge: edge }) {
  if (entry.kind === "gap")
    return edge === "right" ? ", at the left trunk" : ", at the right trunk";
  return edge === "left" || edge === "right" ? `, at its ${edge} end` : "";
}

function chanceWords(chance) {
  if (chance < 0.005) return "Fewer than 1 in 200 of your arrows would touch it.";
  return `About ${inHundred(chance)} of your arrows would touch it.`;
}

function overSight({ seen, arrow_height: height }, units) {
  const side = (value) => (value < 0 ? "below" : "above");
  const pin = seen.above_pin;
  const over =
    pin === undefined ? "" : `, ${lengthWords(pin, units)} ${side(pin)} the pin at the sight`;
  return `With the pin on the target, the arrow passes here ${lengthWords(height, units)} ${side(height)} your line of sight${over} (${fixed(Math.abs(seen.angle_above), 2)}° ${side(seen.angle_above)} the aim point).`;
}

function branchWords({ lowest_branch: lowest, distance, touch_chance: chance }, units, share) {
  const angle =
    (Math.atan2(lowest, converted(distance, "distance", units.distance, units.length)) * 180) /
    Math.PI;
  const who =
    chance === undefined ? "one arrow" : `${Math.round(100 * share)} of 100 of your arrows`;
  return `For ${who} to pass below, a branch at ${distanceWords(distance, units)} must not hang lower than ${lengthWords(lowest, units)} ${lowest < 0 ? "below" : "above"} your line of sight: seen ${fixed(Math.abs(angle), 2)}° ${lowest < 0 ? "below" : "above"} the aim point.`;
}

function targets({ clear_targets: clear, searched }, units) {
  const span = ({ from, to }) => `${distanceWords(from, units)} to ${distanceWords(to, units)}`;
  if (!clear.length)
    return `Along this line of sight it is in the way of every target from ${span(searched)}.`;
  return `Along this line of sight it is clear for targets from ${joined(clear.map(span))} (looked at: ${span(searched)}).`;
}

function room(rows, units) {
  const [left, right] = rows;
  return `Room to the left trunk ${roomOf(left, units)}, to the right trunk ${roomOf(right, units)}.`;
}

function roomOf(row, units) {
  return row.clear
    ? lengthWords(row.margin, units)
    : `none (${lengthWords(row.margin, units)} into it)`;
}
