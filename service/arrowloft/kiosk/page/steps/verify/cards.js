// The cards of the ends, and how ends are added and removed.

import { button, el, fill } from "../../parts/dom.js";
import { watch } from "../../parts/fields.js";
import { get, set } from "../../kept/state.js";
import { computed, line, Lost, Problem } from "../../wire/service.js";
import {
  calibrationBody,
  ends,
  groupDistance,
  metres,
  nameOf,
  OWN,
  rowAt,
  sent,
} from "../../wire/verified.js";
import { endCard } from "./card.js";
import { correctedMark, predictedMark, takeAt } from "./stood.js";

const ENDS = `${OWN}/ends`;

/** Distances at which arrows were shot, each once, as far as they are distances. */
export function reached() {
  const all = ends()
    .filter((end) => end.kind !== "speed")
    .map((end) => end.distance);
  return [...new Set(all)].filter((distance) => metres(distance) >= 1 && metres(distance) <= 1000);
}

/** The cards, and how ends are added and removed. */
export function cardList() {
  const list = el("div", { class: "ends" });
  const intro = el("div");
  const gone = el("div", { class: "gone", role: "status" });
  const again = el("div", { class: "buttons" });
  const element = el("section", { "aria-label": "Ends" }, intro, list, gone, again);
  let cards = [];
  let rows = new Map();
  let last = { reply: null, order: [] };

  const add = (...more) => {
    const first = ends().length;
    set(ENDS, [...ends(), ...more]);
    fill(gone);
    draw(first);
    open(first);
  };
  const open = (index) => {
    const { element: card } = cards[index];
    card.open = true;
    card.querySelector("summary").focus({ preventScroll: true });
    card.scrollIntoView({ block: "start" });
  };
  const remove = (index) => {
    const before = ends();
    set(
      ENDS,
      before.filter((_, other) => other !== index),
    );
    draw(-1);
    const back = button("Bring it back", () => {
      set(ENDS, before);
      fill(gone);
      draw(index);
      cards[index].element.querySelector("summary").focus();
    });
    fill(gone, el("p", {}, `${nameOf(before[index], index)} is removed.`), back);
    back.focus();
  };

  function draw(opened) {
    cards = ends().map((_, index) =>
      endCard({
        index,
        open: index === opened,
        remove: () => remove(index),
        marks: () => marksFor(index),
        corrected: () => takeCorrected(index),
      }),
    );
    fill(
      list,
      cards.map((card) => card.element),
    );
    fill(intro, cards.length === 0 && introduced(add));
    fill(
      again,
      cards.length > 0 && [
        button("Add an end", () => add(fresh())),
        button("Add a speed", () => add(freshSpeed())),
      ],
    );
    tell(null, []);
  }

  function tell(reply, order) {
    last = { reply, order };
    cards.forEach((card, index) =>
      card.tell({ seen: reply?.observations[order.indexOf(index)], units: reply?.units }),
    );
  }

  /** Marks that the page tells for an end that nothing is entered of yet: {corrected, predicted}. */
  function marksFor(index) {
    const { distance } = ends()[index] ?? {};
    const { reply, order } = last;
    const first = rows.get(distance);
    const known = order.length > 0 && !order.includes(index) && rowAt(reply, distance);
    return {
      corrected: known ? correctedMark(known, reply, order) : undefined,
      predicted: first && predictedMark(first.row, first.units),
    };
  }

  draw(ends().length - 1);
  // A file or a link, or an end added elsewhere: other ends than those drawn.
  watch(element, [ENDS], () => ends().length !== cards.length && draw(-1));
  watch(element, ["setup/sight"], () => draw(-1));
  return {
    element,
    add,
    open,
    tell,
    predicted(reply) {
      const distances = reached();
      rows = new Map(
        reply ? reply.rows.map((row, at) => [distances[at], { row, units: reply.units }]) : [],
      );
      tell(last.reply, last.order);
    },
  };
}

/**
 * Ask for the mark that the ends before one ask for, and take the sight to have stood there; what
 * to say of it.
 */
async function takeCorrected(index) {
  const { distance } = ends()[index];
  const asked = () => calibrationBody([distance], { before: index });
  const body = asked();
  try {
    const reply = await (await computed("calibration", body)).json();
    if (ends()[index]?.distance !== distance) return "";
    // Meanwhile something else was entered that it depends on.
    if (JSON.stringify(asked()) !== JSON.stringify(body)) return takeCorrected(index);
    takeAt(index, "corrected", correctedMark(reply.rows[0], reply, sent(index)));
    return "";
  } catch (error) {
    if (error instanceof Problem)
      return error.errors.map((one) => one.detail).join(" ") || error.message;
    if (!(error instanceof Lost)) throw error;
    line.say(true, () => takeCorrected(index));
    return "";
  }
}

function fresh(distance = ends().at(-1)?.distance ?? groupDistance()) {
  return { kind: "arrows", distance };
}

function freshSpeed() {
  return { kind: "speed", distance: get("system") === "metric" ? "2 m" : "2 yd" };
}

function introduced(add) {
  const [near, long] = [groupDistance(), get("system") === "metric" ? "60 m" : "60 yd"];
  return el(
    "div",
    { class: "introduced" },
    el("h2", {}, "Two distances prove most"),
    el("ol", {}, [
      el(
        "li",
        {},
        `Shoot an end at ${near}, with the predicted mark. It shows whether the pin stands where the sight says.`,
      ),
      el(
        "li",
        {},
        `Then shoot an end far out, such as at ${long}, once the near one has shown that you will hit the butt. It shows how fast the arrow is and how it slows.`,
      ),
      el(
        "li",
        {},
        "Say where the arrows landed. All marks between follow, each with how sure it is.",
      ),
    ]),
    el(
      "div",
      { class: "buttons" },
      button(`Begin with ${near} and ${long}`, () => add(fresh(near), fresh(long)), {
        kind: "main",
      }),
      button("Begin with one end", () => add(fresh(near))),
      button("I have a speed from a chronograph", () => add(freshSpeed())),
    ),
  );
}
