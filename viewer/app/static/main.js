// Puts the parts together.

import { Vector3 } from "./three.js";
import { $, announce, fill, h } from "./dom.js";
import { Drag } from "./drag.js";
import { Edits } from "./edits.js";
import { Labels } from "./labels.js";
import { Link } from "./link.js";
import { percent, readPalette, statusOf, worstUse } from "./numbers.js";
import { ChecksPane, ExportPane, HardwarePane } from "./panes.js";
import { RowsPane } from "./rows.js";
import { RoofView } from "./scene.js";
import { Store } from "./store.js";
import { Table } from "./table.js";
import { ThingsPane } from "./things.js";
import { WorkingPane } from "./working.js";

readPalette();
const link = new Link(), store = new Store(), edits = new Edits(link, store);
const view = new RoofView($("view")), labels = new Labels(view, store);
if (!view.renderer) noPicture();
let earlyRoof = null, earlySnow = null;
let table = null, rest = null, turned = false, welcomed = false, roofShown = "", snowShown = "", casesShown = null;
Object.assign(globalThis, { app: { store, view, edits } }); // for a look from the console, and for tests

link.addEventListener("state", ({ detail }) => takeState(detail));
link.addEventListener("error", ({ detail }) => notice(detail.message));
link.addEventListener("progress", ({ detail }) => {
  $("progress").hidden = !detail.text;
  $("progress").firstElementChild.textContent = detail.text;
});
link.addEventListener("closed", ({ detail }) => {
  if (detail.why) $("name").textContent = "Not opened";
  notice(detail.why ? `${detail.why}. Put it right and start the program again.`
    : detail.refused ? "Open the link that the terminal shows; this address alone is not enough."
    : "The program has ended. Start it again in the terminal; unsaved changes are gone.", false);
});
$("progress").lastElementChild.addEventListener("click", () => link.cancel());

function takeState(state) {
  if (state.limits && view.renderer && !view.surface && !earlySnow) askSnow(state);
  $("progress").hidden = !state.solving;
  if (state.solving) $("progress").firstElementChild.textContent = "Solving";
  if (!table) build(state.forms);
  const before = state.before;
  const follows = store.keepPick(state);
  const draw = () => store.setState(state);
  if (store.state && store.state.revision !== state.revision) edits.drawAnew(draw);
  else draw();
  header(state);
  showRoof(state);
  if (before && state.governing) announceChange(before, state.governing, state);
  if (!told && !state.solving) announceFirst(state);
  if (!store.picked && state.governing?.kind && !welcomed) {
    welcomed = true; // the working of what governs is there from the start
    store.picked = store.attachment(state.governing.kind, state.governing.index);
  }
  const kept = () => store.tell("kept");
  if (earlySnow) earlySnow.surface.then(() => whenDrawn(kept), kept); // the snow first, then the working
  else kept();
  if (!earlySnow && !state.solving) buildRest();
  if (before && follows) table.toTop();
}

function build(forms) {
  table = new Table(store);
  new WorkingPane(link, store);
  new Drag(view, store, edits);
  rest = () => {
    new RowsPane(link, store, edits, forms);
    new HardwarePane(store, edits, forms);
    new ThingsPane(store, edits, forms);
    new ChecksPane(store);
    new ExportPane(link, store);
  };
}

// After the frame that is drawn next has been handed on: until then it has the processor for itself.
function whenDrawn(work) {
  requestAnimationFrame(() => requestAnimationFrame(() => setTimeout(work)));
}

// What nobody sees yet is built when the roof has been drawn, or when it is asked for.
function buildRest() {
  rest?.();
  rest = null;
}

// --- header

function header(state) {
  document.title = `${state.unsaved ? "• " : ""}${state.name} – Eavewright`;
  $("name").textContent = state.name;
  $("facts").textContent = `${state.file}${state.behind ? " (from before it was read again; cannot be saved)" : state.unsaved ? " (not saved)" : ""} · ${state.standard} · ${state.format}`;
  for (const way of ["undo", "redo"]) {
    $(way).disabled = !state[way];
    $(way).title = state[way] ? `${way === "undo" ? "Undo" : "Redo"}: ${state[way]}` : "";
  }
  $("save").disabled = !state.unsaved;
}

