// The range of distances that several steps ask for.

import { remade } from "./by_system.js";
import { el } from "./dom.js";
import { group, quantity } from "./fields.js";
import { range } from "../wire/request.js";
import { get } from "../kept/state.js";

/** Ranges of distances to begin with, by system of units. */
export const USUAL = {
  metric: { from: "20 m", to: "70 m", step: "5 m" },
  imperial: { from: "20 yd", to: "80 yd", step: "5 yd" },
};

/** The range kept at a path, as the service takes it. usual: by system, where a step has its own. */
export function distancesAt(path, usual = USUAL) {
  return range(path, usual[get("system")]);
}

/** Fields for the range at a path. */
export function distanceFields(path, { title = "Distances", usual = USUAL } = {}) {
  return remade((system) => {
    const end = (name, label) =>
      quantity({
        label,
        path: `${path}/${name}`,
        pointer: `/distances/${name}`,
        kind: "distance",
        usual: usual[system][name],
      });
    return group(
      title,
      el(
        "div",
        { class: "fields three" },
        end("from", "From"),
        end("to", "To"),
        end("step", "Every"),
      ),
    );
  });
}
