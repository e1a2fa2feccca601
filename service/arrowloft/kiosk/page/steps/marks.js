// Step 2: the marks.

import { chart } from "../chart.js";
import { pictures } from "../downloads.js";
import { el, fill, table } from "../dom.js";
import { group, quantity, watch } from "../fields.js";
import { markWords, travelWords } from "../marks.js";
import { notes } from "../notes.js";
import { showProblem } from "../problems.js";
import { range, request } from "../request.js";
import { Question } from "../service.js";
import { get } from "../state.js";
import { fixed } from "../units.js";

const USUAL = {
  metric: { from: "20 m", to: "70 m", step: "5 m" },
  imperial: { from: "20 yd", to: "80 yd", step: "5 yd" },
};

export default {
  id: "marks",
  title: "Marks",
  heading: "Marks for every distance",
  lead: "Predicted from the set-up, and how far each may be off. Prove them by shooting, from near to far, with a safe backstop.",
  show,
};

function show(host) {
  const summary = el("div", { class: "summary", role: "alert", hidden: true });
  const drawn = chart();
  const rows = el("div", { "aria-live": "off" });
  const said = el("div");
  fill(host, summary, fields(), drawn.element, rows, pictures("mark-table", body), said);
  const question = new Question("mark-table", {
    answered: (reply) => {
      showProblem(host, summary, null);
      drawn.draw(curve(reply));
      fill(rows, tableOf(reply));
      fill(said, notes(reply.notes));
    },
    refused: (problem) => showProblem(host, summary, problem),
  });
  const ask = () => question.ask(body());
  watch(host, ["setup", "ask/marks", "system"], ask);
  ask();
  return () => question.stop();
}

function body() {
  return request({ distances: range("ask/marks/distances", USUAL[get("system")]) });
}

function fields() {
  const usual = USUAL[get("system")];
  const end = (name, label) => quantity({ label, path: `ask/marks/distances/${name}`, pointer: `/distances/${name}`, kind: "distance", usual: usual[name] });
  return group("Distances", el("div", { class: "fields three" }, end("from", "From"), end("to", "To"), end("step", "Every")));
}

function curve({ rows, units }) {
  const points = rows.map((row) => [row.distance, row.travel]);
  const band = rows.map((row) => [row.distance, row.travel - row.travel_uncertainty, row.travel + row.travel_uncertainty]);
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
  const heads = [`Distance, ${units.distance}`, "Mark", `Travel, ${units.length}`, `± at the target, ${units.length}`, "Time, s", `Speed, ${units.speed}`];
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