for (const type of ["undo", "redo", "save"]) {
  $(type).addEventListener("click", async () => {
    try {
      await edits.inTurn(() => link.ask({ type, revision: store.state.revision }), type === "save" ? 0 : 1);
      notice("");
      announce({ undo: "Undone", redo: "Redone", save: `Saved ${store.state.file}` }[type]);
    } catch (error) {
      const way = /[Rr]ead (it|the file) again/.test(error.message) ? ["Read the file again", "reload"] : /is gone from its folder/.test(error.message) ? ["Write it again", "save"] : null;
      notice(error.message, true, way);
    }
  });
}

addEventListener("keydown", (event) => {
  if (!(event.ctrlKey || event.metaKey) || event.altKey) return;
  const key = event.key.toLowerCase();
  const typing = event.target.matches?.("input[type=text]") && !event.target.untyped?.();
  const type = key === "s" ? "save" : typing ? null : key === "z" ? (event.shiftKey ? "redo" : "undo") : key === "y" ? "redo" : null;
  if (!type) return;
  event.preventDefault();
  $(type).click();
});

// `way`: a button that leads on, its words and the message that it sends.
function notice(text, closable = true, way = null) {
  const box = $("notice");
  box.hidden = !text;
  fill(box, text ? [h("span", {}, text), way ? h("button", { onclick: () => goOn(way[1]) }, way[0]) : null, closable ? h("button", { "aria-label": "Close this message", onclick: () => notice("") }, "Close") : null] : []);
}

async function goOn(type) {
  try {
    await edits.inTurn(() => link.ask({ type, revision: store.state.revision, ...(type === "save" ? { anew: true } : {}) }), type === "save" ? 0 : 1);
    const { lost } = store.state;
    notice(lost?.text ?? "", true, lost?.again ? ["Make these changes again", "again"] : null);
  } catch (error) {
    notice(error.message);
  }
}

// --- answer: verdict, what governs, and what a change does to it

const REST = 1200; // ms
let change = null;

// The first answer is heard once, or why there is none.
let told = false;

function announceFirst(state) {
  told = true;
  announce(state.verdict ? `Solved. Governing attachment: ${state.governing.text}. ${state.verdict.words.join(", ")}` : `Not solved: ${state.trouble}`);
}

// The same attachment with the same use, but for rounding.
const unmoved = (a, b) => a.text === b.text && (a.use === b.use || Math.abs(a.use - b.use) < 1e-9 * Math.abs(a.use));

function announceChange(before, after, state) {
  change = { before, after };
  showAnswer();
  const words = state.verdict.words.join(", ");
  const same = unmoved(before, after);
  announce(same ? `Governing attachment unchanged: ${after.text}. ${words}` : `Governing attachment was ${before.name} ${before.percent ?? ""}, now ${after.text}. ${words}`);
}

const pill = (one, extra = "") => {
  const use = one?.use ?? 0;
  return h("span", { class: `pill ${statusOf(use)} ${extra}` }, h("b", {}, one?.name ?? "none"), " ", one?.percent ?? "");
};

function showAnswer() {
  const { shown, preview, state } = store;
  if (!shown) return;
  if (!shown.verdict) {
    fill($("answer"), h("p", { class: shown.trouble ? "refusal" : "note" }, shown.trouble || "Solving …"));
    return;
  }
  const last = preview ? { before: preview.before, after: preview.governing } : change;
  const same = last && unmoved(last.before, last.after);
  const pair = same ? null : last;
  const verdict = shown.verdict.words.map((word, i) => h("b", { class: `verdict ${shown.verdict.marks[i]}` }, word));
  fill($("answer"),
    h("div", { class: "verdicts" }, verdict),
    h("div", { class: "governs" },
      h("span", { class: "label" }, same ? "still governs" : preview ? "would govern" : "governs"),
      pair ? [pill(pair.before, "old"), h("span", { class: "arrow", role: "img", "aria-label": "became" }, "→"), pill(pair.after)] : pill(shown.governing),
      h("span", { class: "case" }, `${shown.governing.limit ?? ""}${shown.governing.case !== undefined ? `, ${shown.cases[shown.governing.case].name}` : ""}`)),
    h("div", { class: "asides" }, preview?.label ? h("span", { class: "trying" }, `Trying ${preview.label}`) : null, asides(shown)),
    !preview && state.trouble ? h("p", { class: "refusal" }, state.trouble) : null);
}

