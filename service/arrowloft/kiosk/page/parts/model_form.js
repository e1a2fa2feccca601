// Forms for the models that are installed, made from what the service says of each:
// one that somebody adds appears here by itself.

import { el, fill } from "./dom.js";
import { choice, folded, list, number, quantity, text, watch } from "./fields.js";
import { get, set, settle } from "../kept/state.js";
import { turnedExample } from "../wire/turned.js";
import { loadUnits } from "../wire/units.js";
import { fetched, line, Lost } from "../wire/service.js";

/** Units to begin with, by system, where a list of units holds them. */
const PREFERRED = {
  metric: ["m/s", "mm", "gr", "lbf", "degC", "hPa", "deg", "J"],
  imperial: ["ft/s", "in", "gr", "lbf", "degF", "inHg", "deg", "ft lbf"],
};

/** How many parameters stand in the open where none needs to. */
const FEW = 4;

/** The form that chooses a model of a kind, "launch" or "drag", and its parameters. */
export function modelForm(kind, title) {
  const help = el("p", { class: "help" });
  const parameters = el("div", { class: "fields" });
  const about = el("div");
  const host = el(
    "fieldset",
    { class: "group", "data-model": kind },
    el("legend", {}, title),
    el("p", {}, "Loading the models…"),
  );
  const path = `setup/${kind}/model`;
  let shown = null;

  async function show(summaries) {
    const name = get(path);
    help.textContent =
      summaries.get(name) ?? `The model ${name} is not installed here: choose another.`;
    shown = name;
    fill(parameters);
    fill(about);
    if (!summaries.has(name)) return;
    try {
      const [model, dimensions] = await Promise.all([
        fetched(`/v1/models/${kind}/${encodeURIComponent(name)}`),
        loadUnits(),
      ]);
      if (name !== get(path) || !host.isConnected) return;
      fill(parameters, parameterFields(kind, model, dimensions));
      fill(about, described(model));
    } catch (error) {
      if (error instanceof Lost) line.say(true, () => host.isConnected && show(summaries));
      else help.textContent = error.message;
    }
  }

  async function load() {
    const { models } = await fetched("/v1/models");
    const names = models.filter((one) => one.kind === kind);
    const summaries = new Map(names.map((one) => [one.name, one.summary]));
    const choices = names.map((one) => [one.name, optionWords(one, title)]);
    // Only who chooses a model changes its parameters: a link, a file, a clearing bring their own.
    const changed = (name) => change(kind, shown, name);
    const chosen = choice({ label: "Model", path, pointer: `/${kind}/model`, choices, changed });
    fill(host, el("legend", {}, title), chosen, help, parameters, about);
    watch(host, [path], () => show(summaries));
    await show(summaries);
  }

  return { element: host, load };
}

/** Keep the parameters of the model that was chosen before, and take up those of the new one. */
function change(kind, before, name) {
  const own = `setup/${kind}/parameters`;
  set(`ask/models/${kind}/${before}`, get(own));
  set(own, get(`ask/models/${kind}/${name}`) ?? {});
}

/** Fields of the parameters: those that are needed or set in the open, the rest folded away. */
function parameterFields(kind, model, dimensions) {
  const own = `setup/${kind}/parameters`;
  const required = new Set(model.parameters.required ?? []);
  begin(own, () => begun(kind, model, dimensions));
  const given = get(own) ?? {};
  const open = [];
  const rest = [];
  for (const [name, schema] of Object.entries(model.parameters.properties ?? {})) {
    const made = parameter(kind, name, schema, { dimensions, required, model });
    (required.has(name) || name in given ? open : rest).push(made);
  }
  // A model that needs nothing still shows what it is made of.
  if (!open.length) open.push(...rest.splice(0, FEW));
  return [open, rest.length > 0 && folded("More, with usual values", rest)];
}

/** Fill in what a model begins with where nothing is given; what is so already is not written. */
function begin(own, starting) {
  const empty = (members) => Object.keys(members ?? {}).length === 0;
  if (!empty(get(own))) return;
  const members = starting();
  if (!empty(members)) settle(own, members);
}

/** Parameters to begin with: the model's own example, which can be answered as it is. */
function begun(kind, model, dimensions) {
  const example = Object.entries(model.example[kind].parameters ?? {});
  return Object.fromEntries(
    example.map(([name, value]) => [
      name,
      homely(value, model.parameters.properties[name], dimensions),
    ]),
  );
}

