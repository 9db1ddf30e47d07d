// Coating and washing: millilitres for the sheets, the steps to tick off, and what to mind.
import { allFit, known, labelled, numberField, refusal, selectField, tick, toastLine, typed, wayBack } from "../bench_kit.js";
import { button, fill, h, say } from "../dom.js";
import { metresOf, number, smallUnit, typedOf } from "../moments.js";
import { t } from "../texts.js";

const NAME = "coat sheet";
const FRESH = { formula: null, coverage: "rod", sheets: [{ width_m: 0.2, height_m: 0.25, count: 2 }], acid_bath: false, oxidising_rinse: false, ticked: {} };

export async function mount(root, app) {
  const kept = { ...structuredClone(FRESH), ...(await app.keep.things.get(NAME)) };
  const told = toastLine(), sheets = h("fieldset", { class: "sheets" }), answerBox = h("div", { class: "beside" });
  let formulas = { formulas: [], coverages: [] };
  const remember = () => app.keep.things.put(kept, NAME);
  const form = h("form", { onsubmit: (event) => { event.preventDefault(); ask(); } });
  fill(root, wayBack("", t("bench.title")), h("h1", {}, t("coat.title")), form, answerBox);

  try {
    const found = await known(app, "v1/formulas");
    formulas = found.answer;
    say(told, found.note);
  } catch (error) {
    say(told, refusal(error));
  }
  kept.formula ??= formulas.formulas[0]?.id ?? null;
  const formula = selectField("coat-formula", formulas.formulas.map((one) => ({ value: one.id, label: one.label })), kept.formula, { onchange: () => { kept.formula = formula.value; ask(); } });
  const coverage = selectField("coat-way", formulas.coverages.map((one) => ({ value: one.id, label: one.label })), kept.coverage, { onchange: () => { kept.coverage = coverage.value; ask(); } });
  const switches = ["acid_bath", "oxidising_rinse"].map((name) => tick(`coat-${name}`, t(`coat.${name}`), kept[name], (event) => {
    kept[name] = event.target.checked;
    ask();
  }));
  fill(form, labelled(t("coat.formula"), formula), labelled(t("coat.way"), coverage), sheets, switches, told,
    h("section", { class: "thumb", "aria-label": t("now.controls") }, h("button", { type: "submit", class: "big go", id: "coat-ask" }, t("coat.ask"))));

  function drawSheets() {
    const unit = smallUnit(app.units);
    fill(sheets, h("legend", {}, t("coat.sheets")), kept.sheets.map((one, index) => {
      const side = (name, text) => {
        const field = numberField(`sheet-${index}-${name}`, typedOf(one[name], app.units), { min: typedOf(0.01, app.units), max: typedOf(5, app.units), required: true });
        field.addEventListener("change", () => {
          const value = typed(field);
          if (value !== null && !Number.isNaN(value)) one[name] = metresOf(value, app.units);
        });
        return labelled(t(text, { unit }), field);
      };
      const count = numberField(`sheet-${index}-count`, one.count, { min: 1, max: 10000, step: 1, inputmode: "numeric", required: true });
      count.addEventListener("change", () => { if (count.checkValidity()) one.count = Number(count.value); });
      return h("div", { class: "sheet-row" }, labelled(t("coat.count"), count), side("width_m", "coat.width"), side("height_m", "coat.height"),
        kept.sheets.length > 1 ? button("×", () => {
          kept.sheets.splice(index, 1);
          drawSheets();
        }, { class: "cross", "aria-label": t("coat.less", { n: index + 1 }) }) : null);
    }), button(t("coat.more"), () => {
      kept.sheets.push({ ...kept.sheets.at(-1) });
      drawSheets();
      sheets.querySelector(`#sheet-${kept.sheets.length - 1}-count`).focus();
    }, { class: "wide" }));
  }

  async function ask() {
    if (!allFit(form)) return;
    await remember();
    try {
      const answer = await app.api.post("v1/coating", {
        formula: kept.formula, coverage: kept.coverage, acid_bath: kept.acid_bath, oxidising_rinse: kept.oxidising_rinse,
        sheets: kept.sheets.map((one) => ({ width_mm: one.width_m * 1000, height_mm: one.height_m * 1000, count: one.count })),
      });
      kept.answer = answer;
      await remember();
      say(told, "");
      draw(answer);
    } catch (error) {
      say(told, kept.answer ? t("coat.kept") : refusal(error));
    }
  }

  const minutes = (step) => (step.least_min === step.most_min ? t("coat.min", { n: number(step.most_min) }) : t("coat.minutes", { from: number(step.least_min, 1), to: number(step.most_min, 1) }));

  function steps(part, title, list, line) {
    return h("section", {}, h("h2", {}, title), h("div", { class: "steps" }, list.map((one, index) => {
      const key = `${part} ${one.id ?? index}`;
      return h("div", { class: "step" }, tick(`step-${part}-${index}`, one.text, kept.ticked[key], (event) => {
        kept.ticked[key] = event.target.checked;
        remember();
      }), line ? h("p", { class: "small" }, line(one)) : null);
    })));
  }

  function draw(answer) {
    const anew = button(t("coat.anew"), () => {
      kept.ticked = {};
      remember();
      draw(answer);
      document.getElementById("coat-anew").focus();
    }, { class: "wide", id: "coat-anew" });
    fill(answerBox,
      h("section", { class: "measure", "aria-label": t("coat.measure") }, h("h2", {}, t("coat.measure")),
        h("dl", { class: "bottles" }, answer.stocks.map((stock) => h("div", {}, h("dt", {}, stock.label), h("dd", {}, t("coat.ml", { n: number(stock.volume_ml, 1) }))))),
        h("p", {}, t("coat.total", { n: number(answer.total_ml, 1), rate: number(answer.coverage_ml_m2, 0) })),
        answer.rinse_peroxide_ml === null ? null : h("p", {}, t("coat.peroxide", { n: number(answer.rinse_peroxide_ml, 0) })),
        h("p", { class: "small" }, answer.keeping),
        answer.caution ? h("p", { class: "note" }, answer.caution) : null,
        h("details", { class: "why" }, h("summary", {}, t("coat.powders")), answer.stocks.map((stock) => stock.powders.map((powder) =>
          h("p", {}, t("coat.powder", { stock: stock.label, what: powder.label, g: number(powder.weight_g, 1) })))))),
      h("section", {}, h("h2", {}, t("coat.cautions")), h("ul", { class: "cautions" }, answer.cautions.map((one) => h("li", {}, h("b", {}, `${one.about}: `), one.text)), h("li", {}, t("coat.local")))),
      steps("check", t("coat.checks"), answer.checklist, null),
      steps("coating", t("coat.steps"), answer.coating, (step) => t("coat.until", { minutes: minutes(step), done: step.done_when })),
      steps("washing", t("coat.washing"), answer.washing, (step) => t("coat.until", { minutes: minutes(step), done: step.done_when })), anew);
  }

  drawSheets();
  if (kept.answer) draw(kept.answer);
  if (kept.formula) await ask();
  return {};
}
