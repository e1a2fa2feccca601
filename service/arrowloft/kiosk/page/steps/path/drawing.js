// The arrow's way, drawn from the side or from above, with what stands in it.

import { ticks } from "../../parts/chart.js";
import { el, fill, newId, svg } from "../../parts/dom.js";
import { handles } from "./handles.js";
import { labels } from "./labels.js";
import { fixed } from "../../wire/units.js";

const MARGIN = { top: 30, right: 12, bottom: 28, left: 44 };
const TEXT = 14;
const REACH = 30;

/** Pixels from one handle to the next. */
const APART = 52;

/** Width below which bars are thinner and the drawing lower, pixels. */
const NARROW = 500;

/** Room for a handle, and for what is said, beyond what is drawn, pixels. */
const ROOM = 74;

/**
 * A drawing that fills the width of where it stands, whose bars are dragged.
 * moved(key, {distance, value}), stepped(key, along, across), released(): see `handles`.
 * downward: greater values lie lower, as right does when one looks along the arrow from above.
 * Returns {element, draw(scene)}. A scene has
 *   units {distance, height}, label of the heights, legend below the drawing and what `across` is,
 *   title and description for those who cannot see it,
 *   target {distance, name}, path [[distance, value], ...], pathName, apex [distance, value],
 *   ground [[distance, value], ...] or null,
 *   bars [{distance, low, high, touched, faint, name, words, margin [from, to]}]; null: without end,
 *   handles [{key, distance, value, side (-1 below it, 1 above), only, label, valuetext}].
 */
export function drawing({ moved, stepped, released = () => {}, downward = false, height }) {
  const layer = el("div", { class: "handles" });
  const picture = el("div", { class: "picture" });
  const said = el("figcaption", { class: "help" });
  const element = el(
    "figure",
    { class: "chart way" },
    el("div", { class: "stage" }, picture, layer),
    said,
  );
  let scene = null;
  let frame = null;
  let held = false;
  const show = handles(layer, {
    dragged: (key, x, y) => {
      const one = scene.handles.find((other) => other.key === key);
      if (!one) return;
      moved(key, {
        distance:
          x === undefined ? undefined : frame.x.back(clamped(x, frame.box.left, frame.box.right)),
        value:
          y === undefined
            ? undefined
            : frame.y.back(clamped(y - offset(one, downward), frame.box.top, frame.box.bottom)),
      });
    },
    pressed: (key, along, across) => stepped(key, along, downward ? -across : across),
    held: (on) => {
      held = on;
      if (on) return;
      redraw();
      released();
    },
  });
  function redraw() {
    if (!scene) return;
    const width = Math.max(280, picture.clientWidth || 600);
    const tall = height ?? (width < NARROW ? 380 : 440);
    // What is dragged must not run away from under the finger: scales stay as long as it is held.
    if (!held || !frame || frame.width !== width) frame = framed(scene, width, tall, downward);
    fill(picture, sketch(scene, frame, downward));
    fill(
      said,
      `${scene.legend} ${stretch(scene, frame)}`,
      !downward && scene.handles.length > 0 && hint(),
    );
    const places = spots(scene, frame, downward);
    show(scene.handles.map((one, index) => ({ ...places[index], ...worded(one, scene) })));
  }
  new ResizeObserver(redraw).observe(picture);
  return {
    element,
    draw(next) {
      scene = next;
      redraw();
    },
  };
}

function clamped(value, low, high) {
  return Math.min(high, Math.max(low, value));
}

/** Pixels from an edge down to its handle, which lies off the arrow's way. */
function offset({ side }, downward) {
  return (downward ? side : -side) * REACH;
}

/** Where the handles are; one that is moved along the way alone is held where it covers no other. */
function spots({ handles: all }, { box, x, y }, downward) {
  const found = all.map((one) => ({
    key: one.key,
    x: x(one.distance),
    y: one.only ? NaN : y(one.value) + offset(one, downward),
  }));
  const near = (one, other) =>
    Math.abs(one.x - other.x) < APART && Math.abs(one.y - other.y) < APART;
  for (const one of found.filter((other) => Number.isNaN(other.y))) {
    one.y = box.bottom - REACH;
    while (one.y > box.top + REACH && found.some((other) => other !== one && near(one, other)))
      one.y -= APART / 8;
  }
  return found;
}

function worded({ label, valuetext, only, distance, value }, { target }) {
  return {
    label,
    valuetext,
    only,
    now: fixed(only ? distance : value, 1).replace("−", "-"),
    least: only ? 1 : -9999,
    most: only ? fixed(target.distance, 1) : 9999,
  };
}

