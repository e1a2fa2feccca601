// Step 3: what arrows on the target teach.

import { chart } from "../parts/chart.js";
import { button, el, fill } from "../parts/dom.js";
import { USUAL } from "../parts/distances.js";
import { pictures } from "../parts/downloads.js";
import { folded, group, number, quantity, watch } from "../parts/fields.js";
import { notes } from "../parts/notes.js";
import { showProblem } from "../wire/problems.js";
import { request } from "../wire/request.js";
import { computed, line, Lost, Problem, Question } from "../wire/service.js";
import { get, set } from "../kept/state.js";
import { tidy } from "../wire/units.js";
import {
  ARROWS,
  calibrationBody,
  ends,
  groupDistance,
  hasEnds,
  markFor,
  measured,
  metres,
  nameOf,
  offUnit,
  OWN,
  proven,
  sent,
  sessionBody,
} from "../wire/verified.js";
import { advice, butts, nextWords } from "./verify/advice.js";
import { endCard } from "./verify/card.js";
import { changeCurve, correctedTable } from "./verify/corrected.js";
import { steadily } from "./verify/steady.js";
import { middleOf, places } from "./verify/target.js";
import { answer, plainNotes } from "./verify/words.js";

const ENDS = `${OWN}/ends`;
/** Notes that stand in the open: what is wrong, and what may hurt somebody. */
const OPEN = [
  "observations-contradict",
  "scatter-odd",
  "zero-off",
  "poor-fit",
  "far-from-prior",
  "start-near",
  "plan-not-enough",
  "prove-corrected-marks",
];

export default {
  id: "verify",
  title: "Verify",
  heading: "Prove your marks",
  lead: "Say where arrows landed. The marks are corrected by it, and you are told what to shoot next. Shoot from near to far, with a safe backstop.",
  show,
};

function show(host) {
  const summary = el("div", { class: "summary", role: "alert", hidden: true });
  const said = el("div", { class: "answer", hidden: true });
  const status = el("p", { class: "unseen", role: "status" });
  const cards = cardList();
  const found = results();
  fill(host, summary, said, status, cards.element, sureness(), found.element);
  let order = [];
  const session = new Question("calibration", {
    answered: (reply) => steadily(host, () => answered(reply)),
    refused: (problem) => steadily(host, () => refused(problem)),
  });
  const answered = (reply) => {
    showProblem(host, summary, null);
    const names = order.map((index) => nameOf(ends()[index] ?? {}, index));
    cards.tell(reply, order);
    fill(said, order.length ? spoken(reply, order, names, cards) : null);
    said.hidden = order.length === 0;
    status.textContent = order.length ? `${newest(reply, names)} ${nextWords(reply)}` : "";
    found.draw(reply, names);
  };
  const refused = (problem) => {
    showProblem(host, summary, placed(problem, order));
    for (const wrong of host.querySelectorAll(".wrong"))
      wrong.closest("details.end")?.setAttribute("open", "");
    // An answer to other figures than those on the screen would mislead.
    said.hidden = true;
    status.textContent = "";
    found.stale();
  };
  const marks = new Question("mark-table", {
    answered: (reply) => steadily(host, () => cards.predicted(reply)),
    // What is wrong with a distance is said by the other question.
    refused: () => cards.predicted(null),
  });
  const ask = () => {
    order = sent();
    session.ask(sessionBody("ask/marks/distances", USUAL[get("system")]), 60);
    const distances = reached();
    if (distances.length) marks.ask(request({ distances }), 60);
  };
  watch(host, ["setup", OWN, "ask/marks", "system"], ask);
  ask();
  return () => {
    session.stop();
    marks.stop();
  };
}

/** Distances at which arrows were shot, each once, as far as they are distances. */
function reached() {
  const all = ends()
    .filter((end) => end.kind !== "speed")
    .map((end) => end.distance);
  return [...new Set(all)].filter((distance) => metres(distance) >= 1 && metres(distance) <= 1000);
}

/** A problem with the positions of the request's observations as those of the cards. */
function placed(problem, order) {
  const errors = problem.errors.map((one) => ({
    ...one,
    pointer: (one.pointer ?? "").replace(
      /^\/observations\/(\d+)/,
      (_, at) => `/observations/${order[at] ?? at}`,
    ),
  }));
  return { message: problem.message, errors };
}

/** The last end that moves a sight, or the last of all. */
function newest(reply, names) {
  const at = reply.observations.findLastIndex((one) => one.kind !== "speed");
  return answer(reply.observations[at], names[at], reply.units);
}

