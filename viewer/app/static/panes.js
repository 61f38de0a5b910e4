// Editor of site and hardware, all checks, and export.

import { $, fill, h, heads, keepingFocus } from "./dom.js";
import { field } from "./forms.js";
import { percent } from "./numbers.js";

const TABLES = { site: "Site", clamp: "Clamp", rail: "Rail", panel: "Panel", design: "Design" };

export class HardwarePane {
  constructor(store, edits, forms) {
    Object.assign(this, { store, edits, forms, pane: $("pane-hardware"), opened: new Set(["clamp", "rail"]) });
    store.addEventListener("shown", () => !store.preview && this.revision !== store.state.revision && this.render());
    this.render();
  }

  render() {
    keepingFocus(this.pane, () => this.#draw(), this.edits.foreign);
  }

  #draw() {
    this.revision = this.store.state.revision;
    fill(this.pane,
      h("p", { class: "note intro" }, "Values as the project file gives them, with their units. Ground snow and what goes with it come from the local code. Strengths must come from tests on this seam and sheet; a strength that is left out is never taken as kept."),
      Object.entries(TABLES).map(([table, title]) => {
        const box = h("details", { class: "editor", open: this.opened.has(table) }, h("summary", {}, h("h2", {}, title)), h("div", { class: "fields" }, this.#fields(table)));
        box.addEventListener("toggle", () => this.opened[box.open ? "add" : "delete"](table));
        return box;
      }), this.#measured());
  }

  // Clamps where they were found: a file beside the project is named, never sent.
  #measured() {
    const { measured, measured_found, csv_files } = this.store.state;
    const file = h("input", { id: "measured-file", type: "text", value: measured, list: "csv-files", spellcheck: "false", autocomplete: "off", placeholder: "clamps.csv", "aria-describedby": "measured-about measured-error" });
    const error = h("p", { class: "refusal", id: "measured-error", role: "alert", hidden: true });
    const send = async (name) => {
      const said = await this.edits.send({ type: "measured", file: name });
      error.hidden = said === true;
      error.textContent = said === true ? "" : said;
    };
    const use = () => (file.value.trim() ? send(file.value.trim()) : (error.hidden = false, error.textContent = "Name the file, such as clamps.csv."));
    file.addEventListener("input", () => (error.hidden = true));
    file.addEventListener("keydown", (event) => event.key === "Enter" && use());
    const box = h("details", { class: "editor", id: "measured", open: this.opened.has("measured") }, h("summary", {}, h("h2", {}, "Clamps measured on site")),
      h("p", { class: "note", id: "measured-about" }, "A CSV file beside the project file, one line for each clamp found: its row and its distance from the left end of its rail (columns row and along [m]). In the rows that it names they take the place of the planned clamps; while it is used, rows cannot be changed. attachments.csv from an export can be filled in on site."),
      h("div", { class: "inline" }, h("label", { for: "measured-file" }, "File"), file, h("datalist", { id: "csv-files" }, csv_files.map((name) => h("option", { value: name }))),
        h("button", { id: "measured-use", onclick: use }, measured ? "Use this file" : "Use these clamps"),
        measured ? h("button", { id: "measured-out", onclick: () => send(null) }, "Clamps as planned") : null),
      measured_found ? h("p", { class: "note", id: "measured-found" }, measured_found) : null, error);
    box.addEventListener("toggle", () => this.opened[box.open ? "add" : "delete"]("measured"));
    return box;
  }

  // Fields that the file gives come first; the others are a click away.
  #fields(table) {
    const given = [], other = [];
    for (const form of this.forms[table === "site" ? `site ${this.store.state.standard}` : table]) {
      const value = form.path.reduce((here, part) => here?.[part], this.store.state.hardware[table]);
      const one = field(form, value, {
        keep: (now) => this.edits.set(table, form.path, now),
        try: (now) => this.edits.try({ type: "set", table, field: form.path, value: now }),
        forget: () => this.edits.forget(),
      });
      (value === undefined ? other : given).push(one.box);
    }
    return [given, other.length ? h("details", { class: "more" }, h("summary", {}, `${other.length} more fields`), other) : null];
  }
}

export class ChecksPane {
  constructor(store) {
    Object.assign(this, { store, pane: $("pane-checks") });
    store.addEventListener("shown", () => this.render());
    store.addEventListener("place", () => this.render());
    this.render();
  }

