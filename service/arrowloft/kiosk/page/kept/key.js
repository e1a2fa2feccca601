// The key that a service may ask for. It lives in this browser, apart from what was entered, so
// that no link, file or printed code ever holds it, and leaves it in requests alone.

export const KEPT = "arrowloft.key";

/** What may be sent as a key: a header takes no more than this. */
const SENDABLE = /^[\x21-\x7e]{1,500}$/;

/** What holds where storage is forbidden: until the page is closed. */
let held = "";

/** The key; "" where there is none. */
export function key() {
  let kept = held;
  try {
    kept = localStorage.getItem(KEPT) ?? held;
  } catch {
    // It is held above.
  }
  return SENDABLE.test(kept) ? kept : "";
}

/** Keep a key; whether the text can be one at all. */
export function keepKey(text) {
  const found = text.trim();
  if (!SENDABLE.test(found)) return false;
  held = found;
  try {
    localStorage.setItem(KEPT, found);
  } catch {
    // It is held above.
  }
  return true;
}

/** Forget it. */
export function forgetKey() {
  held = "";
  try {
    localStorage.removeItem(KEPT);
  } catch {
    // Where storage is forbidden nothing was kept.
  }
}
