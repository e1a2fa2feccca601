// The field for a key, shown where the service asks for one.

import { keepKey, KEPT } from "../kept/key.js";
import { button, el, fill, newId } from "../parts/dom.js";
import { line } from "../wire/service.js";

const WHAT =
  "This service asks for a key: whoever runs it gives you one. It stays in this browser, goes to this service with every request, and is cleared with all else.";
const WRONG = "This key is not valid here, or no longer. Ask whoever runs the service for one that is.";
const ODD = "This is no key: copy it just as it was given to you, without spaces.";

/** Show the field in its place for as long as the service wants a key. */
export function watchGate(host) {
  let shown = null;

  function show() {
    if (line.locked === shown) return;
    const before = shown;
    shown = line.locked;
    host.hidden = !shown;
    // Who is about to type a key keeps the field: only what is said of it changes.
    if (!before || !shown) fill(host, shown && form(host));
    if (shown) say(host, shown === "wrong" ? WRONG : "");
    // Without a key nothing is answered: it may be wanted anew while another place is read.
    if (!before) host.scrollIntoView({ block: "nearest" });
  }

  line.addEventListener("change", show);
  // Another tab of this browser was given a key.
  addEventListener("storage", (event) => {
    if (event.key === KEPT && event.newValue && line.locked) line.retry();
  });
}

function form(host) {
  const [id, told] = [newId("key"), newId("told")];
  const input = el("input", {
    id,
    type: "text",
    autocomplete: "off",
    autocapitalize: "off",
    spellcheck: "false",
    maxlength: "500",
    "aria-describedby": told,
  });
  const submit = (event) => {
    event.preventDefault();
    if (!keepKey(input.value)) return say(host, ODD);
    // It is wrong only once that was said of it.
    line.lock("wanted");
    say(host, "");
    line.retry();
  };
  return [
    el("p", { role: "alert" }, WHAT),
    el(
      "form",
      { class: "gate", on: { submit } },
      el("div", { class: "field" }, el("label", { for: id }, "Key"), input),
      button("Use this key", null, { kind: "main", type: "submit" }),
    ),
    el("p", { id: told, class: "error", role: "alert", hidden: true }),
  ];
}

function say(host, words) {
  const told = host.querySelector(".error");
  told.textContent = words;
  told.hidden = !words;
  host.querySelector("input").setAttribute("aria-invalid", String(Boolean(words)));
}
