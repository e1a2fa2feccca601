// The service's own pictures and tables of what a step shows, to be kept or printed.

import { offer } from "../kept/carry.js";
import { button, el } from "./dom.js";
import { computed, line, Lost, Problem } from "../wire/service.js";

const NAMES = {
  "application/pdf": ["Picture as PDF", "pdf"],
  "image/svg+xml": ["Picture as SVG", "svg"],
  "text/csv": ["Table as CSV", "csv"],
};

/**
 * Buttons that fetch a computation in other forms.
 * body: makes the request as it is then.  forms: media types.
 */
export function pictures(resource, body, forms = ["application/pdf", "image/svg+xml", "text/csv"]) {
  const said = el("p", { class: "help", role: "status" });
  const take = async (form) => {
    said.textContent = "";
    try {
      const response = await computed(resource, body(), { accept: form });
      offer(await response.blob(), `${resource}.${NAMES[form][1]}`);
    } catch (error) {
      if (error instanceof Problem)
        said.textContent = error.errors.map((one) => one.detail).join(" ") || error.message;
      else if (error instanceof Lost) line.say(true, () => take(form));
      else throw error;
    }
  };
  return el(
    "div",
    { class: "downloads" },
    el(
      "div",
      { class: "buttons" },
      forms.map((form) => button(NAMES[form][0], () => take(form))),
    ),
    said,
  );
}
