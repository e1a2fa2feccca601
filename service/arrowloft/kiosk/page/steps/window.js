// Step 8: distances beyond the sight's window, and moving the whole sight for them.

import { asEntered } from "../parts/as_entered.js";
import { Asking } from "../wire/questions.js";
import { entered, remade } from "../parts/by_system.js";
import { chart } from "../parts/chart.js";
import { distanceFields, distancesAt } from "../parts/distances.js";
import { pictures } from "../parts/downloads.js";
import { el, fill, table } from "../parts/dom.js";
import { choice, folded, group, number, quantity, watch } from "../parts/fields.js";
import { notes } from "../parts/notes.js";
import { request } from "../wire/request.js";
import { get } from "../kept/state.js";
import { distanceNumber } from "../words/target.js";
import { fixed } from "../wire/units.js";
import { beyond, moveWords, nearest, reach, shownBefore, spanWords } from "./window/words.js";

const ASK = "ask/window";
const RANGE = {
  metric: { from: "20 m", to: "90 m", step: "10 m" },
  imperial: { from: "20 yd", to: "100 yd", step: "10 yd" },
};
const NEAREST = { metric: "20 m", imperial: "20 yd" };
const FARTHEST = { metric: "60 m", imperial: "60 yd" };
const WANTED = { metric: "90 m", imperial: "90 yd" };
const [UP, DOWN] = ["4 mm", "20 mm"];
const CLICKS = 10;
const OPEN = ["prove-after-shift", "nothing-fits", "housing-blocks", "housing-shaft-only"];

export default {
  id: "window",
  title: "Window",
  heading: "Beyond the sight's window",
  lead: "A sight shows marks between two ends of its way. For distances beyond them the whole sight is moved on the bow, with its elevation screw.",
  show,
};

function show(host) {
  const summary = el("div", { class: "summary", role: "alert", hidden: true });
  const answer = el("p", { class: "big", role: "status" });
  const more = el("p", { class: "more" });
  const drawn = chart();
  const rows = el("div");
  const said = el("div");
  const caution = el("div");
  const first = el("div", { class: "answer" }, answer, more, caution);
  const results = el(
    "div",
    {},
    drawn.element,
    rows,
    pictures("sight-travel", body, ["text/csv"]),
    said,
  );
  fill(
    host,
    summary,
    first,
    windowFields(),
    moveFields(),
    limits(),
    distanceFields(`${ASK}/distances`, { title: "Chart and table", usual: RANGE }),
    results,
  );
  const asking = new Asking(host, summary);
  asking.add("sight-travel", {
    body,
    into: [first, results],
    pointer,
    answered: (reply, asked) => {
      answer.textContent = sentence(reply, asked);
      more.textContent = lost(reply);
      fill(caution, notes(reply.notes.filter(open), OPEN));
      fill(said, asEntered(), notes(reply.notes.filter((note) => !open(note))));
      drawn.draw(curves(reply));
      fill(rows, tableOf(reply));
    },
  });
  const ask = () => asking.ask();
  watch(host, ["setup", ASK, "system"], ask);
  ask();
  return () => asking.stop();
}

/** The field of a move that goes too far. */
function pointer(own) {
  return (
    { "/bring": "/bring/distance", "/shifts/0": `/shifts/0/${get(`${ASK}/by_what`) ?? "clicks"}` }[
      own
    ] ?? own
  );
}

const open = (note) => OPEN.includes(note.code);

function body() {
  return request({
    distances: distancesAt(`${ASK}/distances`, RANGE),
    window: windowNow(),
    ...move(),
    adjustment: get(`${ASK}/adjustment`),
    housing: housing(),
  });
}

function windowNow() {
  if (get(`${ASK}/by`) === "lengths")
    return { up: get(`${ASK}/up`) ?? UP, down: get(`${ASK}/down`) ?? DOWN };
  return {
    nearest: entered(`${ASK}/nearest`, NEAREST),
    farthest: entered(`${ASK}/farthest`, FARTHEST),
  };
}

function move() {
  const kind = get(`${ASK}/move`) ?? "bottom";
  if (kind === "none") return {};
  if (kind !== "shift")
    return { bring: { distance: entered(`${ASK}/distance`, WANTED), to: kind } };
  const what = get(`${ASK}/by_what`) ?? "clicks";
  const size =
    get(`${ASK}/${what}`) ?? (what === "length" ? "1 mm" : what === "turns" ? 1 : CLICKS);
  return { shifts: [{ [what]: get(`${ASK}/way`) === "up" ? opposite(size) : size }] };
}

function opposite(size) {
  return typeof size === "number" ? -size : size.startsWith("-") ? size.slice(1) : `-${size}`;
}

/** The housing, once it is measured. */
function housing() {
  const given = get(`${ASK}/housing`);
  return given && Object.keys(given).length ? given : undefined;
}

const own = (name, rest) => quantity({ path: `${ASK}/${name}`, ...rest });

function windowFields() {
  const by = choice({
    label: "The window is known by",
    path: `${ASK}/by`,
    choices: [
      ["distances", "Two distances"],
      ["lengths", "The way of the pin"],
    ],
  });
  const ends = (system) =>
    get(`${ASK}/by`) === "lengths"
      ? [
          own("up", {
            label: "Way up from the proven mark",
            pointer: "/window/up",
            kind: "small",
            usual: UP,
          }),
          own("down", {
            label: "Way down from the proven mark",
            pointer: "/window/down",
            kind: "small",
            usual: DOWN,
          }),
        ]
      : [
          own("nearest", {
            label: "Nearest distance that it shows",
            pointer: "/window/nearest",
            kind: "distance",
            usual: NEAREST[system],
          }),
          own("farthest", {
            label: "Farthest distance that it shows",
            pointer: "/window/farthest",
            kind: "distance",
            usual: FARTHEST[system],
          }),
        ];
  return group(
    "What the sight shows now",
    el("div", { class: "across" }, by),
    remade(ends, [`${ASK}/by`]),
  );
}

