// A card for one end: where it was shot, where the sight stood, where the arrows landed.

import { button, el, fill } from "../../parts/dom.js";
import { choice, number, quantity, text, watch } from "../../parts/fields.js";
import { get } from "../../kept/state.js";
import {
  ARROWS,
  measured,
  metres,
  nameOf,
  OWN,
  proven,
  tells,
  touchedOf,
} from "../../wire/verified.js";
import { stood } from "./stood.js";
import { target, WIDTHS } from "./target.js";
import { asks, judged } from "./words.js";

const HOWS = [
  ["touched", "Where I touch the target"],
  ["measured", "With their middle at these lengths"],
  ["proven", "In the middle: the mark is proven"],
];
/**
 * The card of the end at a position.
 * open: whether it stands open.  remove: called to take it away.
 * marks, corrected: see stood.js.
 * Returns {element, tell}: tell({seen, units}) shows what was found of it.
 */
export function endCard({ index, open, remove, ...asked }) {
  const own = { path: `${OWN}/ends/${index}`, pointer: `/observations/${index}`, index, ...asked };
  const end = () => get(own.path) ?? {};
  const name = el("strong", { class: "name" });
  const where = el("span", { class: "where" });
  const wanted = el("span", { class: "asked" });
  const found = el("div", { class: "judged" });
  const inside = end().kind === "speed" ? speed(own) : arrows(own);
  const element = el(
    "details",
    { class: "end", open },
    el("summary", {}, name, where, wanted),
    el("div", { class: "fields" }, found, inside.fields, renamed(own, remove)),
  );
  const head = () => {
    name.textContent = nameOf(end(), index);
    where.textContent = [end().distance, counted(end())].filter(Boolean).join(", ");
    inside.redraw?.();
  };
  head();
  watch(element, [own.path], head);
  return {
    element,
    tell({ seen, units }) {
      wanted.textContent = seen ? asks(seen, units) : tells(end()) ? "" : "to be filled in";
      fill(
        found,
        seen &&
          judged(seen, units, end()).map((words) =>
            el("p", { class: seen.status === "used" ? null : "note" }, words),
          ),
      );
      found.hidden = !found.childElementCount;
      inside.tell?.(seen);
    },
  };
}

function counted(end) {
  if (end.kind === "speed") return end.speed;
  if (proven(end)) return "";
  const many = measured(end)
    ? end.up
      ? (end.arrows ?? ARROWS.measured)
      : 0
    : touchedOf(end).length;
  return many ? `${many} ${many === 1 ? "arrow" : "arrows"}` : "";
}

function renamed({ path, index }, remove) {
  const end = get(path) ?? {};
  return el(
    "div",
    { class: "renamed across" },
    text({
      label: "Name",
      path: `${path}/name`,
      optional: true,
      longest: 60,
      usual: nameOf({ kind: end.kind }, index),
    }),
    button("Remove this end", remove),
  );
}

function speed({ path, pointer }) {
  const fields = [
    quantity({
      label: "Chronograph stood at",
      help: "From where you shoot to the chronograph.",
      path: `${path}/distance`,
      pointer: `${pointer}/distance`,
      kind: "distance",
    }),
    quantity({
      label: "Speed",
      help: "The reading, or the mean of several.",
      path: `${path}/speed`,
      pointer: `${pointer}/speed/value`,
      kind: "arrowSpeed",
    }),
    quantity({
      label: "Sure to",
      help: "Its standard uncertainty. Empty: about 1 ft/s, with 0.2 % from shot to shot.",
      path: `${path}/uncertainty`,
      pointer: `${pointer}/speed/uncertainty`,
      kind: "arrowSpeed",
      optional: true,
    }),
  ];
  return { fields };
}

function arrows(own) {
  const { path, pointer } = own;
  const sight = stood(own);
  const landed = el("div", { class: "slot across" });
  const end = () => get(path) ?? {};
  let drawn = null;
  let aim = null;
  const redraw = () => {
    sight.draw();
    const how = end().how ?? "";
    if (how === drawn) return;
    drawn = how;
    aim = proven(end()) || measured(end()) ? null : touched(own);
    fill(landed, aim?.element ?? (proven(end()) ? provenBy(own) : lengths(own)));
  };
  const fields = [
    quantity({
      label: "Distance",
      path: `${path}/distance`,
      pointer: `${pointer}/distance`,
      kind: "distance",
    }),
    sight.fields,
    choice({
      label: "The arrows landed",
      path: `${path}/how`,
      pointer: `${pointer}/impacts`,
      choices: HOWS,
      usual: "touched",
    }),
    landed,
  ];
  return {
    fields,
    redraw,
    tell(seen) {
      sight.draw();
      aim?.mark(seen?.flyers);
    },
  };
}

function touched({ path, index }) {
  const width = () => 10 * faceOf(get(path) ?? {});
  const made = target({ own: path, width, name: nameOf(get(path) ?? {}, index) });
  const inches = (cm) =>
    get("system") === "metric" ? `${cm} cm` : `${cm} cm (${Math.round(cm / 2.54)} in)`;
  const face = choice({
    label: "Width of the rings drawn",
    help: "Take a smaller one for a closer look: arrows keep their places.",
    path: `${path}/face`,
    choices: WIDTHS.map((cm) => [String(cm), inches(cm)]),
    usual: String(faceOf(get(path) ?? {})),
  });
  watch(made.element, [`${path}/face`, `${path}/distance`], made.draw);
  made.beside.append(face);
  return made;
}

/** Width of an end's face, cm: chosen, or the one that is usual at its distance. */
function faceOf({ face, distance }) {
  if (WIDTHS.includes(Number(face))) return Number(face);
  const far = metres(distance);
  return far <= 20 ? 40 : far <= 30 ? 60 : far <= 50 ? 80 : 122;
}

function lengths({ path, pointer }) {
  const field = (name, label, help, optional) =>
    quantity({
      label,
      help,
      path: `${path}/${name}`,
      pointer: `${pointer}/${name}`,
      kind: "off",
      optional,
    });
  return el(
    "div",
    { class: "fields" },
    field(
      "up",
      "Middle of the arrows: up",
      "Above the point you aimed at. Negative: below.",
      false,
    ),
    field("right", "Middle of the arrows: right", "Negative: left. Empty: not noted.", true),
    number({
      label: "Arrows",
      path: `${path}/arrows`,
      pointer: `${pointer}/arrows`,
      usual: String(ARROWS.measured),
    }),
    field(
      "diameter",
      "Across the group",
      "Between the two arrows farthest apart, centre to centre.",
      true,
    ),
  );
}

function provenBy({ path, pointer }) {
  return number({
    label: "Arrows that prove it",
    path: `${path}/arrows`,
    pointer: `${pointer}/arrows`,
    usual: String(ARROWS.proven),
  });
}
