// The roof in 3D: one merged buffer for its faces, drawn only when something has changed.

import {
  BufferAttribute, BufferGeometry, ColorManagement, DoubleSide, LineMaterial, LineSegments2, LineSegmentsGeometry,
  Mesh, MeshBasicMaterial, OrbitControls, OrthographicCamera, Plane, Scene, Vector3, WebGLRenderer,
} from "./three.js";
import { palette, snowColor } from "./numbers.js";
import { Marks } from "./marks.js";

const LIGHT = new Vector3(-0.35, -0.55, 0.76);
const BANDS = 256;

ColorManagement.enabled = false; // colors are those of the legend

export class RoofView extends EventTarget {
  constructor(canvas) {
    super();
    this.canvas = canvas;
    try {
      this.renderer = new WebGLRenderer({ canvas, antialias: true, preserveDrawingBuffer: false });
    } catch {
      this.renderer = null; // no WebGL: never gets a roof, so nothing else is called that needs it
      return;
    }
    this.renderer.outputColorSpace = "srgb-linear";
    this.renderer.setClearColor(0xffffff);
    this.scene = new Scene();
    this.camera = new OrthographicCamera(-1, 1, 1, -1, 0.1, 1000);
    this.camera.up.set(0, 0, 1);
    this.controls = new OrbitControls(this.camera, canvas);
    this.controls.zoomToCursor = true;
    this.controls.maxPolarAngle = Math.PI * 0.56;
    this.controls.addEventListener("change", () => this.draw());
    this.marks = new Marks();
    this.scene.add(this.marks.object, this.marks.ring);
    this.rails = this.#lines(4.5, 0x3b4b57);
    this.chosen = this.#lines(7, 0x0f5c7a);
    this.cutLine = this.#lines(2.6, 0x16242e);
    this.cutLine.material.clippingPlanes = [];
    this.cutPlane = null;
    this.size = 1;
    this.held = false; // nothing is drawn: what is missing comes at once
    new ResizeObserver(() => this.#resize()).observe(canvas.parentElement);
    this.#resize();
    canvas.addEventListener("keydown", (event) => this.#key(event));
  }

  #lines(width, color, positions = new Float32Array(0)) {
    const material = new LineMaterial({ color, linewidth: width, clipping: true });
    const lines = new LineSegments2(new LineSegmentsGeometry(), material);
    lines.frustumCulled = false;
    lines.visible = positions.length > 0;
    if (positions.length) lines.geometry.setPositions(positions);
    this.scene.add(lines);
    return lines;
  }

  #setLines(lines, positions) {
    lines.geometry.dispose();
    lines.geometry = new LineSegmentsGeometry();
    lines.visible = positions.length > 0;
    if (lines.visible) lines.geometry.setPositions(positions);
  }

  // Programs of the screen are built while the page waits for its data: one speck of each kind is drawn, and
  // wiped away. The specks stay, unseen, as programs end with the last thing that uses them.
  warm() {
    if (!this.renderer || this.roof) return;
    const specks = [this.#mesh(new Float32Array(9), new Uint8Array(9)), this.#lines(1, 0, new Float32Array(6)), this.#lines(1, 0, new Float32Array(6))];
    specks[2].material.transparent = true;
    this.marks.set(new Float32Array(3), new Float32Array(3), null, 1);
    this.renderer.render(this.scene, this.camera);
    this.renderer.clear();
    for (const speck of specks) speck.visible = false;
  }

  // Walls, edges and seams; they stay whatever the snow.
  setRoof(roof) {
    this.roof = roof;
    this.center = new Vector3(...roof.low).add(new Vector3(...roof.high)).multiplyScalar(0.5);
    this.reach = new Vector3(...roof.high).sub(new Vector3(...roof.low)).length();
    for (const part of this.fixed ?? []) {
      this.scene.remove(part);
      part.geometry.dispose();
      part.material.dispose();
    }
    const heavy = [], light = [];
    for (let e = 0; e < roof.edge_weight.length; e++) {
      (roof.edge_weight[e] > 1.5 ? heavy : light).push(...roof.edges.subarray(6 * e, 6 * e + 6));
    }
    const seams = this.#lines(0.8, 0x9aa8b2, roof.seams);
    seams.material.transparent = true;
    seams.material.opacity = 0.7;
    this.fixed = [
      this.#walls(roof.walls),
      this.#mesh(roof.obstacles, roof.obstacle_rgb),
      seams,
      this.#lines(1.1, 0x16242e, roof.obstacle_lines),
      this.#lines(0.9, 0x9fadc9, roof.glass_lines),
      this.#lines(1.3, 0x16242e, new Float32Array(light)),
      this.#lines(2.2, 0x16242e, new Float32Array(heavy)),
    ];
  }

  #walls(positions) {
    const colors = new Uint8Array(positions.length);
    for (let quad = 0; quad < positions.length / 18; quad++) {
      const at = 18 * quad;
      const east = Math.abs(positions[at + 4] - positions[at + 1]) > Math.abs(positions[at + 3] - positions[at]);
      const tone = palette[east ? "wall-shade" : "wall"];
      for (let corner = 0; corner < 6; corner++) {
        const low = corner === 2 || corner > 3;
        for (let i = 0; i < 3; i++) {
          colors[at + 3 * corner + i] = 255 * (low ? 0.25 * tone[i] + 0.75 * palette.paper[i] : tone[i]);
        }
      }
    }
    return this.#mesh(positions, colors);
  }

