// Step 3: what arrows on the target teach.

import { chart } from "../parts/chart.js";
import { button, el, fill } from "../parts/dom.js";
import { USUAL } from "../parts/distances.js";
import { pictures } from "../parts/downloads.js";
import { folded, group, number, quantity, watch } from "../parts/fields.js";
import { notes } from "../parts/notes.js";
import { showProblem } from "../wire/problems.js";
import { request } from "../wire/request.js";
import { Question } from "../wire/service.js";
import { get } from "../kept/state.js";
import { tidy } from "../wire/units.js";
import {
  ARROWS,
  ends,
  groupDistance,
  hasEnds,
  measured,
  nameOf,
  offUnit,
  OWN,
  proven,
  sent,
  sessionBody,
} from "../wire/verified.js";
import { advice, butts, nextWords } from "./verify/advice.js";
import { cardList, reached } from "./verify/cards.js";
import { changeCurve, correctedTable } from "./verify/corrected.js";
import { steadily } from "./verify/steady.js";
import { middleOf, places } from "./verify/target.js";
import { answer, plainNotes, withoutWindage } from "./verify/words.js";

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

/** What the last end that moves a sight asks for. */
function newest(reply, names) {
  const seen = newestEnd(reply);
  return answer(seen, names[reply.observations.indexOf(seen)], reply);
}

function newestEnd({ observations }) {
  return observations.findLast((one) => one.kind !== "speed");
}

function spoken(reply, order, names, cards) {
  const aside = withoutWindage(newestEnd(reply), reply.units);
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
    aside && el("p", { class: "help" }, aside),
  ];
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
