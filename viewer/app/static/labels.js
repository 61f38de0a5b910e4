// Text over the picture: plane names, the governing attachment, what is picked, scale, north and legends.

import { Raycaster, Vector3 } from "./three.js";
import { $, fill, h } from "./dom.js";
import { cssColor, percent, snowColor, statusOf, useColor } from "./numbers.js";

const FEET = 0.3048;
const SPOTS = [[1, -64], [-1, -64], [1, 34], [-1, 34], [1, -130], [-1, -130], [1, 96], [-1, 96]]; // of the callout: side, rise [px]
const STEPS = [0, -10, 10, -20, 20, -30, 30, -40, 40, -50, 50]; // of names that give way; a plane that has no such place is not named [px]

export class Labels {
  constructor(view, store) {
    Object.assign(this, { view, store, layer: $("labels"), planes: [] });
    this.callout = h("div", { class: "callout" });
    [this.controls, this.foot] = [".controls", ".foot"].map((part) => $("stage").querySelector(part));
    this.line = document.createElementNS("http://www.w3.org/2000/svg", "svg");
    this.line.innerHTML = "<path/>";
    view.addEventListener("drawn", () => this.place());
    this.#useKey();
  }

  setRoof(roof) {
    this.planes = roof.planes.slice(0, 60).map((plane) => ({
      at: new Vector3(...plane.label), normal: new Vector3(...plane.normal), element: h("span", { class: "plane" }, plane.name),
    }));
    const up = new Vector3(0, 0, 1);
    this.planes.push(...roof.standing.slice(0, 60).map(({ name, at }) => ({
      at: new Vector3(...at), normal: up, element: h("span", { class: "plane standing" }, name),
    })));
    fill(this.layer, this.line, this.planes.map((plane) => plane.element), this.callout);
    this.layer.hidden = true; // until they are placed with the picture
  }

