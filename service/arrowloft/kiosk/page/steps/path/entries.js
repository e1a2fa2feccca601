// What stands in the way, as it is entered: its kinds, where its edges lie, what is asked of them.
//
// One entry is one thing in the way: {kind, name, distance, edge, over, left, right}. `edge` is
// the lower edge of what hangs above and the upper edge of what stands below, `over` what it is
// measured from. A gap has `left` and `right` alone: the edges of its two trunks.

import { get, set } from "../../kept/state.js";
import { converted, inUnit, parted, tidy } from "../../wire/units.js";

const AT = "ask/path";

/** What can be added: name, words on its button, the edge that counts, and how it begins. */
export const THINGS = {
  branch: {
    name: "Branch",
    add: "Branch above",
    edge: "bottom",
    words: "lower edge",
    over: "sight",
    share: 0.5,
    begin: { metric: "40 cm", imperial: "16 in" },
  },
  hedge: {
    name: "Hedge",
    add: "Hedge or fence below",
    edge: "top",
    words: "upper edge",
    over: "ground",
    share: 0.75,
    begin: { metric: "100 cm", imperial: "40 in" },
  },
  rise: {
    name: "Rise",
    add: "Rise of the ground",
    edge: "top",
    words: "top",
    over: "ground",
    share: 0.25,
    begin: { metric: "50 cm", imperial: "20 in" },
  },
  gap: {
    name: "Gap",
    add: "Gap between two trunks",
    share: 0.6,
    begin: { metric: "30 cm", imperial: "12 in" },
  },
};

/** What is taken where nothing is entered. */
export const USUAL = {
  metric: { target: "40 m", slope: "0 deg", eye: "160 cm", face: "130 cm", group: "40 m" },
  imperial: { target: "40 yd", slope: "0 deg", eye: "63 in", face: "51 in", group: "40 yd" },
};

/** Units of the drawing. */
const DRAWN = {
  metric: { distance: "m", height: "cm" },
  imperial: { distance: "yd", height: "in" },
};

/** Lengths that people read in a system; others are turned over when the system changes. */
const READ = { metric: ["cm", "mm", "m"], imperial: ["in", "ft"] };

/** From one position of a handle to the next, by unit. */
const NOTCH = {
  distance: { m: 0.5, yd: 0.5, ft: 1 },
  height: { cm: 1, mm: 5, m: 0.01, in: 0.5, ft: 0.05 },
};

const LONGEST_NAME = 60;

/** Everything entered, in its order. */
export function entries() {
  return get(`${AT}/obstacles`) ?? [];
}

/** A value of the step, or what is taken in its place. */
export function taken(name, usual) {
  return get(`${AT}/${name}`) ?? USUAL[get("system")][usual];
}

/** Units that the drawing is in. */
export function drawnUnits() {
  return DRAWN[get("system")];
}

/** A text in the unit of the drawing; NaN where it is no quantity. */
export function drawn(text, dimension) {
  const { number, unit } = parted(text);
  const to = dimension === "distance" ? drawnUnits().distance : drawnUnits().height;
  return number === "" ? NaN : converted(Number(number), dimension, unit, to);
}

/** Distance of the target, in the unit of the drawing. */
export function targetDrawn() {
  return drawn(taken("target", "target"), "distance");
}

/** Put one more thing in the way. */
export function add(kind) {
  const { share, over, begin } = THINGS[kind];
  const usual = begin[get("system")];
  const way = Math.max(1, Math.round((targetDrawn() || 40) * share));
  const edges = kind === "gap" ? { left: `-${usual}`, right: usual } : { edge: usual, over };
  set(`${AT}/obstacles`, [
    ...entries(),
    {
      kind,
      name: unused(THINGS[kind].name),
      distance: `${way} ${drawnUnits().distance}`,
      ...edges,
    },
  ]);
}

/** Take one thing away. */
export function remove(index) {
  set(
    `${AT}/obstacles`,
    entries().filter((_, other) => other !== index),
  );
}

function unused(name) {
  const names = new Set(entries().map((one) => one.name));
  let count = 2;
  let found = name;
  while (names.has(found)) found = `${name} ${count++}`;
  return found;
}

/** What a thing is called. */
export function nameOf(entry) {
  return (entry.name?.trim() || THINGS[entry.kind].name).slice(0, LONGEST_NAME - 8);
}

/** Obstacles as a request lists them; a gap is two, its left trunk first. */
export function listed() {
  return entries().flatMap((entry) => {
    const common = { name: nameOf(entry), distance: entry.distance };
    if (entry.kind !== "gap")
      return [{ ...common, [member(entry)]: entry.edge, left: entry.left, right: entry.right }];
    return [
      { ...common, name: `${common.name}, left`, right: entry.left },
      { ...common, name: `${common.name}, right`, left: entry.right },
    ];
  });
}

function member({ kind, over }) {
  return `${THINGS[kind].edge}${over === "ground" ? "_above_ground" : ""}`;
}

/** Index of the entry that each listed obstacle comes from. */
export function origins() {
  return entries().flatMap((entry, index) => (entry.kind === "gap" ? [index, index] : [index]));
}

/** A problem whose pointers name the fields of this step in place of the obstacles listed. */
export function pointed(problem) {
  const from = origins();
  const first = (at) => from.indexOf(from[at]) === at;
  const errors = problem.errors.map(({ pointer = "", detail }) => {
    const found = /^\/obstacles\/(\d+)(?:\/(\w+))?/.exec(pointer);
    if (!found) return { pointer, detail };
    const at = Number(found[1]);
    const entry = entries()[from[at]];
    return {
      pointer: `/obstacles/${from[at]}/${entry ? fieldOf(entry, found[2], first(at)) : found[2]}`,
      detail,
    };
  });
  const told = new Set();
  const once = errors.filter(
    ({ pointer, detail }) => !told.has(`${pointer} ${detail}`) && told.add(`${pointer} ${detail}`),
  );
  return Object.assign(Object.create(problem), { errors: once });
}

