// The working of the picked attachment: every limit, then formula, numbers and clause of each step.

import { $, fill, formula, h, heads } from "./dom.js";

export class WorkingPane {
  #asked = 0;

  constructor(link, store) {
    Object.assign(this, { link, store, pane: $("working") });
    store.addEventListener("picked", () => this.load());
    this.empty();
  }

  empty() {
    fill(this.pane, h("p", { class: "hint" }, "Pick a clamp in the picture or a line of the table to see its working: formula, numbers, clause."));
  }

  async load() {
    const { picked } = this.store;
    if (!picked) return this.empty();
    const asked = ++this.#asked;
    try {
      const said = await this.link.ask({ type: "pick", kind: picked.kind, index: picked.index, case: this.store.case });
      if (asked === this.#asked) this.#show(said);
    } catch (error) {
      if (asked === this.#asked) fill(this.pane, h("p", { class: "refusal" }, error.message));
    }
  }

  #show(said) {
    fill(this.pane,
      h("h2", {}, `Working of ${said.name}`),
      h("p", { class: "sentence" }, said.sentence),
      said.combination && h("p", { class: "note" }, `Combination: ${said.combination}`),
      said.unverified?.length ? h("p", { class: "open" }, "NOT VERIFIED: ", said.unverified.join("; ")) : null,
      this.#limits(said.limits),
      said.zones?.length ? this.#zones(said) : null,
      said.steps.length ? h("h3", {}, "Step by step") : null,
      h("ol", { class: "steps" }, said.steps.map((step) => this.#step(step))));
    this.pane.scrollTop = 0;
  }

  #limits(limits) {
    const line = (one) =>
      h("tr", { class: one.use === null ? "open" : one.use > 1 ? "exceeded" : "" },
        h("th", { scope: "row", title: one.basis }, one.name), h("td", { class: "n" }, one.demand), h("td", { class: "n" }, one.resistance), h("td", { class: "n" }, one.percent));
    return h("table", { class: "small" },
      h("thead", {}, h("tr", {}, heads(["Limit", "#Demand", "#Resistance", "#Used"]))),
      h("tbody", {}, limits.map(line)));
  }

  #zones(said) {
    return [
      h("h3", {}, `Snow straight above ${said.follows}`),
      h("ul", { class: "zones" }, said.zones.map((zone) =>
        h("li", {}, h("b", {}, zone.name), ` ${zone.pressure} over ${zone.run}, ${zone.clause}: `, formula("span", { class: "math" }, zone.formula),
          formula("span", { class: "note" }, ` ${zone.values}`)))),
    ];
  }

  #step(step) {
    return h("li", {},
      h("div", { class: "what" }, step.title),
      h("div", { class: "math" }, formula("span", {}, step.symbol), " = ", formula("span", {}, step.formula)),
      h("div", { class: "math numbers" }, "= ", formula("span", {}, step.numbers), " = ", formula("b", {}, step.result)),
      formula("div", { class: "note" }, step.source),
      step.note ? formula("div", { class: "note" }, step.note) : null);
  }
}

