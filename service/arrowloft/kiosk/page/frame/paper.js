// What a step's page has on paper alone: what it was computed from, when, and how far to trust it.

import { el, fill } from "../parts/dom.js";
import { get } from "../kept/state.js";
import { parted, shown, tidy } from "../wire/units.js";
import { hasEnds, sent } from "../wire/verified.js";

/** Groups of the set-up, and what their members are called where the name does not say it. */
const GROUPS = ["bow", "arrow", "sight", "launch", "drag", "air", "site"];
const NAMES = {
  site: "Place",
  launch: "Launch speed",
  peep_height: "peep to arrow",
  radius: "eye to pin",
  zero_distance: "proven at",
  travel_per_turn: "travel in one turn",
  clicks_per_turn: "clicks in one turn",
  windage_travel_per_turn: "windage travel in one turn",
  windage_clicks_per_turn: "windage clicks in one turn",
  relative_humidity: "humidity",
};

/** Steps whose marks are corrected ones, once something was shot. */
const CORRECTED = ["setup", "marks", "verify", "print"];

const host = document.getElementById("paper");
// Printing asks for it by the event, a preview by the media: whichever comes first.
addEventListener("beforeprint", write);
matchMedia("print").addEventListener("change", ({ matches }) => matches && write());

function write() {
  const step = document.body.dataset.step;
  const asked = step === "setup" ? [] : entries(document.getElementById("step"));
  const today = new Date().toLocaleDateString("en-GB", { dateStyle: "long" });
  fill(
    host,
    el("p", { class: "when" }, el("strong", {}, "arrowloft"), `, ${today}. `, standing(step)),
    el("dl", {}, [...setup(), ...asked].map(term)),
  );
}

function standing(step) {
  const many = sent().length;
  const corrected =
    hasEnds() &&
    CORRECTED.includes(step) &&
    !(step === "marks" && get("ask/marks/shown") === "predicted");
  return corrected
    ? `Corrected by ${many} ${many === 1 ? "end" : "ends"}.`
    : "Predicted, to be proven.";
}

function term([name, words]) {
  return el("div", {}, el("dt", {}, `${name}: `), el("dd", {}, words.join(", ")));
}

/** The set-up in words, [name, [words, ...]] for each of its groups that holds something. */
function setup() {
  return GROUPS.map((group) => [capital(named(group)), members(get(`setup/${group}`))]).filter(
    ([, words]) => words.length,
  );
}

function members(value) {
  return Object.entries(value ?? {}).flatMap(([name, one]) => {
    if (one === null || one === undefined || one === "") return [];
    if (name === "model") return [spaced(String(one))];
    if (Array.isArray(one))
      return one.length ? [`${named(name)} ${one.map(words).join("; ")}`] : [];
    if (typeof one === "object") return members(one);
    return [`${named(name)} ${name === "relative_humidity" ? `${tidy(100 * one)} %` : words(one)}`];
  });
}

function words(value) {
  if (typeof value === "boolean") return value ? "yes" : "no";
  const { number, unit } = parted(String(value));
  return number === "" ? spaced(String(value)) : joined(number, shown(unit));
}

function named(name) {
  return NAMES[name] ?? spaced(name);
}

function spaced(name) {
  return name.replaceAll("_", " ");
}

function capital(text) {
  return text[0].toUpperCase() + text.slice(1);
}

/** What is entered on a step, or stands in for it, by the heading it is entered under. */
function entries(step) {
  const found = new Map();
  for (const field of step.querySelectorAll(".field")) {
    const value = entered(field, field.closest(".folded:not([open])") === null);
    if (value === "") continue;
    const label = field.querySelector("label")?.firstChild?.textContent.trim() ?? "";
    const heading = headingOf(field);
    found.set(heading, [...(found.get(heading) ?? []), `${label}: ${value}`]);
  }
  return [...found];
}

function headingOf(field) {
  const around = field.closest(".folded, .group, .end, .lean");
  const heading =
    around?.querySelector("summary .name") ?? around?.querySelector("summary, legend");
  return heading?.textContent ?? "Asked for";
}

/** usual: whether what is usual counts: folded away it may belong to nothing that was asked. */
function entered(field, usual) {
  const said = field.querySelector("output")?.textContent;
  if (said) return said;
  const input = field.querySelector("input, select");
  if (input?.type === "checkbox") return input.checked ? "yes" : "no";
  if (input?.tagName === "SELECT") return (usual && input.selectedOptions[0]?.textContent) || "";
  const number = input?.value || (usual && input?.placeholder) || "";
  const unit =
    field.querySelector("select.unit")?.selectedOptions[0] ?? field.querySelector(".unit");
  return number && joined(number, unit?.textContent ?? "");
}

function joined(number, unit) {
  return unit === "°" ? `${number}°` : `${number} ${unit}`.trim();
}
