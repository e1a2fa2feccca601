// Marks at a glance: a few distances, live, beside the step that is worked on.

import { el, fill } from "../parts/dom.js";
import { watch } from "../parts/fields.js";
import { request } from "../wire/request.js";
import { Question } from "../wire/service.js";
import { get } from "../kept/state.js";
import { fixed } from "../wire/units.js";
import { calibrationBody, hasEnds, OWN, sent } from "../wire/verified.js";
import { markWords } from "../words/marks.js";

const DISTANCES = {
  metric: ["20 m", "30 m", "40 m", "50 m", "60 m", "70 m"],
  imperial: ["20 yd", "30 yd", "40 yd", "50 yd", "60 yd", "70 yd"],
};

const PREDICTED = "Predicted: prove marks by shooting.";

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
    el(
      "table",
      {},
      el(
        "thead",
        {},
        el(
          "tr",
          {},
          unit,
          el("th", { scope: "col" }, "Mark"),
          el("th", { scope: "col" }, "± at the target"),
        ),
      ),
      rows,
    ),
    said,
    strip,
  );
  const shown = (words) => (reply) => {
    const { distance, length } = reply.units;
    host.classList.remove("stale");
    const zero = `Counted from ${fixed(reply.zero_distance, 0)} ${distance}.`;
    said.textContent = `${zero} ${words()}`;
    fill(
      strip,
      reply.rows.map((row) => chip(row, reply.units)),
    );
    fill(
      rows,
      reply.rows.map((row) =>
        el(
          "tr",
          {},
          el("th", { scope: "row" }, fixed(row.distance, 0)),
          el("td", {}, markWords(row, reply.units)),
          el("td", {}, `${fixed(row.height_uncertainty, length === "in" ? 1 : 0)} ${length}`),
        ),
      ),
    );
  };
  const refused = () => {
    host.classList.add("stale");
    said.textContent = "Something entered needs a correction; these are the marks from before it.";
  };
  const predicted = new Question("mark-table", { answered: shown(() => PREDICTED), refused });
  const corrected = new Question("calibration", { answered: shown(correctedWords), refused });
  const ask = () => {
    const distances = DISTANCES[get("system")];
    unit.textContent = `Distance, ${get("system") === "metric" ? "m" : "yd"}`;
    const [one, other] = hasEnds() ? [corrected, predicted] : [predicted, corrected];
    other.stop();
    one.ask(hasEnds() ? calibrationBody(distances) : request({ distances }));
  };
  watch(host, ["setup", "system", OWN], ask);
  ask();
}

function chip(row, units) {
  const distance = `${fixed(row.distance, 0)} ${units.distance}`;
  return el("li", {}, el("span", {}, distance), el("strong", {}, markWords(row, units)));
}

function correctedWords() {
  const many = sent().length;
  return `Corrected by ${many} ${many === 1 ? "end" : "ends"}: prove them from near to far.`;
}
