// What a reply says of its assumptions.

import { el } from "./dom.js";

/** What stands in the open on every step: what may do harm, and what nobody would expect. */
const ALWAYS = [
  "light-arrow",
  "mark-far-from-prediction",
  "no-level-equivalent",
  "weathervane",
  "zero-mark-moved",
];

/** Notes of a reply; folded away but for those named. open: more codes that stand in the open. */
export function notes(all, open = []) {
  const opened = ({ code }) => open.includes(code) || ALWAYS.includes(code);
  const seen = all.filter(opened);
  const rest = all.filter((note) => !opened(note));
  return el(
    "div",
    { class: "notes" },
    seen.map((note) => el("p", { class: "note" }, note.message)),
    rest.length > 0 &&
      el(
        "details",
        { class: "folded" },
        el("summary", {}, `What this rests on (${rest.length})`),
        el(
          "ul",
          {},
          rest.map((note) => el("li", {}, note.message)),
        ),
      ),
  );
}
