// What the service says of a request's members, in words for what a person sees: a field with a
// unit, a list, a choice. A sentence that is not known here is said as it stands.

import { converted, KINDS, shown } from "../wire/units.js";

/** Sentences about the text of a request, and what they come to for somebody at a field. */
const PLAIN = [
  [/^This member is needed: add it\.$/, "Please fill this in."],
  [/^Is needed for (.*); give it\.$/, "Needed for $1: please fill this in."],
  [/^Give a string of a number and a unit,.*$/, "Write a number, such as 20 or 5.8."],
  [/^Cannot read .*$/, "Write a plain number, such as 20 or 5.8."],
  [/^Give a plain number, without quotes and without a unit\.$/, "Write a plain number."],
  [/^Give (?:a list in brackets|an object in braces).*$/, "Please fill this in anew."],
  [/^Give a text in quotes\.$/, "Write a text."],
  [/^Give true or false, without quotes\.$/, "Choose yes or no."],
  [/^The list has \d+ values?: give (\S+) to (\S+)\.$/, "Give $1 to $2 of them."],
];

/** Sentences that hold bounds: where they stand, and which way they may be rounded. */
const BOUNDS = [
  [/^Give (.+) to (.+); (.+) is outside\.$/, ["low", "high", "given"]],
  [
    /^Give (?:at least|more than) (.+) and (?:at most|less than) (.+); (.+) is outside\.$/,
    ["low", "high", "given"],
  ],
  [/^(.+) is too little: give (?:at least|more than) (.+)\.$/, ["given", "low"]],
  [/^(.+) is too much: give (?:at most|less than) (.+)\.$/, ["given", "high"]],
];

const QUANTITY = /^(-?[\d.]+(?:e[+-]?\d+)?)(?: (\S.*))?$/i;

/** Digits that a bound is said with. */
const DIGITS = 3;

/**
 * A sentence of the service for a field.
 * unit: that the field shows, if any.  share: whether it shows a share in percent.
 * named: the label of a member by its name; undefined where the step has no field for it.
 */
export function refusal(detail, { unit = "", share = false, named = () => undefined } = {}) {
  for (const [known, words] of PLAIN) {
    if (known.test(detail)) return detail.replace(known, words);
  }
  for (const [known, ends] of BOUNDS) {
    const found = known.exec(detail);
    if (found) return bounded(detail, found, ends, { unit, share });
  }
  return oneOf(detail, named);
}

function bounded(detail, found, ends, field) {
  const parts = ends.map((end, at) => ({ end, text: found[at + 1] }));
  let from = 0;
  let said = "";
  for (const { end, text } of parts) {
    const at = detail.indexOf(text, from);
    said += detail.slice(from, at) + value(text, end, field);
    from = at + text.length;
  }
  return said + detail.slice(from);
}

function value(text, end, { unit, share }) {
  const found = QUANTITY.exec(text);
  if (!found) return text;
  const number = Number(found[1]);
  if (share && !found[2]) return `${rounded(100 * number, end)} %`;
  const own = found[2] ?? "";
  const other = own && unit && own !== unit ? inUnit(number, own, unit) : number;
  const [size, name] = Number.isFinite(other) ? [other, unit || own] : [number, own];
  return `${end === "given" ? plain(size) : rounded(size, end)}${name ? ` ${shown(name)}` : ""}`;
}

function inUnit(number, from, to) {
  const dimensions = new Set(Object.values(KINDS).map((kind) => kind.dimension));
  for (const dimension of dimensions) {
    const found = converted(number, dimension, from, to);
    if (Number.isFinite(found)) return found;
  }
  return NaN;
}

/** A bound, rounded to the side where it still holds. */
function rounded(size, end) {
  if (end === "given" || size === 0) return plain(size);
  const scale = 10 ** (DIGITS - 1 - Math.floor(Math.log10(Math.abs(size))));
  const exact = Number((size * scale).toPrecision(6));
  return plain((end === "low" ? Math.ceil(exact) : Math.floor(exact)) / scale);
}

function plain(size) {
  return String(Number(size.toPrecision(6))).replace("-", "−");
}

/** "Give exactly one of speed and readings." with the names as the fields have them. */
function oneOf(detail, named) {
  if (!/^Give (exactly |at least |at most )?one of /i.test(detail)) return detail;
  return detail.replaceAll(/\b[a-z]+(?:_[a-z]+)*\b/g, (name) => {
    const label = named(name);
    return label ? `“${label}”` : name;
  });
}
