// Corrected marks as a chart and as a table.

import { el, table } from "../../parts/dom.js";
import { markWords, travelWords } from "../../words/marks.js";
import { fixed } from "../../wire/units.js";
import { far } from "./words.js";

/** Corrected marks over distance with their band, predicted ones dashed, ends as points. */
export function marksCurve({ rows, units, observations }) {
  const last = rows.at(-1);
  return {
    title: "Corrected marks over distance",
    description: `Corrected by what was shot, the pin moves ${travelWords(last.travel, units)} to ${far(last.distance, units)}. The band is the standard uncertainty; the dashed curve is what was predicted.`,
    x: { label: "Distance", unit: units.distance },
    y: { label: "Pin down", unit: units.length, downward: true },
    curves: [
      {
        name: "corrected",
        points: rows.map((row) => [row.distance, row.travel]),
        band: rows.map((row) => [
          row.distance,
          row.travel - row.travel_uncertainty,
          row.travel + row.travel_uncertainty,
        ]),
      },
      predicted(rows) && {
        name: "predicted",
        points: rows.map((row) => [row.distance, row.predicted_travel]),
      },
    ].filter(Boolean),
    points: observations
      .filter(nudged)
      .map((one) => pointed(one, one.travel + one.correction.elevation.nudge.travel)),
  };
}

/** The same as differences from the predicted marks, which are too small to see otherwise. */
export function changeCurve({ rows, units, observations }) {
  if (!predicted(rows)) return marksCurve({ rows, units, observations });
  const change = rows.map((row) => [row.distance, row.travel - row.predicted_travel]);
  const band = rows.map((row, index) => [
    row.distance,
    change[index][1] - row.travel_uncertainty,
    change[index][1] + row.travel_uncertainty,
  ]);
  const points = observations.filter(nudged).flatMap((one) => {
    const row = rows.find((other) => Math.abs(other.distance - one.distance) < 1e-6);
    return row
      ? [pointed(one, one.travel + one.correction.elevation.nudge.travel - row.predicted_travel)]
      : [];
  });
  const [, most] = change.at(-1);
  return {
    title: "How far corrected marks lie from the predicted ones",
    description: `At ${far(rows.at(-1).distance, units)} the pin stands ${travelWords(most, units)} of the predicted mark. The band is the standard uncertainty; crosses are what single ends ask for, with theirs.`,
    x: { label: "Distance", unit: units.distance },
    y: { label: "Pin down from predicted", unit: units.length, downward: true, zero: true },
    curves: [
      { name: "corrected", points: change, band },
      { name: "predicted", points: rows.map((row) => [row.distance, 0]) },
    ],
    points,
  };
}

function predicted(rows) {
  return rows[0].predicted_travel !== undefined;
}

function nudged(seen) {
  return Boolean(seen.correction?.elevation.nudge);
}

function pointed(seen, y) {
  const doubt = seen.correction.elevation.nudge.uncertainty ?? 0;
  return {
    x: seen.distance,
    y,
    low: y - doubt,
    high: y + doubt,
    name: `${seen.name}${seen.status === "set-aside" ? " (set aside)" : ""}`,
  };
}

/** The table of corrected marks. */
export function correctedTable({ rows, units }) {
  const inches = units.length === "in";
  const heads = [
    `Distance, ${units.distance}`,
    "Corrected mark",
    "From predicted",
    `± at the target, ${units.length}`,
    `May be off, ${units.length}`,
    "Chance to be within",
  ];
  return table(
    "Corrected marks",
    heads,
    rows.map((row) => [
      fixed(row.distance, Math.abs(row.distance - Math.round(row.distance)) < 0.05 ? 0 : 1),
      el("strong", {}, markWords(row, units)),
      row.predicted_travel === undefined
        ? "–"
        : travelWords(row.travel - row.predicted_travel, units),
      fixed(row.height_uncertainty, inches ? 1 : 0),
      fixed(row.tolerance, inches ? 1 : 0),
      `${fixed(100 * Math.min(row.chance, 0.999), row.chance > 0.99 ? 1 : 0)} %`,
    ]),
  );
}
