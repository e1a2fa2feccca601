// What to shoot next, and when it is enough.

import { button, el, table } from "../../parts/dom.js";
import { countedAside, markWords } from "../../words/marks.js";
import { fixed } from "../../wire/units.js";
import { ends, markFor, metres, nameOf, tells } from "../../wire/verified.js";
import { asideWords, far } from "./words.js";

const SURE = "95 %";
/** How many ends after the next one are told. */
const FORESEEN = 2;

/** The sentence that says what to shoot next. */
export function nextWords({ next, units }) {
  if (next.done) return `Enough: every mark is within its tolerance with ${SURE}.`;
  if (next.distance === null)
    return "No butt can be advised yet: start from a few steps away, with a large, safe backstop.";
  return `Shoot next: ${arrows(next.arrows)} at ${far(next.distance, units)}.`;
}

/**
 * That sentence with the mark to set, what comes after, and a button that begins the end.
 * cards: add(end) and open(index).
 */
export function advice(reply, order, cards) {
  const { next, rows, units } = reply;
  const row =
    next.distance === null
      ? null
      : rows.find((one) => Math.abs(one.distance - next.distance) < 1e-6);
  const begin = {
    kind: "arrows",
    distance: `${next.distance} ${units.distance}`,
    ...(row ? markFor(row, reply, order) : {}),
  };
  return el(
    "div",
    { class: "advice" },
    el("p", { class: "next" }, nextWords(reply)),
    row &&
      el(
        "p",
        {},
        `Set the sight to ${settingWords(row, begin, units)}, counted from the proven mark as it was before.`,
      ),
    !next.done && next.plan.length > 1 && el("p", {}, after(next, units)),
    unsafe(next, units),
    next.distance !== null && begun(begin, far(next.distance, units), cards),
  );
}

function begun(begin, at, cards) {
  const waiting = ends().findIndex(
    (end) =>
      end.kind !== "speed" &&
      !tells(end) &&
      Math.abs(metres(end.distance) - metres(begin.distance)) < 1e-3,
  );
  if (waiting >= 0)
    return button(
      `Fill in ${nameOf(ends()[waiting], waiting)} at ${at}`,
      () => cards.open(waiting),
      { kind: "main" },
    );
  return button(`Add this end at ${at}`, () => cards.add(begin), { kind: "main" });
}

/** The first of the ends that come after the next one. */
function after({ plan, plan_arrows: all }, units) {
  const some = plan
    .slice(1, 1 + FORESEEN)
    .map((end) => `${arrows(end.arrows)} at ${far(end.distance, units)}`);
  const more = plan.length > 1 + FORESEEN ? `, and more, ${arrows(all)} in all` : "";
  return `After that, as far as can be foreseen: ${some.join(", ")}${more}.`;
}

function settingWords(row, begin, units) {
  const { windage_clicks: clicks, windage_travel: travel } = begin;
  const aside = clicks
    ? countedAside(clicks)
    : travel
      ? asideWords(Number.parseFloat(travel), units)
      : "";
  return [markWords(row, units), aside].filter(Boolean).join(", and ");
}

function unsafe({ choices }, units) {
  const unsure = choices.filter((one) => !one.safe).map((one) => one.distance);
  if (!unsure.length) return null;
  return el(
    "p",
    { class: "note" },
    `Not yet at ${unsure.length === 1 ? "" : "or beyond "}${far(Math.min(...unsure), units)}: the mark is not known well enough there to be sure of the butt.`,
  );
}

function arrows(many) {
  return `${many} ${many === 1 ? "arrow" : "arrows"}`;
}

/** All butts that were looked at, as a table. */
export function butts({ next, units }) {
  return table(
    "Where you could shoot next",
    [`Distance, ${units.distance}`, "Doubt left after a full end", "Sure of the butt"],
    next.choices.map((one) => [
      far(one.distance, units),
      fixed(one.doubt, 2),
      one.safe ? "yes" : "not yet",
    ]),
  );
}
