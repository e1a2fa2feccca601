// Step 9: the scale at true size and the pocket card, to be printed and carried away.

import { remade } from "../parts/by_system.js";
import { el, fill } from "../parts/dom.js";
import {
  choice,
  folded,
  group,
  list,
  number,
  quantity,
  text,
  watch,
  yesNo,
} from "../parts/fields.js";
import { notes } from "../parts/notes.js";
import { Preview } from "./print/preview.js";
import { sheetBody, usual } from "./print/sheet.js";
import { showProblem } from "../wire/problems.js";
import { Question } from "../wire/service.js";
import { get } from "../kept/state.js";
import { tidy } from "../wire/units.js";
import { calibrationBody, groupDistance, hasEnds, metres } from "../wire/verified.js";

const CAUTION = ["print-at-full-size", "prove-scale"];

export default {
  id: "print",
  title: "Print",
  heading: "Print and carry away",
  lead: "Marks as a scale at true size, and a card for the pocket. Print at 100 %, then hold a rule against the line of 100 mm before you cut anything.",
  show,
};

function show(host) {
  const summary = el("div", { class: "summary", role: "alert", hidden: true });
  const said = el("div");
  const preview = new Preview((problem) => showProblem(host, summary, problem));
  fill(
    host,
    summary,
    el(
      "div",
      { class: "fields" },
      [scale, page, card, more].map((make) => remade(make)),
    ),
    preview.buttons,
    preview.status,
    preview.element,
    said,
  );
  const figures = new Question("sight-scale", {
    answered: (reply) => fill(said, notes(reply.notes, CAUTION)),
    refused: () => fill(said),
  });
  const ask = (marks) => {
    const body = sheetBody(marks);
    preview.ask(body);
    figures.ask(body, 400);
  };
  const learned = new Question("calibration", {
    answered: ({ rows, units }) =>
      ask(
        rows.map((row) => ({
          distance: `${row.distance} ${units.distance}`,
          travel: `${row.travel} ${units.length}`,
        })),
      ),
    refused: (problem) => {
      preview.freshness.miss();
      showProblem(host, summary, problem);
    },
  });
  const begin = () => {
    if (!hasEnds()) {
      learned.stop();
      return ask(null);
    }
    const body = calibrationBody(markedDistances());
    preview.freshness.want(`marks for ${JSON.stringify([body, sheetBody(null)])}`);
    learned.ask(body);
  };
  watch(host, ["setup", "ask/print", "ask/verify", "system"], begin);
  begin();
  return () => [learned, figures, preview].forEach((one) => one.stop());
}

/**
 * Some distances of the scale, and the zero distance, whose mark shooting may have moved too:
 * corrected marks are smooth between them.
 */
function markedDistances() {
  const { from, to } = { ...usual().distances, ...get("ask/print/distances") };
  const [first, last] = [from, to].map(metres);
  const along = Array.from({ length: 9 }, (_, index) => first + ((last - first) * index) / 8);
  const zero = metres(groupDistance());
  const all = along.some((one) => Math.abs(one - zero) < 1e-6) ? along : [...along, zero];
  return all.sort((one, other) => one - other).map((one) => `${tidy(one, 12)} m`);
}

const own = (name) => ({ path: `ask/print/${name}`, pointer: `/${name}` });

function scale() {
  const { distances } = usual();
  const end = (name, label) =>
    quantity({ label, kind: "distance", usual: distances[name], ...own(`distances/${name}`) });
  return group(
    "Scale",
    end("from", "From"),
    end("to", "To"),
    end("step", "A line every"),
    number({ label: "A number every so many lines", usual: 5, ...own("number_every") }),
    choice({
      label: "Farther distances",
      choices: [
        ["down", "Below, as the pin goes"],
        ["up", "Above"],
      ],
      ...own("farther"),
    }),
    choice({
      label: "Numbers",
      choices: [
        ["right", "Right of the lines"],
        ["left", "Left of the lines"],
      ],
      ...own("numbers"),
    }),
    folded(
      "A pointer that moves more, or less, than the pin",
      number({
        label: "Movement of the pointer per movement of the pin",
        usual: 1,
        step: 0.1,
        ...own("magnification"),
      }),
    ),
  );
}

function page() {
  return group(
    "Sheet",
    choice({
      label: "Paper",
      path: "ask/print/sheet/paper",
      pointer: "/sheet/paper",
      choices: [
        ["a4", "A4"],
        ["letter", "Letter"],
      ],
      usual: usual().paper,
    }),
    text({
      label: "Title",
      help: "Printed on the sheet, and nowhere kept but here.",
      path: "ask/print/sheet/title",
      pointer: "/sheet/title",
      optional: true,
      longest: 60,
    }),
    text({
      label: "Date",
      path: "ask/print/sheet/date",
      pointer: "/sheet/date",
      usual: usual().date,
      longest: 40,
    }),
    text({
      label: "Name of this scale",
      path: "ask/print/label",
      pointer: "/label",
      usual: "Marks",
      longest: 30,
    }),
    yesNo({
      label: "A code that holds the set-up",
      help: "Read by a phone's camera, it gives the request that computes this sheet again.",
      path: "ask/print/sheet/code",
      pointer: "/sheet/code",
      usual: true,
    }),
  );
}

function card() {
  const { card: rows } = usual();
  const end = (name, label) =>
    quantity({
      label,
      kind: "distance",
      usual: rows.distances[name],
      ...own(`card/distances/${name}`),
    });
  return group(
    "Pocket card",
    end("from", "From"),
    end("to", "To"),
    end("step", "A line every"),
    quantity({
      label: "Wind",
      kind: "windSpeed",
      usual: rows.wind.speed,
      ...own("card/wind/speed"),
    }),
    quantity({
      label: "Wind from",
      help: "Clockwise from the target: 0° ahead, 90° from the right.",
      kind: "direction",
      usual: rows.wind.from,
      ...own("card/wind/from"),
    }),
    quantity({
      label: "How level: within a circle of",
      kind: "off",
      usual: rows.allowance.diameter,
      ...own("card/allowance/diameter"),
    }),
  );
}

function more() {
  const row = ({ path }) => {
    const pointer = `/scales/${Number(path.split("/").at(-1)) + 1}`;
    return el(
      "div",
      { class: "fields across" },
      text({ label: "Its name", path: `${path}/label`, pointer: `${pointer}/label`, longest: 30 }),
      quantity({
        label: "Temperature",
        kind: "temperature",
        optional: true,
        path: `${path}/temperature`,
        pointer: `${pointer}/air/temperature`,
      }),
      quantity({
        label: "Arrow mass",
        kind: "arrowMass",
        optional: true,
        path: `${path}/mass`,
        pointer: `${pointer}/arrow/mass`,
      }),
      get("setup/launch/model") === "measured" &&
        quantity({
          label: "Its measured speed",
          help: "Empty: the same speed as the first arrow.",
          kind: "arrowSpeed",
          optional: true,
          path: `${path}/speed`,
          pointer: `${pointer}/launch/parameters`,
        }),
    );
  };
  return group(
    "More scales on the sheet",
    list({
      label: "Other scale",
      help: "For a cold day, or another arrow: what differs from the set-up.",
      path: "ask/print/others",
      pointer: "/scales",
      row,
      most: 3,
      add: "Add a scale",
      first: (rows) => ({ label: `Scale ${rows.length + 2}` }),
    }),
  );
}
