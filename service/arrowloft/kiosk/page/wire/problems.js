// What the service refuses, said beside the field that it points to.

import { button, el, fill } from "../parts/dom.js";
import { decimal, tell } from "../parts/fields.js";
import { refusal } from "../words/refusals.js";

/** Members of the set-up: what is wrong with them is mended on the first step. */
const SETUP = {
  bow: "bow",
  arrow: "arrow",
  sight: "sight",
  launch: "launch speed",
  drag: "drag",
  air: "air",
  site: "place",
};

/**
 * Show a problem among the fields of an element; null takes away what was shown.
 * summary: an element for what no field of this step stands for.
 */
export function showProblem(host, summary, problem) {
  const fields = [...host.querySelectorAll("[data-pointer]")];
  for (const field of fields) tell(field, null);
  fill(summary);
  summary.hidden = !problem;
  if (!problem) return;
  const rest = [];
  for (const { pointer = "", detail } of problem.errors) {
    const field = nearest(fields, pointer);
    if (field) {
      const words = noNumber(field) ?? refusal(detail, wanted(host, field, pointer));
      tell(field, sentence(field.querySelector(".error").textContent, words));
      // What is folded away cannot be corrected.
      field.closest("details")?.setAttribute("open", "");
    } else rest.push({ pointer, detail });
  }
  const lost = fields.some((field) => field.classList.contains("wrong"));
  fill(
    summary,
    el(
      "p",
      { class: "title" },
      lost || rest.length ? "Something needs correction." : problem.message,
    ),
    rest.length > 0 &&
      el(
        "ul",
        {},
        rest.map((one) => el("li", {}, named(one.pointer), refusal(one.detail))),
      ),
    rest.some((one) => inSetup(one.pointer)) &&
      button("Go to the set-up", () => (location.hash = "#/setup")),
  );
}

function nearest(fields, pointer) {
  const found = fields.filter((field) => {
    const own = field.dataset.pointer;
    return own === pointer || pointer.startsWith(`${own}/`);
  });
  return found.sort((one, other) => other.dataset.pointer.length - one.dataset.pointer.length)[0];
}

/** What a field shows, for the words of its refusal. */
function wanted(host, field, pointer) {
  const beside = pointer.slice(0, pointer.lastIndexOf("/"));
  const all = [...host.querySelectorAll("[data-label]")];
  return {
    unit: field.querySelector("select.unit")?.value ?? "",
    share: field.dataset.share !== undefined,
    named: (name) =>
      all.find(({ dataset }) => (dataset.pointer ?? dataset.list) === `${beside}/${name}`)?.dataset
        .label,
  };
}

/** What is wrong with a field that wants a number and holds none; its unit is not at fault. */
function noNumber(field) {
  const typed = field.querySelector("input[inputmode=decimal]")?.value.trim() ?? "";
  const number = Number(decimal(typed));
  return typed === "" || Number.isFinite(number)
    ? null
    : `“${typed}” is no number: write one such as 20 or 5.8.`;
}

function sentence(before, detail) {
  return before ? `${before} ${detail}` : detail;
}

function inSetup(pointer) {
  return Object.hasOwn(SETUP, pointer.split("/")[1] ?? "");
}

function named(pointer) {
  const [, first, ...rest] = pointer.split("/");
  if (!first) return "";
  const words = [
    Object.hasOwn(SETUP, first) ? SETUP[first] : first,
    ...rest.filter((one) => one !== "parameters"),
  ];
  return el("strong", {}, `${words.join(", ").replaceAll("_", " ")}: `);
}
