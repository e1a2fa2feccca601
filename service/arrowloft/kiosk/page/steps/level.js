// Step 4: how level the bow must be held.

import { Asking } from "../wire/questions.js";
import { entered, remade } from "../parts/by_system.js";
import { chart } from "../parts/chart.js";
import { distanceFields, distancesAt } from "../parts/distances.js";
import { pictures } from "../parts/downloads.js";
import { el, fill, newId, table } from "../parts/dom.js";
import { folded, group, number, quantity, watch } from "../parts/fields.js";
import { leaning } from "./level/lean.js";
import { notes } from "../parts/notes.js";
import { request } from "../wire/request.js";
import { get, set } from "../kept/state.js";
import { distanceNumber, distanceWords, landing, nothing, size } from "../words/target.js";
import { fixed, parted } from "../wire/units.js";

const ASK = "ask/level";
const AT = { metric: "60 m", imperial: "60 yd" };
const CIRCLE = { metric: "40 cm", imperial: "16 in" };
const GROUP_AT = { metric: "30 m", imperial: "30 yd" };
const ARROWS = 6;
const ROLL = "2 deg";
const MOST = 10;
const CANTS = [1, 2, 4];
/** Roll, deg, up to which the chart goes where it can: near distances allow far more. */
const CHARTED = 12;

export default {
  id: "level",
  title: "Level",
  heading: "How level to hold the bow",
  lead: "A bow that leans sends the arrow to the side it leans to, and a little low. Say how far off is still good enough.",
  show,
};

function show(host) {
  const summary = el("div", { class: "summary", role: "alert", hidden: true });
  const answer = el(
    "div",
    { class: "answer" },
    el("div", { role: "status" }, el("p", { class: "big" }), el("p", { class: "more" })),
    el("div"),
  );
  const drawn = chart();
  const rows = el("div");
  const said = el("div");
  const results = el("div", {}, drawn.element, rows, pictures("cant-tolerance", tableBody), said);
  fill(
    host,
    summary,
    answer,
    leanControl(),
    remade(fields),
    distanceFields(`${ASK}/distances`, { title: "Chart and table" }),
    results,
  );
  const asking = new Asking(host, summary);
  asking.add("cant-tolerance", {
    body: liveBody,
    into: answer,
    answered: (reply) => tellLive(answer, reply),
    pointer: (own) => (own === "/distances/0" ? "/live/distance" : own),
  });
  asking.add("cant-tolerance", {
    body: tableBody,
    into: results,
    pointer: (own) => (own === "/group" ? "/group/diameter" : own),
    answered: (reply) => {
      drawn.draw(curve(reply));
      fill(
        rows,
        tolerances(reply),
        el("p", { class: "help" }, "Leaning to the left, the arrow lands as far to the left."),
        reply.group && shares(reply),
      );
      fill(said, notes(reply.notes, ["group-from-few-arrows", "matters-unknown"]));
    },
  });
  const ask = () => asking.ask();
  watch(host, ["setup", ASK, "system"], ask);
  ask();
  return () => asking.stop();
}

const allowance = () => ({ diameter: entered(`${ASK}/circle`, CIRCLE) });

function liveBody() {
  const distance = entered(`${ASK}/distance`, AT);
  return request({
    distances: [distance],
    allowance: allowance(),
    live: { roll: get(`${ASK}/roll`) ?? ROLL, distance },
  });
}

function tableBody() {
  return request({
    distances: distancesAt(`${ASK}/distances`),
    cants: CANTS.map((cant) => `${cant} deg`),
    allowance: allowance(),
    ...groupMembers(),
  });
}

/** The group, once its width is known, and the usual roll. */
function groupMembers() {
  const { distance, diameter, arrows } = get(`${ASK}/group`) ?? {};
  const given = diameter !== undefined;
  return {
    group: given
      ? { distance: distance ?? GROUP_AT[get("system")], diameter, arrows: arrows ?? ARROWS }
      : undefined,
    roll_scatter: get(`${ASK}/roll_scatter`),
  };
}

function fields(system) {
  const own = (name, rest) => quantity({ path: `${ASK}/${name}`, ...rest });
  return group(
    "What is good enough",
    own("circle", {
      label: "Circle to hit, across",
      help: "Hit in its middle by a level bow.",
      pointer: "/allowance/diameter",
      kind: "off",
      usual: CIRCLE[system],
    }),
    own("distance", {
      label: "Distance",
      help: "Of the answer above.",
      pointer: "/live/distance",
      kind: "distance",
      usual: AT[system],
    }),
    folded(
      "What your own roll costs",
      own("group/diameter", {
        label: "Your group, across",
        help: "Greatest distance between two arrows of a group, centre to centre, shot with the level watched.",
        pointer: "/group/diameter",
        kind: "off",
        optional: true,
      }),
      number({
        label: "Arrows of the group",
        path: `${ASK}/group/arrows`,
        pointer: "/group/arrows",
        usual: ARROWS,
      }),
      own("group/distance", {
        label: "Shot at",
        pointer: "/group/distance",
        kind: "distance",
        usual: GROUP_AT[system],
      }),
      own("roll_scatter", {
        label: "Usual roll",
        help: "How far you usually lean, either way: two shots of three lie within it. Give the group too.",
        pointer: "/roll_scatter",
        kind: "angle",
        optional: true,
      }),
    ),
  );
}

const rollNow = () => Number(parted(get(`${ASK}/roll`) ?? ROLL).number);

function rollWords(roll) {
  return roll === 0
    ? "upright"
    : `${fixed(Math.abs(roll), 1)}° to the ${roll > 0 ? "right" : "left"}`;
}

