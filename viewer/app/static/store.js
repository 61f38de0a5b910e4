// What is shown: the last state, a preview laid over it, the case and the picked attachment or row.

import { unpack, urgency, worstUse } from "./numbers.js";

export class Store extends EventTarget {
  state = null;
  preview = null;
  case = null; // null: the worst of all
  picked = null; // {kind, index, name}
  row = null; // name
  #place = null; // {revision, line, short, use}: tolerance of place, which comes some time after its state

  tell(type) {
    this.dispatchEvent(new Event(type));
  }

  // The answer on screen: that of the preview while there is one.
  get shown() {
    return this.preview ?? this.state;
  }

  get solved() {
    return Boolean(this.shown?.limits);
  }

  get placeKnown() {
    return this.#place?.revision === this.state?.revision;
  }

  get place() {
    return !this.preview && this.placeKnown ? this.#place : { line: "", short: "", use: 0 };
  }

  // What stood there last, to keep its room while it is worked out again: the picture must not move under a drag.
  get placeBefore() {
    return this.#place?.short;
  }

  setPlace(place) {
    this.#place = place;
    this.tell("place");
  }

  setState(state) {
    this.state = state;
    this.preview = null;
    this.#index();
    this.tell("shown");
  }

  setPreview(preview) {
    this.preview = preview;
    this.#index();
    this.tell("shown");
  }

  // What the picture points at: what is picked, else what governs; while a change is tried out always
  // what would govern.
  get called() {
    if (!this.solved) return null;
    const { governing } = this.shown;
    const one = (this.preview ? null : this.picked) ?? (governing?.kind ? governing : null);
    return one && one.index < this.use[one.kind].count ? this.attachment(one.kind, one.index) : null;
  }

  // Attachments of the answer on screen, the most urgent first.
  #index() {
    const shown = this.shown;
    this.clamps = {
      ...shown.clamps,
      at: unpack(shown.clamps.at),
      normal: unpack(shown.clamps.normal),
      row: unpack(shown.clamps.row, Int32Array),
    };
    if (!shown.limits) {
      this.use = this.solar = null;
      return;
    }
    this.use = {};
    for (const [kind, limit] of Object.entries(shown.limits)) {
      this.use[kind] = { ...limit, use: unpack(limit.use), which: unpack(limit.which, Uint8Array) };
    }
    this.solar = shown.solar && { ...shown.solar, use: unpack(shown.solar.use) };
    this.ofClamp = unpack(shown.strips.of_clamp, Int32Array);
  }

  attachment(kind, index) {
    const { use, which, count, names } = this.use[kind];
    const found = worstUse(use, count, index, this.case);
    const name = kind === "clamp" ? this.clamps.names[index] : this.shown.strips.names[index];
    return { kind, index, name, use: found.use, case: found.at, limit: names[which[found.at * count + index]] };
  }

  attachments() {
    if (!this.use) return [];
    const found = [];
    for (const kind of ["clamp", "panel strip"]) {
      for (let i = 0; i < this.use[kind].count; i++) found.push(this.attachment(kind, i));
    }
    return found.sort((a, b) => urgency(b.use) - urgency(a.use));
  }

  // Clamps that belong to an attachment: itself, or all on a strip.
  clampsOf({ kind, index }) {
    if (kind === "clamp") return [index];
    return Array.from(this.ofClamp.keys()).filter((c) => this.ofClamp[c] === index);
  }

  // The same attachment by its name in another state, or none. A pick that governed follows what
  // governs; whether it did is the answer.
  keepPick(state) {
    const before = this.state?.governing, after = state.governing;
    const governed = this.picked && before?.kind === this.picked.kind && before.index === this.picked.index;
    if (governed && after?.kind) {
      this.picked = { kind: after.kind, name: after.name, index: after.index };
      return true;
    }
    if (!this.picked) return false;
    const { kind, name } = this.picked;
    const names = kind === "clamp" ? state.clamps.names : state.strips?.names;
    const index = state.limits && names ? names.indexOf(name) : -1;
    this.picked = index < 0 ? null : { kind, name, index };
    return false;
  }

  rowOf(name) {
    return this.shown.rows.find((row) => row.name === name);
  }

  setCase(number) {
    this.case = number;
    this.tell("shown");
    this.tell("case");
    if (this.picked) this.tell("kept");
  }

  pick(attachment) {
    this.picked = attachment;
    if (attachment) {
      const clamp = this.clampsOf(attachment)[0];
      this.row = this.shown.rows[this.clamps.row[clamp]]?.name ?? this.row;
    }
    this.tell("picked");
    this.tell("row");
  }

  pickRow(name) {
    this.row = name;
    this.tell("row");
  }
}
