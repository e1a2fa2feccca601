// Elements from names, attributes and children; nothing here ever parses HTML.

const SVG = "http://www.w3.org/2000/svg";

/**
 * An HTML element.
 * properties: attributes by name; `on` holds listeners by event, `class` the class names,
 * a value of null, undefined or false leaves an attribute out, true sets it empty.
 * children: nodes and texts; null and false are left out.
 */
export function el(name, properties = {}, ...children) {
  return filled(document.createElement(name), properties, children);
}

/** An SVG element, in the same way. */
export function svg(name, properties = {}, ...children) {
  return filled(document.createElementNS(SVG, name), properties, children);
}

function filled(element, properties, children) {
  for (const [name, value] of Object.entries(properties)) {
    if (name === "on") {
      for (const [event, listener] of Object.entries(value))
        element.addEventListener(event, listener);
    } else if (value !== null && value !== undefined && value !== false) {
      element.setAttribute(name, value === true ? "" : String(value));
    }
  }
  element.append(
    ...children.flat(Infinity).filter((one) => one !== null && one !== undefined && one !== false),
  );
  return element;
}

/** Put children in place of what the element holds. */
export function fill(element, ...children) {
  element.replaceChildren(
    ...children.flat(Infinity).filter((one) => one !== null && one !== undefined && one !== false),
  );
  return element;
}

let count = 0;

/** An id that no other element has. */
export function newId(stem) {
  count += 1;
  return `${stem}-${count}`;
}

/** A button with words on it. kind: "main" for what one would do next, "quiet" for the rest. */
export function button(words, pressed, { kind = "quiet", ...properties } = {}) {
  return el(
    "button",
    { type: "button", class: `button ${kind}`, on: { click: pressed }, ...properties },
    words,
  );
}

/** A table: heads of columns, rows of texts or nodes; the first cell of a row is its head. */
export function table(caption, heads, rows) {
  return el(
    "div",
    { class: "wide", tabindex: "0", role: "region", "aria-label": caption },
    el(
      "table",
      {},
      el("caption", {}, caption),
      el(
        "thead",
        {},
        el(
          "tr",
          {},
          heads.map((head) => el("th", { scope: "col" }, head)),
        ),
      ),
      el(
        "tbody",
        {},
        rows.map((row) =>
          el(
            "tr",
            {},
            row.map((cell, index) =>
              index ? el("td", {}, cell) : el("th", { scope: "row" }, cell),
            ),
          ),
        ),
      ),
    ),
  );
}
