// What stands on the roof: chimneys and other boxes, and solar arrays. Each can be moved, changed, added, removed.

import { $, fill, h, keepingFocus } from "./dom.js";
import { field } from "./forms.js";

const TABLES = {
  obstruction: { title: "Chimneys, skylights, other boxes", one: "box" },
  solar: { title: "Solar arrays", one: "solar array" },
};

export class ThingsPane {
  constructor(store, edits, forms) {
    Object.assign(this, { store, edits, forms, pane: $("pane-things"), opened: new Set(), said: "" });
    this.pane.addEventListener("input", () => (this.error.hidden = true)); // it was about what stood there
    store.addEventListener("shown", () => !store.preview && this.revision !== store.state.revision && this.render());
    this.render();
  }

  render() {
    keepingFocus(this.pane, () => this.#draw(), this.edits.foreign);
  }

  #draw() {
    this.revision = this.store.state.revision;
    this.error = h("p", { class: "refusal", role: "alert", hidden: !this.said }, this.said);
    fill(this.pane,
      h("p", { class: "note intro" }, "Snow drifts and leans against what stands on the roof, and rows end there. Places count from the left end of the plane, for a person who stands outside the eave and looks up the slope."),
      Object.keys(TABLES).map((table) => this.#table(table)),
      this.error);
  }

  #table(table) {
    const things = this.store.state.things[table];
    return h("section", { class: "editor", "aria-label": TABLES[table].title },
      h("h2", {}, TABLES[table].title),
      things.length ? null : h("p", { class: "note" }, table === "obstruction" ? "None in the project file. What the roof file itself shows stands in the picture, and snow drifts there too." : "None in the project file."),
      things.map((thing) => this.#thing(table, thing)),
      this.#adder(table));
  }

  #details(key, summary, ...content) {
    const box = h("details", { class: "thing", "data-key": key, open: this.opened.has(key) }, h("summary", {}, summary), content);
    box.addEventListener("toggle", () => this.opened[box.open ? "add" : "delete"](key));
    return box;
  }

  #thing(table, thing) {
    const given = [], other = [];
    for (const form of this.forms[table]) {
      const name = form.path[0];
      const one = field(this.#form(form), thing[name], {
        keep: (now) => {
          if (name === "name" && now) this.opened.add(`${table}:${now}`);
          return this.edits.send({ type: "thing", table, name: thing.name, fields: { [name]: now } });
        },
        try: name === "name" ? null : (now) => this.edits.try({ type: "thing", table, name: thing.name, fields: { [name]: now } }),
        forget: () => this.edits.forget(),
      });
      (thing[name] === undefined ? other : given).push(one.box);
    }
    return this.#details(`${table}:${thing.name}`, [h("b", {}, thing.name), ` on ${thing.plane}, ${thing.width} × ${thing.depth}`],
      h("div", { class: "fields" }, given, other),
      h("div", { class: "actions" }, h("span", {}), h("button", { class: "danger", onclick: () => this.#do({ type: "take", table, name: thing.name }) }, `Remove ${thing.name}`)));
  }

  #form(form) {
    if (form.path[0] !== "plane") return form;
    return { ...form, kind: "choice", choices: this.store.state.planes.map((plane) => plane.name) };
  }

  #adder(table) {
    const forms = this.forms[table].filter((form) => form.needed);
    const us = this.store.state.units === "US";
    const { state } = this.store;
    const first = { name: this.#freeName(table), plane: (this.store.rowOf(this.store.row) ?? state.rows[0])?.plane ?? state.planes[0].name };
    const spot = (plane) => state.spots[plane]?.[Math.min(Object.keys(TABLES).indexOf(table), state.spots[plane].length - 1)] ?? {};
    const values = us ? { across: "10 ft", up: "8 ft", width: "3 ft", depth: "3 ft", height: "4 ft", gap: "4 in", weight: "3 psf" } : { across: "3 m", up: "2.5 m", width: "1 m", depth: "1 m", height: "1.2 m", gap: "10 cm", weight: "0.15 kN/m^2" };
    const now = { ...values, ...spot(first.plane), ...first };
    const inputs = {};
    const boxes = forms.map((form) => {
      const name = form.path[0];
      const keep = (value) => {
        const before = spot(now.plane);
        now[name] = value;
        if (name !== "plane") return true;
        for (const [place, text] of Object.entries(spot(value))) { // a place that nobody has typed follows the plane
          if (now[place] === before[place]) inputs[place].value = now[place] = text;
        }
        return true;
      };
      const one = field(this.#form(form), now[name], { keep, forget: () => {} });
      inputs[name] = one.input;
      one.box.dataset.field = `new-${table}-${name}`;
      return one.box;
    });
    const add = async () => {
      const fields = Object.fromEntries(forms.map((form) => [form.path[0], now[form.path[0]]]));
      this.opened.delete(`new ${table}`);
      this.opened.add(`${table}:${fields.name}`);
      if ((await this.#do({ type: "put", table, fields })) === true) this.#focus(`${table}:${fields.name}`);
      else this.opened.add(`new ${table}`);
    };
    return this.#details(`new ${table}`, `Add a ${TABLES[table].one}`,
      h("div", { class: "fields" }, boxes),
      h("div", { class: "actions" }, h("span", {}), h("button", { class: "add", onclick: add }, `Add this ${TABLES[table].one}`)));
  }

  #focus(key) {
    this.pane.querySelector(`[data-key="${CSS.escape(key)}"] summary`)?.focus();
  }

  async #do(message) {
    this.said = "";
    const said = await this.edits.send(message);
    this.said = said === true ? "" : said;
    this.error.hidden = !this.said;
    this.error.textContent = this.said;
    if (this.said) this.error.scrollIntoView({ block: "nearest" });
    return said;
  }

  #freeName(table) {
    const taken = new Set(this.store.state.things[table].map((thing) => thing.name));
    const stem = table === "solar" ? "array" : "chimney";
    let number = 1;
    while (taken.has(`${stem} ${number}`)) number += 1;
    return `${stem} ${number}`;
  }
}
