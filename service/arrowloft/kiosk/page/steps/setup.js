// Step 1: bow, arrow, sight, and how launch speed and drag are known.

import { el, fill } from "../parts/dom.js";
import { choice, folded, group, number, quantity, watch } from "../parts/fields.js";
import { modelForm } from "../parts/model_form.js";
import { showProblem } from "../wire/problems.js";
import { request } from "../wire/request.js";
import { line, Lost, Question } from "../wire/service.js";
import { get } from "../kept/state.js";

export default {
  id: "setup",
  title: "Set-up",
  heading: "Your bow, arrow and sight",
  lead: "Measure what you can, leave the rest as it stands: the values below are those of an invented set-up. The marks follow at once.",
  show,
};

function show(host) {
  const summary = el("div", { class: "summary", role: "alert", hidden: true });
  const forms = [modelForm("launch", "Launch speed"), modelForm("drag", "Drag")];
  fill(
    host,
    summary,
    el(
      "div",
      { class: "fields" },
      bow(),
      arrow(),
      sight(),
      forms.map((form) => form.element),
      air(),
    ),
  );
  let left = false;
  const load = () => Promise.all(forms.map((form) => form.load())).then(ask, failed);
  const failed = (error) => {
    if (!(error instanceof Lost)) throw error;
    if (!left) line.say(true, load);
  };
  const question = new Question("mark-table", {
    answered: () => showProblem(host, summary, null),
    refused: (problem) => showProblem(host, summary, problem),
  });
  const ask = () =>
    !left &&
    question.ask(request({ distances: [get("setup/sight/zero_distance") ?? "20 m"] }), 300);
  watch(host, ["setup"], ask);
  load();
  return () => {
    left = true;
    question.stop();
  };
}

const field = (path, label, help, kind, optional = false, usual = "") =>
  quantity({ label, help, kind, optional, usual, path: `setup/${path}`, pointer: `/${path}` });

function bow() {
  return group(
    "Bow",
    field(
      "bow/peep_height",
      "Peep to arrow",
      "At full draw, from the middle of the peep, or from your eye, down to the arrow's line, square to it.",
      "span",
    ),
    field(
      "bow/draw_length",
      "Draw length",
      "From the nock to the grip's pivot point, plus 1.75 in.",
      "draw",
      true,
    ),
    field(
      "bow/brace_height",
      "Brace height",
      "From the grip's pivot point to the string at rest.",
      "draw",
      true,
    ),
    field(
      "bow/draw_weight",
      "Draw weight",
      "Peak force of the draw. Only some models use it.",
      "drawWeight",
      true,
    ),
  );
}

function arrow() {
  return group(
    "Arrow",
    field(
      "arrow/mass",
      "Mass",
      "Of the whole arrow, with its point. Keep to the bow maker's least arrow mass.",
      "arrowMass",
    ),
    field("arrow/shaft_diameter", "Shaft diameter", "Outside, by calliper.", "small"),
    field(
      "arrow/length",
      "Length",
      "From the nock's throat to the end of the point.",
      "draw",
      true,
    ),
    field(
      "arrow/balance_point",
      "Balance point",
      "From the nock's throat to where the arrow balances.",
      "draw",
      true,
    ),
  );
}

function sight() {
  const path = "setup/sight";
  return group(
    "Sight",
    field("sight/radius", "Eye to pin", "At full draw, along the arrow.", "span"),
    field(
      "sight/zero_distance",
      "Proven at",
      "The distance whose mark you have shot in: all marks count from it.",
      "distance",
    ),
    field(
      "sight/travel_per_turn",
      "Travel in one turn",
      "How far the pin moves up or down in one turn of its screw.",
      "small",
      true,
    ),
    number({
      label: "Clicks in one turn",
      path: `${path}/clicks_per_turn`,
      pointer: "/sight/clicks_per_turn",
      optional: true,
    }),
    folded(
      "Windage and the sight's own scale",
      field(
        "sight/windage_travel_per_turn",
        "Windage travel in one turn",
        "Sideways.",
        "small",
        true,
      ),
      number({
        label: "Windage clicks in one turn",
        path: `${path}/windage_clicks_per_turn`,
        pointer: "/sight/windage_clicks_per_turn",
        optional: true,
      }),
      number({
        label: "Reading at the proven mark",
        help: "What the sight's scale shows there. Give the next two as well.",
        path: `${path}/scale/reading`,
        pointer: "/sight/scale/reading",
        optional: true,
      }),
      field(
        "sight/scale/travel_per_unit",
        "Travel in one unit of the scale",
        "How far the pin moves from one number to the next.",
        "small",
        true,
      ),
      choice({
        label: "Readings grow",
        path: `${path}/scale/increases`,
        pointer: "/sight/scale/increases",
        choices: [
          ["", "No scale"],
          ["down", "As the pin moves down"],
          ["up", "As the pin moves up"],
        ],
      }),
    ),
  );
}

function air() {
  return group(
    "Air and place",
    field("air/temperature", "Temperature", "Of the air where you shoot.", "temperature", true),
    field(
      "air/pressure",
      "Pressure",
      "As a barometer shows it there, not reduced to sea level. Empty: the usual one at the altitude.",
      "pressure",
      true,
    ),
    number({
      label: "Humidity",
      path: "setup/air/relative_humidity",
      pointer: "/air/relative_humidity",
      optional: true,
      share: true,
      step: 5,
    }),
    field("site/altitude", "Altitude", "Of the ground above sea level.", "altitude", true),
  );
}