function framed(scene, width, height, downward) {
  const box = {
    left: MARGIN.left,
    top: MARGIN.top,
    right: width - MARGIN.right,
    bottom: height - MARGIN.bottom,
  };
  const values = [
    0,
    ...scene.path.map(([, value]) => value),
    ...scene.bars.flatMap(({ low, high, margin }) => [low, high, ...(margin ?? [])]),
  ];
  const known = values.filter((value) => Number.isFinite(value));
  const least = scene.units.height === "in" ? 16 : 40;
  const [low, high] = [Math.min(...known), Math.max(...known)];
  const more = Math.max(0, least - (high - low)) / 2;
  const unit = (high - low + 2 * more) / (box.bottom - box.top - 2 * ROOM);
  const ends = [low - more - ROOM * unit, high + more + ROOM * unit];
  return {
    box,
    width,
    height,
    bar: width < NARROW ? 16 : 22,
    x: scale([0, scene.target.distance], [box.left, box.right - 10]),
    y: scale(ends, downward ? [box.top, box.bottom] : [box.bottom, box.top]),
  };
}

function scale([low, high], [first, last]) {
  const at = (value) => first + ((value - low) / (high - low)) * (last - first);
  const back = (place) => low + ((place - first) / (last - first)) * (high - low);
  return Object.assign(at, { low, high, back, size: Math.abs((last - first) / (high - low)) });
}

/** How much more heights are stretched than distances. */
function stretch({ across, stretchUnit }, { x, y }) {
  const times = (y.size * stretchUnit) / x.size;
  return `${across} are drawn ${fixed(times, times < 3 ? 1 : 0)} times larger than distances.`;
}

/** How handles are moved; the keys are of use where there is a keyboard. */
function hint() {
  return [
    " Drag the round handles",
    el(
      "span",
      { class: "keys" },
      ", or move them with the arrow keys: with Shift ten times as far",
    ),
    ".",
  ];
}

function sketch(scene, frame, downward) {
  const { width, height, box, x, y } = frame;
  const hatch = newId("hatch");
  const put = labels(box);
  for (const { x: left, y: top } of spots(scene, frame, downward)) {
    put.keepFree({ left: left - 25, right: left + 25, top: top - 25, bottom: top + 25, weight: 6 });
  }
  for (const [at, value] of scene.path)
    put.keepFree({ left: x(at) - 6, right: x(at) + 6, top: y(value) - 3, bottom: y(value) + 3 });
  const bars = scene.bars.map((bar) => drawnBar(bar, frame, hatch));
  for (const { bar, rectangle } of bars) {
    if (!bar.faint) put.keepFree(rectangle);
    if (bar.margin) put.keepFree(upright(x(bar.distance), bar.margin.map(y)));
  }
  return svg(
    "svg",
    {
      viewBox: `0 0 ${width} ${height}`,
      width,
      height,
      role: "img",
      "aria-label": `${scene.title}. ${scene.description}`,
    },
    svg("defs", {}, hatched(hatch, 45), hatched(`${hatch}-ground`, -60)),
    axes(scene, frame),
    ground(scene, frame, `${hatch}-ground`),
    bars.map((bar) => bar.body),
    svg("line", { class: "sight", x1: x(0), x2: x(scene.target.distance), y1: y(0), y2: y(0) }),
    svg("path", {
      class: "flown",
      d: scene.path
        .map(
          ([at, value], index) => `${index ? "L" : "M"}${x(at).toFixed(1)} ${y(value).toFixed(1)}`,
        )
        .join(""),
    }),
    ends(scene, frame),
    bars.map((bar) => bar.margin),
    bars.map((bar) => words(bar, frame, put)),
    named(scene, frame, put),
  );
}

function hatched(id, turn) {
  return svg(
    "pattern",
    {
      id,
      width: 7,
      height: 7,
      patternUnits: "userSpaceOnUse",
      patternTransform: `rotate(${turn})`,
    },
    svg("line", { class: "hatch", x1: 0, x2: 0, y1: 0, y2: 7 }),
  );
}

function axes({ units, label }, { box, x, y }) {
  return svg(
    "g",
    { class: "axes", "font-size": TEXT - 1 },
    ticks(y.low, y.high, (box.bottom - box.top) / 50).map(({ value, words }) => [
      svg("line", { class: "rule", x1: box.left, x2: box.right, y1: y(value), y2: y(value) }),
      svg(
        "text",
        { x: box.left - 6, y: y(value), "text-anchor": "end", "dominant-baseline": "central" },
        words,
      ),
    ]),
    ticks(x.low, x.high, (box.right - box.left) / 60).map(
      ({ value, words: number }, index, all) => [
        svg("line", {
          class: "tick",
          x1: x(value),
          x2: x(value),
          y1: box.bottom,
          y2: box.bottom + 5,
        }),
        svg(
          "text",
          { x: x(value), y: box.bottom + 20, "text-anchor": "middle" },
          index === all.length - 1 ? `${number} ${units.distance}` : number,
        ),
      ],
    ),
    svg("line", { class: "edge", x1: box.left, x2: box.right, y1: box.bottom, y2: box.bottom }),
    svg("text", { x: 8, y: 18 }, `${label}, ${units.height}`),
  );
}