  #mesh(positions, colors) {
    const geometry = new BufferGeometry();
    geometry.setAttribute("position", new BufferAttribute(positions, 3));
    geometry.setAttribute("color", new BufferAttribute(colors, 3, true));
    const material = new MeshBasicMaterial({
      vertexColors: true, side: DoubleSide, polygonOffset: true, polygonOffsetFactor: 1.5, polygonOffsetUnits: 2,
    });
    const mesh = new Mesh(geometry, material);
    mesh.frustumCulled = false;
    this.scene.add(mesh);
    return mesh;
  }

  // Faces colored by snow: all triangles in one buffer.
  setSurface(surface) {
    if (this.surface) {
      this.scene.remove(this.surface);
      this.surface.geometry.dispose();
    }
    const shade = this.roof.planes.map(({ normal }) => 0.9 + 0.1 * Math.max(0, LIGHT.dot(new Vector3(...normal))));
    const bands = Array.from({ length: BANDS + 1 }, (_, i) => snowColor(i / BANDS));
    const colors = new Uint8Array(surface.corners.length);
    for (let t = 0; t < surface.triangles; t++) {
      const color = bands[Math.round(Math.min(surface.pressure[t] / surface.top, 1) * BANDS)];
      const tone = 255 * (shade[surface.plane[t]] ?? 1);
      for (let i = 0; i < 9; i++) colors[9 * t + i] = color[i % 3] * tone;
    }
    this.surface = this.#mesh(surface.corners, colors);
    this.snow = surface;
    this.#cut();
    this.draw();
  }

  setRows(rows, chosen) {
    this.#setLines(this.rails, new Float32Array(rows.flatMap((row) => row.ends.flat())));
    const one = rows.find((row) => row.name === chosen);
    this.#setLines(this.chosen, new Float32Array(one ? one.ends.flat() : []));
    this.draw();
  }

  // --- camera

  fit(direction = null) {
    if (!this.roof) return;
    const toward = direction ?? this.camera.position.clone().sub(this.controls.target);
    toward.normalize().multiplyScalar(2 * this.reach);
    this.controls.target.copy(this.center);
    this.camera.position.copy(this.center).add(toward);
    this.camera.near = 0.05 * this.reach;
    this.camera.far = 6 * this.reach;
    this.camera.lookAt(this.center);
    this.camera.updateMatrixWorld();
    this.camera.zoom = this.#fitting(this.canvas.parentElement.getBoundingClientRect());
    this.camera.updateProjectionMatrix();
    this.controls.update();
    this.draw();
  }

  // Zoom at which the roof, seen as now, fills a box.
  #fitting(box) {
    const center = this.center.clone().applyMatrix4(this.camera.matrixWorldInverse);
    let [width, height] = [0, 0];
    for (let corner = 0; corner < 8; corner++) {
      const point = new Vector3(...[0, 1, 2].map((i) => ((corner >> i) & 1 ? this.roof.high : this.roof.low)[i]));
      point.applyMatrix4(this.camera.matrixWorldInverse).sub(center);
      width = Math.max(width, Math.abs(point.x));
      height = Math.max(height, Math.abs(point.y));
    }
    return Math.max(Math.min(box.width / (2.2 * width), Math.max(box.height - 150, 60) / (2.25 * height)), 1e-3);
  }

  #resize() {
    const box = this.canvas.parentElement.getBoundingClientRect();
    const pixels = Math.min(devicePixelRatio, 2);
    if (this.box?.width === box.width && this.box.height === box.height && this.pixels === pixels) return;
    if (!box.width || !box.height || matchMedia("print").matches) return;
    const { style } = document.documentElement; // on paper the picture keeps its size and is scaled as a whole
    style.setProperty("--stage-width", `${box.width}px`);
    style.setProperty("--stage-height", `${box.height}px`);
    style.setProperty("--stage-zoom", String(Math.min(1, 690 / box.width)));
    if (this.box && this.roof) this.camera.zoom *= this.#fitting(box) / this.#fitting(this.box); // there and back is no change
    Object.assign(this, { box, pixels });
    Object.assign(this.camera, { left: -box.width / 2, right: box.width / 2, top: box.height / 2, bottom: -box.height / 2 });
    this.camera.updateProjectionMatrix();
    this.draw();
  }

  // The buffers get the size of their box when something is drawn: while the page fills, its parts move more than
  // once, and every size makes all buffers anew.
  #fill() {
    const { box, pixels, filled } = this;
    if (!box || (filled?.box === box && filled.pixels === pixels)) return;
    this.filled = { box, pixels };
    this.renderer.setDrawingBufferSize(box.width, box.height, pixels);
  }

  #key(event) {
    const turns = { ArrowLeft: [0.12, 0], ArrowRight: [-0.12, 0], ArrowUp: [0, -0.08], ArrowDown: [0, 0.08] };
    const turn = turns[event.key];
    if (turn) {
      const offset = this.camera.position.clone().sub(this.controls.target);
      const flat = Math.hypot(offset.x, offset.y);
      const tilt = Math.min(Math.max(Math.atan2(flat, offset.z) + turn[1], 0.02), 1.7);
      const round = Math.atan2(offset.y, offset.x) + turn[0];
      const far = offset.length();
      offset.set(Math.sin(tilt) * Math.cos(round), Math.sin(tilt) * Math.sin(round), Math.cos(tilt)).multiplyScalar(far);
      this.camera.position.copy(this.controls.target).add(offset);
    } else if (event.key === "+" || event.key === "=") this.camera.zoom *= 1.2;
    else if (event.key === "-") this.camera.zoom /= 1.2;
    else if (event.key.toLowerCase() === "f") this.fit();
    else return;
    event.preventDefault();
    this.camera.updateProjectionMatrix();
    this.controls.update();
    this.draw();
  }

  // --- section

  section(normal, place) {
    this.cutPlane = normal ? new Plane(normal.clone().negate(), 0) : null;
    if (normal) {
      const corners = Array.from({ length: 8 }, (_, c) =>
        new Vector3(...[0, 1, 2].map((i) => ((c >> i) & 1 ? this.roof.high : this.roof.low)[i])).dot(normal));
      const low = Math.min(...corners), high = Math.max(...corners);
      this.cutPlane.constant = low + place * (high - low);
    }
    this.renderer.clippingPlanes = this.cutPlane ? [this.cutPlane] : [];
    this.#cut();
    this.draw();
  }

  // The line in which the plane cuts the roof; on an upright plane with the snow above it, to scale.
  #cut() {
    const found = [], snow = [], colors = [];
    if (this.cutPlane && this.surface) {
      const corners = this.surface.geometry.getAttribute("position").array;
      const { normal, constant } = this.cutPlane;
      const side = (i) => normal.x * corners[i] + normal.y * corners[i + 1] + normal.z * corners[i + 2] + constant - 1e-3;
      for (let t = 0; t < corners.length; t += 9) {
        const s = [side(t), side(t + 3), side(t + 6)];
        const ends = [];
        for (let a = 0; a < 3 && ends.length < 2; a++) {
          const b = (a + 1) % 3;
          if (s[a] > 0 === s[b] > 0) continue;
          const share = s[a] / (s[a] - s[b]);
          ends.push([0, 1, 2].map((i) => corners[t + 3 * a + i] + share * (corners[t + 3 * b + i] - corners[t + 3 * a + i])));
        }
        if (ends.length < 2) continue;
        found.push(...ends[0], ...ends[1]);
        const pressure = this.snow.pressure[t / 9];
        if (Math.abs(normal.z) > 1e-6 || pressure <= 0) continue;
        const [a, b] = ends, [c, d] = ends.map(([x, y, z]) => [x, y, z + pressure * this.snow.depth]);
        found.push(...c, ...d);
        snow.push(...a, ...b, ...d, ...a, ...d, ...c);
        const color = snowColor(Math.min(pressure / this.snow.top, 1)).map((part) => 245 * part);
        for (let corner = 0; corner < 6; corner++) colors.push(...color);
      }
    }
    if (this.cutSnow) {
      this.scene.remove(this.cutSnow);
      this.cutSnow.geometry.dispose();
      this.cutSnow.material.dispose();
    }
    this.cutSnow = snow.length ? this.#mesh(new Float32Array(snow), new Uint8Array(colors)) : null;
    this.#setLines(this.cutLine, new Float32Array(found));
  }

  // --- drawing

  project(point) {
    const box = this.canvas;
    const at = point.clone().project(this.camera);
    return { x: ((at.x + 1) / 2) * box.clientWidth, y: ((1 - at.y) / 2) * box.clientHeight, depth: at.z };
  }

  clipped(point) {
    return this.cutPlane !== null && this.cutPlane.distanceToPoint(point) < 0;
  }

  get toward() {
    return this.camera.getWorldDirection(new Vector3()).negate();
  }

  draw() {
    if (this.pending || this.held || !this.roof) return;
    this.pending = requestAnimationFrame(() => {
      this.#resize();
      this.#fill();
      this.pending = null;
      this.marks.lift(this.reach ?? 1, this.renderer.getPixelRatio(), this.camera.zoom);
      this.renderer.render(this.scene, this.camera);
      this.dispatchEvent(new Event("drawn"));
    });
  }
}
