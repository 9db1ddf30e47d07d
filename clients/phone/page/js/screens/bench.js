// The bench: one door, and behind it a room for each kind of work, loaded when it is entered.
import { t } from "../texts.js";

const ROOMS = {
  strip: () => import("./bench_strip.js"),
  judge: () => import("./bench_judge.js"),
  prints: () => import("./bench_prints.js"),
  recipes: () => import("./bench_recipes.js"),
  spots: () => import("./bench_spots.js"),
  coat: () => import("./bench_coat.js"),
};

export async function mount(root, app, [room, ...args]) {
  const known = Object.hasOwn(ROOMS, room ?? "");
  document.title = t("title", { screen: t(known ? `title.bench.${room}` : "title.bench") });
  const module = await (known ? ROOMS[room]() : import("./bench_home.js"));
  const mounted = await module.mount(root, app, args);
  // from room to room the screen stays the same to the page, so the focus would be lost with the link
  if (document.activeElement === document.body) document.getElementById("main").focus({ preventScroll: true });
  return mounted;
}
