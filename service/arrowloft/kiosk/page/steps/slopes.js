// Step 7: marks up and down hill.

import { asEntered } from "../parts/as_entered.js";
import { Asking } from "../wire/questions.js";
import { entered, remade } from "../parts/by_system.js";
import { chart } from "../parts/chart.js";
import { distanceFields, distancesAt } from "../parts/distances.js";
import { pictures } from "../parts/downloads.js";
import { el, fill, table } from "../parts/dom.js";
import { choice, group, list, quantity, watch } from "../parts/fields.js";
import { markWords } from "../words/marks.js";
import { notes } from "../parts/notes.js";
import { request } from "../wire/request.js";
import { get } from "../kept/state.js";
import { distanceNumber, distanceWords, landing } from "../words/target.js";
import { fixed } from "../wire/units.js";

const ASK = "ask/slopes";
const AT = { metric: "50 m", imperial: "50 yd" };
const STEEP = "20 deg";
const SLOPES = ["15 deg", "30 deg"];
const RANGE = {
  metric: { from: "20 m", to: "60 m", step: "10 m" },
  imperial: { from: "20 yd", to: "60 yd", step: "10 yd" },
};
const SLOPE = { dimension: "angle", metric: "deg", imperial: "deg", units: { deg: 5 } };

export default {
  id: "slopes",
  title: "Slopes",
  heading: "Marks up and down hill",
  lead: "On a slope the mark of a nearer distance is right. Know what lies behind the target and below it before you shoot.",
  show,
};

function show(host) {
  const summary = el("div", { class: "summary", role: "alert", hidden: true });
  const answer = el(
    "div",
    { class: "answer" },
    el("p", { class: "big", role: "status" }),
    el("p", { class: "more" }),
  );
  const drawn = chart();
  const rows = el("div");
  const said = el("div");
  const results = el(
    "div",
    {},
    drawn.element,
    rows,
    pictures("slopes", tableBody, ["text/csv"]),
    said,
  );
  fill(host, summary, answer, remade(liveFields), tableFields(), results);
  const asking = new Asking(host, summary);
  asking.add("slopes", {
    body: liveBody,
    into: answer,
    answered: (reply) => tellAnswer(answer, reply),
    pointer: livePointer,
  });
  asking.add("slopes", {
    body: tableBody,
    into: results,
    answered: (reply) => {
      drawn.draw(curves(reply));
      fill(
        rows,
        tableOf(reply),
        el(
          "p",
          { class: "help" },
          "The distance on the level that has the same mark, and below it what to set.",
        ),
      );
      fill(said, asEntered(), notes(reply.notes));
    },
    pointer: (own) =>
      own.replace(/^\/slopes\/(\d+)/, (_, index) => `/slopes/${Math.floor(index / 2)}`),
  });
  const ask = () => asking.ask();
  watch(host, ["setup", ASK, "system"], ask);
  ask();
  return () => asking.stop();
}

function liveBody() {
  const steep = get(`${ASK}/slope`) ?? STEEP;
  return request({
    distances: [entered(`${ASK}/distance`, AT)],
    slopes: [get(`${ASK}/way`) === "down" ? downhill(steep) : steep, "0 deg"],
  });
}

function livePointer(own) {
  return { "/distances/0": "/distance", "/slopes/0": "/slope" }[own] ?? own;
}

/** The same slope the other way. */
function downhill(slope) {
  return slope.startsWith("-") ? slope.slice(1) : `-${slope}`;
}

function tableBody() {
  const given = get(`${ASK}/slopes`) ?? [];
  const slopes = (given.length ? given : SLOPES).flatMap((slope) => [slope, downhill(slope)]);
  return request({ distances: distancesAt(`${ASK}/distances`, RANGE), slopes });
}

function liveFields(system) {
  return group(
    "The target",
    quantity({
      label: "Distance",
      help: "Along the line of sight, as a rangefinder without an angle measures it.",
      path: `${ASK}/distance`,
      pointer: "/distance",
      kind: "distance",
      usual: AT[system],
    }),
    quantity({
      label: "Slope",
      help: "Of the line of sight against the level.",
      path: `${ASK}/slope`,
      pointer: "/slope",
      kind: SLOPE,
      usual: STEEP,
    }),
    choice({
      label: "The target lies",
      path: `${ASK}/way`,
      choices: [
        ["up", "Uphill"],
        ["down", "Downhill"],
      ],
    }),
  );
}

