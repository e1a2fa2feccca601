// What a calibration found, in words.

import { counted, countedAside, travelWords } from "../../words/marks.js";
import { get } from "../../kept/state.js";
import { fixed } from "../../wire/units.js";
import { worthwhile } from "../../wire/verified.js";

/** Slips that would explain an end that does not fit; those of units are said as they are named. */
const SLIPS = {
  sign: "up and down (and left and right) taken for each other",
  "up-for-down": "up and down taken for each other",
  "left-for-right": "left and right taken for each other",
  "sign-of-mark": "the mark counted the wrong way",
  "yards-for-metres": "the distance in metres, not yards",
  "metres-for-yards": "the distance in yards, not metres",
  "feet-for-metres": "the speed in m/s, not ft/s",
  "metres-for-feet": "the speed in ft/s, not m/s",
};

/** A distance of a reply. */
export function far(distance, units) {
  return `${fixed(distance, Math.abs(distance - Math.round(distance)) < 0.05 ? 0 : 1)} ${units.distance}`;
}

/** Moves of the pin, up and down and to the side, in words; empty where neither is worth it. */
export function moveWords({ elevation, windage }, units, kind = "move") {
  return [upDown(elevation[kind], units), aside(windage[kind], units)].filter(Boolean).join(", ");
}

function upDown(move, units) {
  if (!move) return "";
  if (move.clicks !== undefined) return move.clicks === 0 ? "" : counted(move.clicks);
  return worthwhile(move, units) ? travelWords(move.travel, units) : "";
}

function aside(move, units) {
  if (!move) return "";
  if (move.clicks !== undefined) return move.clicks === 0 ? "" : countedAside(move.clicks);
  return worthwhile(move, units) ? asideWords(move.travel, units) : "";
}

/** Sideways travel of the pin in words; right is positive. */
export function asideWords(travel, units) {
  return `${fixed(Math.abs(travel), units.length === "in" ? 3 : 1)} ${units.length} ${travel > 0 ? "right" : "left"}`;
}

/** What an end asks for, in few words: for its card's head. */
export function asks(seen, units) {
  if (seen.status === "set-aside") return "does not fit";
  if (seen.kind === "speed") return seen.status === "in-doubt" ? "in doubt" : "counted";
  if (seen.kind === "proven") return "proven";
  return moveWords(seen.correction, units) || "no change";
}

/** The answer of the newest end, in one sentence. */
export function answer(seen, name, units) {
  if (!seen) return "The speed is counted.";
  if (seen.status === "set-aside")
    return `${name} does not fit: check it before you move the sight.`;
  const at = `At ${far(seen.distance, units)}`;
  if (seen.kind === "proven") return `${at}: proven, leave the sight as it is.`;
  const moves = moveWords(seen.correction, units);
  return moves ? `${at}: ${moves}.` : `${at}: leave the sight as it is.`;
}

/** How an end stands to all others: sentences for its card. */
export function judged(seen, units) {
  return [fits(seen), scattered(seen, units), lost(seen)].filter(Boolean);
}

function fits({ status, explanations }) {
  const why = explanations?.length
    ? ` It would fit with ${explanations.map(slip).join(" or ")}.`
    : "";
  if (status === "set-aside")
    return `It does not fit what all else foretells, and was set aside. Check sign, unit, distance and mark.${why}`;
  if (status === "in-doubt")
    return `It does not fit well, and was used all the same. Check sign, unit, distance and mark.${why}`;
  return "";
}

function slip(name) {
  return SLIPS[name] ?? name.replace("-for-", " written for ");
}

function scattered(seen, units) {
  if (seen.kind !== "arrows" || seen.status === "set-aside") return "";
  const { elevation, windage } = seen.correction;
  const own = moveWords(seen.correction, units, "nudge") || "no change";
  const all = moveWords(seen.correction, units) || "no change";
  const doubt = sure(elevation.move, units);
  const said =
    own === all
      ? `By itself and with all else it asks for ${all}${doubt}.`
      : `All that was seen asks for ${all}${doubt}. By itself this end would ask for ${own}.`;
  const beyond = elevation.beyond_scatter || windage.beyond_scatter;
  return beyond
    ? said
    : `${said} It lies no farther off than arrows scatter anyway: do not move the sight by this end alone.`;
}

function sure(move, units) {
  if (!move?.uncertainty) return "";
  const clicks = get("setup/sight/clicks_per_turn");
  if (move.clicks !== undefined && move.travel && Number.isFinite(clicks)) {
    const doubt = Math.abs((move.uncertainty * move.turns * clicks) / move.travel);
    const many = Math.max(1, Math.round(doubt));
    return ` (up and down ± ${many} ${many === 1 ? "click" : "clicks"})`;
  }
  return ` (up and down ± ${fixed(move.uncertainty, units.length === "in" ? 3 : 1)} ${units.length})`;
}

function lost({ flyers }) {
  if (!flyers?.length) return "";
  const arrows = flyers.map((one) => one + 1).join(", ");
  return flyers.length === 1
    ? `Arrow ${arrows} lies too far from the others and was left out.`
    : `Arrows ${arrows} lie too far from the others and were left out.`;
}

/** Notes of a reply with ends called by their names, not by their places in the request. */
export function plainNotes(notes, names) {
  const name = (at) => names[Number(at)] ?? `End ${Number(at) + 1}`;
  return notes.map((note) => ({
    ...note,
    message: note.message
      .replaceAll(
        /\/observations\/(\d+)\/impacts\/(\d+)/g,
        (_, end, arrow) => `${name(end)}, arrow ${Number(arrow) + 1}`,
      )
      .replaceAll(/\/observations\/(\d+)( \('[^']*'\)| \("[^"]*"\))?/g, (_, end) => name(end)),
  }));
}

/** A place on the target in words. */
export function placeWords(up, right, unit) {
  const size = (value) => `${fixed(Math.abs(value), 1)} ${unit}`;
  const high = Math.abs(up) < 0.05 ? "level" : `${size(up)} ${up > 0 ? "up" : "down"}`;
  const wide =
    Math.abs(right) < 0.05 ? "in line" : `${size(right)} ${right > 0 ? "right" : "left"}`;
  return `${high}, ${wide}`;
}