function ground({ ground: line }, { box, x, y }, hatch) {
  if (!line || line.every(([, value]) => value < y.low)) return null;
  const top = line.map(
    ([at, value]) => `${x(at).toFixed(1)},${clamped(y(value), box.top, box.bottom).toFixed(1)}`,
  );
  return svg(
    "g",
    { class: "ground" },
    svg("polygon", {
      points: [...top, `${x(line.at(-1)[0])},${box.bottom}`, `${x(line[0][0])},${box.bottom}`].join(
        " ",
      ),
      fill: `url(#${hatch})`,
    }),
    svg("polyline", { points: top.join(" ") }),
  );
}

/** The archer's eye at one end of the line of sight, the target at the other. */
function ends({ target }, { x, y }) {
  const far = x(target.distance);
  return svg(
    "g",
    { class: "ends" },
    svg("circle", { cx: x(0), cy: y(0), r: 4 }),
    svg("line", { x1: far, x2: far, y1: y(0) - 22, y2: y(0) + 22 }),
    svg("line", { x1: far - 5, x2: far + 5, y1: y(0), y2: y(0) }),
  );
}

function drawnBar(bar, { box, x, y, bar: width }, hatch) {
  const ends = [bar.low === null ? y.low : bar.low, bar.high === null ? y.high : bar.high].map(
    (value) => clamped(y(value), box.top, box.bottom),
  );
  const [top, bottom] = [Math.min(...ends), Math.max(...ends)];
  const left = x(bar.distance) - width / 2;
  const edge = (value) =>
    svg("line", { x1: left - 4, x2: left + width + 4, y1: y(value), y2: y(value) });
  const body = svg(
    "g",
    { class: `bar${bar.touched ? " touched" : ""}${bar.faint ? " faint" : ""}` },
    svg("rect", { x: left, y: top, width, height: bottom - top, fill: `url(#${hatch})` }),
    [bar.low, bar.high]
      .filter((value) => value !== null && value >= y.low && value <= y.high)
      .map(edge),
  );
  return {
    bar,
    body,
    rectangle: { left, right: left + width, top, bottom },
    margin: bar.margin && dimension(bar, x(bar.distance), y),
  };
}

function upright(at, [one, other]) {
  return { left: at - 4, right: at + 4, top: Math.min(one, other), bottom: Math.max(one, other) };
}

/** What a thing is called and what was found of it, beside its edge or its margin. */
function words({ bar }, { box, x, y, bar: width }, put) {
  const near = bar.margin
    ? (y(bar.margin[0]) + y(bar.margin[1])) / 2
    : y(bar.low ?? bar.high ?? 0.75 * y.low + 0.25 * y.high);
  const found = (bar.words ?? "").split(box.right - box.left < NARROW ? /(?<=:) / : "\n");
  return put.beside(
    x(bar.distance),
    clamped(near, box.top + 20, box.bottom - 20),
    width / 2 + 7,
    [bar.name, ...found].filter(Boolean),
    bar.touched ? "touched" : "",
  );
}

/** What is free between an edge and the arrow, or how deep the arrow is in. */
function dimension({ margin: [edge, arrow], touched }, at, y) {
  const [from, to] = [y(edge), y(arrow)];
  return svg(
    "g",
    { class: `free${touched ? " touched" : ""}` },
    svg("line", { x1: at, x2: at, y1: from, y2: to }),
    svg("line", { x1: at - 5, x2: at + 5, y1: to, y2: to }),
    touched && svg("path", { d: `M${at - 8} ${to - 8}l16 16m0 -16l-16 16` }),
  );
}

function named({ apex, apexName, path, pathName, ground: line, target }, { box, x, y }, put) {
  const onward = pathName && path.find(([at]) => at > 0.7 * target.distance);
  return svg(
    "g",
    { class: "names" },
    apex && [
      svg("path", { class: "apex", d: `M${x(apex[0])} ${y(apex[1]) - 6}l6 6l-6 6l-6 -6z` }),
      put.near(x(apex[0]), y(apex[1]), apexName),
    ],
    put.spare(x(target.distance) + 8, y(0) + 34, target.name, [0, 18, 36, -68, -86], "end"),
    put.spare(x(0) + 8, y(0), "line of sight", [16, -14], "start"),
    onward && put.spare(x(onward[0]) + 10, y(onward[1]), pathName, [-8, -20], "start"),
    line &&
      line[0][1] > y.low &&
      put.spare(
        x(0) + 20,
        clamped(y(line[0][1]), box.top, box.bottom) + 16,
        "ground",
        [0, 14],
        "start",
      ),
  );
}
