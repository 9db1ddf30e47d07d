// What is to be printed: a short list of sheets, frames, hours and breaks, to be planned with one tap.
import { button, fill, h, say, show } from "../dom.js";
import { clock, dayOf, number } from "../moments.js";
import { countOf, draftOf, HERE, keepDraft, MOST, nameOfSpot, newSheet } from "../plan_draft.js";
import { agedLine, field, keptWords, partsNav, select, toldLine } from "../plan_kit.js";
import { recipeLabel } from "../setup.js";
import { openSheet } from "../sheet.js";
import { t } from "../texts.js";

const PRIORITIES = [1, 2, 3];

export async function mount(root, app) {
  const draft = await draftOf(app);
  let recipes = [], spots = [];
  const list = h("ul", { class: "choices", id: "session-sheets" }), none = h("p", { class: "lead" }, t("session.none"));
  const spotList = h("div", { class: "ticks" }), breaks = h("div", { class: "breaks" }), saved = h("section");
  const aged = agedLine(), told = toldLine();
  const day = select("session-day", [["today", t("plan.today")], ["tomorrow", t("plan.tomorrow")]], draft.day);
  const frames = h("input", { id: "session-frames", type: "number", inputmode: "numeric", min: 1, max: MOST.frames, step: 1, required: true, value: draft.frames });
  const time = (id, value, change) => h("input", { id, type: "time", value, onchange: (event) => change(event.target.value) });
  const from = time("session-from", draft.from, (value) => put({ from: value }));
  const until = time("session-until", draft.until, (value) => put({ until: value }));
  const plan = button(t("session.plan"), go, { class: "big go", id: "session-plan" });
  const add = button(t("session.add"), () => edit(null), { class: "big", id: "session-add" });
  const form = h("form", { class: "plan-form", onsubmit: (event) => event.preventDefault() },
    h("div", { class: "two" }, field(t("session.day"), day), field(t("session.frames"), frames)),
    h("div", { class: "two" }, field(t("session.from"), from), field(t("session.until"), until)),
    h("p", { class: "small" }, t("session.hours")),
    h("fieldset", { class: "plain" }, h("legend", {}, t("session.spots")), spotList),
    h("section", { "aria-label": t("session.breaks") }, h("p", { class: "label" }, t("session.breaks")), breaks));
  fill(root, partsNav("session"), h("h1", {}, t("session.title")), none, list, aged, told,
    h("div", { class: "beside" }, form, saved),
    h("section", { class: "thumb", "aria-label": t("now.controls") }, h("div", { class: "acts" }, add, plan)));

  const keep = () => keepDraft(app, draft);
  async function put(changes) {
    Object.assign(draft, changes);
    await keep();
    draw();
  }
  day.addEventListener("change", () => put({ day: day.value }));
  frames.addEventListener("change", () => { if (frames.checkValidity()) put({ frames: Number(frames.value) }); });

  async function go() {
    if (!form.reportValidity()) return;
    if (countOf(draft) > MOST.sheets) {
      say(told, t("session.most", { n: number(MOST.sheets) }));
      return;
    }
    await keep();
    app.go("plan", "session", "drawn");
  }

  function drawSheets() {
    show(none, draft.sheets.length === 0);
    plan.disabled = draft.sheets.length === 0;
    const line = (sheet, index, where) => h("li", {}, h("button", { type: "button", onclick: () => edit(index) },
      h("span", { class: "choice-name" }, sheet.count > 1 ? t("session.times", { name: sheet.name, n: number(sheet.count) }) : sheet.name),
      h("span", { class: "choice-note" }, [
        sheet.recipe?.name ?? recipeLabel(app.setup),
        where ? nameOfSpot(app, where) : null,
        sheet.priority > 1 ? t(`session.priority.${sheet.priority}`) : null,
        sheet.doneBy ? t("session.by", { time: sheet.doneBy }) : null,
      ].filter(Boolean).join(" · "))));
    fill(list, draft.sheets.map((sheet, index) => line(sheet, index, draft.spots.find((one) => one.id === sheet.spot))));
  }

  function drawSpots() {
    const here = app.setup.spot;
    const all = [{ id: HERE }, ...spots.filter((one) => !(here.kind === "saved" && here.id === one.id))];
    const on = (id) => draft.spots.find((one) => one.id === id);
    const turn = (spot, yes) => put({ spots: yes ? [...draft.spots, spot].slice(0, MOST.spots) : draft.spots.filter((one) => one.id !== spot.id) });
    const ticked = (id, text, checked, change) => h("label", { class: "tick", for: id },
      h("input", { id, type: "checkbox", checked, onchange: (event) => change(event.target.checked) }), h("span", {}, text));
    fill(spotList, all.map((spot) => [
      ticked(`session-spot-${spot.id}`, nameOfSpot(app, spot), Boolean(on(spot.id)), (yes) => turn(spot, yes)),
      on(spot.id) && spot.window ? h("div", { class: "under" }, ticked(`session-moves-${spot.id}`, t("session.moves"), Boolean(on(spot.id).moves),
        (yes) => put({ spots: draft.spots.map((one) => (one.id === spot.id ? { ...one, moves: yes } : one)) }))) : null,
    ]));
    if (!draft.spots.length) put({ spots: [{ id: HERE }] });
  }

  function drawBreaks() {
    fill(breaks, draft.breaks.map((one, index) => h("div", { class: "break" },
      ...["from", "until"].map((side) => h("input", {
        type: "time", required: true, value: one[side], "aria-label": t(`session.break.${side}`, { n: index + 1 }),
        onchange: (event) => { if (event.target.value) put({ breaks: draft.breaks.map((other, at) => (at === index ? { ...other, [side]: event.target.value } : other)) }); },
      })),
      button(t("session.break.drop"), () => put({ breaks: draft.breaks.filter((_, at) => at !== index) }), { class: "quiet", "aria-label": t("session.break.drop.long", { n: index + 1 }) }))),
    draft.breaks.length < MOST.breaks ? button(t("session.break.add"), () => put({ breaks: [...draft.breaks, { from: "12:30", until: "13:00" }] }), { class: "wide", id: "session-break" }) : null);
  }

  function draw() {
    drawSheets();
    drawSpots();
    drawBreaks();
  }

  function edit(index) {
    const sheet = index === null ? newSheet(draft.sheets.length + 1) : draft.sheets[index];
    openSheet(t(index === null ? "session.add" : "session.edit"), (close) => {
      const name = h("input", { id: "sheet-name", type: "text", required: true, maxlength: 60, autocomplete: "off", value: sheet.name });
      const count = h("input", { id: "sheet-count", type: "number", inputmode: "numeric", min: 1, max: MOST.sheets, step: 1, required: true, value: sheet.count });
      const known = sheet.recipe && !recipes.some((one) => one.id === sheet.recipe.id) ? [sheet.recipe, ...recipes] : recipes;
      const recipe = select("sheet-recipe", [["", recipeLabel(app.setup)], ...known.map((one) => [one.id, one.name])], sheet.recipe?.id ?? "");
      const spot = select("sheet-spot", [["", t("session.anyspot")], ...draft.spots.map((one) => [one.id, nameOfSpot(app, one)])], sheet.spot ?? "");
      const priority = select("sheet-priority", PRIORITIES.map((one) => [one, t(`session.priority.${one}`)]), sheet.priority);
      const by = h("input", { id: "sheet-by", type: "time", value: sheet.doneBy });
      const panel = h("form", {
        class: "plan-form", onsubmit: async (event) => {
          event.preventDefault();
          const found = known.find((one) => one.id === recipe.value);
          const made = {
            name: name.value.trim() || sheet.name, count: Number(count.value), recipe: found ? { id: found.id, name: found.name } : null,
            spot: spot.value || null, priority: Number(priority.value), doneBy: by.value,
          };
          close();
          await put({ sheets: index === null ? [...draft.sheets, made] : draft.sheets.map((one, at) => (at === index ? made : one)) });
        },
      },
      field(t("session.name"), name), h("div", { class: "two" }, field(t("session.count"), count), field(t("session.by.label"), by)),
      field(t("session.recipe"), recipe), draft.spots.length > 1 ? field(t("session.spot"), spot) : null, field(t("session.priority"), priority),
      h("button", { type: "submit", class: "big go wide", id: "sheet-take" }, t(index === null ? "session.take" : "session.change")),
      index === null ? null : button(t("session.off"), async () => {
        close();
        await put({ sheets: draft.sheets.filter((_, at) => at !== index) });
      }, { class: "wide" }));
      return panel;
    });
  }

  async function lists() {
    const got = (path) => app.api.getKept(path).catch(() => null);
    const [recipesKept, spotsKept, sessions] = await Promise.all([got("v1/recipes?limit=50"), got("v1/spots?limit=50"), got("v1/sessions?limit=10")]);
    recipes = (recipesKept?.answer.recipes ?? []).filter((one) => !one.retired);
    spots = (spotsKept?.answer.spots ?? []).filter((one) => !one.retired).map((one) => ({ id: one.id, name: one.name, window: one.spot?.kind === "window" }));
    draw();
    const old = sessions?.keptMs ?? null;
    show(aged, old !== null);
    if (old !== null) say(aged, keptWords(app, old));
    const kept = sessions?.answer.sessions ?? [];
    fill(saved, h("h2", {}, t("session.saved")), kept.length ? h("ul", { class: "choices" }, kept.map((one) => h("li", {},
      h("a", { href: `#/plan/session/${one.id}` }, h("span", { class: "choice-name" }, one.name),
        h("span", { class: "choice-note" }, when(one)))))) : h("p", { class: "small" }, t(sessions ? "session.saved.none" : "saved.away")));
  }

  const when = (one) => {
    const { start, end } = one.plan ?? one;
    const day = new Intl.DateTimeFormat(navigator.language || "en", { weekday: "short", day: "numeric", month: "short", timeZone: app.zone }).format(Date.parse(start));
    return t("session.when", { day: dayOf(Date.parse(start), app.zone) === dayOf(app.now, app.zone) ? t("plan.today") : day, from: clock(Date.parse(start), app.zone), to: clock(Date.parse(end), app.zone) });
  };

  draw();
  lists();
  return { changed(what, value) { if (what === "setup") draw(); if (what === "reach" && value) lists(); } };
}
