// Step 6: what the wind does, and what to do against it.

import { Asking } from "../wire/questions.js";
import { entered, remade } from "../parts/by_system.js";
import { chart } from "../parts/chart.js";
import { around, compass, windWords } from "./wind/compass.js";
import { distanceFields, distancesAt } from "../parts/distances.js";
import { pictures } from "../parts/downloads.js";
import { el, fill, table } from "../parts/dom.js";
import { group, quantity, watch } from "../parts/fields.js";
import { counted, countedAside } from "../words/marks.js";
import { notes } from "../parts/notes.js";
import { request } from "../wire/request.js";
import { get, set } from "../kept/state.js";
import {
  atTarget,
  distanceNumber,
  distanceWords,
  landing,
  nothing,
  size,
  targetUnit,
} from "../words/target.js";
import { converted, fixed, parted, shown, tidy } from "../wire/units.js";

const ASK = "ask/wind";
const SPEED = { metric: "3 m/s", imperial: "7 mph" };
const AT = { metric: "50 m", imperial: "50 yd" };
const FROM = { metric: "90 deg", imperial: "90 deg" };
/** What stands beside the answer where it holds for that, else beside the table. */
const OPPOSED = "weathervane";
const OPEN = [OPPOSED, "wind-steady"];

export default {
  id: "wind",
  title: "Wind",
  heading: "What the wind does",
  lead: "Say how strong it blows and from where. Watch flags, grass and leaves along the whole way to the target, not at the line alone.",
  show,
};

function show(host) {
  const summary = el("div", { class: "summary", role: "alert", hidden: true });
  const against = el("div");
  const answer = el(
    "div",
    { class: "answer" },
    el("p", { class: "big", role: "status" }),
    el("p", { class: "more" }),
    el("p", { class: "help" }),
    against,
  );
  const dial = windDial();
  const drawn = chart();
  const rows = el("div");
  const caution = el("div");
  const said = el("div");
  const results = el("div", {}, caution, drawn.element, rows, pictures("wind", tableBody), said);
  fill(
    host,
    summary,
    answer,
    el("div", { class: "live" }, dial, remade(fields)),
    distanceFields(`${ASK}/distances`, { title: "Chart and table" }),
    results,
  );
  let [opposed, cautions] = [[], []];
  const tellOpen = () => {
    fill(against, notes(opposed, OPEN));
    const rest = cautions.filter(({ code }) => code !== OPPOSED || !opposed.length);
    fill(caution, notes(rest, OPEN));
  };
  const asking = new Asking(host, summary);
  asking.add("wind", {
    body: () => request({ distances: [entered(`${ASK}/distance`, AT)], ...wind() }),
    into: answer,
    answered: (reply, asked) => {
      tellAnswer(answer, reply, asked);
      opposed = reply.notes.filter(({ code }) => code === OPPOSED);
      tellOpen();
    },
    pointer: (own) => (own === "/distances/0" ? "/distance" : own),
  });
  asking.add("wind", {
    body: tableBody,
    into: results,
    answered: (reply) => {
      const open = (note) => OPEN.includes(note.code);
      cautions = reply.notes.filter(open);
      tellOpen();
      fill(said, notes(reply.notes.filter((note) => !open(note))));
      drawn.draw(curves(reply));
      fill(rows, tableOf(reply));
    },
  });
  const ask = () => asking.ask();
  watch(host, ["setup", ASK, "system"], ask);
  ask();
  return () => asking.stop();
}

const wind = () => ({
  speeds: [entered(`${ASK}/speed`, SPEED)],
  directions: [entered(`${ASK}/from`, FROM)],
});

function tableBody() {
  return request({ distances: distancesAt(`${ASK}/distances`), ...wind() });
}

function fields(system) {
  const own = (name, rest) => quantity({ path: `${ASK}/${name}`, ...rest });
  return group(
    "Wind",
    own("speed", {
      label: "Speed",
      help: "Leaves rustle from 2 m/s (4 mph), small twigs move from 4 m/s (9 mph), dust rises from 6 m/s (13 mph).",
      pointer: "/speeds/0",
      kind: "windSpeed",
      usual: SPEED[system],
    }),
    own("from", {
      label: "Direction",
      help: "Clockwise from the target: 0 from ahead, 90 from the right, 180 from behind, 270 from the left.",
      pointer: "/directions/0",
      kind: "direction",
      usual: FROM[system],
    }),
    own("distance", {
      label: "Distance",
      help: "Of the answer above.",
      pointer: "/distance",
      kind: "distance",
      usual: AT[system],
    }),
  );
}

