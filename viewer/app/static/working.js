// The working of the picked attachment: every limit, then formula, numbers and clause of each step.

import { $, announce, fill, formula, h, heads } from "./dom.js";

export class WorkingPane {
  #asked = 0;
  #revision = null; // of the answer that the working belongs to

  constructor(link, store) {
    Object.assign(this, { link, store, pane: $("working") });
    store.addEventListener("picked", () => this.load(true));
    store.addEventListener("kept", () => this.load());
    store.addEventListener("shown", () => this.#mark());
    this.stale = h("p", { class: "stale", hidden: true }, "Working before this change; it follows when the change is kept.");
    this.empty();
  }

  empty() {
    fill(this.pane, h("p", { class: "hint" }, "Pick a clamp in the picture or a line of the table to see its working: formula, numbers, clause."));
  }

  // Numbers that the answer on screen has left behind are gray and say so.
  #mark() {
    const { preview, state } = this.store;
    const old = this.#revision !== null && (preview !== null || this.#revision !== state.revision);
    this.pane.classList.toggle("old", old);
    this.stale.hidden = !old;
  }

  // `aloud`: the user asked for it, so that a screen reader is told and a phone scrolls to it.
  async load(aloud = false) {
    const { picked } = this.store;
    const asked = ++this.#asked, { revision } = this.store.state;
    if (!picked) {
      this.#revision = null;
      this.#mark();
      return this.empty();
    }
    try {
      const said = await this.link.ask({ type: "pick", kind: picked.kind, index: picked.index, case: this.store.case });
      if (asked !== this.#asked) return;
      this.#show(said);
      this.#revision = revision;
      if (aloud) this.#tell(`Working of ${said.name}. ${said.sentence}`);
    } catch (error) {
      if (asked !== this.#asked) return;
      fill(this.pane, h("p", { class: "refusal" }, error.message));
      this.#revision = null;
      if (aloud) this.#tell(error.message);
    }
    this.#mark();
  }

  #tell(words) {
    announce(words);
    if (matchMedia("(max-width: 890px)").matches) this.pane.scrollIntoView({ block: "start" });
  }

  #show(said) {
    fill(this.pane,
      this.stale,
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

