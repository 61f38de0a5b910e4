// Attachments by utilization, linked both ways with the picture; arrow keys walk through it.

import { $, fill, h, heads } from "./dom.js";
import { cssColor, percent, statusOf, statusWords, useColor } from "./numbers.js";

const FIRST = 120;

export class Table {
  constructor(store) {
    Object.assign(this, { store, limit: FIRST, row: "", kind: "" });
    this.body = h("tbody");
    this.rows = h("select", { id: "list-row", onchange: (e) => this.#filter({ row: e.target.value }) });
    this.kinds = h("select", { id: "list-kind", onchange: (e) => this.#filter({ kind: e.target.value }) },
      h("option", { value: "" }, "clamps and strips"), h("option", { value: "clamp" }, "clamps"), h("option", { value: "panel strip" }, "panel strips"));
    this.count = h("p", { class: "note" });
    this.more = h("button", { class: "quiet", onclick: () => this.#filter({ limit: this.limit + 1000 }) }, "Show more");
    const head = heads(["", "Attachment", "#Used", "Limit", "Snow case"]);
    fill($("list"),
      h("div", { class: "filters" }, h("label", {}, "Row ", this.rows), h("label", {}, "Show ", this.kinds)),
      h("div", { class: "scroll" }, h("table", { class: "attachments", role: "grid" },
        h("caption", { class: "spoken" }, "Attachments, the most used first. Arrow keys move, Enter shows the working."),
        h("thead", {}, h("tr", {}, head)), this.body), this.more),
      this.count);
    this.body.addEventListener("keydown", (event) => this.#key(event));
    store.addEventListener("shown", () => this.render());
    store.addEventListener("picked", () => this.#reveal());
    store.addEventListener("kept", () => this.#mark(false));
  }

  // What is picked is always in the list, whatever was filtered or left out.
  #reveal() {
    const { picked } = this.store;
    if (picked && this.store.solved) {
      const names = this.store.shown.rows.map((row) => row.name);
      if (!this.#shown(picked, names)) Object.assign(this, { row: "", kind: "" });
      this.kinds.value = this.kind;
      const all = this.store.attachments().filter((one) => this.#shown(one, names));
      const at = all.findIndex((one) => one.kind === picked.kind && one.index === picked.index);
      this.limit = Math.max(this.limit, at + 30);
      this.render();
    }
    this.#mark(true);
  }

  #filter(change) {
    Object.assign(this, change);
    this.render();
  }

  render() {
    const { store } = this;
    const names = store.shown.rows.map((row) => row.name);
    const options = ["", ...names].map((name) => h("option", { value: name }, name || "all rows"));
    fill(this.rows, options);
    this.rows.value = names.includes(this.row) ? this.row : (this.row = "");
    if (!store.solved) {
      fill(this.body, h("tr", {}, h("td", { colspan: 5 }, store.shown.trouble || "Solving …")));
      return;
    }
    const all = store.attachments().filter((one) => this.#shown(one, names));
    this.listed = all.slice(0, this.limit);
    const focused = this.body.contains(document.activeElement) ? document.activeElement.closest("tr").dataset.key : null;
    fill(this.body, this.listed.map((one) => this.#line(one)));
    this.more.hidden = all.length <= this.limit;
    const over = all.filter((one) => one.use > 1).length, open = all.filter((one) => Number.isNaN(one.use)).length;
    this.count.textContent = `${all.length} attachments, ${over} exceeded, ${open} not verified` + (store.case === null ? ", worst of all cases" : "");
    this.#mark(false);
    if (focused) (this.body.querySelector(`[data-key="${CSS.escape(focused)}"]`) ?? this.body.firstElementChild)?.focus({ preventScroll: true });
  }

  #shown(one, names) {
    if (this.kind && one.kind !== this.kind) return false;
    if (!this.row) return true;
    const row = names.indexOf(this.row);
    return this.store.clampsOf(one).some((clamp) => this.store.clamps.row[clamp] === row);
  }

  #line(one) {
    const bar = h("i");
    bar.style.width = `${Math.min(Number.isNaN(one.use) ? 0 : one.use, 2) * 50}%`;
    bar.style.background = cssColor(useColor(one.use));
    const status = statusOf(one.use);
    const seam = one.kind === "clamp" ? `, seam ${this.store.clamps.seam[one.index]}` : "";
    const line = h("tr", { class: status, tabindex: -1, "data-key": `${one.kind}:${one.name}`, onclick: () => this.store.pick(one) },
      h("td", {}, h("span", { class: `mark ${status}` }, status === "open" ? "?" : "")),
      h("th", { scope: "row" }, one.name, h("span", { class: "spoken" }, `${seam}, ${statusWords[status]}`)),
      h("td", { class: "n" }, percent(one.use), h("span", { class: "bar" }, bar)),
      h("td", {}, one.limit),
      h("td", { class: "c", title: this.store.shown.cases[one.case].name }, h("span", {}, this.store.shown.cases[one.case].name)));
    line.querySelector(".mark").style.setProperty("--fill", cssColor(useColor(one.use)));
    return line;
  }

  toTop() {
    this.body.closest(".scroll").scrollTop = 0;
  }

  #mark(move) {
    const picked = this.store.picked;
    const key = picked ? `${picked.kind}:${picked.name}` : "";
    let here = null;
    for (const line of this.body.children) {
      const chosen = line.dataset.key === key;
      line.setAttribute("aria-selected", chosen);
      line.tabIndex = -1;
      if (chosen) here = line;
    }
    (here ?? this.body.firstElementChild)?.setAttribute("tabindex", 0);
    if (move && here) this.#bring(here);
  }

  // Scrolls only the list; scrollIntoView would also move where Tab goes on from.
  #bring(line) {
    const box = line.closest(".scroll"), head = 34;
    const top = line.offsetTop - head, bottom = line.offsetTop + line.offsetHeight;
    if (top < box.scrollTop) box.scrollTop = top;
    else if (bottom > box.scrollTop + box.clientHeight) box.scrollTop = bottom - box.clientHeight;
  }

  #key(event) {
    const line = event.target.closest("tr");
    const steps = { ArrowDown: 1, ArrowUp: -1, PageDown: 10, PageUp: -10 };
    if (event.key === "Enter" || event.key === " ") line.click();
    else if (steps[event.key] || event.key === "Home" || event.key === "End") {
      const lines = [...this.body.children];
      const at = event.key === "Home" ? 0 : event.key === "End" ? lines.length - 1 : lines.indexOf(line) + steps[event.key];
      const next = lines[Math.min(Math.max(at, 0), lines.length - 1)];
      line.tabIndex = -1;
      next.tabIndex = 0;
      next.focus();
    } else return;
    event.preventDefault();
  }
}