/** The dial and its words, bound to the direction. */
function windDial() {
  const dial = compass((angle) => set(`${ASK}/from`, `${angle} deg`));
  const words = el("p", { class: "words", "aria-hidden": "true" });
  const element = el("div", { class: "dial" }, dial.element, words);
  const refresh = () => {
    const angle = degrees(entered(`${ASK}/from`, FROM));
    if (!Number.isFinite(angle)) return;
    dial.turn(angle);
    words.textContent = `The wind blows ${windWords(around(angle))}.`;
  };
  watch(element, [`${ASK}/from`], refresh);
  refresh();
  return element;
}

function degrees(text) {
  const { number, unit } = parted(text);
  return unit === "deg" ? Number(number) : converted(Number(number), "angle", unit, "deg");
}

/** The wind as it was asked for: "3 m/s from the right". */
function named({ speeds: [speed], directions: [from] }) {
  const { number, unit } = parted(speed);
  return `${tidy(Number(number))} ${shown(unit)} ${windWords(degrees(from))}`;
}

function tellAnswer(answer, { rows: [row], units }, asked) {
  const [big, more, help] = answer.children;
  const at = distanceWords(row.distance, units);
  const missing = row.drift === null;
  big.textContent = missing
    ? `In ${named(asked)} no arrow reaches ${at} with its mark for still air.`
    : `In ${named(asked)}: at ${at} ${aimOff(row, units)}.`;
  const lands = !missing && !(nothing(row.drift, units) && nothing(row.up, units));
  fill(
    more,
    lands && `Else the arrow lands ${landing(row.drift, row.up, units)}. `,
    el("strong", {}, sentence(row, units)),
  );
  help.textContent =
    get("setup/sight/windage_travel_per_turn") === undefined
      ? "For windage in clicks give the travel and the clicks of its screw in the set-up, under the sight."
      : "";
  help.hidden = help.textContent === "";
}

/** Where to hold: on the other side of where the arrow lands. */
function aimOff({ drift, up }, units) {
  const parts = [
    !nothing(drift, units) && `${size(drift, units)} ${drift > 0 ? "left" : "right"}`,
    !nothing(up, units) && `${size(up, units)} ${up > 0 ? "low" : "high"}`,
  ].filter(Boolean);
  return parts.length ? `aim off ${parts.join(" and ")}` : "there is nothing to aim off";
}

function sentence(row, units) {
  const height = elevation(row, units);
  return `Or set the sight: windage ${windage(row, units)}, height ${/^[0.]+ /.test(height) ? "as it is" : height}.`;
}

function windage(row, units) {
  if (row.windage_clicks !== undefined) return countedAside(row.windage_clicks);
  const way = (value) => (value > 0 ? "right" : "left");
  if (row.windage_turns !== undefined) return amount(row.windage_turns, 2, "turns", way);
  return amount(row.windage_travel, units.length === "in" ? 3 : 2, units.length, way);
}

function elevation(row, units) {
  if (row.elevation_clicks !== undefined) return counted(row.elevation_clicks);
  const way = (value) => (value > 0 ? "down" : "up");
  if (row.elevation_turns !== undefined) return amount(row.elevation_turns, 2, "turns", way);
  return amount(row.elevation_travel, units.length === "in" ? 3 : 2, units.length, way);
}

function amount(value, decimals, unit, way) {
  const text = fixed(Math.abs(value), decimals);
  return Number(text) === 0 ? `0 ${unit}` : `${text} ${unit} ${way(value)}`;
}

function curves({ rows, units }) {
  const of = (name) =>
    rows.map((row) => [row.distance, row[name] === null ? NaN : atTarget(row[name], units)]);
  const last = rows.at(-1);
  return {
    title: "What the wind does over distance",
    description: `With the mark for still air the arrow lands ${landing(last.drift, last.up, units)} at ${distanceWords(last.distance, units)}.`,
    x: { label: "Distance", unit: units.distance },
    y: { label: "Right or high (− left or low)", unit: targetUnit(units), zero: true },
    curves: [
      { name: "sideways", points: of("drift") },
      { name: "height", points: of("up") },
    ],
    lines: [{ y: 0, name: "" }],
  };
}

function tableOf({ rows, units }) {
  return table(
    "Wind",
    [`Distance, ${units.distance}`, "The arrow lands", "Windage", "Height"],
    rows.map((row) => [
      distanceNumber(row.distance),
      el("strong", {}, landing(row.drift, row.up, units)),
      windage(row, units),
      elevation(row, units),
    ]),
  );
}
