// Where the sight stood at an end: at the mark that the page told last, at the first one, or
// elsewhere. What the page assumes is frozen with the first arrow: what is told later is told
// because of it.

import { el, fill } from "../../parts/dom.js";
import { choice, folded, number, quantity } from "../../parts/fields.js";
import { countedAside, markWords } from "../../words/marks.js";
import { get, set } from "../../kept/state.js";
import { markFor, OWN, sent, tells, upright, wayOf, ways } from "../../wire/verified.js";

const WAYS = {
  clicks: "Elsewhere: so many clicks from the first, proven mark",
  reading: "Elsewhere: at a reading of its scale",
  turns: "Elsewhere: so many turns from the first, proven mark",
  travel: "Elsewhere: so much travel from the first, proven mark",
};
const TOLD = {
  corrected: "At the corrected mark",
  predicted: "At the first, predicted mark",
};
const DOWN =
  "Down is positive, up is negative; counted from where the pin stood before you corrected anything.";
const PLACE = ["clicks", "reading", "turns", "travel"];
const ASIDE = ["windage_clicks", "windage_travel"];

/** A row of corrected marks as where the sight stood: {mark, words}. */
export function correctedMark(row, reply, order) {
  const mark = markFor(row, reply, order);
  const aside = mark.windage_clicks ? countedAside(mark.windage_clicks) : "";
  return { mark, words: [markWords(row, reply.units), aside].filter(Boolean).join(", and ") };
}

/** A row of predicted marks in the same way. */
export function predictedMark(row, units) {
  return { mark: upright(row, units), words: markWords(row, units) };
}

/** Take the sight of an end to have stood at a mark; told: as correctedMark has it. */
export function takeAt(index, name, told) {
  const path = `${OWN}/ends/${index}`;
  const end = get(path) ?? {};
  set(path, stoodAt({ ...end, told: { ...end.told, [name]: told } }, name));
}

/** An end whose sight stood at a told mark, or is said in another way. */
function stoodAt(end, stood) {
  if (!TOLD[stood]) return { ...end, stood, way: stood };
  const rest = without(end, ["way", ...PLACE, ...ASIDE]);
  return { ...rest, stood, ...end.told?.[stood]?.mark };
}

/** An end of which the first arrow was just entered. */
function frozen(end, told, stood) {
  const assumed = end.stood === undefined ? true : undefined;
  const own = Object.fromEntries(ASIDE.flatMap((name) => (end[name] ? [[name, end[name]]] : [])));
  return defined({ ...stoodAt({ ...end, told: defined(told), assumed }, stood), ...own });
}

/** The same end when all its arrows are taken back: nothing was assumed. */
function melted(end) {
  const rest = without(end, ["told", "assumed", ...(end.assumed ? ["stood"] : [])]);
  return TOLD[end.stood] ? without(rest, ["way", ...PLACE, ...ASIDE]) : rest;
}

function without(end, names) {
  return Object.fromEntries(Object.entries(end).filter(([name]) => !names.includes(name)));
}

function defined(end) {
  return Object.fromEntries(Object.entries(end).filter(([, value]) => value !== undefined));
}

/**
 * The fields that say where the sight stood.
 * marks: gives what the page tells now, {corrected, predicted}.
 * corrected: fetches the mark that the ends before it ask for, and takes the sight to have stood
 * there; resolves to words.
 * Returns {fields, draw}.
 */
export function stood({ path, pointer, index, marks, corrected }) {
  const end = () => get(path) ?? {};
  const said = el("p", { class: "help", role: "status" });
  const stands = el("p", { class: "stands" });
  const slot = el("div", { class: "slot across" });
  const fetch = async () => (said.textContent = await corrected());
  // Of an end that tells something, what was told when that began; the first mark may be unknown
  // from then, and is the predicted one as it is now.
  const told = (filled) => (filled ? { predicted: marks().predicted, ...end().told } : marks());
  const corrects = (filled) => Boolean(told(filled).corrected) || sent(index).length > 0;
  const chosen = (filled) =>
    end().stood ?? end().way ?? (!filled && corrects(filled) ? "corrected" : "predicted");
  const change = (name) => {
    const filled = tells(end());
    said.textContent = "";
    if (filled && name === "corrected" && !told(filled).corrected) fetch();
    else if (filled || !TOLD[name]) set(path, without(stoodAt(end(), name), ["assumed"]));
    else set(path, { ...without(end(), ["way", ...PLACE]), stood: name });
  };
  const field = choice({
    label: "The sight stood",
    path: `${path}/stood`,
    pointer,
    choices: [["predicted", TOLD.predicted]],
    changed: change,
  });
  let filled = tells(end());
  const follow = () => {
    if (tells(end()) === filled) return;
    filled = !filled;
    if (!filled) set(path, melted(end()));
    else if (!end().told) {
      const at = chosen(false);
      set(path, frozen(end(), marks(), at));
      if (at === "corrected" && !end().told.corrected) fetch();
    }
  };
  let drawn = "";
  const draw = () => {
    follow();
    const at = chosen(filled);
    offer(field.querySelector("select"), told(filled), corrects(filled), at);
    const words = told(filled)[at]?.words;
    stands.textContent = words ? `Taken to have stood at ${words}.` : "";
    const way = TOLD[at] ? "" : wayOf(end());
    if (`at ${way}` === drawn) return;
    drawn = `at ${way}`;
    fill(slot, elsewhere({ path, pointer }, way));
  };
  return { fields: [el("div", {}, field, stands, said), slot], draw };
}

/** The marks to choose from, each with its number; drawn anew only where one has changed. */
function offer(select, told, corrects, chosen) {
  const words = (name) => [TOLD[name], told[name]?.words].filter(Boolean).join(": ");
  const choices = [
    ...(corrects || chosen === "corrected" ? [["corrected", words("corrected")]] : []),
    ["predicted", words("predicted")],
    ...ways().flatMap((way) => (WAYS[way] ? [[way, WAYS[way]]] : [])),
  ];
  const options = [...select.options].map((one) => [one.value, one.textContent]);
  if (JSON.stringify(options) !== JSON.stringify(choices))
    fill(
      select,
      choices.map(([value, text]) => el("option", { value }, text)),
    );
  select.value = chosen;
}

/** A place of the sight that the page has not told; and its place to the side. */
function elsewhere({ path, pointer }, way) {
  const at = { path: `${path}/${way}`, pointer: `${pointer}/mark/${way}` };
  const value = {
    clicks: () => number({ label: "Clicks down", help: DOWN, usual: "0", ...at }),
    reading: () => number({ label: "Reading", step: 0.1, ...at }),
    turns: () => number({ label: "Turns down", help: DOWN, usual: "0", step: 0.25, ...at }),
    travel: () => quantity({ label: "Pin down", help: DOWN, usual: "0 mm", kind: "small", ...at }),
  }[way]?.();
  return el("div", { class: "fields" }, value, side({ path, pointer }));
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
