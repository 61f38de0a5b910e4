// Splices of a row one by one: where, and what each passes on; the whole list is kept at once.

import { h } from "./dom.js";

export function splices(row, forms, keep) {
  const kinds = forms.find((form) => form.path[0] === "kind").choices;
  const now = (row.fields.splice ?? []).map((one) => ({ ...one }));
  const given = (list) => list.map(({ at, kind }) => (kind ? { at, kind } : { at }));
  const change = (i, part) => keep(given(now.map((one, k) => (k === i ? { ...one, ...part } : one))));
  const line = (one, i) => {
    const kind = h("select", { "aria-label": `What splice ${i + 1} passes on`, onchange: (e) => change(i, { kind: e.target.value }) }, kinds.map((k) => h("option", { value: k }, k)));
    kind.value = one.kind ?? "hinge";
    return h("li", {},
      h("input", { type: "text", value: one.at, "aria-label": `Place of splice ${i + 1}, from the left end of the rail`, onchange: (e) => change(i, { at: e.target.value.trim() || "?" }) }),
      kind,
      h("button", { "aria-label": `Remove splice ${i + 1}`, onclick: () => keep(given(now.filter((_, k) => k !== i))) }, "Remove"));
  };
  const next = h("input", { type: "text", id: "add-splice", value: middle(row), "aria-label": "Place of a new splice, from the left end of the rail" });
  return h("div", { class: "splices" },
    h("h3", {}, "Splices one by one"),
    h("p", { class: "note" }, row.fields.splice_every ? "This row has a splice at every so much (above); empty that field to place them one by one." : "From the left end of the rail, such as 3 m or 10 ft. A hinge passes shear, a continuous splice bending too, a sliding one lets the rail move."),
    now.length ? h("ol", {}, now.map(line)) : null,
    h("div", { class: "inline" }, h("label", { for: "add-splice" }, "At"), next, h("button", { disabled: Boolean(row.fields.splice_every), onclick: () => keep([...given(now), { at: next.value.trim() || "?" }]) }, "Add a splice")));
}

// Half of the rail, in the unit that the row is written in.
function middle(row) {
  const [a, b] = row.ends;
  const length = Math.hypot(b[0] - a[0], b[1] - a[1], b[2] - a[2]);
  return `${Number((length / 2 / row.unit_size).toFixed(2))} ${row.unit}`;
}
