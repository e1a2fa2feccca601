// Fields: a label, large controls, help, and room for what the service says is wrong.
//
// A field keeps its value at a path of the state and names the member of requests that it
// becomes, as a JSON pointer, so that a refusal finds its way back to it.

import { button, el, fill, newId } from "./dom.js";
import { get, set, subscribe } from "../kept/state.js";
import { turnAt } from "../wire/turned.js";
import { KINDS, parted, shown, tidy } from "../wire/units.js";

/**
 * A quantity: number and unit.
 * kind: a name in KINDS, or such an object.  optional: its label says that it may stay empty.
 * usual: what is shown in an empty field.
 */
export function quantity({ label, help, path, pointer, kind, optional = false, usual = "" }) {
  const units = typeof kind === "string" ? KINDS[kind] : kind;
  const id = newId("field");
  const input = numberInput(id, parted(usual).number);
  const choice = unitChoice(units, `${label}: unit`);
  const write = () => {
    const number = decimal(input.value);
    set(path, number === "" ? undefined : `${number} ${choice.value}`);
  };
  const refresh = () => {
    const { number, unit } = split(get(path), units);
    input.value = number;
    offer(choice, units, unit || parted(usual).unit || units[get("system")]);
  };
  input.addEventListener("input", write);
  choice.addEventListener("change", () => {
    turnAt(path, units, choice.value);
    refresh();
  });
  const step = (way) => {
    const by = units.units[choice.value] ?? 1;
    const from = Number(decimal(input.value === "" ? parted(usual).number : input.value)) || 0;
    input.value = tidy(from + way * by, 8);
    write();
  };
  const control = el(
    "div",
    { class: "control" },
    stepper(`${label}: less`, "−", () => step(-1)),
    input,
    Object.keys(units.units).length > 1
      ? choice
      : el("span", { class: "unit" }, shown(units[get("system")])),
    stepper(`${label}: more`, "+", () => step(+1)),
  );
  refresh();
  return field({
    id,
    label,
    help,
    pointer,
    optional,
    control,
    watched: [path, "system"],
    refresh,
    input,
  });
}

/** A number without a unit. share: kept as a share, shown in percent. */
export function number({
  label,
  help,
  path,
  pointer,
  optional = false,
  usual = "",
  step = 1,
  share = false,
  after = "",
}) {
  const id = newId("field");
  const scale = share ? 100 : 1;
  const input = numberInput(id, usual);
  const write = () => {
    const text = decimal(input.value);
    const value = Number(text);
    // What is no number is sent as it stands: the service says what is wrong with it.
    set(path, text === "" ? undefined : Number.isFinite(value) ? value / scale : text);
  };
  const refresh = () => {
    const value = get(path);
    input.value = typeof value === "number" ? tidy(value * scale, 12) : single(value);
  };
  input.addEventListener("input", write);
  const by = (way) => {
    input.value = tidy((Number(decimal(input.value || String(usual))) || 0) + way * step, 8);
    write();
  };
  const unit = share ? "%" : after;
  const control = el(
    "div",
    { class: "control" },
    stepper(`${label}: less`, "−", () => by(-1)),
    input,
    unit && el("span", { class: "unit" }, unit),
    stepper(`${label}: more`, "+", () => by(+1)),
  );
  refresh();
  const made = field({
    id,
    label,
    help,
    pointer,
    optional,
    control,
    watched: [path],
    refresh,
    input,
  });
  if (share) made.dataset.share = "";
  return made;
}

/** A line of text. */
export function text({ label, help, path, pointer, optional = false, longest = 80, usual = "" }) {
  const id = newId("field");
  const input = el("input", {
    id,
    type: "text",
    maxlength: longest,
    autocomplete: "off",
    placeholder: usual,
  });
  const refresh = () => (input.value = single(get(path)));
  input.addEventListener("input", () => set(path, input.value));
  refresh();
  return field({
    id,
    label,
    help,
    pointer,
    optional,
    control: input,
    watched: [path],
    refresh,
    input,
  });
}

