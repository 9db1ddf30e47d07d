// The plan: days, a session, the month and the year, each loaded when it is looked at.
import { isPlaced } from "../setup.js";
import { t } from "../texts.js";

const PARTS = {
  days: () => import("./plan_days.js"),
  session: () => import("./plan_session.js"),
  drawn: () => import("./plan_drawn.js"),
  follow: () => import("./plan_follow.js"),
  month: () => import("./plan_month.js"),
  year: () => import("./plan_year.js"),
};

/** Which part an address asks for: `#/plan/2026-06-22`, `#/plan/session/ID`, `#/plan/month/2026-06`. */
function partOf([first, second]) {
  if (first === "session") return second === "drawn" ? "drawn" : second ? "follow" : "session";
  return first === "month" || first === "year" ? first : "days";
}

export async function mount(root, app, args) {
  if (!isPlaced(app.setup)) {
    location.replace("#/place");
    return {};
  }
  const part = partOf(args);
  document.title = t("title", { screen: t(`title.plan.${part}`) });
  const module = await PARTS[part]();
  const mounted = await module.mount(root, app, part === "days" ? args : args.slice(1));
  if (document.activeElement === document.body) document.getElementById("main").focus({ preventScroll: true });
  return mounted;
}
