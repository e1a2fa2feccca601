// From what was entered to the members of a request.

import { get } from "../kept/state.js";
import { replyUnits } from "./units.js";

/** A value without what is empty: empty texts, lists and groups of members are left out. */
export function pruned(value) {
  if (Array.isArray(value)) {
    const kept = value.map(pruned).filter((one) => one !== undefined);
    return kept.length ? kept : undefined;
  }
  if (value !== null && typeof value === "object") {
    const kept = Object.entries(value)
      .map(([name, one]) => [name, pruned(one)])
      .filter(([, one]) => one !== undefined);
    return kept.length ? Object.fromEntries(kept) : undefined;
  }
  return value === "" || value === null || value === undefined ? undefined : value;
}

/**
 * A request: the set-up with a step's own members.
 * without: members of the set-up that this computation does not take.
 */
export function request(own, { without = [] } = {}) {
  const setup = { ...get("setup") };
  for (const name of without) delete setup[name];
  return { ...pruned(setup), units: replyUnits(get("system")), ...pruned(own) };
}

/** A range of distances as the service takes it; those of `usual` where one is missing. */
export function range(path, usual) {
  const { from, to, step } = { ...usual, ...get(path) };
  return { from, to, step };
}
