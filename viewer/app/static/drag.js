// Picking clamps and dragging rows along the slope. A drag shows its answer while it goes on.

import { percent } from "./numbers.js";
import { Plane, Raycaster, Vector2, Vector3 } from "./three.js";

const NEAR = 9; // pixels
const STILL = 4; // pixels that are no drag

export class Drag {
  constructor(view, store, edits) {
    Object.assign(this, { view, store, edits, held: null });
    const canvas = view.canvas;
    // Whatever is dragged, row or roof, the picture stays where it is from press to release.
    canvas.addEventListener("pointerdown", () => this.#steady(true), { capture: true });
    for (const end of ["pointerup", "pointercancel"]) canvas.addEventListener(end, () => this.#steady(false));
    canvas.addEventListener("pointerdown", (event) => this.#down(event), { capture: true });
    canvas.addEventListener("pointermove", (event) => this.#move(event));
    canvas.addEventListener("pointerup", (event) => this.#up(event));
    // On a phone one finger beside the rows scrolls the page; on a row it drags, two turn the roof.
    canvas.addEventListener("touchstart", (event) => (this.held || event.touches.length > 1) && event.preventDefault(), { passive: false });
    canvas.addEventListener("pointercancel", () => this.#drop());
    addEventListener("keydown", (event) => event.key === "Escape" && this.held && this.#drop());
  }

  #point(event) {
    const box = this.view.canvas.getBoundingClientRect();
    return { x: event.clientX - box.left, y: event.clientY - box.top };
  }

  // Clamp nearest to the pointer on a side of the roof that faces the viewer.
  #clamp({ x, y }) {
    const { clamps } = this.store;
    const toward = this.view.toward;
    let best = null;
    for (let i = 0; i < clamps.names.length; i++) {
      const n = clamps.normal.subarray(3 * i, 3 * i + 3);
      if (n[0] * toward.x + n[1] * toward.y + n[2] * toward.z < 0.02) continue;
      const point = new Vector3(...clamps.at.subarray(3 * i, 3 * i + 3));
      if (this.view.clipped(point)) continue;
      const at = this.view.project(point);
      const far = Math.hypot(at.x - x, at.y - y);
      if (far < NEAR && (!best || far < best.far - 1 || (far < best.far + 1 && at.depth < best.depth))) {
        best = { index: i, far, depth: at.depth };
      }
    }
    return best?.index ?? -1;
  }

  #row({ x, y }) {
    const toward = this.view.toward;
    let best = null;
    for (const row of this.store.shown.rows) {
      if (new Vector3(...row.normal).dot(toward) < 0.02) continue;
      const [a, b] = row.ends.map((end) => this.view.project(new Vector3(...end)));
      const length = Math.hypot(b.x - a.x, b.y - a.y) || 1;
      const along = Math.min(Math.max(((x - a.x) * (b.x - a.x) + (y - a.y) * (b.y - a.y)) / length ** 2, 0), 1);
      const far = Math.hypot(x - a.x - along * (b.x - a.x), y - a.y - along * (b.y - a.y));
      if (far < NEAR && (!best || far < best.far)) best = { row, far };
    }
    return best?.row ?? null;
  }

  // Where the pointer's ray meets the plane of the rails.
  #onPlane({ x, y }, row) {
    const { clientWidth, clientHeight } = this.view.canvas;
    const caster = new Raycaster();
    caster.setFromCamera(new Vector2((2 * x) / clientWidth - 1, 1 - (2 * y) / clientHeight), this.view.camera);
    const plane = new Plane().setFromNormalAndCoplanarPoint(new Vector3(...row.normal), new Vector3(...row.ends[0]));
    return caster.ray.intersectPlane(plane, new Vector3());
  }

  #down(event) {
    if (event.button !== 0 || !this.store.state || !this.view.roof) return;
    const point = this.#point(event);
    const clamp = this.#clamp(point);
    const row = clamp >= 0 ? this.store.shown.rows[this.store.clamps.row[clamp]] : this.#row(point);
    if (!row) return;
    event.stopImmediatePropagation();
    this.view.canvas.focus({ preventScroll: true });
    this.view.canvas.setPointerCapture(event.pointerId);
    const given = this.store.state.rows.find((r) => r.name === row.name);
    const from = this.#onPlane(point, row);
    this.held = { row: given, clamp, start: point, from, moved: 0, dragging: false, up: given?.up ?? 0 };
    this.#reframe({ x: event.clientX, y: event.clientY });
  }

  #move(event) {
    const point = this.#point(event);
    if (!this.held) {
      if (event.buttons || !this.store.state || !this.view.roof) return;
      const clamp = this.#clamp(point);
      this.view.canvas.style.cursor = clamp >= 0 || this.#row(point) ? (this.store.state.measured ? "pointer" : "grab") : "";
      this.view.canvas.title = clamp >= 0 && this.store.solved ? `${this.store.clamps.names[clamp]} ${percent(this.store.attachment("clamp", clamp).use)}` : "";
      return;
    }
    if (this.held.row) this.#reframe({ x: event.clientX, y: event.clientY });
    const { row, start, from } = this.held;
    if (!this.held.dragging && Math.hypot(point.x - start.x, point.y - start.y) < STILL) return;
    if (!row?.fields || !from || this.store.state.measured) return;
    if (!this.held.dragging) {
      this.held.dragging = true;
      this.view.canvas.style.cursor = "grabbing";
      this.store.pickRow(row.name);
    }
    const now = this.#onPlane(point, row);
    if (!now) return;
    const moved = now.sub(from).dot(new Vector3(...row.way_up));
    this.held.moved = moved;
    const steps = Math.max(Math.round((row.up + moved) / row.unit_size / row.step), 0);
    const text = `${Number((steps * row.step).toFixed(4))} ${row.unit}`;
    if (text === this.held.text) return;
    this.held.text = text;
    this.edits.tryRow(row.name, { up: text });
  }

  #up() {
    if (!this.held) return;
    const { row, clamp, dragging, text } = this.held;
    this.held = null;
    this.view.canvas.style.cursor = "";
    if (dragging) {
      if (text && text !== row.fields.up) this.edits.row(row.name, { up: text });
      else this.edits.forget();
    } else if (clamp >= 0 && this.store.solved) {
      this.store.pick(this.store.attachment("clamp", clamp));
      this.view.dispatchEvent(new CustomEvent("picked", { detail: "attachments" }));
    } else {
      this.store.pickRow(row.name);
      this.view.dispatchEvent(new CustomEvent("picked", { detail: "rows" }));
    }
  }

  // Nothing above the picture may grow, and what comes lies over it.
  #steady(on) {
    const [bar, notice] = document.querySelectorAll("header.bar, #notice");
    bar.style.height = on ? `${bar.getBoundingClientRect().height}px` : "";
    if (!on || notice.hidden) notice.classList.toggle("over", on);
  }

  // Should the picture move all the same (a page that scrolls, a window that shrinks), the row goes on from where it is.
  #reframe({ x, y }) {
    const { held } = this, box = this.view.canvas.getBoundingClientRect();
    const frame = [box.left, box.top, box.width, box.height].join();
    if (held.frame !== undefined && held.frame !== frame && held.from) {
      const here = this.#onPlane({ x: held.last.x - box.left, y: held.last.y - box.top }, held.row);
      if (here) held.from = here.addScaledVector(new Vector3(...held.row.way_up), -held.moved);
    }
    Object.assign(held, { frame, last: { x, y } });
  }

  #drop() {
    this.held = null;
    this.view.canvas.style.cursor = "";
    this.edits.forget();
  }
}
