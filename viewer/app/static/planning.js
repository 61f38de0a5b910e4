// Rows of least material that hold: searched by the program, shown beside the rows of the project, taken by choice.

import { announce, fill, h, heads } from "./dom.js";
import { statusOf } from "./numbers.js";

export class PlanPart {
  constructor(link, store, edits) {
    Object.assign(this, { link, store, edits, found: null, revision: null });
    this.go = h("button", { id: "plan", onclick: () => this.#search() }, "Search rows");
    this.said = h("div", { id: "planned", "aria-live": "polite" });
    this.part = h("section", { class: "editor plan", "aria-label": "Search rows" },
      h("h2", {}, "Search rows"),
      h("p", { class: "note" }, "Finds rows of least material that hold what threatens and pass the whole check, as [plan] and [[protect]] of the project allow. Nothing changes before you take them, and Undo brings the present rows back."),
      h("div", { class: "inline" }, this.go), this.said);
  }

  draw() {
    if (this.found && this.revision !== this.store.state.revision) {
      this.found = null;
      fill(this.said, h("p", { class: "note" }, "The project has changed since; search again."));
    }
    return this.part;
  }

  async #search() {
    const revision = this.store.state.revision;
    this.go.disabled = true;
    fill(this.said, h("p", { class: "note" }, "Searching …"));
    try {
      this.found = await this.link.ask({ type: "plan", revision });
      this.revision = revision;
      this.#show();
    } catch (error) {
      fill(this.said, h("p", { class: "refusal" }, error.message));
    }
    this.go.disabled = false;
  }

  #show() {
    const { found } = this;
    const line = (row) => h("tr", { class: statusOf(row.use) },
      h("th", { scope: "row" }, row.name), h("td", {}, row.plane), h("td", { class: "n" }, row.up), h("td", { class: "n" }, row.length), h("td", {}, row.every),
      h("td", { class: "n" }, String(row.clamps)), h("td", { class: "n", title: row.limit }, row.percent));
    fill(this.said,
      h("p", { class: found.found ? "sentence" : "refusal" }, found.sentence),
      found.threats.map((text) => h("p", { class: "note" }, text)),
      h("table", { class: "small" }, h("caption", { class: "spoken" }, "Rows found"),
        h("thead", {}, h("tr", {}, heads(["Row", "Plane", "#Up", "#Length", "Clamps on", "#Clamps", "#Used"]))),
        h("tbody", {}, found.rows.map(line))),
      h("p", { class: "note" }, found.material),
      found.notes.length ? h("details", {}, h("summary", {}, `${found.notes.length} notes on these rows`), h("ul", {}, found.notes.map((text) => h("li", {}, text)))) : null,
      h("div", { class: "actions" }, h("span", {}), h("button", { id: "takeplan", class: found.found ? "strong" : null, onclick: () => this.#take() },
        found.found ? "Take these rows in place of the project’s" : "Take them all the same, though they do not pass")));
  }

  async #take() {
    try {
      await this.edits.inTurn(() => this.link.ask({ type: "takeplan", revision: this.store.state.revision }));
      this.found = null;
      fill(this.said, h("p", { class: "note" }, "Taken; Undo brings the rows before back. Nothing is written before Save."));
      announce("The planned rows are taken.");
    } catch (error) {
      fill(this.said, h("p", { class: "refusal" }, error.message));
    }
  }
}
