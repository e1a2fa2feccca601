// Carrying what was entered from one browser to another: a link, or a file.

import { asked, handed, told } from "../parts/dialogs.js";
import { isRequest, stateOf } from "./requests.js";
import { hasEntries, isState, replace, whole } from "./state.js";

const MARK = "#s=";

/** Characters of a state, far beyond what can be entered: a link could unfold to any size. */
const LONGEST = 500_000;

/** Take up what a link carries, where the page was opened by one; whether it was. */
export async function carried() {
  if (!location.hash.startsWith(MARK)) return false;
  const carriedText = location.hash.slice(MARK.length);
  // The link's text is taken away: reloading must not undo what is entered from here on.
  location.replace("#/setup");
  const text = await unpacked(carriedText);
  const fault = await takenUp(text, "this link");
  if (fault) await told(fault);
  return true;
}

/**
 * Take up a text: a state, or a request as the code of a printed sheet holds it. Where other
 * entries stand here, it is asked first. from: what it came from, in words.
 * Returns a sentence where nothing can be taken up, else nothing.
 */
export async function takenUp(text, from) {
  const state = read(text);
  if (!state)
    return `There is nothing in ${from} that this page can take up. What you had entered is still here.`;
  if (hasEntries() && !(await agreed(from))) return "";
  replace(state);
  return "";
}

function agreed(from) {
  return asked(
    `Take up the set-up of ${from}, in place of what you entered here? Yours can be brought back once: Menu, Bring back mine.`,
    "Take it up",
  );
}

/** The state that a text holds; null where it holds none. */
function read(text) {
  if (text.length > LONGEST) return null;
  try {
    const found = JSON.parse(text);
    if (isState(found)) return found;
    return isRequest(found) ? stateOf(found) : null;
  } catch {
    return null;
  }
}

/** Put a link with all that was entered on the clipboard; what to say of it. */
export async function shared() {
  const link = `${location.origin}${location.pathname}${MARK}${textOf(await deflated(JSON.stringify(whole())))}`;
  try {
    await navigator.clipboard.writeText(link);
    return "The link is copied. Whoever opens it has your set-up.";
  } catch {
    await handed("Copy this link:", link);
    return "Whoever opens that link has your set-up.";
  }
}

/** Save all that was entered as a file. */
export function saved() {
  const name = `arrowloft-${new Date().toISOString().slice(0, 10)}.json`;
  offer(new Blob([JSON.stringify(whole(), null, 2)], { type: "application/json" }), name);
}

/** Take up a file that was saved here; a sentence where that cannot be done, else nothing. */
export async function opened(file) {
  if (!file) return "";
  if (file.size > LONGEST)
    return "This file is too large to be one of this page. What you had entered is still here.";
  return takenUp(await file.text().catch(() => ""), "this file");
}

/** Offer a blob as a download. */
export function offer(blob, name) {
  const address = URL.createObjectURL(blob);
  const link = document.createElement("a");
  link.href = address;
  link.download = name;
  link.click();
  setTimeout(() => URL.revokeObjectURL(address), 60000);
}

async function unpacked(text) {
  try {
    return await inflated(bytesOf(text));
  } catch {
    return "";
  }
}

async function deflated(text) {
  const stream = new Blob([text]).stream().pipeThrough(new CompressionStream("deflate-raw"));
  return new Uint8Array(await new Response(stream).arrayBuffer());
}

async function inflated(bytes) {
  const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("deflate-raw"));
  const decoder = new TextDecoder();
  let text = "";
  for (const reader = stream.getReader(); ;) {
    const { done, value } = await reader.read();
    if (done) return text + decoder.decode();
    text += decoder.decode(value, { stream: true });
    if (text.length > LONGEST) throw new Error("too long");
  }
}

/** Bytes as text that may stand in a link: base64url, without padding (RFC 4648). */
function textOf(bytes) {
  return btoa(String.fromCharCode(...bytes))
    .replaceAll("+", "-")
    .replaceAll("/", "_")
    .replace(/=+$/, "");
}

function bytesOf(text) {
  return Uint8Array.from(atob(text.replaceAll("-", "+").replaceAll("_", "/")), (sign) =>
    sign.charCodeAt(0),
  );
}
