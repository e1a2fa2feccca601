// What was seen on the range: entered on the step "Verify", and sent wherever marks are wanted.

import { pruned, range, request } from "./request.js";
import { get } from "../kept/state.js";
import { converted, inUnit, parted, replyUnits, tidy } from "./units.js";

/** Where all that this step takes lies in the state. */
export const OWN = "ask/verify";
const ENDS = `${OWN}/ends`;

/** Arrows of an end that does not say how many; of a proven mark; of a group. */
export const ARROWS = { measured: 3, proven: 6, group: 6 };

/** Most butts that the service looks at for the next end. */
const MOST_BUTTS = 40;
/** Above so many distances a range is left to the service to judge. */
const MOST_LISTED = 100;

/** The ends as they were entered, finished or not. */
export function ends() {
  return objects(get(ENDS));
}

/** Where the arrows of an end were touched in, as quantities {up, right}. */
export function touchedOf(end) {
  return objects(end.touched);
}

// What is kept may come from a link: what is no list of such things counts as none.
function objects(found) {
  return Array.isArray(found) && found.every((one) => one !== null && typeof one === "object")
    ? found
    : [];
}

/** The name of an end, its own or its number. */
export function nameOf(end, index) {
  return end.name || (end.kind === "speed" ? `Speed ${index + 1}` : `End ${index + 1}`);
}

/** Whether an end says what was seen, and not only where. */
export function tells(end) {
  if (end.kind === "speed") return Boolean(end.speed);
  if (proven(end)) return true;
  return measured(end) ? Boolean(end.up) : touchedOf(end).length > 0;
}

/** Whether an end's middle is given as lengths, not arrow by arrow. */
export function measured(end) {
  return end.how === "measured";
}

/** Whether an end stands for a mark that centres arrows already. */
export function proven(end) {
  return end.how === "proven";
}

/** Positions of the ends that are sent: observations of a reply stand in this order. */
export function sent(before = Infinity) {
  return ends().flatMap((end, index) => (index < before && tells(end) ? [index] : []));
}

/** Whether anything was seen yet. */
export function hasEnds() {
  return sent().length > 0;
}

/**
 * A request for marks corrected by what was seen.
 * distances: as requests take them.  own: more members.  before: of the ends before this one only.
 */
export function calibrationBody(distances, { own = {}, before = Infinity } = {}) {
  const given = get(OWN) ?? {};
  const all = ends();
  const members = {
    distances,
    group: group(given.group ?? {}),
    tolerance: tolerance(given.tolerance ?? {}),
    next: { arrows: given.arrows },
    ...own,
  };
  // Empty lists are pruned away elsewhere, and here the empty list has a meaning: nothing seen yet.
  return {
    ...request(members),
    observations: sent(before).map((index) => pruned(observation(all[index], index))),
  };
}

function observation(end, index) {
  const common = { name: nameOf(end, index), distance: end.distance };
  if (end.kind === "speed")
    return { ...common, speed: { value: end.speed, uncertainty: end.uncertainty } };
  common.mark = mark(end);
  if (proven(end)) return { ...common, proven: true, arrows: end.arrows ?? ARROWS.proven };
  if (!measured(end)) return { ...common, impacts: touchedOf(end) };
  return {
    ...common,
    up: end.up,
    right: end.right,
    arrows: end.arrows ?? ARROWS.measured,
    diameter: end.diameter,
  };
}

function mark(end) {
  const way = wayOf(end);
  const value = way === "predicted" ? undefined : end[way];
  // Left out, the mark is the predicted one; a proven one has to be named.
  const where =
    value !== undefined ? { [way]: value } : proven(end) ? { predicted_for: end.distance } : {};
  return { ...where, windage_clicks: end.windage_clicks, windage_travel: end.windage_travel };
}

/** How an end says where the sight stood: one of the ways that the sight of the set-up has. */
export function wayOf(end) {
  return ways().includes(end.way) ? end.way : "predicted";
}

/** Ways to say where the sight of the set-up stood. */
export function ways() {
  const { travel_per_turn: turn, clicks_per_turn: clicks, scale } = get("setup/sight") ?? {};
  return [
    "predicted",
    turn && clicks && "clicks",
    scale?.increases && "reading",
    turn && "turns",
    "travel",
  ].filter(Boolean);
}

function group({ diameter, distance, arrows }) {
  return diameter
    ? { diameter, distance: distance ?? groupDistance(), arrows: arrows ?? ARROWS.group }
    : undefined;
}

/** Distance of a group that does not say it. */
export function groupDistance() {
  return get("setup/sight/zero_distance") ?? (get("system") === "metric" ? "20 m" : "20 yd");
}

