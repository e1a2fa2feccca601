// Sensible values to start from: an invented bow and arrow, near the middle of what is shot.

/** The state of a person who has entered nothing yet. */
export const STARTING = {
  system: "metric",
  setup: {
    bow: {
      peep_height: "11 cm",
      draw_length: "28.5 in",
      brace_height: "6.5 in",
      draw_weight: "50 lbf",
    },
    arrow: { mass: "400 gr", shaft_diameter: "5.8 mm", length: "28.5 in", balance_point: "16 in" },
    sight: {
      radius: "84 cm",
      zero_distance: "20 m",
      travel_per_turn: "1.2 mm",
      clicks_per_turn: 12,
    },
    launch: { model: "measured", parameters: { speed: "270 ft/s" } },
    drag: { model: "component", parameters: {} },
    air: { temperature: "15 degC" },
    site: {},
  },
  ask: {},
};

/** Starting values that read otherwise in the other system: path, metric, imperial. */
const OTHERWISE = [
  ["setup/bow/peep_height", "11 cm", "4.4 in"],
  ["setup/sight/radius", "84 cm", "33 in"],
  ["setup/sight/zero_distance", "20 m", "20 yd"],
  ["setup/launch/parameters/speed", "270 ft/s", "270 ft/s"],
  ["setup/air/temperature", "15 degC", "60 degF"],
];

/** What an untouched starting value is in another system of units; undefined for what is none. */
export function startingIn(system, path, value) {
  const found = OTHERWISE.find(([own]) => own === path)?.slice(1);
  return found?.includes(value) ? found[system === "metric" ? 0 : 1] : undefined;
}