function moveFields() {
  const what = choice({
    label: "What to do",
    path: `${ASK}/move`,
    choices: [
      ["bottom", "Bring a distance to the bottom"],
      ["middle", "Bring a distance to the middle"],
      ["top", "Bring a distance to the top"],
      ["shift", "Move the sight by so much"],
      ["none", "Leave it where it is"],
    ],
  });
  const wanted = (system) =>
    own("distance", {
      label: "Distance to bring there",
      pointer: "/bring/distance",
      kind: "distance",
      usual: WANTED[system],
    });
  const rest = (system) =>
    ({ shift: shiftFields, none: () => [] })[get(`${ASK}/move`)]?.() ?? wanted(system);
  return group("Move the whole sight", what, remade(rest, [`${ASK}/move`]));
}

function shiftFields() {
  const size = () => {
    const what = get(`${ASK}/by_what`) ?? "clicks";
    const [path, pointer] = [`${ASK}/${what}`, `/shifts/0/${what}`];
    return what === "length"
      ? own("length", { label: "How far", pointer, kind: "small", usual: "1 mm" })
      : number({ label: "How many", path, pointer, usual: what === "turns" ? 1 : CLICKS });
  };
  return [
    choice({
      label: "Which way",
      path: `${ASK}/way`,
      choices: [
        ["down", "Down: for farther distances"],
        ["up", "Up: for nearer distances"],
      ],
    }),
    choice({
      label: "Counted in",
      path: `${ASK}/by_what`,
      choices: [
        ["clicks", "Clicks"],
        ["turns", "Turns"],
        ["length", "Its length"],
      ],
    }),
    remade(size, [`${ASK}/by_what`]),
  ];
}

function limits() {
  const length = (name, label, help, kind = "small") =>
    own(name, { label, help, pointer: `/${name}`, kind, optional: true });
  return group(
    "More about the sight",
    folded(
      "How far it can be moved",
      length("adjustment/up", "Up", "From where it is now. Give both."),
      length("adjustment/down", "Down", "From where it is now."),
    ),
    folded(
      "Whether the vanes clear its housing",
      length(
        "housing/below_pin",
        "Housing below the pin",
        "Its lowest point, square to the arrow.",
      ),
      length(
        "housing/arrow_radius",
        "Reach of a vane",
        "From the arrow's middle to the edge of a vane. Give it: without it the bare shaft is taken.",
      ),
      length(
        "housing/ahead_of_eye",
        "That point from the eye",
        "Along the arrow; empty: as far as the pin.",
        "span",
      ),
      length(
        "housing/sideways",
        "Housing beside the arrow",
        "Sideways to its nearest point; empty: straight above.",
      ),
    ),
  );
}

function sentence(reply, asked) {
  const first = beyond(reply);
  const moved = moveWords(reply, asked);
  const fits = spanWords(reach(reply.fits_now, reply.rows), reply.units);
  if (!moved) return `${first} It shows ${fits}.`;
  return `${first} Move the whole sight ${moved}: then it shows ${fits}.`;
}

function lost(reply) {
  const gone = reach(reply.lost, reply.rows);
  return gone.length ? `Then it no longer shows ${spanWords(gone, reply.units, nearest)}.` : "";
}

function curves({ rows, window_before: before, window_now: now, units }) {
  const ends = [rows[0].distance, rows.at(-1).distance];
  const line = (name, at) => ({ name, points: ends.map((end) => [end, at]) });
  const moved = Math.abs(now.top - before.top) > 1e-9;
  return {
    title: "Marks and the window",
    description: `The pin can go from ${fixed(now.top, 2)} to ${fixed(now.bottom, 2)} ${units.length}${moved ? ` after the move, from ${fixed(before.top, 2)} to ${fixed(before.bottom, 2)} before it` : ""}. The band is the window.`,
    x: { label: "Distance", unit: units.distance },
    y: { label: "Pin down", unit: units.length, downward: true },
    curves: [
      { name: "marks", points: rows.map((row) => [row.distance, row.travel]) },
      { ...line("top", now.top), band: ends.map((end) => [end, now.top, now.bottom]) },
      line("bottom", now.bottom),
      ...(moved ? [line("top before", before.top), line("bottom before", before.bottom)] : []),
    ],
  };
}

function tableOf(reply) {
  const { rows, units } = reply;
  const some = (name) => rows[0][name] !== undefined;
  const long = units.length === "in" ? 3 : 2;
  const columns = [
    [`Distance, ${units.distance}`, (row) => distanceNumber(row.distance)],
    ["Shown before", (row) => (shownBefore(reply, row.distance) ? "yes" : "no")],
    ["Shown now", (row) => el("strong", {}, row.fits ? "yes" : "no")],
    [`Pin down, ${units.length}`, (row) => fixed(row.position, long)],
    some("reading") && ["Reading", (row) => fixed(row.reading, 2)],
    some("housing_clearance") && [
      `Free under the housing, ${units.length}`,
      (row) => fixed(row.housing_clearance, long - 1),
    ],
  ].filter(Boolean);
  return table(
    "Marks after the move",
    columns.map(([head]) => head),
    rows.map((row) => columns.map(([, cell]) => cell(row))),
  );
}
