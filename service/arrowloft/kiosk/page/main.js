// The page: the walk from step to step, the choices that hold everywhere, progress and silence.

import { carried } from "./kept/carry.js";
import { choices } from "./frame/choices.js";
import { watchGate } from "./frame/gate.js";
import { button, el, fill } from "./parts/dom.js";
import { forgetGone } from "./parts/fields.js";
import { glance } from "./frame/glance.js";
import { watchIdle } from "./kept/idle.js";
import { line, Lost, underWay } from "./wire/service.js";
import { set, whole } from "./kept/state.js";
import { loadUnits } from "./wire/units.js";
import level from "./steps/level.js";
import marks from "./steps/marks.js";
import path from "./steps/path.js";
import print from "./steps/print.js";
import setup from "./steps/setup.js";
import slopes from "./steps/slopes.js";
import verify from "./steps/verify.js";
import wind from "./steps/wind.js";
import windowStep from "./steps/window.js";

/**
 * The steps in their order. Each has an id, a title for the walk, a heading, a sentence that
 * says what it is for, and show(host): fills the host, and returns what ends its questions.
 */
const STEPS = [setup, marks, verify, level, path, wind, slopes, windowStep, print];

const host = document.getElementById("step");
let leave = null;

function current() {
  const id = location.hash.replace(/^#\//, "");
  return Math.max(
    0,
    STEPS.findIndex((step) => step.id === id),
  );
}

function show({ focus = true } = {}) {
  leave?.();
  const index = current();
  const step = STEPS[index];
  const heading = el("h1", { tabindex: "-1" }, step.heading);
  const inner = el("div", { class: `inner ${step.id}` });
  fill(
    host,
    el(
      "header",
      {},
      el("p", { class: "count" }, `Step ${index + 1} of ${STEPS.length}`),
      heading,
      el("p", { class: "lead" }, step.lead),
    ),
    inner,
  );
  document.title = `${step.title} – arrowloft`;
  drawWalk(index);
  drawOnward(index);
  leave = shown(step, inner);
  forgetGone();
  document.body.dataset.step = step.id;
  if (focus) {
    scrollTo(0, 0);
    heading.focus({ preventScroll: true });
  }
}

/** A step that cannot read what it finds says so; the walk goes on, and nothing is lost. */
function shown(step, inner) {
  try {
    return step.show(inner);
  } catch (error) {
    reportError(error);
    fill(
      inner,
      el(
        "div",
        { class: "summary", role: "alert" },
        el("p", {}, "Something that was entered for this step cannot be read."),
        button("Start this step anew", () => {
          set(`ask/${step.id}`, undefined);
          show();
        }),
      ),
    );
    return null;
  }
}

function drawWalk(index) {
  const items = STEPS.map((step, at) =>
    el(
      "li",
      {},
      el(
        "a",
        { href: `#/${step.id}`, "aria-current": at === index ? "step" : null },
        el("span", { class: "at", "aria-hidden": "true" }, String(at + 1)),
        step.title,
      ),
    ),
  );
  const walk = document.getElementById("walk");
  fill(walk, el("ol", {}, items));
  walk.querySelector("[aria-current]").scrollIntoView({ block: "nearest", inline: "center" });
}

function drawOnward(index) {
  const [before, after] = [STEPS[index - 1], STEPS[index + 1]];
  fill(
    document.getElementById("onward"),
    before
      ? el(
          "a",
          { class: "button quiet", href: `#/${before.id}`, "aria-label": `Back: ${before.title}` },
          "Back",
        )
      : el("span"),
    after
      ? el("a", { class: "button main", href: `#/${after.id}` }, `Next: ${after.title}`)
      : el("span"),
  );
}

/** Say that something is computed, where that takes longer than a glance. */
function showProgress() {
  const bar = document.getElementById("progress");
  let timer = null;
  underWay.addEventListener("change", () => {
    if (underWay.count === 0) {
      clearTimeout(timer);
      timer = null;
      bar.classList.remove("busy");
      fill(bar);
    } else {
      timer ??= setTimeout(() => {
        bar.classList.add("busy");
        fill(bar, el("span", {}, "Computing…"));
      }, 250);
    }
  });
}

function showSilence() {
  const banner = document.getElementById("lost");
  line.addEventListener("change", () => {
    // Where it asks for a key, it is not silent.
    const silent = line.lost && !line.locked;
    if (banner.hidden !== silent) return;
    banner.hidden = !silent;
    fill(
      banner,
      silent &&
        el(
          "p",
          {},
          "The service does not answer. Nothing is lost: all you entered is still here. It is asked again by itself.",
        ),
      silent && button("Try now", () => line.retry(), { kind: "main" }),
    );
  });
}

/** The table of units, now or as soon as the service answers. */
function known() {
  return loadUnits().catch((error) => {
    if (!(error instanceof Lost)) throw error;
    line.say(true, known);
  });
}

async function begin() {
  showProgress();
  showSilence();
  watchGate(document.getElementById("gate"));
  await carried();
  fill(document.getElementById("choices"), choices());
  await known();
  glance(document.getElementById("glance"));
  show({ focus: false });
  addEventListener("hashchange", async () => {
    if (await carried()) return;
    show();
  });
  addEventListener("arrowloft-taken", () => show({ focus: false }));
  document.querySelector(".skip").addEventListener("click", (event) => {
    // Its address would be taken for a step's.
    event.preventDefault();
    host.focus();
  });
  watchIdle(() => {
    location.hash = "#/setup";
    show();
  });
  document.body.dataset.ready = String(whole().format);
}

begin();
