// The sheet as it will be printed: seen on the screen, opened to be printed, kept.

import { offer } from "../../kept/carry.js";
import { button, el, fill } from "../../parts/dom.js";
import { Freshness } from "../../wire/freshness.js";
import { Question } from "../../wire/service.js";

const PRINT = "Print at 100 %, not fitted to the page, and check the line of 100 mm.";
const SHOWN =
  "The sheet as it will be printed: scales, card, code and the line of 100 mm to check the print by.";

/** The sheet, and the buttons that hand it out. refused(problem): told of a refusal. */
export class Preview {
  constructor(refused) {
    this.address = null;
    this.element = el("div", { class: "sheet" });
    this.status = el("p", { class: "help", role: "status" });
    this.buttons = el(
      "div",
      { class: "buttons" },
      button("Open the PDF to print", () => this.fetch((blob) => this.open(blob)), {
        kind: "main",
      }),
      button("Save the PDF", () => this.fetch(saved)),
      button("Save as SVG", () => this.svg && offer(this.svg, "sight-scale.svg")),
    );
    this.freshness = new Freshness(this.element);
    this.drawing = new Question("sight-scale", {
      accept: "image/svg+xml",
      host: this.freshness,
      answered: (svg) => this.show(svg),
      refused,
    });
    this.pdf = new Question("sight-scale", {
      accept: "application/pdf",
      answered: (blob) => this.then(blob),
      refused,
    });
  }

  ask(body) {
    this.body = body;
    this.drawing.ask(body, 250);
  }

  show(svg) {
    this.svg = svg;
    URL.revokeObjectURL(this.address);
    this.address = URL.createObjectURL(this.svg);
    const image = el("img", { src: this.address, alt: SHOWN });
    const enlarged = () => enlarge(this.address);
    fill(
      this.element,
      el(
        "button",
        { type: "button", class: "enlarge", "aria-haspopup": "dialog", on: { click: enlarged } },
        image,
        el("span", { class: "help" }, "Touch it to see it large."),
      ),
    );
  }

  /** Fetch the PDF. then(blob): hands it out, and may return what else is to be said. */
  fetch(then) {
    this.status.textContent = "";
    this.then = (blob) => (this.status.textContent = `${then(blob) ?? ""}${PRINT}`);
    this.pdf.ask(this.body, 0);
  }

  /** Open it beside this page, once it is there: a service that is lost leaves no empty tab. */
  open(blob) {
    const address = URL.createObjectURL(blob);
    if (globalThis.open(address, "_blank")) return "";
    // A browser opens nothing long after the touch, or never: then it is kept like a download.
    URL.revokeObjectURL(address);
    saved(blob);
    return "This browser opened nothing: the PDF is saved among its downloads instead. ";
  }

  stop() {
    this.drawing.stop();
    this.pdf.stop();
    URL.revokeObjectURL(this.address);
  }
}

function saved(blob) {
  offer(blob, "sight-scale.pdf");
}

/** The sheet over the whole screen, to be scrolled, until it is closed. */
function enlarge(address) {
  const dialog = el(
    "dialog",
    { class: "large", "aria-label": "The sheet, large" },
    el(
      "div",
      { class: "buttons" },
      button("Close", () => dialog.close(), { kind: "main" }),
    ),
    el("img", { src: address, alt: SHOWN }),
  );
  dialog.addEventListener("close", () => dialog.remove());
  document.body.append(dialog);
  dialog.showModal();
}
