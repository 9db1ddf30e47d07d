// Reading a strip once it is washed and dry: the first that is full, the first with any tone, and what they say
// of the dose that the recipe needs.
import { drawing, known, labelled, refusal, selectField, textField, toastLine, wayBack } from "./bench_kit.js";
import { BenchPost } from "./bench_post.js";
import { button, fill, h, say, show } from "./dom.js";
import { newId } from "./keep.js";
import { clockSeconds } from "./moments.js";
import { COVERS } from "./setup.js";
import { readable } from "./strip_book.js";
import { ladder } from "./strip_ladder.js";
import { beliefWords } from "./bench_belief.js";
import { t } from "./texts.js";

const NONE = "none", NEW = "new";

export async function readStrip(root, app, frame) {
  const strips = readable(frame);
  const reading = frame.strip.reading ??= { full: null, toned: null, recipe: frame.body.recipe ?? null };
  let asking = "full", newKey = newId(), left = false;
  const picture = drawing(app);
  const told = toastLine(), outcome = h("section", { class: "outcome", tabindex: -1 });
  if (frame.status !== "finished" || strips.length < 2) {
    fill(root, wayBack("", t("bench.title")), h("h1", {}, frame.name), h("p", { class: "lead" }, t(frame.status === "finished" ? "strip.tooshort" : "strip.givenup")),
      h("a", { class: "big button", href: "#/bench/strip" }, t("bench.back.strip")));
    return { leave: picture.leave };
  }
  const drawn = ladder(strips.length, { pick: (row) => choose(strips[row - 1].number), label: t("strip.ladder") });
  const ask = Object.fromEntries(["full", "toned"].map((which) => [which, button("", () => { asking = which; draw(); }, { class: "ask", id: `ask-${which}` })]));
  const none = button("", () => choose(NONE), { class: "wide", id: "strip-none" });
  const tell = button(t("strip.tell"), send, { class: "big go", id: "strip-tell" });
  const recipeBox = h("div");
  const form = h("div", { class: "reading" },
    h("p", { class: "small" }, t("strip.read.lead")),
    h("div", { class: "asks", role: "group", "aria-label": t("strip.ask") }, ask.full, ask.toned), drawn.node, none, recipeBox,
    h("details", { class: "why" }, h("summary", {}, t("strip.times")), h("ol", { class: "told-list" }, strips.map((one) => h("li", {},
      t(one.told ? "strip.time.told" : "strip.time.due", { n: one.number, time: clockSeconds(one.atMs, frame.zone) }))))), told,
    h("section", { class: "thumb", "aria-label": t("now.controls") }, tell));
  fill(root, wayBack("", t("bench.title")), h("h1", {}, t("strip.read.title", { name: frame.name })), outcome, form);
  show(outcome, false);

  async function keepReading() { await app.frames.keep.frames.put(frame); }

  function choose(value) {
    reading[asking] = value;
    if (asking === "full") asking = "toned";
    keepReading();
    draw();
  }

  const named = (value) => (value === null ? t("strip.notyet") : value === NONE ? t("strip.none") : t("strip.n", { n: value }));

  function draw() {
    for (const which of ["full", "toned"]) {
      fill(ask[which], h("span", {}, t(`strip.ask.${which}`)), h("b", {}, named(reading[which])));
      ask[which].setAttribute("aria-pressed", String(asking === which));
    }
    say(none, t(`strip.none.${asking}`));
    const at = (value) => (value === NONE ? Infinity : value);
    drawn.draw(strips.map(({ number, upTo }) => {
      const full = reading.full !== null && upTo >= at(reading.full);
      const some = !full && reading.toned !== null && upTo >= at(reading.toned);
      const mark = full ? "full" : some ? "some" : reading.toned === null ? "open" : "bare";
      const words = [];
      if (number === reading.full) words.push(t("strip.word.full"));
      if (number === reading.toned) words.push(t("strip.word.toned"));
      return {
        mark, name: upTo > number ? t("strip.ns", { n: number, to: upTo }) : t("strip.n", { n: number }), note: t(`strip.mark.${mark}`), word: words.join(" · "),
      };
    }));
    tell.disabled = reading.full === null || reading.toned === null;
  }

  async function drawRecipes() {
    let items = [];
    try {
      items = (await known(app, "v1/recipes?limit=50")).answer.recipes.filter((item) => !item.retired);
    } catch {
      say(told, t("saved.away"));
    }
    const own = items.find((item) => item.id === reading.recipe || item.name === reading.recipe);
    if (own) reading.recipe = own.id;
    const options = items.map((item) => ({ value: item.id, label: item.name }));
    if (reading.recipe && !own) options.unshift({ value: reading.recipe, label: t("strip.recipe.own") });
    options.push({ value: NEW, label: t("strip.recipe.new") });
    reading.recipe ??= options[0].value;
    const select = selectField("strip-recipe", options, reading.recipe);
    const name = textField("strip-recipe-name", t("strip.recipe.name", { coat: app.setup.recipe.label ?? t("recipe.first") }), { maxlength: 200 });
    const nameBox = labelled(t("field.name"), name);
    const turn = () => {
      reading.recipe = select.value;
      show(nameBox, select.value === NEW);
      keepReading();
    };
    select.addEventListener("change", turn);
    fill(recipeBox, labelled(t("strip.recipe"), select), nameBox);
    show(nameBox, reading.recipe === NEW);
  }

  /** The recipe to be told, made first when it is a new one. */
  async function recipeId() {
    if (reading.recipe !== NEW) return reading.recipe;
    const stack = (frame.body.stack ?? COVERS.at(-1).stack).split(",").filter((id) => id !== "none");
    const body = { name: document.getElementById("strip-recipe-name").value.trim(), sensitizer: frame.body.sensitizer ?? "citrate-classic", stack };
    const made = await app.api.post("v1/recipes", body, { key: newKey });
    newKey = newId();
    reading.recipe = made.id;
    await keepReading();
    return made.id;
  }

  async function send() {
    tell.disabled = true;
    say(told, t("bench.telling"));
    try {
      const recipe = await recipeId();
      // strips that were taken in together are one; the service counts them as such
      const rank = (value) => (value === NONE ? NONE : 1 + strips.findIndex((one) => one.upTo >= value));
      const body = {
        kind: "strip", covered_at: strips.map((one) => new Date(one.atMs).toISOString()),
        first_full: rank(reading.full), first_toned: rank(reading.toned),
      };
      const learned = async (answer) => {
        frame.benched = true;
        frame.strip.told = answer ? { target: answer.target, recipe } : { recipe };
        await app.frames.save(frame);
        if (!left) drawOutcome();
      };
      const entry = { path: `v1/recipes/${recipe}/evidence`, body, frame: frame.id, what: t("strip.read.what", { name: frame.name }) };
      await learned(await BenchPost.of(app).tell(entry, learned));
    } catch (error) {
      say(told, refusal(error));
      tell.disabled = false;
    }
  }

  function drawOutcome() {
    const { target, recipe } = frame.strip.told;
    show(form, false);
    show(outcome, true);
    fill(outcome, target
      ? [beliefWords(target), picture.node, h("a", { class: "big button wide", href: `#/bench/recipes/${recipe}` }, t("strip.torecipe")),
        h("a", { class: "big button wide", href: "#/now" }, t("frames.none.go"))]
      : [h("h2", {}, t("strip.kept.title")), h("p", {}, t("strip.kept.text")), h("a", { class: "big button wide", href: "#/bench" }, t("bench.title"))]);
    if (target) picture.show(`v1/recipes/${recipe}/target/picture`, t("belief.picture", { summary: target.summary }));
    outcome.focus({ preventScroll: true });
  }

  draw();
  await drawRecipes();
  if (frame.strip.told) drawOutcome();
  return {
    leave() {
      left = true;
      picture.leave();
    },
  };
}
