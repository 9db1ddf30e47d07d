// Judging a print whose exposure has ended: the verdict moves the target of its recipe.
import { beliefWords } from "../bench_belief.js";
import { allFit, drawing, known, labelled, refusal, selectField, textField, toastLine, wayBack } from "../bench_kit.js";
import { BenchPost } from "../bench_post.js";
import { button, fill, h, say, show } from "../dom.js";
import { notesField, surroundings, verdict } from "../judge_words.js";
import { clockOn, clockSeconds, percent } from "../moments.js";
import { t } from "../texts.js";

export async function mount(root, app, [id]) {
  const frame = app.frames.get(id);
  const picture = drawing(app);
  const missing = (text) => {
    fill(root, wayBack("", t("bench.title")), h("h1", {}, t("judge.title")), h("p", { class: "lead" }, text));
    return {};
  };
  if (!frame) return missing(t("judge.unknown"));
  if (frame.status !== "finished") return missing(t("judge.notyet", { name: frame.name }));

  const told = toastLine(), outcome = h("section", { class: "outcome", tabindex: -1, hidden: true });
  const judged = verdict({ onchange: () => { tell.disabled = !judged.value(); } });
  const name = textField("print-name", frame.name, { maxlength: 200, required: true });
  const notes = notesField(""), around = surroundings();
  const recipeBox = h("div");
  const tell = button(t("judge.tell"), send, { class: "big go", id: "judge-tell", disabled: true });
  const stand = app.frames.stand(frame);
  const stopped = frame.answer?.stopped ? Date.parse(frame.answer.stopped) : frame.events.findLast((event) => event.kind === "finished")?.atMs;
  const form = h("form", { class: "judging", onsubmit: (event) => event.preventDefault() },
    h("p", { class: "small" }, t("judge.of", { name: frame.name, from: clockOn(frame.startMs, frame.zone, app.now), to: clockSeconds(stopped ?? frame.startMs, frame.zone), share: percent(stand.share) })),
    h("p", { class: "small" }, t("judge.when")),
    judged.node, h("div", { class: "beside" }, recipeBox, labelled(t("field.print"), name), notes.node, around.node), told,
    h("section", { class: "thumb", "aria-label": t("now.controls") }, tell));
  fill(root, wayBack("", t("bench.title")), h("h1", {}, t("judge.title")), outcome, form);

  let recipes = [], select = null, left = false;
  try {
    recipes = (await known(app, "v1/recipes?limit=50")).answer.recipes.filter((item) => !item.retired);
  } catch {
    say(told, t("saved.away"));
  }
  const own = frame.body.recipe ?? null;
  const mine = recipes.find((item) => item.id === own || item.name === own);
  if (!own && recipes.length) {
    select = selectField("judge-recipe", recipes.map((item) => ({ value: item.id, label: item.name })), recipes[0].id);
    fill(recipeBox, labelled(t("judge.recipe"), select));
  } else if (!own && !frame.adopted) {
    fill(recipeBox, h("p", { class: "note" }, t("judge.norecipe")), h("a", { class: "big button", href: "#/bench/recipes/new" }, t("recipes.new")));
  } else if (mine) {
    fill(recipeBox, h("p", {}, t("judge.ofrecipe", { recipe: mine.name })));
  }

  async function send() {
    if (!allFit(form)) return;
    tell.disabled = true;
    say(told, t("bench.telling"));
    const recipe = select ? select.value : mine?.id ?? own;
    const given = Object.fromEntries(Object.entries({ ...around.values(), notes: notes.field.value.trim() || null }).filter(([, value]) => value !== null));
    const body = { name: name.value.trim(), ...(select ? { recipe: select.value } : {}), ...judged.value(), ...given };
    try {
      const before = recipe && app.api.reachable ? await app.api.get(`v1/recipes/${recipe}/target`).catch(() => null) : null;
      const entry = { path: "v1/prints", body, frame: frame.id, what: t("judge.what", { name: body.name }) };
      const learned = (answer) => { if (!left) drawOutcome(answer, before); };
      const answer = await BenchPost.of(app).tell(entry, learned);
      frame.benched = true;
      await app.frames.save(frame);
      learned(answer);
    } catch (error) {
      say(told, refusal(error));
      tell.disabled = false;
    }
  }

  function drawOutcome(answer, before) {
    show(form, false);
    show(outcome, true);
    fill(outcome, answer
      ? [beliefWords(answer.target, before), picture.node,
        h("a", { class: "big button wide", href: `#/bench/prints/${answer.id}` }, t("judge.toprint"))]
      : [h("h2", {}, t("strip.kept.title")), h("p", {}, t("strip.kept.text"))]);
    if (answer) picture.show(`v1/recipes/${answer.recipe_id}/target/picture`, t("belief.picture", { summary: answer.target.summary }));
    outcome.focus({ preventScroll: true });
  }

  return {
    leave() {
      left = true;
      picture.leave();
    },
  };
}
