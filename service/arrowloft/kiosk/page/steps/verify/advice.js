// What to shoot next, and when it is enough.

import { button, el, table } from "../../parts/dom.js";
import { fixed } from "../../wire/units.js";
import { ends, metres, nameOf, rowAt, tells } from "../../wire/verified.js";
import { correctedMark } from "./stood.js";
import { far, fromZero } from "./words.js";

const SURE = "95 %";
/** How many ends after the next one are told. */
const FORESEEN = 2;
/** How much more doubt than the advised end an end that stands prepared may leave. */
const NEARLY = 1.05;

/** The sentence that says what to shoot next. */
export function nextWords({ next, units }) {
  if (next.done) return `Enough: every mark is within its tolerance with ${SURE}.`;
  if (next.distance === null)
    return "No butt can be advised yet: start from a few steps away, with a large, safe backstop.";
  const { distance, waiting } = chosen(next, units);
  const which = waiting >= 0 ? `, as ${nameOf(ends()[waiting], waiting)}` : "";
  return `Shoot next: ${arrows(next.arrows)} at ${far(distance, units)}${which}.`;
}

/**
 * The butt to shoot at next, and the position of the end that stands prepared there, or -1.
 * An end that is prepared already and teaches nearly as much comes before a new one.
 */
function chosen({ distance, choices }, units) {
  const prepared = (butt) =>
    ends().findIndex(
      (end) =>
        end.kind !== "speed" &&
        !tells(end) &&
        Math.abs(metres(end.distance) - metres(`${butt} ${units.distance}`)) < 1e-3,
    );
  const advised = choices.find((one) => Math.abs(one.distance - distance) < 1e-6);
  const nearly = choices
    .filter((one) => one.safe && one.doubt !== null && one.doubt <= NEARLY * advised?.doubt)
    .sort((one, other) => one.doubt - other.doubt)
    .map((one) => one.distance);
  const found = [distance, ...nearly].find((one) => prepared(one) >= 0) ?? distance;
  return { distance: found, waiting: prepared(found) };
}

/**
 * That sentence with the mark to set, what comes after, and a button that begins the end.
 * cards: add(end) and open(index).
 */
export function advice(reply, order, cards) {
  const { next, units } = reply;
  const { distance, waiting } = next.distance === null ? {} : chosen(next, units);
  const row = distance !== undefined && rowAt(reply, `${distance} ${units.distance}`);
  return el(
    "div",
    { class: "advice" },
    el("p", { class: "next" }, nextWords(reply)),
    row &&
      el("p", {}, `Set the sight to ${correctedMark(row, reply, order).words}${fromZero(row)}.`),
    !next.done && next.plan.length > 1 && el("p", {}, after(next, units)),
    unsafe(next, units),
    distance !== undefined && begun({ distance, waiting }, units, cards),
  );
}

function begun({ distance, waiting }, units, cards) {
  const at = far(distance, units);
  if (waiting >= 0)
    return button(
      `Fill in ${nameOf(ends()[waiting], waiting)} at ${at}`,
      () => cards.open(waiting),
      { kind: "main" },
    );
  const end = { kind: "arrows", distance: `${distance} ${units.distance}` };
  return button(`Add this end at ${at}`, () => cards.add(end), { kind: "main" });
}

/** The first of the ends that come after the next one. */
function after({ plan, plan_arrows: all }, units) {
  const some = plan
    .slice(1, 1 + FORESEEN)
    .map((end) => `${arrows(end.arrows)} at ${far(end.distance, units)}`);
  const more = plan.length > 1 + FORESEEN ? `, and more, ${arrows(all)} in all` : "";
  return `After that, as far as can be foreseen: ${some.join(", ")}${more}.`;
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