  #called() {
    const { store } = this;
    const attachment = store.called, governing = store.shown?.governing;
    if (!attachment) return null;
    const clamp = store.clampsOf(attachment)[0];
    const isGoverning = governing?.kind === attachment.kind && governing?.index === attachment.index;
    return { attachment, clamp, isGoverning };
  }

  place() {
    const { view } = this;
    if (!view.roof) return;
    const toward = view.toward;
    clearTimeout(this.resting);
    this.resting = setTimeout(() => this.#hideCovered(), 120);
    this.layer.hidden = false;
    const seen = this.planes.filter(({ at, normal, element, covered }) =>
      !(element.hidden = covered || normal.dot(toward) < 0.12 || view.clipped(at)));
    this.#placeCallout();
    const rows = (this.store.shown?.rows ?? []).filter((row) => new Vector3(...row.normal).dot(toward) > 0.02)
      .slice(0, 200).map((row) => row.ends.map((end) => view.project(new Vector3(...end))));
    if (!this.callout.hidden) rows.push(this.calloutLine);
    const taken = this.callout.hidden ? [] : [this.calloutBox];
    // All is measured before the first is moved: each look after a move lays the page out anew.
    const found = [...(this.cuts ?? []).map((cut) => this.#spot(cut, -22, [], taken)), ...seen.map((plane) => this.#spot(plane, 0, rows, taken))];
    for (const { element, x, top } of found) element.style.transform = `translate(${x}px, ${top}px) translate(-50%, -50%)`;
    const up = view.project(view.center.clone().add(new Vector3(0, 0.1 * view.reach, 0)));
    const origin = view.project(view.center);
    $("north").style.transform = `rotate(${Math.atan2(up.x - origin.x, origin.y - up.y)}rad)`;
    this.#scale();
  }

  #spot({ at, element }, rise, rows, taken) {
    const { x, y } = this.view.project(at);
    return { element, x, top: this.#free(element, x, y + rise, rows, taken) };
  }

  // Names of planes that another part of the roof covers; found when the view has come to rest.
  #hideCovered() {
    const { surface } = this.view;
    if (!surface || surface.geometry.getAttribute("position").count * this.planes.length > 4e6) return;
    const caster = new Raycaster(), toward = this.view.toward;
    let changed = false;
    for (const plane of this.planes) {
      const from = plane.at.clone().addScaledVector(toward, 0.02 * this.view.reach);
      caster.set(from, toward);
      const covered = plane.normal.dot(toward) > 0.12 && caster.intersectObject(surface).length > 0;
      changed ||= covered !== (plane.covered ?? false);
      plane.covered = covered;
    }
    if (changed) this.place();
  }

  #placeCallout() {
    const called = this.#called();
    this.callout.hidden = this.line.style.display = "";
    const { clamp } = called ?? {};
    const place = called && new Vector3(...this.store.clamps.at.subarray(3 * clamp, 3 * clamp + 3));
    if (!called || this.view.clipped(place)) { // nothing is picked, or the section has cut it away
      this.callout.hidden = true;
      this.line.style.display = "none";
      return;
    }
    const { attachment, isGoverning } = called;
    const { x, y } = this.view.project(place);
    const wide = this.view.canvas.clientWidth, high = this.view.canvas.clientHeight;
    const words = isGoverning ? this.#governs(attachment) : attachment.limit;
    const text = `${attachment.name}|${percent(attachment.use)}|${words}`;
    if (this.callout.dataset.text !== text) {
      this.callout.dataset.text = text;
      this.callout.className = `callout ${statusOf(attachment.use)}`;
      fill(this.callout, h("b", {}, attachment.name), " ", percent(attachment.use), h("small", {}, words));
    }
    const spot = this.#clearest(x, y, wide, high);
    const { right, left, top, box } = spot;
    this.calloutBox = box;
    const end = right ? left : box[1];
    const middle = 0.5 * (top + box[3]), far = Math.hypot(end - x, middle - y) || 1;
    const begin = Math.min(10 / far, 1); // the line ends at the mark
    this.calloutLine = [{ x, y }, { x: end, y: middle }];
    this.callout.style.transform = `translate(${left}px, ${top}px)`;
    this.line.firstChild.setAttribute("d", `M${x + begin * (end - x)},${y + begin * (middle - y)}L${end},${middle}`);
  }

  // The place of the callout that covers fewest clamps, above all none that is exceeded or not verified; it
  // stays where it was while nothing is better.
  #clearest(x, y, wide, high) {
    const [w, h] = [this.callout.offsetWidth, this.callout.offsetHeight];
    const [head, foot] = [this.controls.offsetHeight + 16, this.foot.offsetHeight]; // covered by neither
    const first = x < wide * 0.62 ? 1 : -1;
    const spots = SPOTS.map(([side, rise]) => {
      const right = side * first > 0;
      const left = Math.min(Math.max(x + (right ? 46 : -46 - w), 8), wide - w - 8);
      const top = Math.max(Math.min(y + rise, high - foot - h - 14), head);
      return { right, left, top, box: [left, left + w, top, top + h], cost: 0 };
    });
    const { at, normal, use } = this.view.marks, toward = this.view.toward, place = new Vector3();
    for (let i = 0; i < (at?.length ?? 0) / 3; i++) {
      if (place.fromArray(normal, 3 * i).dot(toward) < 0.02) continue;
      const p = this.view.project(place.fromArray(at, 3 * i));
      const weight = use && !(use[i] <= 1) ? 100 : 1;
      for (const one of spots) {
        const [a, b, c, d] = one.box;
        if (p.x > a - 9 && p.x < b + 9 && p.y > c - 9 && p.y < d + 9) one.cost += weight;
      }
    }
    const least = Math.min(...spots.map((one) => one.cost));
    if (!(spots[this.spot]?.cost <= least)) this.spot = spots.findIndex((one) => one.cost === least);
    return spots[this.spot];
  }

  // In words that agree with the header: which number governs where, and that other limits may be used more.
  #governs(attachment) {
    const { case: only, shown } = this.store;
    const { use, percent: most, case: at } = shown.governing;
    if (only !== null && attachment.use !== use) return `in this case; governs with ${most} in ${shown.cases[at].name}`;
    const harder = shown.others.some((one) => one.use > (use ?? 0));
    return harder ? "most used attachment" : "governs";
  }

  // Moves a name up or down until it covers neither rows nor the callout nor another name.
  #free(element, x, y, rows, taken) {
    const wide = 0.5 * element.offsetWidth + 4, high = 0.5 * element.offsetHeight + 5;
    const hits = (top) => {
      const [left, right, upper, lower] = [x - wide, x + wide, top - high, top + high];
      if (taken.some((box) => box[0] < right && box[1] > left && box[2] < lower && box[3] > upper)) return true;
      return rows.some(([a, b]) => {
        const from = Math.max((left - a.x) / (b.x - a.x || 1e-9), (right - a.x) / (b.x - a.x || 1e-9));
        const to = Math.min((left - a.x) / (b.x - a.x || 1e-9), (right - a.x) / (b.x - a.x || 1e-9));
        const [t0, t1] = [Math.max(to, 0), Math.min(from, 1)];
        if (t0 > t1) return false;
        const ends = [a.y + t0 * (b.y - a.y), a.y + t1 * (b.y - a.y)];
        return Math.min(...ends) < lower && Math.max(...ends) > upper;
      });
    };
    const top = STEPS.map((step) => y + step).find((one) => !hits(one));
    element.hidden = top === undefined;
    if (element.hidden) return y;
    taken.push([x - wide, x + wide, top - high, top + high]);
    return top;
  }

  // Where a section cuts rows: their distance from the eave, as the project gives it.
  setCuts(cuts) {
    for (const cut of this.cuts ?? []) cut.element.remove();
    this.cuts = cuts.map(({ at, text }) => ({ at, element: h("span", { class: "plane cut" }, text) }));
    this.layer.append(...this.cuts.map((cut) => cut.element));
  }

  #scale() {
    const us = this.store.state?.units === "US";
    const unit = us ? FEET : 1;
    const perUnit = this.view.camera.zoom * unit;
    const wanted = (this.view.canvas.clientWidth < 600 ? 66 : 110) / perUnit;
    const power = 10 ** Math.floor(Math.log10(wanted));
    const length = [5, 2, 1].map((n) => n * power).find((n) => n <= wanted) ?? power;
    const text = `${length} ${us ? "ft" : "m"}`;
    const bar = h("i");
    bar.style.width = `${length * perUnit}px`;
    fill($("scale"), bar, h("figcaption", {}, text));
  }

  #useKey() {
    const ramp = (low, high) => Array.from({ length: 9 }, (_, i) => cssColor(useColor(low + ((high - low) * i) / 8 + (low ? 1e-6 : 0)))).join(", ");
    const kept = h("i", { class: "ramp kept" }), over = h("i", { class: "ramp over" });
    kept.style.background = `linear-gradient(90deg, ${ramp(0, 1)})`;
    over.style.background = `linear-gradient(90deg, ${ramp(1, 2)})`;
    fill($("usekey"),
      h("figcaption", {}, "Utilization"),
      h("div", { class: "ramps" }, kept, over),
      h("div", { class: "ticks use" }, h("span", {}, "0"), h("span", { class: "limit" }, "limit 100 %"), h("span", {}, "200 %")),
      h("div", { class: "shapes" },
        [["kept", "", "kept"], ["exceeded", "", "exceeded"], ["open", "?", "not verified"]].map(([kind, sign, words]) =>
          h("span", { class: "shape" }, h("span", { class: `mark ${kind}` }, sign), words))));
  }

  snowKey(surface, name) {
    const bar = h("i", { class: "ramp" });
    bar.style.background = `linear-gradient(90deg, ${Array.from({ length: 9 }, (_, i) => cssColor(snowColor(i / 8))).join(", ")})`;
    fill($("snowkey"),
      h("figcaption", {}, `Snow, ${surface.unit}`),
      h("div", { class: "ramps" }, bar),
      h("div", { class: "ticks" }, h("span", {}, "0"), h("span", {}, String(surface.top))),
      h("div", { class: "shapes casename" }, name),
      h("div", { class: "shapes deep" }, `on the section: height at ${surface.density}, to scale`));
  }
}
