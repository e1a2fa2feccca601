// A shared screen forgets: after some minutes without a touch everything is cleared, with notice.

import { button, el, fill } from "../parts/dom.js";
import { reset } from "./state.js";

const KEPT = "arrowloft.idle";
const NOTICE = 30;

/** Minutes without a touch after which everything is cleared; 0: never. */
export function idleMinutes() {
  try {
    return Number(localStorage.getItem(KEPT)) || 0;
  } catch {
    return 0;
  }
}

/** Set them; they outlast the clearing. */
export function setIdleMinutes(minutes) {
  try {
    localStorage.setItem(KEPT, String(minutes));
  } catch {
    // Without storage nothing is kept, and nothing needs clearing later.
  }
  dispatchEvent(new Event("arrowloft-idle"));
}

/** Watch for touches. cleared: called after everything was cleared. */
export function watchIdle(cleared) {
  const dialog = el("dialog", { class: "idle", "aria-label": "Still there?" });
  document.body.append(dialog);
  let timer = null;
  let counting = null;

  function touched() {
    clearTimeout(timer);
    clearInterval(counting);
    counting = null;
    if (dialog.open) dialog.close();
    const minutes = idleMinutes();
    if (minutes > 0) timer = setTimeout(notice, minutes * 60000 - NOTICE * 1000);
  }

  function notice() {
    let left = NOTICE;
    const words = el("p", { role: "status" });
    const say = () =>
      (words.textContent = `Everything entered here is cleared in ${left} seconds.`);
    say();
    fill(
      dialog,
      el("h2", {}, "Still there?"),
      words,
      button("I am still here", touched, { kind: "main" }),
    );
    if (!dialog.open) dialog.showModal();
    counting = setInterval(() => {
      left -= 1;
      say();
      if (left <= 0) clear();
    }, 1000);
  }

  function clear() {
    for (const open of document.querySelectorAll("dialog[open]")) open.close();
    reset();
    touched();
    cleared();
  }

  for (const event of ["pointerdown", "keydown", "wheel", "touchstart", "arrowloft-idle"]) {
    addEventListener(event, touched, { passive: true });
  }
  touched();
}
