// Building elements without markup in strings; text is never read as HTML.

export const $ = (id) => document.getElementById(id);

export function h(tag, attributes = {}, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (name.startsWith("aria-") && typeof value === "boolean") element.setAttribute(name, value);
    if (value === null || value === undefined || value === false || element.hasAttribute(name)) continue;
    if (name.startsWith("on")) element.addEventListener(name.slice(2), value);
    else if (name === "class") element.className = value;
    else if (name === "value" || name === "checked" || name === "hidden" || name === "disabled") element[name] = value;
    else element.setAttribute(name, value === true ? "" : value);
  }
  element.append(...children.flat(Infinity).filter((c) => c !== null && c !== undefined && c !== false));
  return element;
}

// Heads of columns; "#" marks those of numbers.
export const heads = (names) => names.map((name) => h("th", { scope: "col", class: name[0] === "#" ? "n" : null }, name.replace("#", "")));

// Formulas come from the server as HTML that it has escaped itself.
export function formula(tag, attributes, html) {
  const element = h(tag, attributes);
  element.innerHTML = html;
  return element;
}

export function fill(parent, ...children) {
  parent.replaceChildren(...children.flat(Infinity).filter((c) => c !== null && c !== undefined && c !== false));
}

// Draws a part anew and gives the focus back to what takes the place of the control that had it; where that is of
// another kind, as the control is gone, to what is chosen: a field there would take the keys of undo. What is typed
// there and not kept yet stays, with the place of the cursor, unless `gone`: numbers may come at any time.
export function keepingFocus(pane, draw, gone = false) {
  const active = document.activeElement, inside = pane.contains(active);
  const half = halfTyped.has(active), typed = !gone && inside && active.matches("input[type=text]") && (half || active.untyped?.() === false);
  const held = typed ? { value: active.value, cursor: [active.selectionStart, active.selectionEnd], half } : null;
  const field = inside ? active.closest("[data-field]") : null;
  const scope = (root) => [...root.querySelectorAll("input, select, button, summary, tr[tabindex='0']")];
  const from = field ?? pane, at = inside ? scope(from).indexOf(active) : -1;
  draw();
  if (!inside || at < 0) return;
  const to = field ? pane.querySelector(`[data-field="${CSS.escape(field.dataset.field)}"]`) : pane;
  if (!to || document.activeElement === active) return;
  const next = scope(to)[at], same = next?.tagName === active.tagName && next.className === active.className;
  (same ? next : pane.querySelector("[aria-current=true] button") ?? pane.querySelector("button, summary"))?.focus({ preventScroll: true });
  if (!same || !held || next.disabled) return;
  next.value = held.value;
  next.setSelectionRange(...held.cursor);
  if (half) halfTyped.add(next);
  queueMicrotask(() => next.dispatchEvent(new CustomEvent("held", { detail: held }))); // when all is drawn
}

// Inputs whose text has changed since they were entered, left or confirmed.
const halfTyped = new WeakSet();
document.addEventListener("input", (event) => halfTyped.add(event.target));
document.addEventListener("change", (event) => halfTyped.delete(event.target));

export function announce(text) {
  const live = $("live");
  live.textContent = "";
  requestAnimationFrame(() => (live.textContent = text));
}