/** A choice of a few words. choices: [[value, words], ...]. changed: told of a new value. */
export function choice({ label, help, path, pointer, choices, usual, changed }) {
  const id = newId("field");
  const input = el(
    "select",
    { id },
    choices.map(([value, words]) => el("option", { value }, words)),
  );
  const refresh = () => (input.value = get(path) ?? usual ?? choices[0][0]);
  input.addEventListener("change", () => {
    set(path, input.value);
    changed?.(input.value);
  });
  refresh();
  return field({ id, label, help, pointer, control: input, watched: [path], refresh, input });
}

/** Yes or no. */
export function yesNo({ label, help, path, pointer, usual = false }) {
  const id = newId("field");
  const input = el("input", { id, type: "checkbox" });
  const refresh = () => (input.checked = typeof get(path) === "boolean" ? get(path) : usual);
  input.addEventListener("change", () => set(path, input.checked));
  refresh();
  const element = field({
    id,
    label,
    help,
    pointer,
    control: input,
    watched: [path],
    refresh,
    input,
  });
  element.classList.add("yes-no");
  return element;
}

/**
 * A list of quantities or numbers, one row each, that can be added to.
 * row: makes the field of one row from {label, path, pointer}.  first: value of a new row.
 * least, most: how many rows there may be.  add: words of the button that adds one.
 */
export function list({
  label,
  help,
  path,
  pointer,
  row,
  least = 0,
  most = 200,
  add: words = `Add to: ${label}`,
  first = (rows) => rows.at(-1) ?? "",
}) {
  const rows = el("div", { class: "rows" });
  const add = button(words, () => {
    const values = listAt(path);
    set(path, [...values, first(values)]);
    draw();
    rows.lastElementChild?.querySelector("input")?.focus();
  });
  const element = el(
    "fieldset",
    { class: "list", "data-list": pointer, "data-label": label },
    el("legend", {}, label),
    help && el("p", { class: "help" }, help),
    rows,
    add,
  );
  let drawn = -1;
  function draw() {
    const values = listAt(path);
    drawn = values.length;
    add.disabled = drawn >= most;
    fill(
      rows,
      values.map((_, index) =>
        el(
          "div",
          { class: "row" },
          row({
            label: `${label} ${index + 1}`,
            path: `${path}/${index}`,
            pointer: `${pointer}/${index}`,
          }),
          values.length > least &&
            button("Remove", () => remove(index), { "aria-label": `Remove ${label} ${index + 1}` }),
        ),
      ),
    );
  }
  function remove(index) {
    set(
      path,
      listAt(path).filter((_, other) => other !== index),
    );
    draw();
    add.focus();
  }
  draw();
  watch(element, [path], () => {
    if (listAt(path).length !== drawn) draw();
  });
  return element;
}

/** What is kept may come from a link: what is no list counts as an empty one. */
function listAt(path) {
  const found = get(path);
  return Array.isArray(found) ? found : [];
}

function single(value) {
  return ["string", "number"].includes(typeof value) ? String(value) : "";
}

/** Number and unit of a text; what was typed for a number stays whole, whatever it is. */
function split(text, units) {
  const known = Object.keys(units.units).find((unit) => single(text).endsWith(` ${unit}`));
  return known
    ? { number: text.slice(0, -known.length - 1), unit: known }
    : parted(single(text) || undefined);
}

/** Fields under one heading. folded: closed at first, to be opened by those who need them. */
export function group(title, ...fields) {
  return el("fieldset", { class: "group" }, el("legend", {}, title), fields);
}

/** Fields that most people leave alone. */
export function folded(title, ...fields) {
  return el(
    "details",
    { class: "folded" },
    el("summary", {}, title),
    el("div", { class: "fields" }, fields),
  );
}

const watches = new Map();