function spoken(reply, order, names, cards) {
  const wrong = reply.observations.flatMap((one, at) => (one.status === "used" ? [] : [at]));
  return [
    el("p", { class: "big" }, newest(reply, names)),
    wrong.map((at) =>
      el(
        "p",
        { class: "note" },
        `${names[at]} ${reply.observations[at].status === "set-aside" ? "does not fit and was set aside" : "does not fit well"}. `,
        button(`Check ${names[at]}`, () => cards.open(order[at])),
      ),
    ),
    advice(reply, order, cards),
  ];
}

/** The cards, and how ends are added and removed. */
function cardList() {
  const list = el("div", { class: "ends" });
  const intro = el("div");
  const gone = el("div", { class: "gone", role: "status" });
  const again = el("div", { class: "buttons" });
  const element = el("section", { "aria-label": "Ends" }, intro, list, gone, again);
  let cards = [];
  let rows = new Map();
  let last = { reply: null, order: [] };

  const add = (...more) => {
    const first = ends().length;
    set(ENDS, [...ends(), ...more]);
    fill(gone);
    draw(first);
    open(first);
  };
  const open = (index) => {
    const { element: card } = cards[index];
    card.open = true;
    card.querySelector("summary").focus({ preventScroll: true });
    card.scrollIntoView({ block: "start" });
  };
  const remove = (index) => {
    const before = ends();
    set(
      ENDS,
      before.filter((_, other) => other !== index),
    );
    draw(-1);
    const back = button("Bring it back", () => {
      set(ENDS, before);
      fill(gone);
      draw(index);
      cards[index].element.querySelector("summary").focus();
    });
    fill(gone, el("p", {}, `${nameOf(before[index], index)} is removed.`), back);
    back.focus();
  };

  function draw(opened) {
    cards = ends().map((_, index) =>
      endCard({
        index,
        open: index === opened,
        remove: () => remove(index),
        corrected: () => takeCorrected(index),
      }),
    );
    fill(
      list,
      cards.map((card) => card.element),
    );
    fill(intro, cards.length === 0 && introduced(add));
    fill(
      again,
      cards.length > 0 && [
        button("Add an end", () => add(fresh())),
        button("Add a speed", () => add(freshSpeed())),
      ],
    );
    tell(null, []);
  }

  function tell(reply, order) {
    last = { reply, order };
    cards.forEach((card, index) => {
      const at = order.indexOf(index);
      const row = rows.get(ends()[index]?.distance);
      card.tell({
        seen: reply?.observations[at],
        row: row?.row,
        units: reply?.units ?? row?.units,
      });
    });
  }

  draw(ends().length - 1);
  // A file or a link, or an end added elsewhere: other ends than those drawn.
  watch(element, [ENDS], () => ends().length !== cards.length && draw(-1));
  watch(element, ["setup/sight"], () => draw(-1));
  return {
    element,
    add,
    open,
    tell,
    predicted(reply) {
      const distances = reached();
      rows = new Map(
        reply ? reply.rows.map((row, at) => [distances[at], { row, units: reply.units }]) : [],
      );
      tell(last.reply, last.order);
    },
  };
}

/** Put the mark that the ends before one ask for into it; what to say of it. */
async function takeCorrected(index) {
  const end = ends()[index];
  try {
    const reply = await (
      await computed("calibration", calibrationBody([end.distance], { before: index }))
    ).json();
    const { windage_clicks, windage_travel, ...rest } = markFor(reply.rows[0], reply, sent(index));
    const taken = { ...ends()[index], ...rest, windage_clicks, windage_travel };
    set(
      `${ENDS}/${index}`,
      Object.fromEntries(Object.entries(taken).filter(([, value]) => value !== undefined)),
    );
    return "Put in: the mark that the ends before this one ask for.";
  } catch (error) {
    if (error instanceof Problem)
      return error.errors.map((one) => one.detail).join(" ") || error.message;
    if (!(error instanceof Lost)) throw error;
    line.say(true, () => takeCorrected(index));
    return "";
  }
}

function fresh(distance = ends().at(-1)?.distance ?? groupDistance()) {
  return { kind: "arrows", distance };
}

function freshSpeed() {
  return { kind: "speed", distance: get("system") === "metric" ? "2 m" : "2 yd" };
}

