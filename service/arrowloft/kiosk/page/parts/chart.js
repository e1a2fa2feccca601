// Charts over distance: curves with names at their ends, bands, points; drawn to the room there is.

import { el, fill, svg } from "./dom.js";
import { fixed } from "../wire/units.js";

const MARGIN = { top: 14, right: 14, bottom: 46, left: 58 };
const TEXT = 13;

/** Dashes of curves, in their order: nothing is told by colour alone. */
const DASHES = ["", "9 4", "3 3", "12 4 3 4", "2 6", "16 5"];

/**
 * A chart that fills the width of where it stands.
 * Returns {element, draw}: draw(content) draws
 *   title, description: for those who cannot see it.
 *   x, y: {label, unit}; y.downward: greater values lie lower; y.zero: 0 is within.
 *   curves: [{name, points: [[x, y], ...], band: [[x, low, high], ...]}]; null y breaks a curve.
 *   points: [{x, y, low, high, name}] drawn as crosses with bars.
 *   lines: [{y, name}] level lines.
 */
export function chart({ height = 300 } = {}) {
  const element = el("figure", { class: "chart" });
  let content = null;
  const redraw = () =>
    content && fill(element, drawing(content, Math.max(280, element.clientWidth || 600), height));
  new ResizeObserver(redraw).observe(element);
  return {
    element,
    draw(next) {
      content = next;
      redraw();
    },
  };
}

function drawing(content, width, height) {
  const right = Math.max(
    MARGIN.right,
    14 + 7.9 * Math.max(0, ...content.curves.map((curve) => (curve.name ?? "").length)),
  );
  const box = {
    left: MARGIN.left,
    top: MARGIN.top,
    right: width - Math.min(right, width / 3),
    bottom: height - MARGIN.bottom,
  };
  const x = scale(ends(content, 0), [box.left, box.right]);
  const span = padded(ends(content, 1));
  const y = scale(span, content.y.downward ? [box.top, box.bottom] : [box.bottom, box.top]);
  return svg(
    "svg",
    {
      viewBox: `0 0 ${width} ${height}`,
      width,
      height,
      role: "img",
      "aria-label": `${content.title}. ${content.description}`,
    },
    axes(content, box, x, y),
    (content.lines ?? []).map((line) => level(line, box, y)),
    content.curves.map((curve) => band(curve, x, y)),
    content.curves.map((curve, index) => path(curve, index, x, y)),
    (content.points ?? []).map((point) => cross(point, x, y)),
    names(content.curves, box, x, y),
  );
}

function ends(content, axis) {
  const values = content.curves.flatMap((curve) => [
    ...curve.points.map((point) => point[axis]),
    ...(curve.band ?? []).flatMap((one) => (axis ? one.slice(1) : [one[0]])),
  ]);
  for (const point of content.points ?? [])
    values.push(...(axis ? [point.y, point.low ?? point.y, point.high ?? point.y] : [point.x]));
  if (axis)
    values.push(...(content.lines ?? []).map((line) => line.y), ...(content.y.zero ? [0] : []));
  const known = values.filter((value) => Number.isFinite(value));
  if (!known.length) return [0, 1];
  const [low, high] = [Math.min(...known), Math.max(...known)];
  return high > low ? [low, high] : [low - 0.5, high + 0.5];
}

function padded([low, high]) {
  const more = 0.06 * (high - low);
  return [low - more, high + more];
}

function scale([low, high], [first, last]) {
  const at = (value) => first + ((value - low) / (high - low)) * (last - first);
  return Object.assign(at, { low, high });
}

/** Multiples of 1, 2 or 5 times a power of ten between two ends. */
export function ticks(low, high, parts) {
  const wanted = (high - low) / parts;
  const ten = 10 ** Math.floor(Math.log10(wanted));
  const step = [1, 2, 5, 10].map((one) => one * ten).find((one) => one >= wanted);
  const decimals = Math.max(0, -Math.floor(Math.log10(step) + 1e-9));
  const found = [];
  for (let count = Math.ceil(low / step - 1e-9); count * step <= high + 1e-9 * step; count += 1)
    found.push({ value: count * step, words: fixed(count * step, decimals) });
  return found;
}

