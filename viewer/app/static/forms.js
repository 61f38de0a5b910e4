// Fields from the schema: one input each, tried out while typing, kept on Enter or when left.

import { h } from "./dom.js";

let count = 0;

// edit: { try(value), keep(value) -> true or words of the refusal }
export function field(form, value, edit) {
  const id = `field-${++count}`;
  const error = h("p", { class: "refusal", id: `${id}-error`, role: "alert", hidden: true });
  const input = makeInput(form, value, id);
  const read = () => readInput(form, input);
  let kept = JSON.stringify(read()), timer = 0, refused = false;
  const say = (words) => {
    error.hidden = words === true || !words;
    error.textContent = words === true ? "" : words;
    input.setAttribute("aria-invalid", !error.hidden);
  };
  input.untyped = () => JSON.stringify(read()) === kept; // undo is then the project's, not the field's
  const back = () => { // what holds is written again: nothing is refused any more
    say(true);
    edit.forget?.();
  };
  const keep = async () => {
    clearTimeout(timer);
    const now = read();
    if (JSON.stringify(now) === kept) return back();
    const said = await edit.keep(now);
    if (said === true) kept = JSON.stringify(now);
    refused = said !== true;
    if (JSON.stringify(read()) === JSON.stringify(now)) say(said); // of what stands there now
  };
  input.addEventListener("change", keep);
  const tryOut = () => {
    clearTimeout(timer);
    say(true); // what was refused is not there any more
    if (edit.try && !input.untyped()) input.dispatchEvent(new Event("typed", { bubbles: true })); // numbers are behind at once
    timer = setTimeout(async () => {
      if (!input.isConnected) return; // drawn anew meanwhile
      if (JSON.stringify(read()) === kept) return back();
      const now = JSON.stringify(read()), said = await edit.try?.(read());
      if (refused && typeof said === "string" && JSON.stringify(read()) === now) say(said); // it is still wrong
    }, 250);
  };
  input.addEventListener("input", tryOut);
  input.addEventListener("held", ({ detail }) => {
    refused = !detail.half; // confirmed, and the answer went to the field before
    tryOut();
  });
  input.addEventListener("keydown", (event) => {
    if (event.key !== "Escape") return;
    input.value = value ?? "";
    back();
  });
  const box = h("div", { class: `field ${form.kind}`, "data-field": form.path.join(".") },
    h("label", { for: id }, form.label),
    h("div", { class: "entry" }, input),
    h("p", { class: "note", id: `${id}-about` }, about(form, value)),
    error);
  input.setAttribute("aria-describedby", `${id}-about ${id}-error`);
  return { box, input, say };
}

// What it means, what to write where nothing stands yet, and the name that the project file gives it.
function about(form, value) {
  const open = value === undefined || value === null;
  const write = open && form.kind === "quantity" ? `; ${form.words}` : "";
  return [form.about.replace(/`([^`]+)`/g, "“$1”"), open ? ` (${form.need}${write})` : "", " ", h("code", { title: "name in the project file" }, form.path.join("."))];
}

function makeInput(form, value, id) {
  const text = typeof value === "object" && value !== null ? JSON.stringify(value) : value;
  if (form.kind === "by hand") return h("input", { id, type: "text", value: text ?? "", disabled: true, placeholder: "in the project file only" });
  if (form.kind === "bool") return h("input", { id, type: "checkbox", checked: value === true });
  if (form.kind === "choice") {
    const select = h("select", { id }, form.needed ? null : h("option", { value: "" }, /^default /.test(form.need) ? `${form.need.slice(8).replaceAll('"', "")} by default` : "–"), form.choices.map((c) => h("option", { value: c }, c)));
    select.value = value ?? "";
    return select;
  }
  const numeric = form.kind === "int" || form.kind === "float";
  return h("input", { id, type: "text", inputmode: numeric ? "decimal" : "text", value: value ?? "", spellcheck: "false", autocomplete: "off", placeholder: /^default /.test(form.need) ? `${form.need.slice(8).replaceAll('"', "")} by default` : form.needed ? "" : form.empty });
}

function readInput(form, input) {
  if (form.kind === "bool") return input.checked;
  const text = input.value.trim();
  if (text === "") return null;
  if (form.kind === "int" || form.kind === "float") return Number.isFinite(Number(text)) ? Number(text) : text;
  return text;
}
