// Recipes: what a target belongs to.  A list, and the page of one with its belief and everything that can change.
import { beliefWords } from "../bench_belief.js";
import { allFit, drawing, known, labelled, leads, longField, numberField, refusal, selectField, textField, toastLine, typed, wayBack } from "../bench_kit.js";
import { keeper, turn } from "../bench_record.js";
import { button, fill, h, say, show } from "../dom.js";
import { stackField } from "../recipe_stack.js";
import { t } from "../texts.js";

const NOTES = ["paper", "coat_notes", "negative_notes", "notes"];
const FRESH = { name: "", sensitizer: "citrate-classic", stack: ["float-glass-4mm", "polyester-film"], paper: "", coat_notes: "", negative_notes: "", notes: "", prior: null, retired: false };

export const mount = (root, app, [id]) => (id ? oneRecipe(root, app, id === "new" ? null : id) : list(root, app));

async function list(root, app) {
  const box = h("div"), told = toastLine();
  const away = selectField("recipes-retired", ["no", "yes"].map((value) => ({ value, label: t(`bench.retired.${value}`) })), "no", { onchange: look });
  fill(root, wayBack("", t("bench.title")), h("h1", {}, t("bench.room.recipes")), told, box, labelled(t("prints.which"), away),
    h("section", { class: "thumb", "aria-label": t("now.controls") }, h("a", { class: "big go button", href: "#/bench/recipes/new" }, t("recipes.new"))));
  async function look() {
    try {
      const { answer, note } = await known(app, `v1/recipes?retired=${away.value}&limit=200`);
      say(told, note || (answer.recipes.length ? "" : t("saved.none.recipes")));
      fill(box, leads(answer.recipes.map((recipe) => ({ label: recipe.name, note: recipe.paper || recipe.sensitizer, href: `#/bench/recipes/${recipe.id}` }))));
    } catch (error) {
      say(told, refusal(error));
    }
  }
  await look();
  return {};
}

