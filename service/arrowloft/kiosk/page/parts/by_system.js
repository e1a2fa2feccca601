// What depends on the system of units: values to begin with, and fields that show them.

import { el, fill } from "./dom.js";
import { watch } from "./fields.js";
import { get } from "../kept/state.js";

/** What was entered at a path; in its absence the usual value of the system of units. */
export function entered(path, usual) {
  return get(path) ?? usual[get("system")];
}

/** Fields that are made anew when one of the paths changes, or the system of units. */
export function remade(make, paths = []) {
  const element = el("div", { class: "remade" });
  const draw = () => fill(element, make(get("system")));
  watch(element, ["system", ...paths], draw);
  draw();
  return element;
}
