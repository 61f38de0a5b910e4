// Row editor: choose a row, move it by steps or typing, thin out its clamps, add, split and remove.

import { $, fill, h, heads, keepingFocus } from "./dom.js";
import { field } from "./forms.js";
import { percent, statusOf } from "./numbers.js";
import { PlanPart } from "./planning.js";
import { splices } from "./splices.js";

const MAIN = ["up", "every", "first", "start", "end"];

export class RowsPane {
  constructor(link, store, edits, forms) {
    this.plan = new PlanPart(link, store, edits);
    Object.assign(this, { store, edits, forms, pane: $("pane-rows"), asked: {} });
    this.error = h("p", { class: "refusal", role: "alert", hidden: true });
    this.pane.addEventListener("input", () => (this.error.hidden = true)); // it was about what stood there
    store.addEventListener("row", () => this.render());
    store.addEventListener("shown", () => this.#refresh());
    this.render();
  }

  #refresh() {
    // A preview changes numbers only; the fields stay as they are being typed.
    if (this.store.preview) this.#numbers();
    else if (!this.pane.contains(document.activeElement) || this.revision !== this.store.state.revision) this.render();
  }

  get row() {
    const { rows } = this.store.state;
    return rows.find((row) => row.name === this.store.row) ?? rows[0];
  }

  render() {
    keepingFocus(this.pane, () => this.#draw(), this.edits.foreign);
  }

  #draw() {
    const list = h("table", { class: "small rows" },
      h("thead", {}, h("tr", {}, heads(["Row", "Plane", "#Up", "#Clamps", "#Used"]))),
      this.body = h("tbody"));
    this.revision = this.store.state.revision;
    this.#numbers();
    const { measured } = this.store.state;
    const banner = h("p", { class: "cautionline measured", role: "status" }, `As built: the clamps were measured where the rows stand (${measured}). Rows cannot be changed here; Inputs, “Clamps measured on site”, takes the planned clamps again.`);
    const editors = [this.#editor(this.row), this.#adder(), this.plan.draw()];
    fill(this.pane, measured ? banner : null, list, editors, this.error);
    if (measured) for (const one of editors.flatMap((part) => [...part.querySelectorAll("input, select, button")])) one.disabled = true;
  }

  #numbers() {
    const chosen = this.row.name;
    const rows = this.store.shown.rows.slice(0, 200);
    fill(this.body, rows.map((row) => {
      const use = row.use === undefined ? 0 : (row.use ?? NaN);
      const fields = this.store.state.rows.find((r) => r.name === row.name)?.fields;
      return h("tr", { class: statusOf(use), "aria-current": row.name === chosen, onclick: () => this.store.pickRow(row.name) },
        h("th", { scope: "row" }, h("button", { class: "link", onclick: () => this.store.pickRow(row.name) }, row.name)),
        h("td", {}, row.plane), h("td", { class: "n" }, fields?.up ?? ""), h("td", { class: "n" }, String(row.clamps)),
        h("td", { class: "n" }, row.use === undefined ? "" : percent(use)));
    }));
  }

  #editor(row) {
    const { edits } = this;
    const make = (name) => {
      const form = this.#form(name);
      const one = field(form, row.fields[name], {
        keep: (value) => edits.row(row.name, { [name]: value }),
        try: (value) => edits.tryRow(row.name, { [name]: value }),
        forget: () => edits.forget(),
      });
      if (name === "up") one.box.querySelector(".entry").append(this.#step(row, -1), this.#step(row, 1));
      return one.box;
    };
    const known = this.forms.row.map((f) => f.path[0]);
    const rest = known.filter((name) => !MAIN.includes(name));
    return h("section", { class: "editor", "aria-label": `Row ${row.name}` },
      h("h2", {}, `Row ${row.name}`),
      h("p", { class: "note" }, `${row.length} long on plane ${row.plane}`, row.total ? `; snow brings ${row.total}, at most ${row.peak}${row.beyond ? `, and up to ${row.beyond} more from beyond its ends` : ""}; worst: ${row.worst}` : ""),
      h("div", { class: "fields" }, MAIN.map(make)),
      this.#more(h("div", { class: "fields" }, rest.map(make)), splices(row, this.forms.splice, (list) => this.#do({ type: "splices", row: row.name, splices: list }))),
      this.#actions(row));
  }

  #more(...content) {
    const box = h("details", { open: this.opened }, h("summary", {}, "More: place, ends, splices, name"), content);
    box.addEventListener("toggle", () => (this.opened = box.open));
    return box;
  }

