// Words in a drawing, each at the first place where it covers nothing else.

import { svg } from "../../parts/dom.js";

const TEXT = 14;
const LINE = 17;

/** Width of a letter, pixels; a little on the safe side. */
const LETTER = 7.4;

/** How far up or down words may be from what they belong to, pixels. */
const UPS = [0, -20, 20, -40, 40, -60, 60, -85, 85, -110, 110];

/** Off the middle of a bar, beside the handle on it, pixels. */
const HANDLE = 29;

/** What a pixel away from the best place, and being cut off, weigh against a pixel covered. */
const DISTANT = 4;
const OUTSIDE = 1e5;

/** Places for words within a box. keepFree: a rectangle that words must not cover, with its weight. */
export function labels(box) {
  const taken = [];

  function placed(lines, places) {
    const width = LETTER * Math.max(...lines.map((one) => one.length));
    const boxes = places.map(({ x, y, anchor, far = 0 }) => {
      const start = anchor === "end" ? x - width : anchor === "middle" ? x - width / 2 : x;
      // What would be cut off at a side is pushed back in.
      const shift = Math.max(0, box.left + 2 - start) - Math.max(0, start + width - box.right);
      const left = start + shift;
      const [top, bottom] = [y - LINE / 2, y + LINE * (lines.length - 0.5)];
      const outside = top < box.top || bottom > box.bottom ? OUTSIDE : 0;
      const one = { x: x + shift, y, anchor, left, right: left + width, top, bottom };
      return { ...one, cost: covered(one, taken) + outside + DISTANT * (far + Math.abs(shift)) };
    });
    return boxes.reduce((one, other) => (other.cost < one.cost ? other : one));
  }

  function text(lines, place, kind) {
    taken.push(place);
    const x = place.x.toFixed(1);
    return svg(
      "text",
      {
        class: `label ${kind}`,
        x,
        y: place.y.toFixed(1),
        "text-anchor": place.anchor,
        "font-size": TEXT,
      },
      lines.map((line, index) =>
        svg(
          "tspan",
          {
            class: lines.length > 1 && index === 0 ? "first" : null,
            x,
            dy: index ? LINE : 0,
            "dominant-baseline": "central",
          },
          line,
        ),
      ),
    );
  }

  const ways = (x, y, downs, anchor) =>
    downs.map((down) => ({ x, y: y + down, anchor, far: Math.abs(down) / 2 }));

  return {
    keepFree: (rectangle) => taken.push(rectangle),
    /** Lines beside an upright bar: right or left of it, higher or lower. */
    beside(x, y, gap, lines, kind) {
      const sides = x < (box.left + box.right) / 2 ? ["start", "end"] : ["end", "start"];
      const up = (LINE * (lines.length - 1)) / 2;
      const places = UPS.flatMap((way) =>
        sides.flatMap((anchor) =>
          [gap, HANDLE].map((off) => ({
            x: anchor === "start" ? x + off : x - off,
            y: y + way - up,
            anchor,
            far: Math.abs(way) + off - gap,
          })),
        ),
      );
      return text(lines, placed(lines, places), kind);
    },
    /** A word near a point: above or below it, in its middle or to a side. */
    near(x, y, word) {
      const downs = [-18, 20, -36, 38, -54, 56];
      const places = [
        ...ways(x, y, downs, "middle"),
        ...ways(x + 10, y, downs, "start"),
        ...ways(x - 10, y, downs, "end"),
      ];
      return text([word], placed([word], places), "soft");
    },
    /** A word near a point where there is room for it; null where there is none. */
    spare(x, y, word, downs, anchor = "middle") {
      const place = placed([word], ways(x, y, downs, anchor));
      return covered(place, taken) > 0 || place.top < box.top || place.bottom > box.bottom
        ? null
        : text([word], place, "soft");
    },
  };
}

/** How much of a rectangle others cover, pixels squared. */
function covered(one, others) {
  return others.reduce((sum, other) => {
    const wide = Math.min(one.right, other.right) - Math.max(one.left, other.left);
    const high = Math.min(one.bottom, other.bottom) - Math.max(one.top, other.top);
    return sum + (wide > 0 && high > 0 ? wide * high * (other.weight ?? 1) : 0);
  }, 0);
}
