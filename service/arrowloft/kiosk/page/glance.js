// Marks at a glance: a few distances, live, beside the step that is worked on.

import { el, fill } from "./dom.js";
import { watch } from "./fields.js";
import { request } from "./request.js";
import { Question } from "./service.js";
import { get } from "./state.js";
import { fixed } from "./units.js";
import { markWords } from "./marks.js";

const DISTANCES = { metric: ["20 m", "30 m", "40 m", "50 m", "60 m", "70 m"], imperial: ["20 yd", "30 yd", "40 yd", "50 yd", "60 yd", "70 yd"] };

/** Fill an element with the marks of the set-up, and keep them up to date. */
export function glance(host) {
  const rows = el("tbody");
  const said = el("p", { class: "help" });
  const unit = el("th", { scope: "col" });
  // Where there is no room beside the step: the same in one line that stays in sight.
  const strip = el("ul", { class: "strip", "aria-hidden": "true" });
  fill(
    host,
    el("h2", {}, "Marks at a glance"),
    el("table", {}, el("thead", {}, el("tr", {}, unit, el("th", { scope: "col" }, "Mark"), el("th", { scope: "col" }, "± at the target"))), rows),
    said,
    strip,
  );
  const question = new Question("mark-table", {
    answered: (reply) => {
      host.classList.remove("stale");
      said.textContent = `Counted from ${fixed(reply.zero_distance, 0)} ${reply.units.distance}. Predicted: prove marks by shooting.`;
      fill(strip, reply.rows.map((row) => el("li", {}, el("span", {}, `${fixed(row.distance, 0)} ${reply.units.distance}`), el("strong", {}, markWords(row, reply.units)))));
      fill(rows, reply.rows.map((row) => el("tr", {}, el("th", { scope: "row" }, fixed(row.distance, 0)), el("td", {}, markWords(row, reply.units)), el("td", {}, `${fixed(row.height_uncertainty, reply.units.length === "in" ? 1 : 0)} ${reply.units.length}`))));
    },
    refused: () => {
      host.classList.add("stale");
      said.textContent = "The set-up needs a correction; these are the marks from before it.";
    },
  });
  const ask = () => {
    unit.textContent = `Distance, ${get("system") === "metric" ? "m" : "yd"}`;
    question.ask(request({ distances: DISTANCES[get("system")] }));
  };
  watch(host, ["setup", "system"], ask);
  ask();
}
