// The log of prints, and the page of one of them, where it can be judged anew.
import { query } from "../api.js";
import { beliefWords, dose } from "../bench_belief.js";
import { allFit, drawing, known, labelled, leads, refusal, selectField, textField, toastLine, wayBack } from "../bench_kit.js";
import { keeper, turn } from "../bench_record.js";
import { button, fill, h, say, show } from "../dom.js";
import { judgedAs, notesField, surroundings, verdict, WORDS, wordFor } from "../judge_words.js";
import { clockOn } from "../moments.js";
import { t } from "../texts.js";

const PAGE = 30;

export const mount = (root, app, [id]) => (id ? onePrint(root, app, id) : log(root, app));

async function log(root, app) {
  const field = h("input", { id: "print-words", type: "search", autocomplete: "off", maxlength: 200, enterkeyhint: "search" });
  const of = selectField("print-verdict", [{ value: "", label: t("prints.any") }, ...WORDS.map((word) => ({ value: word, label: wordFor(word) }))], "");
  const away = selectField("print-retired", ["no", "yes"].map((value) => ({ value, label: t(`prints.retired.${value}`) })), "no");
  const list = h("div"), told = toastLine();
  const more = button(t("prints.more"), () => look(true), { class: "wide", hidden: true });
  let shown = [], ticket = 0, timer = null;
  const soon = () => {
    clearTimeout(timer);
    timer = setTimeout(look, 300);
  };
  field.addEventListener("input", soon);
  for (const select of [of, away]) select.addEventListener("change", () => look());
  fill(root, wayBack("", t("bench.title")), h("h1", {}, t("bench.room.prints")),
    h("form", { role: "search", onsubmit: (event) => { event.preventDefault(); look(); } }, labelled(t("prints.words"), field),
      h("div", { class: "two" }, labelled(t("prints.verdict"), of), labelled(t("prints.which"), away))),
    told, list, more);

  async function look(further = false) {
    const now = ++ticket;
    const before = further === true ? shown.at(-1)?.id : null;
    const asked = query({ text: field.value.trim(), judgement: of.value, retired: away.value, before, limit: PAGE });
    try {
      const { answer, note } = await known(app, `v1/prints?${asked}`);
      if (now !== ticket) return;
      shown = before ? [...shown, ...answer.prints] : answer.prints;
      say(told, note || (shown.length ? t("prints.count", { count: answer.total, n: answer.total }) : t("prints.none")));
      fill(list, leads(shown.map((print) => ({
        label: print.name, href: `#/bench/prints/${print.id}`,
        note: [clockOn(Date.parse(print.made), app.zone, app.now), judgedAs(print)].filter(Boolean).join(" · "),
      }))));
      show(more, shown.length < answer.total);
    } catch (error) {
      if (now === ticket) say(told, refusal(error));
    }
  }

  await look();
  return { leave() { clearTimeout(timer); } };
}

const TEXTS = ["wash_notes", "rinse_notes"];

async function onePrint(root, app, id) {
  const picture = drawing(app), told = toastLine(), title = h("h1", {}, "…"), facts = h("dl", { class: "facts" });
  const form = h("form", { class: "judging", onsubmit: (event) => event.preventDefault() });
  const outcome = h("section", { class: "outcome" });
  const save = button(t("bench.save"), send, { class: "big go", id: "print-save" });
  const put = button("", retire, { class: "big", id: "print-retire" });
  let print = null, judged = null, fields = null, before = null;
  const keep = keeper({ app, path: "v1/prints", words: value, onsaved: (saved) => saw(saved, saved.target) });
  fill(root, wayBack("/prints", t("bench.room.prints")), title, facts, outcome, form, keep.node, told,
    h("section", { class: "thumb", "aria-label": t("now.controls") }, h("div", { class: "acts" }, put, save)));

  function value(field, it) {
    if (it === null || it === undefined || it === "") return t("bench.empty");
    return field === "judgement" ? wordFor(it) : Array.isArray(it) ? it.join(", ") : typeof it === "boolean" ? t(it ? "able.yes" : "able.no") : String(it);
  }

  function draw() {
    say(title, print.name);
    const rows = [["made", clockOn(Date.parse(print.made), app.zone, app.now)], ["dose", print.dose_j_m2 === null ? null : dose(print.dose_j_m2)],
      ["spot", print.spot?.says ?? null], ["judged", judgedAs(print) || t("prints.unjudged")]];
    fill(facts, rows.filter(([, words]) => words).map(([name, words]) => h("div", {}, h("dt", {}, t(`prints.${name}`)), h("dd", {}, words))));
    judged = verdict(print);
    fields = {
      name: textField("print-name", print.name, { maxlength: 200, required: true }), notes: notesField(print.notes), around: surroundings(print),
      tags: textField("print-tags", print.tags.join(", "), { maxlength: 600 }),
      ...Object.fromEntries(TEXTS.map((name) => [name, textField(`print-${name}`, print[name], { maxlength: 4000 })])),
    };
    fill(form, judged.node, h("div", {}, labelled(t("field.print"), fields.name), fields.notes.node, labelled(t("field.tags"), fields.tags, t("prints.tags.note")),
      TEXTS.map((name) => labelled(t(`field.${name}`), fields[name])), fields.around.node));
    for (const control of form.elements) control.disabled = print.retired;
    say(put, t(print.retired ? "bench.restore" : "bench.retire"));
    save.disabled = print.retired;
  }

  function saw(saved, target) {
    print = saved;
    draw();
    say(told, t("bench.saved"));
    if (target) {
      fill(outcome, beliefWords(target, before), picture.node);
      picture.show(`v1/recipes/${print.recipe_id}/target/picture`, t("belief.picture", { summary: target.summary }));
      before = target;
    }
  }

  function body() {
    const said = judged.value();
    return {
      name: fields.name.value.trim(), notes: fields.notes.field.value.trim(), ...fields.around.values(),
      tags: fields.tags.value.split(",").map((tag) => tag.trim()).filter(Boolean),
      ...Object.fromEntries(TEXTS.map((name) => [name, fields[name].value.trim()])),
      ...said, // words take the place of stops, and stops that of words
    };
  }

  async function send() {
    if (!allFit(form)) return;
    save.disabled = true;
    try {
      const saved = await keep.save(print, body());
      if (saved) saw(saved, saved.target);
    } catch (error) {
      say(told, refusal(error));
    }
    save.disabled = print.retired;
  }

  async function retire() {
    try {
      const saved = await turn(app, "v1/prints", print, print.retired ? "restore" : "retire");
      saw(saved, saved.target);
    } catch (error) {
      if (error.status === 412) await load();
      say(told, refusal(error));
    }
  }

  async function load() {
    const { answer, note } = await known(app, `v1/prints/${id}`);
    print = answer;
    say(told, note);
    draw();
    before = await app.api.get(`v1/recipes/${print.recipe_id}/target`).catch(() => null);
  }

  try {
    await load();
  } catch (error) {
    say(title, t("bench.notthere"));
    say(told, refusal(error));
    fill(form);
    show(save, false);
    show(put, false);
  }
  return { leave: picture.leave };
}