/** Watch no more for what has left the page; called when a step has taken another's place. */
export function forgetGone() {
  for (const [end, element] of watches) {
    if (element.isConnected) continue;
    end();
    watches.delete(end);
  }
}

/** Call refresh whenever one of the paths has changed, while the element is in the page. */
export function watch(element, paths, refresh) {
  const end = subscribe((changed) => {
    if (!element.isConnected) return;
    if (
      changed.some((one) =>
        paths.some(
          (path) =>
            one === "" || one === path || path.startsWith(`${one}/`) || one.startsWith(`${path}/`),
        ),
      )
    )
      refresh();
  });
  watches.set(end, element);
}

function field({ id, label, help, pointer, optional = false, control, watched, refresh, input }) {
  const said = el("p", { class: "error", id: `${id}-error`, hidden: true });
  const about = help ? el("p", { class: "help", id: `${id}-help` }, help) : null;
  if (about) input.setAttribute("aria-describedby", about.id);
  const element = el(
    "div",
    { class: "field", "data-pointer": pointer ?? null, "data-label": label },
    el(
      "label",
      { for: id },
      label,
      optional && el("span", { class: "optional" }, " (may stay empty)"),
    ),
    control,
    said,
    about,
  );
  // While somebody types, their text and caret stay; a value from elsewhere is shown at once.
  let typed = get(watched[0]);
  let typing = false;
  // Before the listener that writes: what it tells arrives between the two.
  input.addEventListener("input", () => (typing = true), { capture: true });
  watch(element, watched, () => {
    const value = get(watched[0]);
    const own = document.activeElement === input && (typing || value === typed);
    typing = false;
    typed = value;
    if (!own) refresh();
  });
  return element;
}

/** Say beside a field what is wrong with it; nothing where all is well. */
export function tell(element, words) {
  const said = element.querySelector(".error");
  const input = element.querySelector("input, select");
  const about = element.querySelector(".help")?.id;
  said.textContent = words ?? "";
  said.hidden = !words;
  element.classList.toggle("wrong", Boolean(words));
  input.toggleAttribute("aria-invalid", Boolean(words));
  if (words) input.setAttribute("aria-invalid", "true");
  const described = [words && said.id, about].filter(Boolean).join(" ");
  if (described) input.setAttribute("aria-describedby", described);
  else input.removeAttribute("aria-describedby");
}

function numberInput(id, usual) {
  return el("input", {
    id,
    type: "text",
    inputmode: "decimal",
    autocomplete: "off",
    spellcheck: "false",
    placeholder: usual || null,
  });
}

/** What was typed as numbers are written in requests: point, hyphen, no spaces, no bare ends. */
export function decimal(typed) {
  const text = typed
    .replaceAll(/\s/g, "")
    .replace(/^[−–‒‐‑﹣－]/, "-")
    .replace(/^\+/, "");
  // 1,500 is one and a half to some and fifteen hundred to others: left for the person to say.
  if (/^-?[1-9]\d{0,2},\d{3}$/.test(text)) return text;
  const found = /^(-?)0*(\d*)(?:[.,](\d*))?$/.exec(text);
  if (!found || !/\d/.test(text)) return text.replace(",", ".");
  const [, sign, whole, part] = found;
  return `${sign}${whole || "0"}${part ? `.${part}` : ""}`;
}

function stepper(label, sign, pressed) {
  return el(
    "button",
    { type: "button", class: "stepper", "aria-label": label, on: { click: pressed } },
    sign,
  );
}

function unitChoice(units, label) {
  const choice = el("select", { class: "unit", "aria-label": label });
  offer(choice, units, units[get("system")]);
  return choice;
}

function offer(choice, units, chosen) {
  const all = Object.keys(units.units);
  // A unit from a file or a link may be one that the page does not offer by itself.
  if (!all.includes(chosen)) all.push(chosen);
  fill(
    choice,
    all.map((unit) => el("option", { value: unit }, shown(unit))),
  );
  choice.value = chosen;
}