  render() {
    const { shown, state, place } = this.store;
    if (!this.store.solved) return fill(this.pane, h("p", { class: "hint" }, shown.trouble || "Solving …"));
    const { verdict } = shown;
    fill(this.pane,
      h("h2", {}, "What the analysis says"),
      h("p", { class: "sentence" }, verdict.sentence),
      place.line ? h("p", { class: "place" }, place.line) : null,
      verdict.more.length ? h("ul", {}, verdict.more.map((line) => h("li", {}, line))) : null,
      [verdict.falling, ...verdict.cautions].filter(Boolean).map((line) => h("p", { class: "cautionline" }, h("b", {}, "Caution "), line)),
      h("h2", {}, "Rails and rows, worst of each"),
      h("table", { class: "small" },
        h("thead", {}, h("tr", {}, heads(["Limit", "At", "#Demand", "#Resistance", "#Used"]))),
        h("tbody", {}, shown.others.map((one) => h("tr", { class: one.use === null ? "open" : one.use > 1 ? "exceeded" : "" },
          h("th", { scope: "row" }, one.name), h("td", {}, one.at), h("td", { class: "n" }, one.demand), h("td", { class: "n" }, one.resistance), h("td", { class: "n" }, percent(one.use)))))),
      h("h2", {}, "Snow cases"),
      h("table", { class: "small cases" },
        h("thead", {}, h("tr", {}, heads(["No.", "Case", "Worst", "#Reserve"]))),
        h("tbody", {}, shown.cases.map((one, q) => h("tr", {}, h("td", {}, String(q + 1)),
          h("th", { scope: "row" }, h("button", { class: "link", onclick: () => { $("case").value = q; this.store.setCase(q); } }, one.name), h("span", { class: "note" }, ` ${one.combination}`)),
          h("td", {}, one.worst), h("td", { class: "n" }, one.reserve))))),
      h("p", { class: "note" }, "Reserve: factor on the factored snow at the first strength limit; dead load and temperature held. What follows the first failure, the self-audit and the building below are in the report (Export)."),
      h("h2", {}, "Cautions"),
      h("ul", {}, state.cautions.map((line) => h("li", {}, line))));
  }
}

export class ExportPane {
  constructor(link, store) {
    Object.assign(this, { link, store, pane: $("pane-export"), made: false });
    store.addEventListener("shown", () => this.#refresh());
    this.#refresh();
  }

  #refresh() {
    if (!this.made) this.#make();
    this.unsaved.hidden = !this.store.state.unsaved;
    this.go.textContent = this.store.state.unsaved ? "Save and export" : "Export";
  }

  #make() {
    this.made = true;
    this.parts = this.store.state.exports.map(([command, about], i) => ({ command, box: h("input", { type: "checkbox", id: `part-${command}`, checked: i < 3 }), about }));
    this.folder = h("input", { type: "text", id: "export-folder", value: "results" });
    this.go = h("button", { class: "strong", id: "export", onclick: () => this.#run() }, "Export");
    this.said = h("div", { id: "exported", "aria-live": "polite" });
    this.unsaved = h("p", { class: "note" }, "The project has changes that are not saved; the report names the file and its fingerprint, so it is saved first.");
    fill(this.pane,
      h("h2", {}, "Write results"),
      h("p", { class: "note" }, "Into a folder beside the project file, by the same commands as in the terminal."),
      h("ul", { class: "parts" }, this.parts.map(({ command, box, about }) => h("li", {}, box, h("label", { for: box.id }, h("b", {}, command), ` ${about}`)))),
      h("p", { class: "note" }, this.store.state.elsewhere),
      h("div", { class: "inline" }, h("label", { for: "export-folder" }, "Folder"), this.folder, this.go),
      this.unsaved, this.said);
  }

  async #run() {
    const parts = this.parts.filter(({ box }) => box.checked).map(({ command }) => command);
    if (!parts.length) return fill(this.said, h("p", { class: "refusal" }, "Choose at least one thing to write."));
    const folder = this.folder.value.trim();
    if (!folder) return fill(this.said, h("p", { class: "refusal" }, "Give the folder a name, such as results."));
    this.go.disabled = true;
    fill(this.said, h("p", { class: "note" }, "Working …"));
    try {
      if (this.store.state.unsaved) await this.link.ask({ type: "save", revision: this.store.state.revision });
      const done = await this.link.ask({ type: "export", revision: this.store.state.revision, folder, parts });
      fill(this.said, done.links.map((one) => this.#links(one)));
    } catch (error) {
      fill(this.said, h("p", { class: "refusal" }, error.message));
    }
    this.go.disabled = false;
  }

  // What is to be read comes first and large, the files for other programs behind it.
  #links(one) {
    const opens = (name) => /\.(html|png|svg|pdf)$/.test(name);
    const link = (name, words = name) => h("a", { href: `out/${one.ticket}/${encodeURIComponent(name)}`, target: "_blank", rel: "noopener", download: opens(name) ? null : name }, words);
    const rest = one.names.filter((name) => !one.pages.includes(name));
    return h("section", { class: "done" },
      h("h3", {}, one.names.length ? `Written to ${one.folder}/` : `Nothing written by ${one.command}`),
      one.note ? h("p", { class: "refusal" }, one.note) : null,
      one.pages.length ? h("p", { class: "pages" }, one.pages.map((name) => link(name, `Open ${name}`))) : null,
      h("p", { class: "files" }, rest.flatMap((name) => [link(name), " "])));
  }
}