/** An example's value, in the system's units where it is a quantity. */
function homely(value, schema, dimensions) {
  if (Array.isArray(value)) return value.map((one) => homely(one, schema?.items, dimensions));
  const units = unitsOf(schema?.pattern);
  return typeof value === "string" && units.length
    ? turnedExample(value, get("system"), kindOf(units, dimensions))
    : structuredClone(value);
}

function parameter(kind, name, schema, { dimensions, required, model }) {
  const common = {
    label: words(name),
    help: plainly(schema.description, model.parameters.properties),
    path: `setup/${kind}/parameters/${name}`,
    pointer: `/${kind}/parameters/${name}`,
    optional: !required.has(name),
    usual: String(model.defaults[name] ?? ""),
  };
  if (schema.type === "array") {
    return list({
      ...common,
      least: 0,
      row: (own) => single({ ...own, optional: false, usual: "" }, schema.items, dimensions),
    });
  }
  return single(common, schema, dimensions);
}

function single(common, schema, dimensions) {
  if (schema.enum) {
    const empty = common.optional && !common.usual ? [["", "Not given"]] : [];
    return choice({
      ...common,
      choices: [...empty, ...schema.enum.map((one) => [one, words(one)])],
    });
  }
  if (schema.type === "number" || schema.type === "integer")
    return number({ ...common, step: schema.type === "integer" ? 1 : 0.1 });
  const units = unitsOf(schema.pattern);
  return units.length ? quantity({ ...common, kind: kindOf(units, dimensions) }) : text(common);
}

/** The units that a pattern of the service's document lists at its end. */
function unitsOf(pattern = "") {
  const found = /\(\?:([^()]+)\)\$$/.exec(pattern);
  return found ? found[1].split("|").map((one) => one.replaceAll("\\", "")) : [];
}

function kindOf(units, dimensions) {
  const [dimension] = Object.entries(dimensions).find(([, known]) =>
    units.every((one) => one in known),
  ) ?? [""];
  const of = (system) => PREFERRED[system].find((one) => units.includes(one)) ?? units[0];
  return {
    dimension,
    metric: of("metric"),
    imperial: of("imperial"),
    units: Object.fromEntries(units.map((one) => [one, 1])),
  };
}

function described(model) {
  return el(
    "details",
    { class: "folded" },
    el("summary", {}, "About this model: equation, sources, limits"),
    el("pre", { class: "equation", tabindex: "0" }, model.description),
    model.sources.length > 0 &&
      el(
        "ul",
        {},
        model.sources.map((one) => el("li", {}, `${one.title} (${one.standing})`)),
      ),
    model.validity.length > 0 &&
      el(
        "ul",
        {},
        model.validity.map((one) => el("li", {}, trusted(one))),
      ),
    el("p", {}, `Version ${model.version}, from ${model.origin}.`),
  );
}

function trusted({ quantity: name, low, high, reason }) {
  const ends = [low !== undefined && `from ${low}`, high !== undefined && `to ${high}`]
    .filter(Boolean)
    .join(" ");
  return `Trusted with ${words(name).toLowerCase()} ${ends}. ${reason}`;
}

/** A model for who chooses one: its name, and what its summary says first. */
function optionWords({ name, summary }, title) {
  const said = gist(summary ?? "", title);
  return said ? `${words(name)}: ${said}` : words(name);
}

/** Most characters of what an option says beside the name. */
const SHORT = 60;

/** The beginning of a summary that makes sense by itself, without what stands above the choice. */
function gist(summary, title) {
  let said = summary.split(/[:;]|\.(?:\s|$)/)[0].trim();
  while (said.length > SHORT && said.includes(", ")) said = said.slice(0, said.lastIndexOf(", "));
  if (said.startsWith(`${title} `)) said = said.slice(title.length + 1);
  // A capital inside a word is a name's, such as that of a coefficient.
  return /^[A-Z][a-z]* /.test(said) ? said[0].toLowerCase() + said.slice(1) : said;
}

/** A parameter's description for who sees fields: labels for names, bounds left to refusals. */
function plainly(description, properties) {
  return description
    ?.replace(/ \((?:at least|at most|more than|less than) [^()]*\)$/, "")
    .replaceAll(/\b[a-z]+(?:_[a-z]+)+\b/g, (name) =>
      Object.hasOwn(properties, name) ? `“${words(name)}”` : name,
    );
}

function words(name) {
  const spaced = name.replaceAll(/[_-]/g, " ");
  return spaced[0].toUpperCase() + spaced.slice(1);
}