function axes(content, box, x, y) {
  const middle = (box.left + box.right) / 2;
  const across = ticks(y.low, y.high, (box.bottom - box.top) / 55);
  const along = ticks(x.low, x.high, (box.right - box.left) / 80);
  return svg(
    "g",
    { class: "axes", "font-size": TEXT },
    across.map(({ value, words }) => [
      svg("line", { class: "rule", x1: box.left, x2: box.right, y1: y(value), y2: y(value) }),
      svg(
        "text",
        { x: box.left - 7, y: y(value), "text-anchor": "end", "dominant-baseline": "central" },
        words,
      ),
    ]),
    along.map(({ value, words }) => [
      svg("line", {
        class: "tick",
        x1: x(value),
        x2: x(value),
        y1: box.bottom,
        y2: box.bottom + 5,
      }),
      svg("text", { x: x(value), y: box.bottom + 19, "text-anchor": "middle" }, words),
    ]),
    svg("line", { class: "edge", x1: box.left, x2: box.right, y1: box.bottom, y2: box.bottom }),
    svg(
      "text",
      { class: "named", x: middle, y: box.bottom + 38, "text-anchor": "middle" },
      `${content.x.label}, ${content.x.unit}`,
    ),
    svg(
      "text",
      {
        class: "named",
        x: 14,
        y: (box.top + box.bottom) / 2,
        "text-anchor": "middle",
        transform: `rotate(-90 14 ${(box.top + box.bottom) / 2})`,
      },
      `${content.y.label}, ${content.y.unit}`,
    ),
  );
}

function level({ y: value, name }, box, y) {
  return svg(
    "g",
    { class: "level" },
    svg("line", { x1: box.left, x2: box.right, y1: y(value), y2: y(value) }),
    name && svg("text", { x: box.left + 6, y: y(value) - 5, "font-size": TEXT }, name),
  );
}

function band(curve, x, y) {
  if (!curve.band?.length) return null;
  const upper = curve.band.map(([at, , high]) => `${x(at)},${y(high)}`);
  const lower = curve.band.map(([at, low]) => `${x(at)},${y(low)}`).reverse();
  return svg("polygon", { class: "band", points: [...upper, ...lower].join(" ") });
}

function path(curve, index, x, y) {
  let pen = "M";
  const way = curve.points.map(([at, value]) => {
    if (!Number.isFinite(value)) {
      pen = "M";
      return "";
    }
    const step = `${pen}${x(at).toFixed(1)} ${y(value).toFixed(1)}`;
    pen = "L";
    return step;
  });
  return svg("path", {
    class: `curve c${index % 6}`,
    d: way.join(""),
    "stroke-dasharray": DASHES[index % DASHES.length] || null,
  });
}

function cross({ x: at, y: value, low, high, name }, x, y) {
  const [left, top] = [x(at), y(value)];
  // Near the right edge the names of the curves stand: the point's goes to the other side.
  const turned = x(x.high) - left < 60;
  return svg(
    "g",
    { class: "point" },
    low !== undefined && svg("line", { x1: left, x2: left, y1: y(low), y2: y(high) }),
    svg("path", { d: `M${left - 5} ${top - 5}l10 10m0 -10l-10 10` }),
    name &&
      svg(
        "text",
        {
          x: left + (turned ? -8 : 8),
          y: top + (turned ? 18 : -8),
          "text-anchor": turned ? "end" : "start",
          "font-size": TEXT,
        },
        name,
      ),
  );
}

function names(curves, box, x, y) {
  const found = curves
    .map((curve, index) => ({
      index,
      name: curve.name,
      end: curve.points.filter(([, value]) => Number.isFinite(value)).at(-1),
    }))
    .filter(({ name, end }) => name && end)
    .map((one) => ({ ...one, at: y(one.end[1]) }))
    .sort((one, other) => one.at - other.at);
  let lowest = -Infinity;
  for (const one of found) {
    one.at = Math.max(one.at, lowest + TEXT + 3);
    lowest = one.at;
  }
  // What was pushed below the chart moves up again, and its neighbours before it.
  let highest = box.bottom;
  for (const one of [...found].reverse()) {
    one.at = Math.min(one.at, highest);
    highest = one.at - TEXT - 3;
  }
  return svg(
    "g",
    { "font-size": TEXT },
    found.map(({ index, name, end, at }) =>
      svg(
        "text",
        { class: `name c${index % 6}`, x: x(end[0]) + 8, y: at, "dominant-baseline": "central" },
        name,
      ),
    ),
  );
}
