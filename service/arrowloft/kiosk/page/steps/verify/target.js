// A target to touch: every touch is an arrow. Rings and grid are at true proportion.

import { button, el, fill, newId, svg } from "../../parts/dom.js";
import { watch } from "../../parts/fields.js";
import { get, set } from "../../kept/state.js";
import { parted, tidy } from "../../wire/units.js";
import { offUnit, touchedOf } from "../../wire/verified.js";
import { arrowList } from "./arrow_list.js";
import { placeWords } from "./words.js";

const MOST = 60;
/** How much wider than the face the drawing is: arrows land beside it too. */
const ROOM = 1.25;
const LARGEST = 560;
const MM = { cm: 10, in: 25.4 };

/** Widths of faces, cm. */
export const WIDTHS = [20, 40, 60, 80, 122];

/** Places of arrows in mm: {up, right} as numbers. */
export function places(end) {
  return touchedOf(end).map(({ up, right }) => ({
    up: Number(parted(up).number) || 0,
    right: Number(parted(right).number) || 0,
  }));
}

/** Middle and greatest distance of arrows, mm; null where there are none. */
export function middleOf(arrows) {
  if (!arrows.length) return null;
  const mean = (name) => arrows.reduce((sum, one) => sum + one[name], 0) / arrows.length;
  const apart = arrows.flatMap((one, index) =>
    arrows.slice(index + 1).map((other) => Math.hypot(one.up - other.up, one.right - other.right)),
  );
  return { up: mean("up"), right: mean("right"), across: Math.max(0, ...apart) };
}

/**
 * The target of an end.
 * own: path of the end in the state.  width: gives the face's width, mm.
 * Returns {element, beside, draw, mark}: beside has room for more, mark(flyers) rings arrows that
 * were left out.
 */
export function target({ own, width, name }) {
  const path = `${own}/touched`;
  const hint = el(
    "p",
    { class: "help", id: newId("target") },
    "Touch where each arrow landed; every touch is an arrow. Keys: the arrow keys move the cross (with Shift in small steps), Enter adds an arrow, Delete takes the nearest away.",
  );
  const where = el("p", { class: "unseen", role: "status" });
  const found = el("p", { class: "found" });
  const frame = el("div", {
    class: "target",
    tabindex: "0",
    role: "application",
    "aria-label": `Target of ${name}`,
    "aria-describedby": hint.id,
  });
  const cross = { up: 0, right: 0, shown: false };
  const before = [];
  let flyers = [];
  const arrows = () => places(get(own) ?? {});
  const put = (next) => {
    before.push(touchedOf(get(own) ?? {}));
    flyers = [];
    set(
      path,
      next.map(({ up, right }) => ({ up: `${tidy(up, 6)} mm`, right: `${tidy(right, 6)} mm` })),
    );
    draw();
  };
  const add = (place) => {
    if (arrows().length >= MOST) where.textContent = `No more than ${MOST} arrows to an end.`;
    else put([...arrows(), { up: Math.round(place.up), right: Math.round(place.right) }]);
  };
  const back = () => {
    if (before.length) set(path, before.pop());
    else set(path, touchedOf(get(own) ?? {}).slice(0, -1));
    draw();
  };
  const nearest = (place) => {
    const off = arrows().map((one) => Math.hypot(one.up - place.up, one.right - place.right));
    return off.indexOf(Math.min(...off));
  };
  const without = (index) => put(arrows().filter((_, other) => other !== index));
  const undo = button("Take back", back, { kind: "main" });
  const clear = button("Clear all arrows", () => put([]));
  const list = arrowList({ remove: without, emptied: () => frame.focus() });
  const beside = el(
    "div",
    { class: "beside" },
    found,
    el("div", { class: "buttons" }, undo, clear),
    list.element,
    where,
    hint,
  );
  const element = el("div", { class: "touched" }, frame, beside);

  function draw() {
    const all = arrows();
    fill(
      frame,
      drawing({
        side: Math.min(LARGEST, frame.clientWidth || 300),
        width: width(),
        all,
        flyers,
        cross,
      }),
    );
    undo.disabled = !before.length && !all.length;
    clear.disabled = !all.length;
    found.textContent = told(all, flyers);
    list.draw(all);
  }

  frame.addEventListener("click", (event) => {
    const box = frame.firstElementChild.getBoundingClientRect();
    const scale = (ROOM * width()) / box.width;
    const place = {
      up: (box.top + box.height / 2 - event.clientY) * scale,
      right: (event.clientX - box.left - box.width / 2) * scale,
    };
    add(place);
  });
  frame.addEventListener("keydown", (event) => {
    const by = (event.shiftKey ? 0.2 : 1) * MM[offUnit()] * (offUnit() === "in" ? 0.5 : 1);
    const way = { ArrowUp: [1, 0], ArrowDown: [-1, 0], ArrowRight: [0, 1], ArrowLeft: [0, -1] }[
      event.key
    ];
    if (way) move(way[0] * by, way[1] * by);
    else if (event.key === "Enter" || event.key === " ") {
      add(cross);
      where.textContent = told(arrows());
    } else if (event.key === "Delete" || event.key === "Backspace") {
      const hit = nearest(cross);
      if (hit >= 0) without(hit);
      where.textContent = told(arrows());
    } else return;
    event.preventDefault();
  });
  const move = (up, right) => {
    const edge = (ROOM * width()) / 2;
    cross.up = Math.min(edge, Math.max(-edge, cross.up + up));
    cross.right = Math.min(edge, Math.max(-edge, cross.right + right));
    cross.shown = true;
    where.textContent = placeWords(
      cross.up / MM[offUnit()],
      cross.right / MM[offUnit()],
      offUnit(),
    );
    draw();
  };
  frame.addEventListener("blur", () => {
    cross.shown = false;
    draw();
  });
  new ResizeObserver(draw).observe(frame);
  watch(frame, ["system"], draw);
  return {
    element,
    beside,
    draw,
    mark(left) {
      flyers = left ?? [];
      draw();
    },
  };
}