  #form(name) {
    const form = this.forms.row.find((f) => f.path[0] === name);
    const planes = this.store.state.planes.filter((plane) => !plane.flat);
    const choices = { plane: planes.map((plane) => plane.name), eave: planes.flatMap((plane) => plane.eaves) }[name];
    return choices ? { ...form, kind: "choice", choices } : form;
  }

  #step(row, way) {
    const label = way > 0 ? "up the slope" : "down the slope";
    // Clicks while an answer is on its way are one step of so many, from where the row then stands.
    const move = () => {
      this.asked[row.name] = (this.asked[row.name] ?? 0) + way;
      return this.#do(() => {
        const steps = this.asked[row.name], now = this.store.state.rows.find((one) => one.name === row.name);
        this.asked[row.name] = 0;
        if (!steps || !now) return null;
        const up = Math.max(Math.round(now.up / now.unit_size / now.step) + steps, 0) * now.step;
        return { type: "row", row: row.name, fields: { up: `${Number(up.toFixed(4))} ${now.unit}` } };
      });
    };
    return h("button", { class: "step", "aria-label": `Move ${row.name} ${row.step} ${row.unit} ${label}`, title: `${row.step} ${row.unit} ${label}`, onclick: move }, way > 0 ? "▲" : "▼");
  }

  async #do(message) {
    const said = await this.edits.send(message);
    this.error.hidden = said === true;
    this.error.textContent = said === true ? "" : said;
    return said;
  }

  #actions(row) {
    const { clamps } = this.store;
    const index = this.store.state.rows.indexOf(row);
    const names = clamps.names.filter((_, i) => clamps.row[i] === index).slice(0, -1);
    const after = h("select", { "aria-label": "Clamp behind which the row is split" }, names.map((n) => h("option", { value: n }, n)));
    after.value = names[Math.floor((names.length - 1) / 2)] ?? "";
    return h("div", { class: "actions" },
      h("span", {}, "Split behind ", after, " ",
        h("button", { disabled: !names.length, onclick: () => this.#do({ type: "split", row: row.name, after: after.value }) }, "Split")),
      h("button", { class: "danger", onclick: () => this.#do({ type: "remove", row: row.name }) }, `Remove ${row.name}`));
  }

  #adder() {
    const planes = this.store.state.planes.filter((plane) => !plane.flat);
    const plane = h("select", { id: "add-plane" }, planes.map((p) => h("option", { value: p.name }, `${p.name} (${p.slope})`)));
    plane.value = this.row.plane;
    const up = h("input", { id: "add-up", type: "text", value: this.store.state.units === "US" ? "6 ft" : "2 m" });
    const name = h("input", { id: "add-name", type: "text", value: this.#freeName() });
    const add = async () => {
      const wanted = name.value.trim();
      if ((await this.#do({ type: "add", row: wanted, plane: plane.value, up: up.value.trim() })) === true) this.store.pickRow(wanted);
    };
    for (const input of [name, up]) input.addEventListener("keydown", (event) => event.key === "Enter" && add());
    return h("section", { class: "editor adder", "aria-label": "Add a row" },
      h("h2", {}, "Add a row"),
      h("div", { class: "inline" }, h("label", { for: "add-name" }, "Name"), name, h("label", { for: "add-plane" }, "Plane"), plane,
        h("label", { for: "add-up" }, "Up the slope"), up, h("button", { onclick: add }, "Add")));
  }

  #freeName() {
    const taken = new Set(this.store.state.rows.map((row) => row.name));
    let number = taken.size + 1;
    while (taken.has(`R${number}`)) number += 1;
    return `R${number}`;
  }
}
