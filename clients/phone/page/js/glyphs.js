// Small signs of our own; every one of them stands beside a word or has one for its label.
import { s } from "./dom.js";

const SUN = "M12 7.2a4.8 4.8 0 1 0 0 9.6a4.8 4.8 0 0 0 0-9.6z";
const RAYS = "M12 1.8v2.6M12 19.6v2.6M1.8 12h2.6M19.6 12h2.6M4.8 4.8l1.8 1.8M17.4 17.4l1.8 1.8M4.8 19.2l1.8-1.8M17.4 6.6l1.8-1.8";
const CLOUD = "M6.5 18.5h10.6a3.9 3.9 0 0 0 .5-7.8a5.6 5.6 0 0 0-10.7-.6a4.3 4.3 0 0 0-.4 8.4z";
const SHAPES = {
  sun: [SUN, RAYS],
  veil: [SUN, "M2 18.5c3-1.6 5 1.6 8 0s5 1.6 12-.4", "M2 21.6c3-1.6 5 1.6 8 0s5 1.6 12-.4"],
  cloud: [CLOUD],
  broken: ["M8.3 9.6a3.6 3.6 0 1 1 5.3-3.8", "M7.5 20h9.8a3.5 3.5 0 0 0 .4-7a5 5 0 0 0-9.6-.5a3.9 3.9 0 0 0-.6 7.5z"],
  grey: ["M2 7h20M2 12h20M2 17h20"],
  rain: ["M6.5 14.5h10.6a3.9 3.9 0 0 0 .5-7.8a5.6 5.6 0 0 0-10.7-.6a4.3 4.3 0 0 0-.4 8.4z", "M8 17.5l-1.2 3.4M12.6 17.5l-1.2 3.4M17.2 17.5l-1.2 3.4"],
  fog: ["M3 8h12M7 12h14M3 16h15"],
  frame: ["M4 3.5h16v17H4z", "M7.5 7h9v10h-9z"],
  lamp: ["M9 2.5h6l3.2 9H5.8z", "M12 11.5v7M7.5 21.5h9"],
  dial: ["M4 7h9M17 7h3M4 17h3M11 17h9", "M15 4.6a2.4 2.4 0 1 1 0 4.8a2.4 2.4 0 0 1 0-4.8zM9 14.6a2.4 2.4 0 1 1 0 4.8a2.4 2.4 0 0 1 0-4.8z"],
  clock: ["M12 3a9 9 0 1 0 0 18a9 9 0 0 0 0-18z", "M12 7.5V12l3.2 2"],
  bench: ["M2.5 9h19M5 9v11M19 9v11M8 5.5h6V9"],
  pin: ["M12 21.5s-6.5-6.4-6.5-11.3a6.5 6.5 0 0 1 13 0c0 4.9-6.5 11.3-6.5 11.3z", "M12 8a2.3 2.3 0 1 0 0 4.6A2.3 2.3 0 0 0 12 8z"],
};
export const SKY_GLYPHS = {
  "sun-out": "sun", clear: "sun", "thin-cloud": "veil", covered: "cloud", broken: "broken", overcast: "grey", rain: "rain", fog: "fog",
};

export const glyph = (name) =>
  s("svg", { viewBox: "0 0 24 24", class: "glyph", "aria-hidden": "true", focusable: "false" }, (SHAPES[name] ?? SHAPES.grey).map((d) => s("path", { d })));
