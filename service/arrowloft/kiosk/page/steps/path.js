// Step 5: what the arrow passes on its way, and whether it touches.

import { pictures } from "../parts/downloads.js";
import { el, fill } from "../parts/dom.js";
import { watch } from "../parts/fields.js";
import { notes } from "../parts/notes.js";
import { entries, listed, origins, pointed, settle, taken } from "./path/entries.js";
import { addButtons, moreFields, targetFields, things } from "./path/fields.js";
import { views } from "./path/views.js";
import { answer, byEntry, sentences } from "./path/words.js";
import { showProblem } from "../wire/problems.js";
import { request } from "../wire/request.js";
import { Freshness } from "../wire/freshness.js";
import { line, Question } from "../wire/service.js";
import { get } from "../kept/state.js";
import { loadUnits } from "../wire/units.js";

/** Share of arrows that the lowest branch is for. */
const SHARE = 0.95;

/** Notes of the service that stand in the open. */
const OPEN = [
  "obstacle-touched",
  "path-below-ground",
  "touch-likely",
  "margin-uncertain",
  "clearance-limits",
  "touched-arrow",
];

/** How long the answer stands still before it is read aloud, ms. */
const STILL = 700;

/** How long a newer question waits for the answer to an older one, ms. */
const PATIENCE = 500;

export default {
  id: "path",
  title: "Clear path",
  heading: "Does the arrow clear it?",
  lead: "An arrow flies in an arc: what looks free over the pin may be in its way. Put in what stands there, and drag it to where it is.",
  show,
};

function show(host) {
  settle();
  const page = parts(host);
  const found = { reply: null, path: null };
  const clearance = paced("clearance", page.freshness, (reply, problem) =>
    problem ? refuse(page, found, problem) : tell(page, found, reply),
  );
  const flight = paced("trajectory", undefined, (reply) => {
    found.path = reply;
    redraw(page, found);
  });
  const ask = () => {
    settle();
    page.list.refresh();
    redraw(page, found);
    clearance.ask(body());
    flight.ask(way());
  };
  watch(host, ["setup", "ask/path"], ask);
  watch(host, ["system"], () => {
    fill(page.target, targetFields());
    fill(page.more, moreFields());
    ask();
  });
  loadUnits().then(
    () => redraw(page, found),
    () => null,
  );
  ask();
  return () => [clearance, flight, page.aloud].forEach((one) => one.stop());
}

/** What the step is made of, in its order. */
function parts(host) {
  const page = {
    host,
    summary: el("div", { class: "summary", role: "alert", hidden: true }),
    big: el("p", { class: "big" }, "Computing…"),
    aloud: reader(),
    drawn: views(),
    list: things(),
    target: el("div", {}, targetFields()),
    more: el("div", {}, moreFields()),
    said: el("div"),
  };
  page.freshness = new Freshness(page.big, page.drawn.element, page.list.element);
  const adding = addButtons(() => page.drawn.element.scrollIntoView({ block: "nearest" }));
  const downloads = pictures("clearance", body, ["application/pdf", "image/svg+xml"]);
  fill(
    host,
    page.summary,
    page.big,
    page.aloud.element,
    page.drawn.element,
    adding,
    page.target,
    page.list.element,
    page.more,
    downloads,
    page.said,
  );
  return page;
}

function redraw({ drawn }, { path, reply }) {
  drawn.draw(path, reply && matched(reply));
}

async function tell(page, found, reply) {
  await loadUnits().catch(() => null);
  const rows = matched(reply);
  // Something was put in or taken away meanwhile: the answer to that is on its way.
  if (!rows) return;
  found.reply = reply;
  showProblem(page.host, page.summary, null);
  const words = answer(rows, reply);
  fill(page.big, words);
  page.big.classList.toggle("touched", words.startsWith("Do not"));
  page.aloud.say(words);
  rows.forEach((one, index) => page.list.say(index, sentences(one, reply, SHARE), !one.row.clear));
  fill(page.said, notes(reply.notes, OPEN));
  redraw(page, found);
}

function refuse(page, found, problem) {
  // What was found before holds no longer, and must not look as if it did.
  found.reply = null;
  page.freshness.clear();
  showProblem(page.host, page.summary, pointed(problem));
  fill(page.big, "Please correct what is marked below.");
  page.big.classList.remove("touched");
  fill(page.said);
  entries().forEach((_, index) => page.list.say(index, []));
  redraw(page, found);
}

/** The rows of a reply with their entries; null where it is not the reply to what is entered now. */
function matched(reply) {
  const rows = reply.obstacles ?? [];
  return rows.length === listed().length ? byEntry(entries(), origins(), rows, reply.units) : null;
}

function common() {
  return { target: taken("target", "target"), slope: get("ask/path/slope") };
}

/** The request for what the arrow passes. */
function body() {
  const group = get("ask/path/group") ?? {};
  const own = {
    ...common(),
    obstacles: listed(),
    vane_height: get("ask/path/vane_height") ?? vaneOfModel(),
    ground: {
      eye_height: taken("ground/eye_height", "eye"),
      target_height: taken("ground/target_height", "face"),
    },
    group: group.diameter && {
      diameter: group.diameter,
      arrows: group.arrows ?? 6,
      distance: taken("group/distance", "group"),
    },
  };
  return request(own);
}

function vaneOfModel() {
  const { vane_height: height } = get("setup/drag/parameters") ?? {};
  return typeof height === "string" ? height : undefined;
}

/** The request for the points of the path. */
function way() {
  return request({ ...common(), samples: 61 });
}

/**
 * A question that is asked as fast as it is answered: while an edge is dragged, each answer is
 * shown, and only the newest place waits. It does not wait long for an answer that is out of date.
 * host: the Freshness of what shows the answers.
 */
function paced(resource, host, told) {
  let under = false;
  let next = null;
  let last = "";
  let timer = null;
  const done = (reply, problem) => {
    under = false;
    told(reply, problem);
    if (next) go();
  };
  const question = new Question(resource, {
    host,
    answered: (reply) => done(reply),
    refused: (problem) => done(null, problem),
  });
  const go = () => {
    clearTimeout(timer);
    const body = next;
    [timer, next, under] = [null, null, true];
    question.ask(body, 0);
  };
  return {
    ask(body) {
      const text = JSON.stringify(body);
      if (text === last) return;
      last = text;
      next = body;
      question.want(body);
      // A service that is lost answers nothing: what waits for it is put in its place at once.
      if (under && !line.lost) timer ??= setTimeout(go, PATIENCE);
      else go();
    },
    stop() {
      clearTimeout(timer);
      question.stop();
    },
  };
}

/** Reads a sentence aloud once it stands still. */
function reader() {
  const element = el("p", { class: "unseen", role: "status" });
  let timer = null;
  return {
    element,
    say(words) {
      clearTimeout(timer);
      timer = setTimeout(() => words !== element.textContent && fill(element, words), STILL);
    },
    stop: () => clearTimeout(timer),
  };
}
