// Fields of what stands in the way, and of the target, the ground and the archer's group.

import { button, el, fill } from "../../parts/dom.js";
import { choice, folded, group, number, quantity, text, watch } from "../../parts/fields.js";
import { add, entries, measureFrom, nameOf, remove, THINGS, USUAL } from "./entries.js";
import { get } from "../../kept/state.js";

const AT = "ask/path";

/** Heights and sides of what stands in the way. */
const EDGE = {
  dimension: "length",
  metric: "cm",
  imperial: "in",
  units: { cm: 1, mm: 10, m: 0.05, in: 0.5, ft: 0.1 },
};

/** Target and slope. */
export function targetFields() {
  const usual = USUAL[get("system")];
  return group(
    "Target",
    quantity({
      label: "Distance to the target",
      path: `${AT}/target`,
      pointer: "/target",
      kind: "distance",
      usual: usual.target,
    }),
    quantity({
      label: "Slope to the target",
      help: "Uphill positive, downhill negative.",
      path: `${AT}/slope`,
      pointer: "/slope",
      kind: { ...SLOPE },
      usual: usual.slope,
    }),
  );
}

const SLOPE = { dimension: "angle", metric: "deg", imperial: "deg", units: { deg: 1 } };

/** The ground, the vanes and the group: what few need to change. */
export function moreFields() {
  const usual = USUAL[get("system")];
  const ground = (name, label, help, given) =>
    quantity({
      label,
      help,
      path: `${AT}/ground/${name}`,
      pointer: `/ground/${name}`,
      kind: EDGE,
      usual: given,
    });
  return el(
    "div",
    { class: "group more" },
    folded(
      "The ground: heights of eye and target",
      ground("eye_height", "Your eye above the ground", "Where you stand.", usual.eye),
      ground(
        "target_height",
        "Aim point above the ground",
        "At the target. Between, the ground is taken as straight: add rises and hedges as things in the way.",
        usual.face,
      ),
    ),
    folded(
      "Your group and your vanes: how likely one of your arrows touches",
      quantity({
        label: "Size of your group",
        help: "Greatest distance between two arrows of one group, centre to centre.",
        path: `${AT}/group/diameter`,
        pointer: "/group/diameter",
        kind: "off",
        optional: true,
      }),
      number({
        label: "Arrows in the group",
        path: `${AT}/group/arrows`,
        pointer: "/group/arrows",
        usual: "6",
      }),
      quantity({
        label: "Shot at",
        path: `${AT}/group/distance`,
        pointer: "/group/distance",
        kind: "distance",
        usual: usual.group,
      }),
      quantity({
        label: "Height of a vane",
        help: "Above the shaft. Empty: that of the drag model where it has one, else the bare shaft must pass.",
        path: `${AT}/vane_height`,
        pointer: "/vane_height",
        kind: "small",
        optional: true,
      }),
    ),
  );
}

/** Buttons that put something in the way. added: told after. */
export function addButtons(added) {
  const one = (kind) =>
    button(THINGS[kind].add, () => {
      add(kind);
      added();
    });
  return el(
    "div",
    { class: "adding", role: "group", "aria-label": "Put something in the way" },
    el("p", { class: "named" }, "Put in the way:"),
    el("div", { class: "buttons" }, Object.keys(THINGS).map(one)),
  );
}

/**
 * The list of what stands in the way, with its fields.
 * Returns {element, refresh, say}: say(index, sentences, touched) tells what was found of one.
 */
export function things() {
  const element = el("div", { class: "things" });
  let shape = null;
  let said = [];
  function refresh() {
    const now = JSON.stringify(entries().map(({ kind }) => kind));
    if (now === shape) return;
    shape = now;
    said = entries().map(() => el("div", { class: "said" }));
    fill(
      element,
      entries().map((entry, index) => thing(entry, index, said[index])),
    );
  }
  refresh();
  return {
    element,
    refresh,
    say(index, sentences, touched = false) {
      if (!said[index]) return;
      said[index].classList.toggle("touched", touched);
      fill(
        said[index],
        sentences.length > 0 && el("p", { class: "first" }, sentences[0]),
        sentences.length > 1 &&
          el(
            "ul",
            {},
            sentences.slice(1).map((one) => el("li", {}, one)),
          ),
      );
    },
  };
}

function thing(entry, index, said) {
  const legend = el("legend", {}, nameOf(entry));
  const at = (name) => ({
    path: `${AT}/obstacles/${index}/${name}`,
    pointer: `/obstacles/${index}/${name}`,
  });
  const element = el(
    "fieldset",
    { class: "group thing", "data-thing": index },
    legend,
    said,
    quantity({ label: "Distance from you", kind: "distance", ...at("distance") }),
    entry.kind === "gap" ? gapFields(at) : edgeFields(entry, index, at),
    folded(
      "Name and more",
      text({ label: "Name", longest: 50, usual: THINGS[entry.kind].name, ...at("name") }),
      entry.kind !== "gap" && sideFields(at),
    ),
    el(
      "div",
      { class: "buttons across" },
      button("Take away", () => taken(index), { "aria-label": `Take away ${nameOf(entry)}` }),
    ),
  );
  watch(element, [`${AT}/obstacles/${index}/name`], () => {
    const now = entries()[index];
    if (now) legend.textContent = nameOf(now);
  });
  return element;
}

function taken(index) {
  remove(index);
  document.querySelector(".adding button")?.focus();
}

function edgeFields({ kind }, index, at) {
  const { words } = THINGS[kind];
  return [
    quantity({
      label: `Its ${words}`,
      help: "Below the line of sight: negative.",
      kind: EDGE,
      ...at("edge"),
    }),
    choice({
      label: `Its ${words} is measured`,
      path: at("over").path,
      choices: [
        ["sight", "from the line of sight"],
        ["ground", "from the ground"],
      ],
      changed: (over) => measureFrom(index, over),
    }),
  ];
}

function gapFields(at) {
  const help = "From the line of sight, left negative, right positive.";
  return [
    quantity({ label: "Edge of the left trunk", help, kind: EDGE, ...at("left") }),
    quantity({ label: "Edge of the right trunk", help, kind: EDGE, ...at("right") }),
  ];
}

function sideFields(at) {
  return [
    quantity({
      label: "Its left end",
      help: "From the line of sight, left negative. Empty: it goes on.",
      kind: EDGE,
      optional: true,
      ...at("left"),
    }),
    quantity({
      label: "Its right end",
      help: "From the line of sight, right positive. Empty: it goes on.",
      kind: EDGE,
      optional: true,
      ...at("right"),
    }),
  ];
}
