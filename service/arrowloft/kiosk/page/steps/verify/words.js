// What a calibration found, in words.

import { counted, countedAside, markWords, travelWords } from "../../words/marks.js";
import { nothing, size } from "../../words/target.js";
import { get } from "../../kept/state.js";
import { fixed } from "../../wire/units.js";
import { rowAt, worthwhile } from "../../wire/verified.js";
import { explained } from "./misfit.js";

/** A distance of a reply. */
export function far(distance, units) {
  return `${fixed(distance, Math.abs(distance - Math.round(distance)) < 0.05 ? 0 : 1)} ${units.distance}`;
}

/** Moves of the pin, up and down and to the side, in words; empty where neither is worth it. */
export function moveWords({ elevation, windage }, units, kind = "move") {
  return [upDown(elevation[kind], units), sideClicks(windage[kind])].filter(Boolean).join(", ");
}

function upDown(move, units) {
  if (!move) return "";
  if (move.clicks !== undefined) return move.clicks === 0 ? "" : counted(move.clicks);
  return worthwhile(move, units) ? travelWords(move.travel, units) : "";
}

function sideClicks(move) {
  return move?.clicks ? countedAside(move.clicks) : "";
}

/**
 * Where arrows land to the side, for a sight without windage clicks: nobody can set a travel.
 * Empty where it has clicks, or where it is not worth it.  place: "right", where this end landed,
 * or "expected_right", where all that was seen says that arrows land.
 */
function standsAside(seen, units, place = "expected_right") {
  const move = seen.correction?.windage[place === "right" ? "nudge" : "move"];
  const right = seen[place] ?? seen.right;
  if (!move || move.clicks !== undefined || right === undefined) return "";
  return worthwhile(move, units) && !nothing(right, units)
    ? `the group stands ${size(right, units)} ${right > 0 ? "right" : "left"}`
    : "";
}

/** What would tell a group to the side as clicks; empty where there is nothing to tell. */
export function withoutWindage(seen, units) {
  return seen && seen.status !== "set-aside" && standsAside(seen, units)
    ? "The set-up has no windage clicks: with them, you are told clicks to the side as well. If you move the pin to the side, say so in the next end."
    : "";
}

/** From where the setting of a row of marks counts, in brackets; empty where it is a reading alone. */
export function fromZero(row) {
  if (row.reading !== undefined && row.clicks === undefined) return "";
  const zero = get("setup/sight/zero_distance");
  return ` (from the ${zero ?? "proven"} mark as it was at first)`;
}

/** What an end asks for, in few words: for its card's head. */
export function asks(seen, units) {
  if (seen.status === "set-aside") return "does not fit";
  if (seen.kind === "speed") return seen.status === "in-doubt" ? "in doubt" : "counted";
  if (seen.kind === "proven") return "proven";
  const moves = moveWords(seen.correction, units);
  return moves ? `move ${moves}` : standsAside(seen, units) || "no change";
}

/**
 * The answer of the newest end, in one sentence: how to move the pin, and where it stands then.
 * reply: with the row of corrected marks for its distance.
 */
export function answer(seen, name, reply) {
  const { units } = reply;
  if (!seen) return "The speed is counted.";
  if (seen.status === "set-aside")
    return `${name} does not fit: check it before you move the sight.`;
  const at = `At ${far(seen.distance, units)}`;
  if (seen.kind === "proven") return `${at}: proven, leave the sight as it is.`;
  const { elevation, windage } = seen.correction;
  const upright = upDown(elevation.move, units);
  const sideways = sideClicks(windage.move);
  const row = rowAt(reply, `${seen.distance} ${units.distance}`);
  const moves = [
    upright && `move the pin ${upright}${row ? `, to ${settingShort(row, units)}` : ""}`,
    sideways && (upright ? `and ${sideways}` : `move the pin ${sideways}`),
  ].filter(Boolean);
  const parts = [moves.join(", "), standsAside(seen, units)].filter(Boolean);
  return parts.length ? `${at}: ${parts.join("; ")}.` : `${at}: leave the sight as it is.`;
}

/** A setting beside a move in the same unit: the unit is not said twice. */
function settingShort(row, units) {
  if (row.reading !== undefined) return `${fixed(row.reading, 2)} on the scale`;
  return markWords(row, units).replace(/ clicks? /, " ");
}

/** How an end stands to all others: sentences for its card. */
export function judged(seen, units, end) {
  return [fits(seen, end), scattered(seen, units), lost(seen)].filter(Boolean);
}

function fits({ status, explanations }, end) {
  const why = explained(explanations ?? [], end);
  if (status === "set-aside")
    return `It does not fit what all else foretells, and was set aside. ${why}`;
  if (status === "in-doubt") return `It does not fit well, and was used all the same. ${why}`;
  return "";
}

function scattered(seen, units) {
  if (seen.kind !== "arrows" || seen.status === "set-aside") return "";
  const { elevation, windage } = seen.correction;
  const own = wish(seen, units, "nudge", "right");
  const all = wish(seen, units, "move", "expected_right");
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

function wish(seen, units, kind, place) {
  const moves = moveWords(seen.correction, units, kind);
  const stands = standsAside(seen, units, place);
  return [
    moves ? `a move of ${moves}` : "no move",
    stands && `with ${stands.replace("stands ", "")}`,
  ]
    .filter(Boolean)
    .join(", ");
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

const CHECK = "Its card says what to check.";

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
      // What was touched in holds no unit: the card of the end knows better what to look at.
      .replace(/It would fit with [^:]*: check what was written down\./, CHECK)
      .replace(/Check what was written down: [^.]*\./, CHECK)
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
