// Carrying what was entered from one browser to another: a link, or a file.

import { FORMAT, isState, replace, whole } from "./state.js";

const MARK = "#s=";

/** Take up what a link carries, where the page was opened by one; whether it was. */
export async function carried() {
  if (!location.hash.startsWith(MARK)) return false;
  const text = location.hash.slice(MARK.length);
  let state = null;
  try {
    state = JSON.parse(await inflated(bytesOf(text)));
  } catch {
    state = null;
  }
  if (isState(state)) replace(state);
  else alert("This link does not hold a set-up that this page can read. What you had entered is still here.");
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
    prompt("Copy this link:", link);
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
  try {
    const state = JSON.parse(await file.text());
    if (!isState(state)) return `This is no file of this page (format ${FORMAT}). What you had entered is still here.`;
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
  return new Uint8Array(await passed(text, new CompressionStream("deflate-raw")).arrayBuffer());
}

function inflated(bytes) {
  return passed(bytes, new DecompressionStream("deflate-raw")).text();
}

function passed(content, stream) {
  return new Response(new Blob([content]).stream().pipeThrough(stream));
}

/** Bytes as text that may stand in a link: base64url, without padding (RFC 4648). */
function textOf(bytes) {
  return btoa(String.fromCharCode(...bytes)).replaceAll("+", "-").replaceAll("/", "_").replace(/=+$/, "");
}

function bytesOf(text) {
  return Uint8Array.from(atob(text.replaceAll("-", "+").replaceAll("_", "/")), (sign) => sign.charCodeAt(0));
}