function introduced(add) {
  const [near, long] = [groupDistance(), get("system") === "metric" ? "60 m" : "60 yd"];
  return el(
    "div",
    { class: "introduced" },
    el("h2", {}, "Two distances prove most"),
    el("ol", {}, [
      el(
        "li",
        {},
        `Shoot an end at ${near}, with the predicted mark. It shows whether the pin stands where the sight says.`,
      ),
      el(
        "li",
        {},
        `Then shoot an end far out, such as at ${long}, once the near one has shown that you will hit the butt. It shows how fast the arrow is and how it slows.`,
      ),
      el(
        "li",
        {},
        "Say where the arrows landed. All marks between follow, each with how sure it is.",
      ),
    ]),
    el(
      "div",
      { class: "buttons" },
      button(`Begin with ${near} and ${long}`, () => add(fresh(near), fresh(long)), {
        kind: "main",
      }),
      button("Begin with one end", () => add(fresh(near))),
      button("I have a speed from a chronograph", () => add(freshSpeed())),
    ),
  );
}

/** The archer's group, and what is good enough. */
function sureness() {
  const path = (name) => `${OWN}/${name}`;
  const told = el("p", { class: "help across" });
  const size = group(
    "Your group",
    told,
    quantity({
      label: "Across",
      help: "Between the two arrows farthest apart.",
      path: path("group/diameter"),
      pointer: "/group/diameter",
      kind: "span",
      optional: true,
    }),
    quantity({
      label: "Shot at",
      path: path("group/distance"),
      pointer: "/group/distance",
      kind: "distance",
      usual: groupDistance(),
    }),
    number({
      label: "From how many arrows",
      path: path("group/arrows"),
      pointer: "/group/arrows",
      usual: String(ARROWS.group),
    }),
  );
  const enough = folded(
    "What is good enough, and how far you can shoot",
    quantity({
      label: "A mark may be off by",
      help: "Height at the target. Empty: 1 cm for every 10 yd of distance.",
      path: path("tolerance/height"),
      pointer: "/tolerance/height",
      kind: "off",
      optional: true,
    }),
    quantity({
      label: "At this distance",
      help: "It grows with the distance. Empty: the same everywhere.",
      path: path("tolerance/at"),
      pointer: "/tolerance/at",
      kind: "distance",
      optional: true,
    }),
    quantity({
      label: "Longest butt",
      help: "Empty: as far as the marks go.",
      path: path("longest"),
      pointer: "/next",
      kind: "distance",
      optional: true,
    }),
    number({
      label: "Most arrows of an end",
      path: path("arrows"),
      pointer: "/next/arrows",
      usual: "6",
    }),
  );
  const element = el("div", {}, size, enough);
  const say = () => {
    const own = ownGroup();
    told.textContent = own
      ? `Taken from the arrows you entered: ${own}. Leave this empty, or give a group of other arrows beside them.`
      : "How closely your arrows land says how much an end counts. Give a group you know; until arrows are touched in, a usual one is assumed.";
  };
  say();
  watch(element, [ENDS, "system"], say);
  return element;
}

/** The largest group of the ends themselves, in words; empty where none tells. */
function ownGroup() {
  const unit = offUnit();
  const groups = ends().flatMap((end) => {
    if (end.kind === "speed" || proven(end)) return [];
    if (measured(end))
      return end.up && end.diameter
        ? [{ many: end.arrows ?? ARROWS.measured, words: end.diameter, end }]
        : [];
    const arrows = places(end);
    if (arrows.length < 2) return [];
    return [
      {
        many: arrows.length,
        words: `${tidy(middleOf(arrows).across / (unit === "in" ? 25.4 : 10), 3)} ${unit}`,
        end,
      },
    ];
  });
  const best = groups.sort((one, other) => other.many - one.many)[0];
  return best ? `${best.words} across for ${best.many} arrows at ${best.end.distance}` : "";
}

/** Corrected marks, what they rest on, and the downloads. */
function results() {
  const drawn = chart();
  const rows = el("div");
  const rest = el("div");
  const head = el("h2", {}, "Corrected marks");
  const body = () => sessionBody("ask/marks/distances", USUAL[get("system")]);
  const element = el(
    "section",
    { class: "corrected", hidden: true },
    head,
    el(
      "p",
      { class: "help" },
      "How far the corrected marks lie from the predicted ones; crosses are what single ends ask for.",
    ),
    drawn.element,
    rows,
    pictures("calibration", body),
    rest,
  );
  return {
    element,
    stale: () => element.classList.add("stale"),
    draw(reply, names) {
      element.classList.remove("stale");
      element.hidden = !hasEnds();
      if (element.hidden) return;
      head.textContent = `Corrected marks, after ${names.length} ${names.length === 1 ? "end" : "ends"}`;
      drawn.draw(changeCurve(reply));
      fill(rows, correctedTable(reply));
      fill(
        rest,
        notes(plainNotes(reply.notes, names), OPEN),
        el(
          "details",
          { class: "folded" },
          el("summary", {}, "Where you could shoot next"),
          butts(reply),
        ),
      );
    },
  };
}
