// What a reply says of its assumptions.

import { el } from "./dom.js";

/** Notes of a reply; folded away but for those named. open: codes of notes that stand in the open. */
export function notes(all, open = []) {
  const seen = all.filter((note) => open.includes(note.code));
  const rest = all.filter((note) => !open.includes(note.code));
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
