// Carrying what was entered from one browser to another: a link, or a file.

import { handed, told } from "../parts/dialogs.js";
import { FORMAT, isState, replace, whole } from "./state.js";

const MARK = "#s=";

/** Characters of a state, far beyond what can be entered: a link could unfold to any size. */
const LONGEST = 500_000;

/** Take up what a link carries, where the page was opened by one; whether it was. */
export async function carried() {
  if (!location.hash.startsWith(MARK)) return false;
  const text = location.hash.slice(MARK.length);
  let state;
  try {
    state = JSON.parse(await inflated(bytesOf(text)));
  } catch {
    state = null;
  }
  if (isState(state)) replace(state);
  else
    told(
      "This link does not hold a set-up that this page can read. What you had entered is still here.",
    );
  // The link's text is taken away: reloading must not undo what is entered from here on.
  location.replace("#/setup");
  return true;
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
  try {
    const state = JSON.parse(await file.text());
    if (!isState(state))
      return `This is no file of this page (format ${FORMAT}). What you had entered is still here.`;
    replace(state);
    return "";
  } catch {
    return "This file cannot be read. What you had entered is still here.";
  }
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
