// Questions and messages that wait for an answer, with targets as large as elsewhere.

import { button, el } from "./dom.js";

/** Say something, and wait until it was read. */
export function told(words) {
  return opened(words, [["Close", true, "main"]]);
}

/** Ask for a yes; whether it was given. yes: words of that button. */
export function asked(words, yes) {
  return opened(words, [
    ["Cancel", false, "quiet"],
    [yes, true, "main"],
  ]);
}

/** Show a text to be copied by hand. */
export function handed(words, text) {
  const field = el("input", {
    type: "text",
    readonly: true,
    value: text,
    "aria-label": words,
    class: "handed",
  });
  const done = opened(words, [["Close", true, "main"]], field);
  field.select();
  return done;
}

/** Ask for a text of many lines; null where it was not given. yes: words of that button. */
export async function pasted(words, yes) {
  const field = el("textarea", {
    rows: "8",
    "aria-label": "Text of the code",
    autocomplete: "off",
    spellcheck: "false",
    class: "handed",
  });
  const answers = [
    ["Cancel", false, "quiet"],
    [yes, true, "main"],
  ];
  const done = opened(words, answers, field);
  field.focus();
  return (await done) ? field.value : null;
}

function opened(words, answers, ...more) {
  return new Promise((resolve) => {
    const dialog = el("dialog", { "aria-label": words }, el("p", {}, words), more);
    const answer = (value) => {
      dialog.remove();
      resolve(value);
    };
    dialog.append(
      el(
        "div",
        { class: "buttons" },
        answers.map(([text, value, kind]) => button(text, () => answer(value), { kind })),
      ),
    );
    // Escape closes it, as everywhere, and so does a screen that forgets.
    dialog.addEventListener("close", () => answer(false));
    document.body.append(dialog);
    dialog.showModal();
  });
}
