// The arrows of an end one by one, each with a button that removes it: arrows that lie close
// together are too near each other for a finger.

import { button, el, fill } from "../../parts/dom.js";
import { offUnit } from "../../wire/verified.js";
import { placeWords } from "./words.js";

const MM = { cm: 10, in: 25.4 };

/**
 * The list, folded away.
 * remove: called with the position of an arrow.  emptied: called where none is left to go to.
 * Returns {element, draw}: draw(arrows) takes places in mm.
 */
export function arrowList({ remove, emptied }) {
  const rows = el("ol", { class: "arrows" });
  const element = el("details", { class: "folded" }, el("summary", {}, "Remove one arrow"), rows);
  const buttons = () => [...rows.querySelectorAll("button")];
  let drawn = "";
  const removed = (index) => {
    remove(index);
    const left = buttons();
    const next = left[Math.min(index, left.length - 1)];
    if (next) next.focus();
    else emptied();
  };
  return {
    element,
    draw(arrows) {
      element.hidden = arrows.length === 0;
      const words = arrows.map(wordsOf);
      // Drawn anew under a finger or the focus, a button would be lost to it.
      if (words.join() === drawn) return;
      drawn = words.join();
      fill(
        rows,
        words.map((where, index) =>
          el(
            "li",
            {},
            el("span", {}, `${index + 1}: ${where}`),
            button("Remove", () => removed(index), { "aria-label": `Remove arrow ${index + 1}` }),
          ),
        ),
      );
    },
  };
}

function wordsOf({ up, right }) {
  const unit = offUnit();
  return placeWords(up / MM[unit], right / MM[unit], unit);
}