function tableFields() {
  const slopes = list({
    label: "Slope",
    help: "Each is taken uphill and downhill. Without any: 15° and 30°.",
    path: `${ASK}/slopes`,
    pointer: "/slopes",
    row: (own) => quantity({ ...own, kind: SLOPE }),
    first: (rows) => rows.at(-1) ?? "15 deg",
  });
  const distances = distanceFields(`${ASK}/distances`, { title: "Chart and table", usual: RANGE });
  return el("div", {}, distances, group("Their slopes", slopes));
}

function slopeWords(slope) {
  const steep = `${tidied(Math.abs(slope))}°`;
  return slope === 0 ? "level" : `${steep} ${slope > 0 ? "uphill" : "downhill"}`;
}

const tenth = (distance) => fixed(distance, 1);

const tidied = (angle) => fixed(angle, Number.isInteger(angle) ? 0 : 1);

function tellAnswer(answer, { rows: [row, level], zero_distance: zero, units }) {
  const [big, more] = answer.children;
  const at = `${distanceWords(row.distance, units)} at ${slopeWords(row.slope)}`;
  big.textContent =
    row.level_distance === null
      ? `${at}: no distance on the level has this mark. Set it by the sight.`
      : `${at}: shoot the mark of ${tenth(row.level_distance)} ${units.distance}.`;
  const slant = distanceWords(row.distance, units);
  fill(
    more,
    el("strong", {}, `That is ${difference(row, level, units)} the ${slant} mark. `),
    zero !== row.distance &&
      `On the sight: ${markWords(row, units)}, counted from the ${distanceWords(zero, units)} mark. `,
    `With the ${slant} mark the arrow would land ${landing(0, row.slant_up, units)}; with that of the distance on the map, ${distanceWords(row.horizontal_distance, units)}, ${landing(0, row.horizontal_up, units)}.`,
  );
}

/** How the mark differs from that on the level, as the sight is set. */
function difference(row, level, units) {
  const less = (name) => (row[name] === undefined ? undefined : row[name] - level[name]);
  if (less("clicks") === 0) return "to the click";
  return `${markWords({ clicks: less("clicks"), turns: less("turns"), travel: less("travel") }, units).trim()} from`;
}

function bySlope(rows) {
  return [...new Set(rows.map((row) => row.slope))].sort((one, other) => one - other);
}

function curves({ rows, units }) {
  const slopes = bySlope(rows);
  const of = (slope) => rows.filter((row) => row.slope === slope);
  const most = rows.reduce((one, other) => ((other.cut ?? 0) > (one.cut ?? 0) ? other : one));
  return {
    title: "What to take off the distance on a slope",
    description:
      most.cut === null
        ? "No distance on the level has these marks."
        : `Most at ${distanceWords(most.distance, units)} and ${slopeWords(most.slope)}: ${distanceWords(most.cut, units)}.`,
    x: { label: "Distance", unit: units.distance },
    y: { label: "Take off", unit: units.distance, zero: true },
    curves: slopes.map((slope) => ({
      name: `${tidied(Math.abs(slope))}° ${slope > 0 ? "up" : slope < 0 ? "down" : ""}`,
      points: of(slope).map((row) => [row.distance, row.cut ?? NaN]),
    })),
  };
}

function tableOf({ rows, units }) {
  const slopes = bySlope(rows);
  const cell = (row) => [
    el(
      "strong",
      {},
      row.level_distance === null ? "–" : `${tenth(row.level_distance)} ${units.distance}`,
    ),
    el("span", { class: "under" }, markWords(row, units)),
  ];
  const distances = [...new Set(rows.map((row) => row.distance))];
  return table(
    "Marks to shoot",
    [`Distance, ${units.distance}`, ...slopes.map(slopeWords)],
    distances.map((distance) => [
      distanceNumber(distance),
      ...slopes.map((slope) =>
        el("div", {}, cell(rows.find((row) => row.distance === distance && row.slope === slope))),
      ),
    ]),
  );
}
