// The request of a printed sheet, from what was entered and what is usual.

import { pruned, request } from "../../wire/request.js";
import { get } from "../../kept/state.js";

const USUAL = {
  metric: {
    paper: "a4",
    distances: { from: "20 m", to: "70 m", step: "1 m" },
    card: {
      distances: { from: "20 m", to: "70 m", step: "10 m" },
      wind: { speed: "3 m/s", from: "90 deg" },
      allowance: { diameter: "20 cm" },
    },
  },
  imperial: {
    paper: "letter",
    distances: { from: "20 yd", to: "80 yd", step: "1 yd" },
    card: {
      distances: { from: "20 yd", to: "80 yd", step: "10 yd" },
      wind: { speed: "5 mph", from: "90 deg" },
      allowance: { diameter: "8 in" },
    },
  },
};

/** What stands in empty fields; the date is this browser's. */
export function usual() {
  return {
    ...USUAL[get("system")],
    date: new Date().toLocaleDateString("en-GB", {
      day: "numeric",
      month: "long",
      year: "numeric",
    }),
  };
}

/** The request. marks: proven marks, which the service carries over to the other scales; or null. */
export function sheetBody(marks) {
  const entered = get("ask/print") ?? {};
  const { card, distances, date, paper } = usual();
  const others = (entered.others ?? []).map(other);
  const first = { label: entered.label ?? "Marks" };
  return request({
    distances: { ...distances, ...entered.distances },
    number_every: entered.number_every,
    farther: entered.farther,
    numbers: entered.numbers,
    magnification: entered.magnification,
    marks,
    ...(others.length ? { scales: [first, ...others] } : first),
    sheet: { paper, date, ...entered.sheet },
    card: {
      distances: { ...card.distances, ...entered.card?.distances },
      wind: { ...card.wind, ...entered.card?.wind },
      allowance: { ...card.allowance, ...entered.card?.allowance },
    },
  });
}

function other({ label, temperature, mass, speed }) {
  return pruned({
    label,
    air: { temperature },
    arrow: mass ? { ...get("setup/arrow"), mass } : undefined,
    launch: speed
      ? {
          model: "measured",
          parameters: { ...get("setup/launch/parameters"), readings: undefined, speed },
        }
      : undefined,
  });
}