/** The large control by which the bow is made to lean. */
function leanControl() {
  const id = newId("lean");
  const input = el("input", { id, type: "range", min: -MOST, max: MOST, step: 0.5 });
  const shown = el("output", { for: id });
  const refresh = () => {
    input.value = String(rollNow());
    input.setAttribute("aria-valuetext", rollWords(rollNow()));
    shown.textContent = rollWords(rollNow());
  };
  const write = (roll) => set(`${ASK}/roll`, `${Math.max(-MOST, Math.min(MOST, roll))} deg`);
  input.addEventListener("input", () => write(Number(input.value)));
  const step = (label, sign, by) =>
    el(
      "button",
      {
        type: "button",
        class: "stepper",
        "aria-label": label,
        on: { click: () => write(rollNow() + by) },
      },
      sign,
    );
  const element = el(
    "div",
    { class: "field lean", "data-pointer": "/live/roll" },
    el("label", { for: id }, "Try it: the bow leans ", shown),
    el(
      "div",
      { class: "control" },
      step("Lean more to the left", "◂", -0.5),
      input,
      step("Lean more to the right", "▸", +0.5),
    ),
    el("p", { class: "error", hidden: true }),
  );
  watch(element, [`${ASK}/roll`], refresh);
  refresh();
  return element;
}

/** Roll allowed, rounded toward none so that it can be relied on: {angle, decimals}. */
function floored(angle) {
  const decimals = angle < 1 ? 2 : 1;
  return { angle: Math.floor(angle * 10 ** decimals) / 10 ** decimals, decimals };
}

function within(most) {
  if (most === null) return "any, up to 45°";
  const { angle, decimals } = floored(most);
  return `± ${fixed(angle, decimals)}°`;
}

/** How the bow stands to what is allowed; counted from the rounded figure, so that all add up. */
function judged({ inside, roll, max_roll: most }) {
  if (most === null) return "Inside: no lean up to 45° leaves the circle.";
  const { angle, decimals } = floored(most);
  const off = Math.abs(Math.abs(roll) - angle).toFixed(decimals);
  const [on, back] = roll < 0 ? ["left", "right"] : ["right", "left"];
  // Within the rounding nobody can tell.
  if (inside && (Math.abs(roll) >= angle || Number(off) === 0)) return "Inside, but only just.";
  if (inside) return `Inside: ${off}° more to the ${on} would still do.`;
  return Number(off) === 0
    ? `Outside, but only just: turn the top limb to the ${back}.`
    : `Outside by ${off}°: turn the top limb to the ${back}.`;
}

function tellLive(answer, { live, rows, units }) {
  const [words, place] = answer.children;
  const [big, more] = words.children;
  const held = rows[0].max_cant;
  const at = distanceWords(live.distance, units);
  big.textContent =
    held === null
      ? `At ${at} any lean up to 45° stays in the circle.`
      : `At ${at} hold the bow within ${within(held)} of upright.`;
  fill(
    more,
    el(
      "strong",
      {},
      `The bow ${live.roll === 0 ? "stands upright" : `leans ${rollWords(live.roll)}`}: at ${at} the arrow lands ${landing(live.right, live.up, units)}. `,
    ),
    judged(live),
  );
  fill(place, leaning(live));
}

function curve({ rows, units }) {
  const known = rows.filter((row) => row.max_cant !== null);
  const least = Math.min(...known.map((row) => row.max_cant));
  const most = Math.max(CHARTED, 2 * least);
  const last = rows.at(-1);
  return {
    title: "Roll allowed over distance",
    description: `At ${distanceWords(last.distance, units)} hold within ${within(last.max_cant)}. Only rolls up to ${fixed(most, 0)}° are drawn.`,
    x: { label: "Distance", unit: units.distance },
    y: { label: "Roll allowed, either way", unit: "°", zero: true },
    curves: [
      {
        name: "",
        points: rows.map((row) => [
          row.distance,
          row.max_cant !== null && row.max_cant <= most ? row.max_cant : NaN,
        ]),
      },
    ],
  };
}

function tolerances({ rows, cants, units }) {
  const lands = (row, at) =>
    el(
      "div",
      {},
      landing(row.right[at], 0, units),
      row.up[at] !== null &&
        !nothing(row.up[at], units) &&
        el("span", { class: "under" }, landing(0, row.up[at], units)),
    );
  return table(
    "Roll allowed, and where the arrow lands",
    [
      `Distance, ${units.distance}`,
      "Hold within",
      ...cants.map((cant) => `${fixed(cant, 0)}° to the right`),
    ],
    rows.map((row) => [
      distanceNumber(row.distance),
      el("strong", {}, within(row.max_cant)),
      ...cants.map((_, at) => lands(row, at)),
    ]),
  );
}

function shares({ rows, matters_from: from, units }) {
  const percent = (share) => `${fixed(100 * share, 0)} %`;
  const rolled = rows[0].share_rolled !== undefined && get(`${ASK}/roll_scatter`) !== undefined;
  const heads = [
    `Distance, ${units.distance}`,
    "Group sideways",
    "In the circle, level",
    ...(rolled ? ["With your roll", "Roll adds sideways"] : []),
  ];
  return [
    from !== undefined &&
      from !== null &&
      el(
        "p",
        { class: "note" },
        `From ${distanceWords(from, units)} on your roll matters: it adds half of your group's width sideways, or more.`,
      ),
    table(
      "What your own roll costs: share of arrows in the circle",
      heads,
      rows.map((row) => [
        distanceNumber(row.distance),
        `± ${size(row.group_sideways, units)}`,
        percent(row.share_level),
        ...(rolled
          ? [
              percent(row.share_rolled),
              row.roll_spread === null ? "–" : `± ${size(row.roll_spread, units)}`,
            ]
          : []),
      ]),
    ),
  ];
}
