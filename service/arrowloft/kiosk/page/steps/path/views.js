// The two views of the arrow's way: from the side, and from above where sides matter.

import { el } from "../../parts/dom.js";
import { drawing } from "./drawing.js";
import {
  drawn,
  drawnUnits,
  edgeDrawn,
  entries,
  fromSight,
  moveBy,
  moveTo,
  nameOf,
  targetDrawn,
  THINGS,
} from "./entries.js";
import { lengthWords, marginWords } from "./words.js";
import { converted, fixed } from "../../wire/units.js";

/** Both views. Returns {element, draw(path, found)}: the reply of a flight, entries with their rows. */
export function views() {
  const options = {
    moved: (key, place) => moveTo(...parts(key), place),
    stepped: (key, along, across) => moveBy(...parts(key), { along, across }),
  };
  const side = drawing(options);
  const above = drawing({ ...options, downward: true });
  const heading = el("h2", {}, "From above");
  const lower = el("div", { hidden: true }, heading, above.element);
  return {
    element: el("div", { class: "views" }, side.element, lower),
    draw(path, found) {
      const rows = (index) => (found ?? [])[index];
      if (!Number.isFinite(targetDrawn())) return;
      side.draw(fromSide(path, rows));
      lower.hidden = !entries().some(aside);
      if (!lower.hidden) above.draw(fromAbove(path, rows));
    },
  };
}

function parts(key) {
  const [index, name] = key.split(":");
  return [Number(index), name];
}

function aside({ kind, left, right }) {
  return kind === "gap" || left !== undefined || right !== undefined;
}

/** What both views share. */
function scene(path, axis, own) {
  const units = drawnUnits();
  const points = (path?.points ?? []).map((point) => [
    point.distance,
    height(point[axis], path.units),
  ]);
  const target = targetDrawn();
  return {
    units,
    stretchUnit: 1 / converted(1, "length", units.height, units.distance),
    target: {
      distance: target,
      name: `target, ${fixed(target, Number.isInteger(target) ? 0 : 1)} ${units.distance}`,
    },
    path: points,
    pathName: points.length > 0 && "arrow’s path",
    ground: null,
    ...own,
  };
}

function height(value, { length }) {
  return converted(value, "length", length, drawnUnits().height);
}

function fromSide(path, rows) {
  const target = targetDrawn();
  const things = entries().map((entry, index) => ({
    entry,
    index,
    distance: drawn(entry.distance, "distance"),
    edge: entry.kind === "gap" ? 0 : edgeDrawn(entry),
    row: rows(index),
  }));
  const seen = things.filter(
    ({ distance, edge }) =>
      Number.isFinite(distance) && Number.isFinite(edge) && distance <= target,
  );
  const said = seen.map((one) => `${nameOf(one.entry)}: ${placeWords(one)}`).join(" ");
  return scene(path, "height", {
    label: "Above the line of sight",
    legend: "Thick: the arrow’s path, that of its balance point. Dashed: your line of sight.",
    across: "Heights",
    title: "The arrow’s way from the side",
    description: `${path ? `It rises ${lengthWords(path.apex.height, path.units)} above the line of sight, at ${fixed(path.apex.distance, 0)} ${path.units.distance}.` : ""} ${said}`,
    apex: path && [path.apex.distance, height(path.apex.height, path.units)],
    apexName: path && `highest: ${lengthWords(path.apex.height, path.units)}`,
    ground: [0, target].map((distance) => [distance, fromSight(distance, 0)]),
    bars: seen.map(sideBar),
    handles: seen.map((one) => sideHandle(one)),
  });
}

function sideBar({ entry, distance, edge, row }) {
  const end = THINGS[entry.kind].edge;
  return {
    distance,
    low: end === "bottom" ? edge : null,
    high: end === "top" ? edge : null,
    touched: row ? !row.row.clear : false,
    faint: entry.kind === "gap",
    name: nameOf(entry),
    words: row && marginWords(row.row, row.units),
    margin: row && row.row.nearest_edge === end ? span(row, end) : null,
  };
}

