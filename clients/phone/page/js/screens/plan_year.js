// A year: each month's best hour, how long it takes then, and on how many days there is a start at all.
import { fill, h, say, show } from "../dom.js";
import { query } from "../api.js";
import { dayOf, length, number } from "../moments.js";
import { agedLine, askKept, flatFields, keptWords, partsNav, refusal, toldLine } from "../plan_kit.js";
import { startGrid } from "../plan_grid.js";
import { recipeLabel, sceneFields, spotLabel } from "../setup.js";
import { t } from "../texts.js";

const nameOf = (month, style) => new Intl.DateTimeFormat(navigator.language || "en", { timeZone: "UTC", month: style }).format(Date.UTC(2026, month - 1, 15));

export async function mount(root, app, [asked]) {
  const year = /^\d{4}$/.test(asked ?? "") ? Number(asked) : Number(dayOf(app.now, app.zone).slice(0, 4));
  const p = {
    lead: h("p", { class: "lead" }), aged: agedLine(), told: toldLine(), grid: h("figure", { class: "plan-grid" }), rows: h("tbody"), basis: h("p", { class: "small" }), paper: h("p", { class: "row" }),
  };
  const head = ["month", "best", "takes", "good"].map((column) => h("th", { scope: "col" }, t(`month.${column}`)));
  const table = h("table", { class: "starts" }, h("caption", { class: "unseen" }, t("year.caption", { year })), h("thead", {}, h("tr", {}, head)), p.rows);
  fill(root, partsNav("year"), h("nav", { class: "plan-which", "aria-label": t("year.which") }, [year - 1, year + 1].map((one) => h("a", { href: `#/plan/year/${one}` }, String(one)))),
    h("h1", {}, String(year)), p.lead, p.aged, p.told, h("div", { class: "beside" }, p.grid, p.paper), table, p.basis);
  let found = null, turn = 0;

  async function ask() {
    const ticket = ++turn;
    fill(p.paper, ["pdf", "svg"].map((kind) => h("a", { class: "big button", href: `v1/year.${kind}?${query({ ...flatFields(app.setup), year })}`, download: `noonframe-${year}.${kind}` }, t(`paper.${kind}`))));
    try {
      const came = await askKept(app, "v1/year", "year", { ...sceneFields(app.setup), year });
      if (ticket !== turn) return;
      found = came;
      say(p.told, "");
      draw();
    } catch (error) {
      if (ticket === turn) say(p.told, refusal(error));
    }
  }

  function draw() {
    const { answer, keptMs } = found;
    say(p.lead, t("month.lead", { spot: spotLabel(app.setup), recipe: recipeLabel(app.setup), summary: answer.summary }));
    show(p.aged, keptMs !== null);
    if (keptMs !== null) say(p.aged, keptWords(app, keptMs));
    fill(p.rows, answer.months.map((month) => h("tr", { "data-month": month.month },
      h("th", { scope: "row" }, h("a", { class: "day-open", href: `#/plan/month/${year}-${String(month.month).padStart(2, "0")}`, "aria-label": nameOf(month.month, "long") }, nameOf(month.month, "short"))),
      month.best_start === null ? h("td", { colspan: 3 }, t("year.none", { count: month.days_possible, n: number(month.days_possible), days: number(month.days) })) : [
        h("td", {}, month.best_start), h("td", {}, length(month.best_length_s)),
        h("td", {}, month.useful_from ? t("plan.span", { from: month.useful_from, to: month.useful_until }) : "", month.days_possible < month.days ? h("span", { class: "small" }, ` ${t("year.some", { n: number(month.days_possible), days: number(month.days) })}`) : "")])));
    fill(p.grid, startGrid({
      rows: answer.months.map((month) => ({ label: nameOf(month.month, "short"), cells: month.hours.map((hour) => ({ column: Number(hour.start.slice(0, 2)), length_s: hour.length_s })) })),
      words: t("month.grid", { summary: answer.summary }), width: p.grid.clientWidth || 340, touch: (index) => app.go("plan", "month", `${year}-${String(index + 1).padStart(2, "0")}`),
    }), h("figcaption", { class: "small" }, t("month.key")));
    say(p.basis, [t("month.clear", { sky: answer.basis.sky.says }), t("month.spread", { low: number(answer.low_factor, 2), high: number(answer.high_factor, 2) }), t("month.zone", { zone: answer.basis.time_zone })].join(" "));
  }

  const resized = () => found && draw();
  addEventListener("resize", resized);
  ask();
  return {
    changed(what, value) { if (what === "setup" || (what === "reach" && value)) ask(); },
    leave() { removeEventListener("resize", resized); },
  };
}