// Tolerance of place: asked when nothing has changed for a while, as it is the check run again.
let resting = null;

function askPlace() {
  clearTimeout(resting);
  const { revision } = store.state;
  if (!store.solved || store.preview || store.place.line) return;
  resting = setTimeout(async () => {
    try {
      store.setPlace({ ...await link.ask({ type: "place", revision }), revision });
    } catch {
      // Where the project has changed meanwhile, its next answer asks again.
      if (store.state.revision === revision) store.setPlace({ line: "", short: "", use: 0, revision });
    }
  }, REST);
}
store.addEventListener("shown", askPlace);
store.addEventListener("place", showAnswer);

// What is no attachment and no less a danger: the hardest other limit, cautions, snow that no row holds.
function asides(shown) {
  const { cautions, falling, unsettled, protected: guarded } = shown.verdict;
  const falls = falling.replace(/^Snow that no row holds: /, "").replace(/ \(weight of snow.*$/, "");
  const used = shown.governing.use ?? 0;
  const other = shown.others.filter((one) => one.use !== null).reduce((a, b) => (a && a.use >= b.use ? a : b), null);
  const open = shown.others.filter((one) => one.use === null);
  const dangers = [...guarded.filter((one) => !one.kept).map((one) => one.text), unsettled].filter(Boolean);
  const words = [
    ...dangers.map((text) => [text, "exceeded"]),
    other && other.use > used && [`${other.name} ${other.at} ${percent(other.use)}`, statusOf(other.use)],
    store.place.short && [store.place.short, statusOf(store.place.use ?? NaN)],
    open.length && [`${open[0].name} ${open[0].at} not verified${open.length > 1 ? ` and ${open.length - 1} more` : ""}`, "open"],
    ...guarded.filter((one) => one.kept).map((one) => [one.text, "open"]),
    falls && [`not held: ${falls}`, "open"],
    cautions.length && [`${cautions.length} caution${cautions.length > 1 ? "s" : ""}`, "open count"],
  ].filter(Boolean);
  const told = words.map(([text, status]) => h("button", { class: `link aside ${status}`, onclick: () => openTab("checks") }, text));
  const awaited = !store.preview && !store.placeKnown; // says so where its words will stand
  if (awaited) told.splice(dangers.length + (other && other.use > used ? 1 : 0), 0, h("span", { class: "aside awaited note" }, "out of place: computing …"));
  if (awaited) return told;
  const room = !store.place.line && store.placeBefore;
  return room ? [...told, h("span", { class: "aside room", "aria-hidden": "true" }, room)] : told;
}

edits.addEventListener("said", ({ detail }) => {
  const box = $("stage").querySelector(".said") ?? $("stage").appendChild(h("p", { class: "said", role: "alert" }));
  // Forms tell refusals at the field; only drags are told here.
  box.hidden = !detail.text || document.activeElement !== view.canvas;
  box.textContent = box.hidden ? "" : detail.text;
});

// Numbers that are not those of the present input are gray and say so, from the first key on.
addEventListener("typed", () => edits.typed());
edits.addEventListener("lag", () => {
  const words = { computing: "Computing …", refused: "Before what is typed" }[edits.lag] ?? "";
  if ($("lag").textContent === words) return;
  $("lag").textContent = words;
  document.body.classList.toggle("behind", words !== "");
  for (const id of ["answer", "list", "working", "pane-rows", "pane-checks"]) $(id).setAttribute("aria-busy", edits.lag === "computing");
});

// --- picture

// Without WebGL the tables, the working and the editors are the whole app.
function noPicture() {
  document.body.classList.add("nopicture");
  $("stage").prepend(h("p", { class: "flatnote", role: "status" }, "No picture: this browser cannot draw in 3D (WebGL is off or missing). Tables, working and editors say everything and can be used."));
}

async function showRoof(state) {
  if (!view.renderer) return;
  const key = state.roof_key;
  if (key !== roofShown) {
    roofShown = key;
    const first = !view.roof;
    view.setRoof(await roofOf(key));
    labels.setRoof(view.roof);
    if (first) view.controls.addEventListener("start", () => (turned = true));
    if (first) view.fit(firstDirection());
    show();
  }
  if (store.solved && !turned) {
    turned = true; // from the side of what governs, once that is known
    view.fit(firstDirection());
  }
  showSnow();
}

// The first roof is asked for before anything is known of it.
async function roofOf(key) {
  const roof = await earlyRoof;
  earlyRoof = null;
  return roof?.key === key ? roof : link.block("api/roof");
}

// From in front of the governing plane, a little from the side and above.
function firstDirection() {
  const row = store.shown.rows[0];
  const governing = store.shown.governing;
  const clamp = governing?.kind ? store.clampsOf(governing)[0] : 0;
  const normal = new Vector3(...(store.clamps.normal.length ? store.clamps.normal.subarray(3 * clamp, 3 * clamp + 3) : row.normal));
  const flat = new Vector3(normal.x, normal.y, 0).normalize();
  const side = new Vector3(-flat.y, flat.x, 0);
  return flat.multiplyScalar(0.8).addScaledVector(side, -0.45).add(new Vector3(0, 0, 0.62));
}

// The first snow is on its way while the tables are filled; the picture waits for it.
function askSnow(state) {
  view.held = true;
  const surface = link.block(`api/surface?case=${caseOf(state)}`).finally(() => (view.held = false));
  earlySnow = { key: `${state.snow_key}:${caseOf(state)}`, surface };
  surface.then(() => view.draw(), () => (view.draw(), buildRest()));
}

const caseOf = (state) => store.case ?? state.governing?.case ?? 0;

async function showSnow() {
  if (!store.solved || !view.roof) return;
  const number = caseOf(store.state);
  const key = `${store.state.snow_key}:${number}:${roofShown}`;
  if (key === snowShown) return;
  snowShown = key;
  const early = key.startsWith(`${earlySnow?.key}:`) ? earlySnow.surface : null;
  let surface = null;
  try {
    surface = await (early ?? link.block(`api/surface?case=${number}`));
  } catch (error) {
    if (key === snowShown) snowShown = ""; // so that the same snow can be asked for again
    throw error;
  } finally {
    earlySnow = null;
  }
  if (key !== snowShown) return;
  view.setSurface(surface);
  view.addEventListener("drawn", () => {
    $("view").dataset.case = number;
    whenDrawn(buildRest);
  }, { once: true });
  const name = store.state.cases[number].name;
  labels.snowKey(surface, store.case === null ? `${name}, the case that governs` : name);
}

function show() {
  if (!store.state || !view.roof) return;
  const { use } = store;
  let values = null;
  if (use) {
    const { use: all, count } = use.clamp;
    values = Float32Array.from({ length: count }, (_, i) => worstUse(all, count, i, store.case).use);
  }
  // Those of solar arrays follow those of rows, so that numbers of clamps stay theirs.
  const { solar_at, solar_normal, solar_line } = view.roof, { solar } = store;
  const glass = values && Float32Array.from(solar_line, (line) => (solar ? worstUse(solar.use, solar.count, line, store.case).use : NaN));
  view.marks.set(joined(store.clamps.at, solar_at), joined(store.clamps.normal, solar_normal), values && joined(values, glass), spacing());
  view.marks.choose(store.called ? store.clampsOf(store.called) : []);
  view.setRows(store.shown.rows, store.row);
}

const joined = (a, b) => Float32Array.from([...a, ...b]);

// Usual distance between neighbors on a row; marks are never larger than that on the screen.
function spacing() {
  const { at, row } = store.clamps;
  const found = [];
  for (let i = 1; i < row.length; i++) {
    if (row[i] === row[i - 1]) found.push(Math.hypot(at[3 * i] - at[3 * i - 3], at[3 * i + 1] - at[3 * i - 2], at[3 * i + 2] - at[3 * i - 1]));
  }
  return found.sort((a, b) => a - b)[found.length >> 1] ?? 1;
}

store.addEventListener("shown", () => {
  showAnswer();
  show();
  if ($("cut").value) section();
  const select = $("case"), cases = store.shown.cases ?? [];
  const names = cases.map((one) => one.name).join("\n");
  if (names !== casesShown) {
    casesShown = names;
    fill(select, h("option", { value: "" }, "the worst of all cases"), cases.map((one, q) => h("option", { value: q }, `${q + 1} ${one.name}`)));
    if (store.case !== null && store.case >= cases.length) store.case = null;
    select.value = store.case ?? "";
  }
});
store.addEventListener("case", showSnow);
store.addEventListener("picked", show);
store.addEventListener("kept", show);
store.addEventListener("row", () => (show(), section()));
view.addEventListener("picked", ({ detail }) => openTab(detail));
$("case").addEventListener("change", (event) => store.setCase(event.target.value === "" ? null : Number(event.target.value)));
$("fit").addEventListener("click", () => view.fit(firstDirection()));
$("top").addEventListener("click", () => view.fit(new Vector3(0, -1e-4, 1)));

function section() {
  const kind = $("cut").value;
  $("cutat").hidden = !kind;
  if (!view.roof) return;
  const row = store.rowOf(store.row) ?? store.shown?.rows[0];
  const along = row && new Vector3(...row.ends[1]).sub(new Vector3(...row.ends[0])).normalize();
  const normals = { x: new Vector3(1, 0, 0), y: new Vector3(0, -1, 0), z: new Vector3(0, 0, 1), row: along };
  const normal = normals[kind] ?? null;
  view.section(normal, Number($("cutat").value));
  $("snowkey").classList.toggle("cut", normal !== null && kind !== "z");
  labels.setCuts(normal && kind !== "z" ? cutRows(normal) : []);
}

// Rows that the section cuts, where it does, with their distance from the eave.
function cutRows(normal) {
  const { constant } = view.cutPlane;
  return store.shown.rows.flatMap((row) => {
    const [a, b] = row.ends.map((end) => new Vector3(...end));
    const [from, to] = [a, b].map((end) => constant - normal.dot(end));
    if (from * to > 0 || from === to) return [];
    const up = store.state.rows.find((one) => one.name === row.name);
    const text = `${Number((row.up / up.unit_size).toFixed(3))} ${up.unit}`;
    return [{ at: a.lerp(b, from / (from - to)), text: `${row.name}: ${text} up from the eave` }];
  });
}

// Seen square to the cut, from the side that was taken away; without one, as before it.
let uncut = null;

function turnToSection() {
  const kind = $("cut").value;
  if (kind && view.renderer) uncut ??= view.camera.position.clone().sub(view.controls.target);
  section();
  if (!kind && uncut) {
    view.fit(uncut);
    uncut = null;
  }
  if (kind && view.cutPlane) view.fit(view.cutPlane.normal.clone().negate().add(new Vector3(0, kind === "z" ? -1e-4 : 0, 0)));
}
$("cut").addEventListener("change", turnToSection);
$("cutat").addEventListener("input", section);

// --- tabs

const tabs = [...document.querySelectorAll("[role=tab]")];

function openTab(name, focus = false) {
  buildRest();
  for (const tab of tabs) {
    const chosen = tab.id === `tab-${name}`;
    tab.setAttribute("aria-selected", chosen);
    tab.tabIndex = chosen ? 0 : -1;
    $(tab.getAttribute("aria-controls")).hidden = !chosen;
    if (chosen && focus) tab.focus();
  }
}
for (const [i, tab] of tabs.entries()) {
  tab.addEventListener("click", () => openTab(tab.id.slice(4)));
  tab.addEventListener("keydown", (event) => {
    const step = { ArrowRight: 1, ArrowLeft: -1 }[event.key];
    if (step) openTab(tabs[(i + step + tabs.length) % tabs.length].id.slice(4), true);
  });
}

link.addEventListener("opened", () => view.warm());
link.open();
if (link.known && view.renderer) earlyRoof = link.block("api/roof").catch(() => null);
