// What steps say that go by the set-up alone, once marks were corrected by shooting.

import { el } from "./dom.js";
import { hasEnds } from "../wire/verified.js";

/** That this step does not know of corrected marks; null where there are none. */
export function asEntered() {
  return hasEnds()
    ? el(
        "p",
        { class: "note" },
        "These marks are those of the set-up as it was entered, not yet corrected by what you shot: take the differences from here, and add them to your corrected marks.",
      )
    : null;
}