/** An edge, and where the arrow is nearest to it. */
function span({ row, units }, end) {
  const way = end === "top" || end === "right" ? row.margin : -row.margin;
  const edge = converted(row[end], "length", units.length, drawnUnits().height);
  return [edge, edge + converted(way, "length", units.length, drawnUnits().height)];
}

function sideHandle(one) {
  const { entry, index, distance, edge } = one;
  const { words } = THINGS[entry.kind];
  const only = entry.kind === "gap";
  return {
    key: `${index}:${only ? "distance" : "edge"}`,
    distance,
    value: edge,
    side: THINGS[entry.kind].edge === "top" ? -1 : 1,
    only,
    label: only ? `${nameOf(entry)}: distance` : `${nameOf(entry)}: distance and ${words}`,
    valuetext: placeWords(one),
  };
}

function placeWords({ entry, distance, edge, row }) {
  const units = drawnUnits();
  const words = [`${fixed(distance, 1)} ${units.distance} away`];
  if (entry.kind !== "gap")
    words.push(
      `${THINGS[entry.kind].words} ${fixed(Math.abs(edge), 1)} ${units.height} ${edge < 0 ? "below" : "above"} the line of sight`,
    );
  if (row) words.push(marginWords(row.row, row.units));
  return `${words.join(", ")}.`;
}

function fromAbove(path, rows) {
  const target = targetDrawn();
  const things = entries()
    .map((entry, index) => ({
      entry,
      index,
      distance: drawn(entry.distance, "distance"),
      row: rows(index),
    }))
    .filter(
      ({ entry, distance }) => aside(entry) && Number.isFinite(distance) && distance <= target,
    );
  return scene(path, "right", {
    label: "Right of the line of sight",
    legend: "Without wind: the step Wind says how far the arrow drifts.",
    across: "Ways to the side",
    title: "The arrow’s way from above",
    description: things
      .filter(({ row }) => row)
      .map(({ entry, row }) => `${nameOf(entry)}: ${marginWords(row.row, row.units)}.`)
      .join(" "),
    pathName: false,
    bars: things.flatMap(aboveBars),
    handles: things.flatMap(aboveHandles),
  });
}

function aboveBars({ entry, distance, row }) {
  const [left, right] = ["left", "right"].map((name) => drawn(entry[name], "length"));
  const finite = (value) => (Number.isFinite(value) ? value : null);
  if (entry.kind !== "gap")
    return [
      {
        distance,
        low: finite(left),
        high: finite(right),
        touched: row ? !row.row.clear : false,
        name: nameOf(entry),
        words: row && marginWords(row.row, row.units),
        margin: null,
      },
    ];
  const trunk = (at, low, high, end) => {
    const own = row?.rows[at];
    return {
      distance,
      low,
      high,
      touched: own ? !own.clear : false,
      name: `${nameOf(entry)}, ${at ? "right" : "left"}`,
      words: own && marginWords(own, row.units),
      margin: own && own.nearest_edge === end ? span({ row: own, units: row.units }, end) : null,
    };
  };
  return [
    Number.isFinite(left) && trunk(0, null, left, "right"),
    Number.isFinite(right) && trunk(1, right, null, "left"),
  ].filter(Boolean);
}

function aboveHandles({ entry, index, distance, row }) {
  const gap = entry.kind === "gap";
  return ["left", "right"].flatMap((name) => {
    const value = drawn(entry[name], "length");
    if (!Number.isFinite(value)) return [];
    const { height: unit, distance: far } = drawnUnits();
    const own = gap ? row?.rows[name === "left" ? 0 : 1] : row?.row;
    const said = `${fixed(distance, 1)} ${far} away, ${fixed(Math.abs(value), 1)} ${unit} ${value < 0 ? "left" : "right"} of the line of sight${own ? `, ${marginWords(own, row.units)}` : ""}.`;
    const side = (name === "left") === gap ? -1 : 1;
    return [
      {
        key: `${index}:${name}`,
        distance,
        value,
        side,
        label: `${nameOf(entry)}: ${gap ? `edge of the ${name} trunk` : `${name} end`}`,
        valuetext: said,
      },
    ];
  });
}
