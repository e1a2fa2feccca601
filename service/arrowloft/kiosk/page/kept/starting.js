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
