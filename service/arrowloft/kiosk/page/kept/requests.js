// A request for a printed sheet, as its code holds it, turned back into what was entered.

import { holds } from "./clean.js";
import { FORMAT } from "./state.js";

/** Members of a request that make the set-up. */
const SETUP = ["bow", "arrow", "sight", "launch", "drag", "air", "site"];

/** Those that no request goes without. */
const NEEDED = ["bow", "arrow", "sight"];

/** Members of a request that the step "Print" keeps under the same name. */
const PRINTED = ["distances", "number_every", "farther", "numbers", "magnification", "sheet"];

/** Units of distance that tell the system apart where a request names no units. */
const IMPERIAL = /(yd|ft)\s*$/;

/** Whether a value has the shape of a request. */
export function isRequest(value) {
  return holds(value) && NEEDED.every((name) => holds(value[name]));
}

/** The state of a person who would ask so. */
export function stateOf(request) {
  const [first, ...others] = scales(request);
  const ends = marks(first).map(end);
  return {
    format: FORMAT,
    system: systemOf(request),
    setup: Object.fromEntries(
      // What the first scale has of its own is what this page calls the set-up.
      SETUP.map((name) => [name, joined(request[name], first[name])]).filter(([, one]) => one),
    ),
    ask: {
      print: { ...picked(request, PRINTED), ...own(request, first), others: others.map(other) },
      ...(ends.length ? { verify: { ends } } : {}),
    },
  };
}

/** The scales of a request that names several, or the one that it is. */
function scales(request) {
  const listed = list(request.scales);
  const { label, marks: proven } = request;
  if (!listed.length) return [{ label, marks: proven }];
  // A scale without marks of its own goes through those of the set-up.
  return [{ marks: proven, ...listed[0] }, ...listed.slice(1)];
}

function own(request, { label }) {
  const { card, distances } = request;
  return {
    ...(label === undefined ? {} : { label }),
    ...(holds(card) ? { card: picked(card, ["distances", "wind", "allowance"]) } : {}),
    // A list of distances is no range, which is all that the step takes.
    ...(holds(distances) ? {} : { distances: undefined }),
  };
}

function other({ label, air, arrow, launch }) {
  return {
    label,
    temperature: air?.temperature,
    mass: arrow?.mass,
    speed: launch?.parameters?.speed,
  };
}

function marks({ marks: proven }) {
  return list(proven).filter(({ distance, travel }) => distance && travel);
}

/** A mark of a request as an end whose arrows were centred by it. */
function end({ distance, travel }) {
  return { kind: "arrows", how: "proven", way: "travel", distance, travel };
}

function systemOf({ units, sight, distances }) {
  const unit = units?.distance ?? sight.zero_distance ?? distances?.from;
  return IMPERIAL.test(String(unit ?? "")) ? "imperial" : "metric";
}

function joined(member, changes) {
  if (!holds(changes)) return holds(member) ? member : undefined;
  return holds(member) && !changes.model ? { ...member, ...changes } : changes;
}

function picked(members, names) {
  return Object.fromEntries(
    names.filter((name) => members[name] !== undefined).map((name) => [name, members[name]]),
  );
}

function list(value) {
  return Array.isArray(value) ? value.filter(holds) : [];
}
