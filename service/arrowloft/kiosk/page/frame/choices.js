// The choices that hold on every step: units, light or dark, what is kept, and starting anew.

import { opened, saved, shared, takenUp } from "../kept/carry.js";
import { asked, pasted } from "../parts/dialogs.js";
import { button, el, fill, newId } from "../parts/dom.js";
import { watch } from "../parts/fields.js";
import { idleMinutes, setIdleMinutes } from "../kept/idle.js";
import { bringBack, get, hasBefore, reset } from "../kept/state.js";
import { turnAll } from "../wire/turned.js";

const LOOK = "arrowloft.look";

/** Buttons and the menu of the page's head. */
export function choices() {
  look(kept());
  return [systemChoice(), menu()];
}

function systemChoice() {
  const id = newId("system");
  const input = el(
    "select",
    { id },
    el("option", { value: "metric" }, "Metric"),
    el("option", { value: "imperial" }, "Imperial"),
  );
  const refresh = () => (input.value = get("system"));
  input.addEventListener("change", () => turnAll(input.value));
  refresh();
  const element = el("div", { class: "system" }, el("label", { for: id }, "Units"), input);
  watch(element, ["system"], refresh);
  return element;
}

function menu() {
  const dialog = el("dialog", { class: "menu", "aria-label": "Keep, share, look" });
  const open = button("Menu", () => {
    fill(dialog, contents(dialog));
    dialog.showModal();
  });
  return [open, dialog];
}

function contents(dialog) {
  const said = el("p", { class: "help", role: "status" });
  const close = () => dialog.close();
  return [
    el("h2", {}, "Keep and share"),
    el(
      "p",
      { class: "help" },
      "What you enter stays in this browser. It leaves it in requests to this service, and in what you save or share here.",
    ),
    el(
      "div",
      { class: "buttons" },
      button("Copy a link", async () => (said.textContent = await shared())),
      button("Save a file", saved),
      openButton(said, close),
      button("Take up a code", () => codeTaken(said, close)),
      hasBefore() &&
        button("Bring back mine", () => {
          bringBack();
          close();
        }),
    ),
    said,
    el("h2", {}, "Look"),
    lookChoice(),
    el("h2", {}, "Shared screen"),
    idleChoice(),
    el(
      "div",
      { class: "buttons" },
      button("Clear everything", () => cleared(dialog)),
      button("Close", close, { kind: "main" }),
    ),
  ];
}

function openButton(said, close) {
  const input = el("input", {
    type: "file",
    accept: ".json,application/json",
    class: "unseen",
    tabindex: "-1",
    "aria-label": "File to open",
  });
  input.addEventListener("change", async () => {
    const fault = await opened(input.files[0]);
    // The same file may be chosen again.
    input.value = "";
    if (fault) said.textContent = fault;
    else close();
  });
  return [button("Open a file", () => input.click()), input];
}

/** What a phone's camera read from a printed sheet, pasted here. */
async function codeTaken(said, close) {
  const text = await pasted(
    "Read the code on the printed sheet with a phone's camera, copy the text that it gives, and paste it here.",
    "Take it up",
  );
  if (text === null) return;
  const fault = await takenUp(text, "this code");
  if (fault) said.textContent = fault;
  else close();
}

async function cleared(dialog) {
  if (!(await asked("Clear all that was entered on this page?", "Clear everything"))) return;
  reset();
  dialog.close();
  location.hash = "#/setup";
}

function lookChoice() {
  return select(
    "Light or dark",
    [
      ["", "As the device has it"],
      ["light", "Light"],
      ["dark", "Dark"],
    ],
    kept(),
    look,
  );
}

function idleChoice() {
  const times = [
    ["0", "Never clear by itself"],
    ["2", "After 2 minutes without a touch"],
    ["5", "After 5 minutes without a touch"],
    ["15", "After 15 minutes without a touch"],
  ];
  return select("Clear everything", times, String(idleMinutes()), (value) =>
    setIdleMinutes(Number(value)),
  );
}

function select(label, options, value, changed) {
  const id = newId("choice");
  const input = el(
    "select",
    { id, on: { change: () => changed(input.value) } },
    options.map(([one, words]) => el("option", { value: one }, words)),
  );
  input.value = value;
  return el("div", { class: "field" }, el("label", { for: id }, label), input);
}

function kept() {
  try {
    return localStorage.getItem(LOOK) ?? "";
  } catch {
    return "";
  }
}

function look(value) {
  if (value) document.documentElement.dataset.look = value;
  else delete document.documentElement.dataset.look;
  try {
    localStorage.setItem(LOOK, value);
  } catch {
    // Without storage the look holds until the page is closed.
  }
}