async function oneRecipe(root, app, id) {
  const picture = drawing(app), told = toastLine(), title = h("h1", {}, t(id ? "bench.room.recipes" : "recipes.new"));
  const belief = h("section", { class: "outcome" }), form = h("form", { onsubmit: (event) => event.preventDefault() });
  const save = button(t("bench.save"), send, { class: "big go", id: "recipe-save" });
  const put = button("", retire, { class: "big", id: "recipe-retire" });
  const use = button(t("recipes.use"), () => {
    app.choose({ recipe: { kind: "saved", id: recipe.id, name: recipe.name } });
    app.go("now");
  }, { class: "big wide", id: "recipe-use" });
  let recipe = { ...FRESH }, fields = null, stack = null, materials = { sensitizers: [], stack: [] };
  const keep = keeper({ app, path: "v1/recipes", words: value, onsaved: saw });
  fill(root, wayBack("/recipes", t("bench.room.recipes")), title, belief, h("div", { class: "beside" }, form, keep.node, told),
    h("section", { class: "thumb", "aria-label": t("now.controls") }, use, h("div", { class: "acts" }, put, save)));

  function value(field, it) {
    if (it === null || it === undefined || it === "" || it.length === 0) return t("bench.empty");
    if (field === "stack") return stack.words(it);
    if (field === "prior") return t("recipes.prior.words", { dose: it.median_j_m2, spread: it.spread_stops, source: it.source });
    if (field === "sensitizer") return materials.sensitizers.find((one) => one.id === it)?.label ?? it;
    return typeof it === "boolean" ? t(it ? "able.yes" : "able.no") : String(it);
  }

  function draw() {
    say(title, recipe.id ? recipe.name : t("recipes.new"));
    const coats = materials.sensitizers.length ? materials.sensitizers : [{ id: recipe.sensitizer, label: recipe.sensitizer }];
    const { prior } = recipe;
    stack = stackField(materials.stack, recipe.stack);
    fields = {
      name: textField("recipe-name", recipe.name, { maxlength: 200, required: true }),
      sensitizer: selectField("recipe-coat", coats.map((one) => ({ value: one.id, label: one.label })), recipe.sensitizer),
      ...Object.fromEntries(NOTES.map((name) => [name, longField(`recipe-${name}`, recipe[name], { maxlength: 4000, rows: 2 })])),
      median: numberField("recipe-median", prior?.median_j_m2, { min: 1, max: 1e8 }), spread: numberField("recipe-spread", prior?.spread_stops, { min: 0.05, max: 4 }),
      source: textField("recipe-source", prior?.source ?? "", { maxlength: 4000 }),
    };
    fill(form, labelled(t("field.name"), fields.name), labelled(t("field.sensitizer"), fields.sensitizer), stack.node,
      h("details", { class: "why", open: NOTES.some((name) => recipe[name]) }, h("summary", {}, t("recipes.notes")), NOTES.map((name) => labelled(t(`field.${name}`), fields[name]))),
      h("details", { class: "why", open: prior !== null }, h("summary", {}, t("field.prior")), h("p", { class: "small" }, t("recipes.prior.note")),
        labelled(t("recipes.median"), fields.median), labelled(t("recipes.spread"), fields.spread), labelled(t("recipes.source"), fields.source)));
    for (const control of form.elements) control.disabled = recipe.retired;
    show(put, Boolean(recipe.id));
    show(use, Boolean(recipe.id) && !recipe.retired);
    say(put, t(recipe.retired ? "bench.restore" : "bench.retire"));
    save.disabled = recipe.retired;
  }

  function body() {
    const median = typed(fields.median);
    return {
      name: fields.name.value.trim(), sensitizer: fields.sensitizer.value, stack: stack.value(),
      ...Object.fromEntries(NOTES.map((name) => [name, fields[name].value.trim()])),
      prior: median === null ? null : { median_j_m2: median, spread_stops: typed(fields.spread) ?? 0.5, source: fields.source.value.trim() },
    };
  }

  async function drawBelief() {
    try {
      const target = await app.api.get(`v1/recipes/${recipe.id}/target`);
      fill(belief, beliefWords(target), picture.node);
      await picture.show(`v1/recipes/${recipe.id}/target/picture`, t("belief.picture", { summary: target.summary }));
    } catch (error) {
      fill(belief, h("p", { class: "small" }, refusal(error)));
    }
  }

  function saw(saved) {
    const fresh = !recipe.id;
    recipe = saved;
    draw();
    say(told, t("bench.saved"));
    if (app.setup.recipe.id === recipe.id) app.choose({ recipe: { kind: "saved", id: recipe.id, name: recipe.name } });
    if (fresh) history.replaceState(null, "", `#/bench/recipes/${recipe.id}`);
    drawBelief();
  }

  async function send() {
    if (!allFit(form)) return;
    save.disabled = true;
    try {
      const saved = await keep.save(recipe.id ? recipe : null, body());
      if (saved) saw(saved);
    } catch (error) {
      say(told, refusal(error));
    }
    save.disabled = recipe.retired;
  }

  async function retire() {
    try {
      saw(await turn(app, "v1/recipes", recipe, recipe.retired ? "restore" : "retire"));
    } catch (error) {
      if (error.status === 412) await load();
      say(told, refusal(error));
    }
  }

  async function load() {
    recipe = (await known(app, `v1/recipes/${id ?? recipe.id}`)).answer;
    draw();
  }

  materials = await known(app, "v1/materials").then(({ answer }) => answer).catch(() => materials);
  try {
    if (id) await load(); else draw();
    if (id) await drawBelief();
  } catch (error) {
    say(title, t("bench.notthere"));
    say(told, refusal(error));
    for (const node of [save, put, use]) show(node, false);
  }
  return { leave: picture.leave };
}
