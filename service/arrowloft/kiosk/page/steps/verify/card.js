// A card for one end: where it was shot, where the sight stood, where the arrows landed.

import { button, el, fill } from "../../parts/dom.js";
import { choice, folded, number, quantity, text, watch } from "../../parts/fields.js";
import { markWords } from "../../words/marks.js";
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
  wayOf,
  ways,
} from "../../wire/verified.js";
import { target, WIDTHS } from "./target.js";
import { asks, judged } from "./words.js";

const WAYS = {
  predicted: "At the predicted mark",
  clicks: "So many clicks from the proven mark",
  reading: "At a reading of its scale",
  turns: "So many turns from the proven mark",
  travel: "So much travel from the proven mark",
};
const HOWS = [
  ["touched", "Where I touch the target"],
  ["measured", "With their middle at these lengths"],
  ["proven", "In the middle: the mark is proven"],
];
const DOWN =
  "Down is positive, up is negative; counted from where the pin stood before you corrected anything.";

/**
 * The card of the end at a position.
 * open: whether it stands open.  remove: called to take it away.
 * corrected: fetches the mark that the ends before it ask for and puts it in; resolves to words.
 * Returns {element, tell}: tell({seen, row, units}) shows what was found of it.
 */
export function endCard({ index, open, remove, corrected }) {
  const own = { path: `${OWN}/ends/${index}`, pointer: `/observations/${index}`, index, corrected };
  const end = () => get(own.path) ?? {};
  const name = el("strong", { class: "name" });
  const where = el("span", { class: "where" });
  const asked = el("span", { class: "asked" });
  const found = el("div", { class: "judged" });
  const inside = end().kind === "speed" ? speed(own) : arrows(own);
  const element = el(
    "details",
    { class: "end", open },
    el("summary", {}, name, where, asked),
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
    tell({ seen, row, units }) {
      asked.textContent = seen ? asks(seen, units) : tells(end()) ? "" : "to be filled in";
      fill(
        found,
        seen &&
          judged(seen, units).map((words) =>
            el("p", { class: seen.status === "used" ? null : "note" }, words),
          ),
      );
      found.hidden = !found.childElementCount;
      inside.tell?.({ seen, row, units });
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
  const stood = el("div", { class: "slot across" });
  const landed = el("div", { class: "slot across" });
  const hint = el("p", { class: "help" });
  const end = () => get(path) ?? {};
  let drawn = "";
  let aim = null;
  let predicted = "";
  const sayPredicted = () => (hint.textContent = wayOf(end()) === "predicted" ? predicted : "");
  const redraw = () => {
    const key = [wayOf(end()), end().how].join();
    if (key === drawn) return;
    drawn = key;
    fill(stood, mark(own, end()));
    aim = proven(end()) || measured(end()) ? null : touched(own);
    fill(landed, aim?.element ?? (proven(end()) ? provenBy(own) : lengths(own)));
    sayPredicted();
  };
  const fields = [
    quantity({
      label: "Distance",
      path: `${path}/distance`,
      pointer: `${pointer}/distance`,
      kind: "distance",
    }),
    el(
      "div",
      {},
      choice({
        label: "The sight stood",
        path: `${path}/way`,
        pointer,
        choices: ways().map((way) => [way, WAYS[way]]),
        usual: "predicted",
      }),
      hint,
    ),
    stood,
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
    tell({ seen, row, units }) {
      predicted = row ? `Predicted: ${markWords(row, units)}.` : "";
      sayPredicted();
      aim?.mark(seen?.flyers);
    },
  };
}

/** Where the sight stood, where that was not the predicted mark; and its place to the side. */
function mark({ path, pointer, index, corrected }, end) {
  const way = wayOf(end);
  const at = { path: `${path}/${way}`, pointer: `${pointer}/mark/${way}` };
  const value = {
    predicted: () => null,
    clicks: () => number({ label: "Clicks down", help: DOWN, usual: "0", ...at }),
    reading: () => number({ label: "Reading", step: 0.1, ...at }),
    turns: () => number({ label: "Turns down", help: DOWN, usual: "0", step: 0.25, ...at }),
    travel: () => quantity({ label: "Pin down", help: DOWN, usual: "0 mm", kind: "small", ...at }),
  }[way]();
  const said = el("p", { class: "help", role: "status" });
  const take =
    index > 0 &&
    button("It stood at the corrected mark", async () => (said.textContent = await corrected()));
  return el(
    "div",
    { class: "fields" },
    take && el("div", { class: "across" }, take, said),
    value,
    side({ path, pointer }),
  );
}

function side({ path, pointer }) {
  const sight = get("setup/sight") ?? {};
  const clicks = sight.windage_travel_per_turn && sight.windage_clicks_per_turn;
  const help =
    "Right is positive, left is negative; from where the pin stood at the proven mark. Empty: not moved.";
  const field = clicks
    ? number({
        label: "Clicks to the right",
        help,
        path: `${path}/windage_clicks`,
        pointer: `${pointer}/mark/windage_clicks`,
        optional: true,
        usual: "0",
      })
    : quantity({
        label: "Pin to the right",
        help,
        path: `${path}/windage_travel`,
        pointer: `${pointer}/mark/windage_travel`,
        kind: "small",
        optional: true,
        usual: "0 mm",
      });
  const made = folded("The pin was moved to the side", field);
  const end = get(path) ?? {};
  made.open = Boolean(end.windage_clicks || end.windage_travel);
  return made;
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