function fieldOf(entry, name, isLeft) {
  if (name === "name" || name === "distance") return name;
  if (entry.kind === "gap") return isLeft ? "left" : "right";
  return name === "left" || name === "right" ? name : "edge";
}

/** Height of a thing's edge from the line of sight, in the unit of the drawing. */
export function edgeDrawn(entry) {
  const edge = drawn(entry.edge, "length");
  return entry.over === "ground" ? fromSight(drawn(entry.distance, "distance"), edge) : edge;
}

/** Height from the line of sight of what lies `height` above the ground, units of the drawing. */
export function fromSight(distance, height) {
  const { rise, gain, eye } = lie();
  return (height - eye - distance * rise) / gain;
}

/** Height above the ground of what lies `up` from the line of sight, units of the drawing. */
export function fromGround(distance, up) {
  const { rise, gain, eye } = lie();
  return up * gain + distance * rise + eye;
}

/**
 * How the ground lies to the line of sight: heights above it are up · gain + distance · rise + eye.
 * It runs straight from the feet to below the aim point, and heights are vertical.
 */
function lie() {
  const slope = (Number(parted(taken("slope", "slope")).number) * Math.PI) / 180 || 0;
  const eye = drawn(taken("ground/eye_height", "eye"), "length");
  const face = drawn(taken("ground/target_height", "face"), "length");
  const { distance, height } = drawnUnits();
  const far = converted(targetDrawn(), "distance", distance, height);
  const steep = (far * Math.sin(slope) - face + eye) / (far * Math.cos(slope));
  return {
    rise: converted(1, "distance", distance, height) * (Math.sin(slope) - steep * Math.cos(slope)),
    gain: Math.cos(slope) + steep * Math.sin(slope),
    eye,
  };
}

/** Move an edge of a thing to where a handle was dragged, in units of the drawing. */
export function moveTo(index, name, { distance, value }) {
  const entry = entries()[index];
  if (!entry) return;
  if (distance !== undefined) write(index, "distance", "distance", within(distance));
  if (value === undefined || name === "distance") return;
  const way = drawn(get(`${AT}/obstacles/${index}/distance`), "distance");
  const over = name === "edge" && entry.over === "ground";
  write(index, name, "length", over ? Math.max(0, fromGround(way, value)) : value);
}

/** Move an edge of a thing by so many notches. */
export function moveBy(index, name, { along = 0, across = 0 }) {
  const entry = entries()[index];
  if (!entry) return;
  if (along) {
    const { unit } = parted(entry.distance);
    const here =
      drawn(entry.distance, "distance") +
      along * converted(NOTCH.distance[unit] ?? 0.5, "distance", unit, drawnUnits().distance);
    write(index, "distance", "distance", within(here));
  }
  if (!across || name === "distance") return;
  const { unit, number } = parted(entry[name]);
  const moved = Number(number) + across * (NOTCH.height[unit] ?? 1);
  set(
    `${AT}/obstacles/${index}/${name}`,
    `${tidy(entry.over === "ground" ? Math.max(0, moved) : moved, 8)} ${unit}`,
  );
}

function within(distance) {
  return Math.min(Math.max(distance, 1), targetDrawn() - 0.5);
}

/** Write a number in units of the drawing as text in the unit that the person has chosen. */
function write(index, name, dimension, value) {
  const path = `${AT}/obstacles/${index}/${name}`;
  const kind = dimension === "distance" ? "distance" : "height";
  const unit = parted(get(path)).unit || drawnUnits()[kind];
  const notch = NOTCH[kind][unit] ?? 1;
  const own = converted(value, dimension, drawnUnits()[kind], unit);
  if (Number.isFinite(own)) set(path, `${tidy(Math.round(own / notch) * notch, 8)} ${unit}`);
}

/** Measure a thing's edge from the line of sight or from the ground, and leave it where it is. */
export function measureFrom(index, over) {
  const entry = entries()[index];
  const way = drawn(entry.distance, "distance");
  const here = drawn(entry.edge, "length");
  set(`${AT}/obstacles/${index}/over`, over);
  const value = over === "ground" ? Math.max(0, fromGround(way, here)) : fromSight(way, here);
  if (Number.isFinite(value)) write(index, "edge", "length", value);
}

/**
 * Put in order what may have come from a link or a file, and after a change of the system of
 * units: things of a kind that is not known here go, lengths turn over into what is read now.
 */
export function settle() {
  const all = get(`${AT}/obstacles`);
  if (all !== undefined && !(Array.isArray(all) && all.every(known)))
    set(`${AT}/obstacles`, Array.isArray(all) ? all.filter(known) : undefined);
  const system = get("system");
  if (get(`${AT}/system`) === system) return;
  for (const path of lengths()) {
    const { number, unit } = parted(get(path));
    if (number !== "" && !READ[system].includes(unit))
      set(path, tidied(inUnit(get(path), "length", DRAWN[system].height)));
  }
  set(`${AT}/system`, system);
}

function known(entry) {
  return Object.hasOwn(THINGS, entry?.kind ?? "");
}

function lengths() {
  const own = entries().flatMap((_, index) =>
    ["edge", "left", "right"].map((name) => `obstacles/${index}/${name}`),
  );
  return [...own, "ground/eye_height", "ground/target_height", "group/diameter"].map(
    (name) => `${AT}/${name}`,
  );
}

function tidied(text) {
  const { number, unit } = parted(text);
  return `${tidy(Number(number), 4)} ${unit}`;
}
