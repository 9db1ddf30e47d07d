// The screens there are.  A screen is a module with `mount(root, app, args)`, loaded when it is first looked at.
// `rail` is its word at the bottom of the page; screens without one are reached from others.
export const SCREENS = [
  { id: "now", rail: "rail.now", glyph: "sun", load: () => import("./screens/now.js") },
  { id: "frames", rail: "rail.frames", glyph: "frame", load: () => import("./screens/frames.js") },
  { id: "plan", rail: "rail.plan", glyph: "clock", load: () => import("./screens/plan.js") },
  { id: "bench", rail: "rail.bench", glyph: "bench", load: () => import("./screens/bench.js") },
  { id: "place", load: () => import("./screens/place.js") },
  { id: "page", load: () => import("./screens/page.js") },
];

export const FIRST_SCREEN = "now";

/** `#/frames/ID` as `{ id, args }`; anything unknown is the first screen. */
export function routeOf(hash) {
  const [id, ...args] = hash.replace(/^#\/?/, "").split("/").map(decodeURIComponent);
  const known = SCREENS.find((screen) => screen.id === id);
  return known ? { screen: known, args } : { screen: SCREENS.find((screen) => screen.id === FIRST_SCREEN), args: [] };
}