function tolerance({ height, at }) {
  return height ? { height, at } : undefined;
}

/**
 * A request for the distances of the marks and of the ends together, so that every end has its
 * row, with the marks' distances as butts.  path, usual: of the range of the marks.
 */
export function sessionBody(path, usual) {
  const wanted = range(path, usual);
  const listed = expanded(wanted);
  const { longest, arrows } = get(OWN) ?? {};
  if (!listed) return calibrationBody(wanted, { own: { next: { longest, arrows } } });
  const far = metres(longest);
  const butts = listed.filter((one) => !(metres(one) > far + 1e-6));
  const all = butts.length ? [...butts, ...prepared(butts, far)] : [];
  const next = all.length && all.length <= MOST_BUTTS ? { distances: all } : { longest };
  return calibrationBody(withEnds(listed), { own: { next: { ...next, arrows } } });
}

/** Distances of ends that wait to be filled in: how much they would teach is asked as well. */
function prepared(butts, longest) {
  const waiting = ends().filter((end) => end.kind !== "speed" && !tells(end));
  return waiting
    .map((end) => end.distance)
    .filter(
      (one, at, all) =>
        metres(one) >= 1 &&
        metres(one) <= 1000 &&
        !(metres(one) > longest + 1e-6) &&
        all.indexOf(one) === at &&
        !butts.some((other) => Math.abs(metres(other) - metres(one)) < 1e-6),
    );
}

/** The row of a reply for a distance; undefined where there is none. */
export function rowAt({ rows, units }, distance) {
  const far = metres(distance);
  return rows.find((row) => Math.abs(metres(`${row.distance} ${units.distance}`) - far) < 1e-3);
}

function withEnds(listed) {
  const all = [...listed];
  for (const { kind, distance } of ends()) {
    const far = kind === "speed" ? NaN : metres(distance);
    // Others are refused where they were entered, not among the marks.
    if (far >= 1 && far <= 1000 && !all.some((one) => Math.abs(metres(one) - far) < 1e-6))
      all.push(distance);
  }
  return all.sort((one, other) => metres(one) - metres(other));
}

/** The distances of a range, as texts; null where it is none, or a very long one. */
function expanded({ from, to, step }) {
  const { number, unit } = parted(from);
  const [start, end, by] = [from, to, step].map((text) =>
    Number(parted(inUnit(text, "distance", unit)).number || NaN),
  );
  const count = Math.floor((end - start) / by + 1e-9) + 1;
  if (number === "" || !(by > 0) || !(count >= 1) || count > MOST_LISTED) return null;
  return Array.from({ length: count }, (_, index) => `${tidy(start + index * by, 10)} ${unit}`);
}

/** A distance in metres; NaN where it is none. */
export function metres(text) {
  const { number, unit } = parted(text);
  return number === "" ? NaN : converted(Number(number), "distance", unit, "m");
}

/**
 * Where the sight should stand for a row of corrected marks, as an end says it.
 * reply: with that row; the pin's place to the side is taken from its last end, moved by the
 * clicks that it asks for: without windage clicks no amount is told that could be set.
 */
export function markFor(row, reply, order) {
  return { ...upright(row, reply.units), ...aside(reply, order) };
}

/** Where the pin stands up and down for a row of marks, as an end says it. */
export function upright(row, units) {
  if (row.clicks !== undefined) return { way: "clicks", clicks: row.clicks };
  if (row.reading !== undefined) return { way: "reading", reading: Number(row.reading.toFixed(2)) };
  return { way: "travel", travel: `${tidy(row.travel, 4)} ${units.length}` };
}

function aside({ observations }, order) {
  const at = observations.findLastIndex((one) => one.correction?.windage.move);
  if (at < 0) return {};
  const { move } = observations[at].correction.windage;
  const end = ends()[order[at]] ?? {};
  if (move.clicks !== undefined) {
    const clicks = (end.windage_clicks ?? 0) + move.clicks;
    return clicks === 0 ? {} : { windage_clicks: clicks };
  }
  return end.windage_travel ? { windage_travel: end.windage_travel } : {};
}

/** Whether a move without clicks is worth it: one can see it, and it is more than its own doubt. */
export function worthwhile({ travel, uncertainty }, units) {
  return Math.abs(travel) >= Math.max(uncertainty ?? 0, units.length === "in" ? 0.004 : 0.1);
}

/** The units that ends are shown in. */
export function offUnit() {
  return replyUnits(get("system")).length === "in" ? "in" : "cm";
}
