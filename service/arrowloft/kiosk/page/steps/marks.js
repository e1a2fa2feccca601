// Step 2: the marks.

import { chart } from "../parts/chart.js";
import { distanceFields, distancesAt } from "../parts/distances.js";
import { pictures } from "../parts/downloads.js";
import { button, el, fill, table } from "../parts/dom.js";
import { watch } from "../parts/fields.js";
import { markWords, travelWords } from "../words/marks.js";
import { notes } from "../parts/notes.js";
import { showProblem } from "../wire/problems.js";
import { request } from "../wire/request.js";
import { Freshness } from "../wire/freshness.js";
import { Question } from "../wire/service.js";
import { get, set } from "../kept/state.js";
import { fixed } from "../wire/units.js";
import { calibrationBody, ends, hasEnds, nameOf, OWN, sent } from "../wire/verified.js";
import { correctedTable, marksCurve } from "./verify/corrected.js";
import { plainNotes } from "./verify/words.js";

const DISTANCES = "ask/marks/distances";

export default {
  id: "marks",
  title: "Marks",
  heading: "Marks for every distance",
  lead: "Predicted from the set-up, and how far each may be off. Prove them by shooting, from near to far, with a safe backstop.",
  show,
};

function show(host) {
  const summary = el("div", { class: "summary", role: "alert", hidden: true });
  const which = el("div", { class: "which" });
  const drawn = chart();
  const rows = el("div", { "aria-live": "off" });
  const kept = el("div");
  const said = el("div");
  const results = el("div", {}, drawn.element, rows, kept, said);
  fill(host, summary, distanceFields(DISTANCES), which, results);
  const freshness = new Freshness(results);
  const shown = (curveOf, tableFrom, notesOf) => (reply) => {
    showProblem(host, summary, null);
    drawn.draw(curveOf(reply));
    fill(rows, tableFrom(reply));
    fill(said, notesOf(reply));
  };
  const refused = (problem) => {
    showProblem(host, summary, problem);
    if (problem.errors.some((one) => one.pointer?.startsWith("/observations")))
      summary.append(button("Go to what was shot", () => (location.hash = "#/verify")));
  };
  const predicted = new Question("mark-table", {
    host: freshness,
    answered: shown(curve, tableOf, (reply) => notes(reply.notes)),
    refused,
  });
  const corrected = new Question("calibration", {
    host: freshness,
    answered: shown(marksCurve, correctedTable, (reply) =>
      notes(plainNotes(reply.notes, shotNames()), ["prove-corrected-marks"]),
    ),
    refused,
  });
  let mode = null;
  const ask = () => {
    const learned = showsCorrected();
    const [one, other] = learned ? [corrected, predicted] : [predicted, corrected];
    other.stop();
    const now = `${learned} ${sent().length}`;
    if (mode !== now) {
      fill(which, chosen(learned));
      fill(kept, learned ? pictures("calibration", correctedBody) : pictures("mark-table", body));
    }
    mode = now;
    one.ask(learned ? correctedBody() : body());
  };
  watch(host, ["setup", "ask/marks", OWN, "system"], ask);
  ask();
  return () => {
    predicted.stop();
    corrected.stop();
  };
}

function body() {
  return request({ distances: distancesAt(DISTANCES) });
}

function correctedBody() {
  return calibrationBody(distancesAt(DISTANCES));
}

/** Whether there are corrected marks to show, and the person has not turned to the predicted ones. */
function showsCorrected() {
  return hasEnds() && get("ask/marks/shown") !== "predicted";
}

function shotNames() {
  return sent().map((index) => nameOf(ends()[index], index));
}

/** Which marks are shown, and the way to the others. */
function chosen(learned) {
  if (!hasEnds()) return null;
  const many = sent().length;
  const words = learned
    ? `Corrected marks, after ${many} ${many === 1 ? "end" : "ends"}.`
    : "Marks as predicted from the set-up, before anything was shot.";
  const turn = () => {
    set("ask/marks/shown", learned ? "predicted" : undefined);
    // The button was drawn anew: whoever pressed it by key stays there.
    queueMicrotask(() => document.querySelector(".which .button")?.focus());
  };
  return [
    el("p", { class: "big", role: "status" }, words),
    button(learned ? "See the predicted marks" : "See the corrected marks", turn),
  ];
}

function curve({ rows, units }) {
  const points = rows.map((row) => [row.distance, row.travel]);
  const band = rows.map((row) => [
    row.distance,
    row.travel - row.travel_uncertainty,
    row.travel + row.travel_uncertainty,
  ]);
  const last = rows.at(-1);
  return {
    title: "Marks over distance",
    description: `The pin moves ${travelWords(last.travel, units)} to ${fixed(last.distance, 0)} ${units.distance}. The band is the standard uncertainty.`,
    x: { label: "Distance", unit: units.distance },
    y: { label: "Pin down", unit: units.length, downward: true },
    curves: [{ name: "", points, band }],
  };
}

function tableOf({ rows, units }) {
  const heads = [
    `Distance, ${units.distance}`,
    "Mark",
    `Travel, ${units.length}`,
    `± at the target, ${units.length}`,
    "Time, s",
    `Speed, ${units.speed}`,
  ];
  const decimals = units.length === "in" ? 3 : 2;
  return table(
    "Marks",
    heads,
    rows.map((row) => [
      fixed(row.distance, Number.isInteger(row.distance) ? 0 : 1),
      el("strong", {}, markWords(row, units)),
      fixed(row.travel, decimals),
      fixed(row.height_uncertainty, units.length === "in" ? 1 : 0),
      fixed(row.time, 3),
      fixed(row.speed, 1),
    ]),
  );
}
