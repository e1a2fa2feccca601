// A shared screen forgets: after some minutes without a touch everything is cleared, with notice.

import { button, el, fill } from "../parts/dom.js";
import { reset } from "./state.js";

const KEPT = "arrowloft.idle";
const TOUCHED = "arrowloft.touched";
const NOTICE = 30;

/** What holds where storage is forbidden: until the page is closed. */
const held = new Map();

function kept(name) {
  try {
    return localStorage.getItem(name) ?? held.get(name);
  } catch {
    return held.get(name);
  }
}

function keep(name, value) {
  held.set(name, value);
  try {
    localStorage.setItem(name, value);
  } catch {
    // It is held above.
  }
}

/** Minutes without a touch after which everything is cleared; 0: never. */
export function idleMinutes() {
  return Number(kept(KEPT)) || 0;
}

/** Set them; they outlast the clearing. */
export function setIdleMinutes(minutes) {
  keep(KEPT, String(minutes));
  dispatchEvent(new Event("arrowloft-idle"));
}

/** Watch for touches. cleared: called after everything was cleared. */
export function watchIdle(cleared) {
  const dialog = el("dialog", { class: "idle", "aria-label": "Still there?" });
  document.body.append(dialog);
  let timer = null;
  let counting = null;

  function touched() {
    keep(TOUCHED, String(Date.now()));
    settle();
  }

  /** Wait on, from the last touch in any tab of this browser. */
  function settle() {
    clearTimeout(timer);
    clearInterval(counting);
    if (dialog.open) dialog.close();
    if (idleMinutes() > 0) timer = setTimeout(due, Math.max(0, left()));
  }

  /** Milliseconds until notice is given. */
  function left() {
    return idleMinutes() * 60000 - NOTICE * 1000 - (Date.now() - Number(kept(TOUCHED) ?? 0));
  }

  function due() {
    if (left() > 0) settle();
    else notice();
  }

  function notice() {
    let seconds = NOTICE;
    const words = el("p", { role: "status" });
    const say = () =>
      (words.textContent = `Everything entered here is cleared in ${seconds} seconds.`);
    say();
    fill(
      dialog,
      el("h2", {}, "Still there?"),
      words,
      button("I am still here", touched, { kind: "main" }),
    );
    if (!dialog.open) dialog.showModal();
    counting = setInterval(() => {
      seconds -= 1;
      say();
      if (left() > 0) settle();
      else if (seconds <= 0) clear();
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
