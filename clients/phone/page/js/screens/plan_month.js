// A month: each day's best start, how long it takes and how long the day is good; every hour of a day on demand.
import { fill, h, say, show } from "../dom.js";
import { query } from "../api.js";
import { clock, dayOf, length, number, offsetName } from "../moments.js";
import { agedLine, askKept, clockMinutes, flatFields, keptWords, partsNav, refusal, toldLine } from "../plan_kit.js";
import { startGrid } from "../plan_grid.js";
import { recipeLabel, sceneFields, spotLabel } from "../setup.js";
import { openSheet } from "../sheet.js";
import { t } from "../texts.js";

const locale = () => navigator.language || "en";
const utc = (text, options) => new Intl.DateTimeFormat(locale(), { timeZone: "UTC", ...options }).format(Date.parse(`${text}T12:00:00Z`));
const other = (month, by) => {
  const [year, number_] = month.split("-").map(Number);
  return new Date(Date.UTC(year, number_ - 1 + by, 15)).toISOString().slice(0, 7);
};
export const monthName = (month) => utc(`${month}-15`, { month: "long", year: "numeric" });

export async function mount(root, app, [asked]) {
  const month = /^\d{4}-(0[1-9]|1[0-2])$/.test(asked ?? "") ? asked : dayOf(app.now, app.zone).slice(0, 7);
  const p = {
    lead: h("p", { class: "lead" }), aged: agedLine(), told: toldLine(), grid: h("figure", { class: "plan-grid" }), rows: h("tbody"), basis: h("p", { class: "small" }),
    paper: h("p", { class: "row" }), changes: h("p", { class: "note", hidden: true }),
  };
  const head = ["day", "best", "takes", "good"].map((column) => h("th", { scope: "col" }, t(`month.${column}`)));
  const table = h("table", { class: "starts" }, h("caption", { class: "unseen" }, t("month.caption", { month: monthName(month) })), h("thead", {}, h("tr", {}, head)), p.rows);
  fill(root, partsNav("month"), h("nav", { class: "plan-which", "aria-label": t("month.which") },
    [other(month, -1), other(month, 1)].map((one) => h("a", { href: `#/plan/month/${one}` }, monthName(one)))),
  h("h1", {}, monthName(month)), p.lead, p.aged, p.told, p.changes, h("div", { class: "beside" }, p.grid, p.paper), table, p.basis);
  let found = null, turn = 0;

  async function ask() {
    const ticket = ++turn;
    fill(p.paper, ["pdf", "svg"].map((kind) => h("a", { class: "big button", href: `v1/month.${kind}?${query({ ...flatFields(app.setup), month })}`, download: `noonframe-${month}.${kind}` }, t(`paper.${kind}`))));
    try {
      const came = await askKept(app, "v1/month", "month", { ...sceneFields(app.setup), month });
      if (ticket !== turn) return;
      found = came;
      say(p.told, "");
      draw();
    } catch (error) {
      if (ticket === turn) say(p.told, refusal(error));
    }
  }

  const marked = (date) => (Number(date.slice(8)) % 5 && !date.endsWith("01") ? "" : String(Number(date.slice(8))));
  const shortDay = (date) => utc(date, { weekday: "short", day: "numeric" });

  function draw() {
    const { answer, keptMs } = found, zone = answer.basis.time_zone, today = dayOf(app.now, zone);
    const at = (time) => clock(Date.parse(time), zone);
    say(p.lead, t("month.lead", { spot: spotLabel(app.setup), recipe: recipeLabel(app.setup), summary: answer.summary }));
    show(p.aged, keptMs !== null);
    if (keptMs !== null) say(p.aged, keptWords(app, keptMs));
    show(p.changes, answer.clock_changes.length > 0);
    say(p.changes, answer.clock_changes.map((one) => t("month.change", {
      day: utc(dayOf(Date.parse(one), zone), { weekday: "long", day: "numeric", month: "long" }), from: offsetName(Date.parse(one) - 1, zone), to: offsetName(Date.parse(one), zone),
    })).join(" "));
    fill(p.rows, answer.days.map((day) => h("tr", { "data-date": day.date, "data-today": day.date === today ? "" : null },
      h("th", { scope: "row" }, h("button", { type: "button", class: "day-open", onclick: () => hours(day), "aria-label": t("month.open", { day: utc(day.date, { weekday: "long", day: "numeric", month: "long" }) }) }, shortDay(day.date))),
      day.best_start === null ? h("td", { colspan: 3 }, t("month.none")) : [
        h("td", {}, at(day.best_start)), h("td", {}, length(day.best_length_s)), h("td", {}, t("plan.span", { from: at(day.useful_from), to: at(day.useful_until) }))])));
    fill(p.grid, startGrid({
      rows: answer.days.map((day) => ({ label: marked(day.date), cells: day.starts.map((start) => ({ column: Math.floor(clockMinutes(Date.parse(start.start), zone) / 60), length_s: start.length_s })) })),
      words: t("month.grid", { summary: answer.summary }), width: p.grid.clientWidth || 340, touch: (index) => hours(answer.days[index]),
    }), h("figcaption", { class: "small" }, t("month.key")));
    say(p.basis, [t("month.clear", { sky: answer.basis.sky.says }), t("month.spread", { low: number(answer.low_factor, 2), high: number(answer.high_factor, 2) }), t("month.zone", { zone })].join(" "));
  }

  function hours(day) {
    const zone = found.answer.basis.time_zone;
    const possible = day.starts.filter((start) => start.length_s !== null);
    const twice = (start) => day.starts.filter((one) => clock(Date.parse(one.start), zone) === clock(Date.parse(start.start), zone)).length > 1;
    openSheet(utc(day.date, { weekday: "long", day: "numeric", month: "long" }), (close) => [
      day.rise && day.set ? h("p", {}, t("month.sun", { rise: clock(Date.parse(day.rise), zone), set: clock(Date.parse(day.set), zone), length: length(day.day_length_s) })) : h("p", {}, t(`sun.${day.outcome}`)),
      possible.length ? h("table", { class: "starts" }, h("caption", { class: "unseen" }, t("month.hours")), h("thead", {}, h("tr", {}, h("th", { scope: "col" }, t("month.begin")), h("th", { scope: "col" }, t("month.takes")))),
        h("tbody", {}, possible.map((start) => h("tr", {}, h("th", { scope: "row" }, clock(Date.parse(start.start), zone), twice(start) ? ` ${offsetName(Date.parse(start.start), zone)}` : ""), h("td", {}, length(start.length_s)))))) : h("p", {}, t("month.none")),
      h("a", { class: "big button wide", href: `#/plan/${day.date}`, onclick: close }, t("month.slots")),
    ]);
  }

  const resized = () => found && draw();
  addEventListener("resize", resized);
  ask();
  return {
    changed(what, value) { if (what === "setup" || (what === "reach" && value)) ask(); },
    leave() { removeEventListener("resize", resized); },
  };
}