/** How many arrows there are, and where the middle of those that count lies. */
function told(all, flyers = []) {
  const counted = all.filter((_, index) => !flyers.includes(index));
  const middle = middleOf(counted);
  if (!middle) return "No arrow yet.";
  const unit = offUnit();
  const out = all.length - counted.length;
  const count = `${counted.length} ${counted.length === 1 ? "arrow" : "arrows"}${out ? ` and ${out} left out` : ""}`;
  const across = counted.length > 1 ? `, ${tidy(middle.across / MM[unit], 3)} ${unit} across` : "";
  return `${count}${across}. Middle: ${placeWords(middle.up / MM[unit], middle.right / MM[unit], unit)}.`;
}

function drawing({ side, width, all, flyers, cross }) {
  const scale = side / (ROOM * width);
  const x = (right) => side / 2 + right * scale;
  const y = (up) => side / 2 - up * scale;
  const middle = middleOf(all.filter((_, index) => !flyers.includes(index)));
  return svg(
    "svg",
    { viewBox: `0 0 ${side} ${side}`, width: side, height: side, "aria-hidden": "true" },
    svg("rect", { class: "ground", x: 0, y: 0, width: side, height: side }),
    [5, 4, 3, 2, 1].map((ring) =>
      svg("circle", {
        class: `ring r${ring}`,
        cx: side / 2,
        cy: side / 2,
        r: (ring * width * scale) / 10,
      }),
    ),
    grid(width, side, x, y),
    svg("path", { class: "aim", d: `M${side / 2 - 9} ${side / 2}h18m-9 -9v18` }),
    all.length > 1 &&
      middle &&
      svg("path", {
        class: "middle",
        d: `M${x(middle.right)} ${y(middle.up) - 9}l9 9l-9 9l-9 -9z`,
      }),
    all.map((one, index) => arrow(one, index, flyers.includes(index), x, y)),
    cross.shown &&
      svg("path", { class: "cross", d: `M${x(cross.right) - 16} ${y(cross.up)}h32m-16 -16v32` }),
  );
}

function arrow({ up, right }, index, flyer, x, y) {
  return svg(
    "g",
    { class: "arrow" },
    flyer && svg("circle", { class: "flyer", cx: x(right), cy: y(up), r: 13 }),
    svg("circle", { class: "hole", cx: x(right), cy: y(up), r: 5 }),
    svg("text", { x: x(right) + 8, y: y(up) - 6, "font-size": 13 }, String(index + 1)),
  );
}

function grid(width, side, x, y) {
  const unit = offUnit();
  const [fine, middling, wide] = unit === "in" ? [1, 2, 4] : [2, 5, 10];
  const step = width <= 250 ? fine : width <= 600 ? middling : wide;
  const count = Math.floor((ROOM * width) / 2 / (step * MM[unit]) - 0.2);
  const lines = Array.from({ length: 2 * count + 1 }, (_, index) => index - count);
  const named = (line) => (line % 2 === 0 && line !== 0 ? `${Math.abs(line) * step}` : null);
  return svg(
    "g",
    { class: "grid", "font-size": 12 },
    lines.map((line) => {
      const at = line * step * MM[unit];
      return [
        svg("line", {
          x1: 0,
          x2: side,
          y1: y(at),
          y2: y(at),
          class: line === 0 ? "through" : null,
        }),
        svg("line", {
          y1: 0,
          y2: side,
          x1: x(at),
          x2: x(at),
          class: line === 0 ? "through" : null,
        }),
        named(line) && svg("text", { x: 4, y: y(at), "dominant-baseline": "central" }, named(line)),
        named(line) && svg("text", { x: x(at), y: side - 5, "text-anchor": "middle" }, named(line)),
      ];
    }),
    svg("text", { x: side / 2 + 6, y: 14 }, `up, ${unit}`),
    svg("text", { x: side - 5, y: side / 2 - 6, "text-anchor": "end" }, "right"),
  );
}
