// Clamp marks of constant size on the screen: circle kept, diamond exceeded, square not verified.

import { BufferAttribute, BufferGeometry, Group, Points, ShaderMaterial } from "./three.js";
import { urgency, useColor } from "./numbers.js";

const VERTEX = `
  attribute vec3 tint; attribute vec3 off; attribute float shape; attribute float half_size;
  uniform float lift, pixels, crowding;
  varying vec3 v_tint; varying float v_shape; varying float v_half;
  #include <clipping_planes_pars_vertex>
  void main() {
    v_tint = tint; v_shape = shape; v_half = half_size * pixels * crowding;
    vec4 mvPosition = modelViewMatrix * vec4(position, 1.0);
    #include <clipping_planes_vertex>
    mvPosition.z += lift * (1.0 + shape + 0.05 * half_size);
    gl_Position = projectionMatrix * mvPosition;
    if (normalize(mat3(modelViewMatrix) * off).z < 0.0) gl_Position = vec4(2.0, 2.0, 2.0, 1.0); // on a side turned away
    gl_PointSize = 2.0 * v_half * 1.7;
  }`;

const FRAGMENT = `
  varying vec3 v_tint; varying float v_shape; varying float v_half;
  uniform vec3 ink;
  #include <clipping_planes_pars_fragment>
  float box(vec2 p, vec2 low, vec2 high) { vec2 d = max(low - p, p - high); return max(d.x, d.y); }
  float question(vec2 p) {
    vec2 q = p - vec2(0.0, 0.28);
    float turn = degrees(atan(q.y, q.x));
    float arc = abs(length(q) - 0.33) - 0.13;
    if (turn < -60.0 || turn > 172.0) arc = 1.0;
    return min(arc, min(box(p, vec2(-0.13, -0.32), vec2(0.13, 0.02)), box(p, vec2(-0.15, -0.76), vec2(0.15, -0.48))));
  }
  void main() {
    #include <clipping_planes_fragment>
    vec2 p = (gl_PointCoord - 0.5) * vec2(2.0, -2.0) * 1.7;
    float soft = 1.0 / v_half;
    float d = v_shape < 0.5 ? length(p) - 1.0
      : v_shape < 1.5 ? (abs(p.x) + abs(p.y)) / 1.12 * 0.8 - 0.8
      : v_shape < 2.5 ? max(abs(p.x), abs(p.y)) - 0.9
      : abs(length(p) - 1.35) - 0.16;
    float line = v_shape > 2.5 ? 0.0 : 0.26, casing = v_shape < 0.5 ? 0.0 : v_shape > 2.5 ? 0.1 : 0.2;
    float outside = smoothstep(-soft, soft, d - line - casing);
    if (outside > 0.98) discard;
    vec3 color = mix(v_tint, ink, v_shape > 2.5 ? 0.0 : smoothstep(-soft, soft, d));
    if (v_shape > 1.5 && v_shape < 2.5) color = mix(vec3(1.0), ink, smoothstep(-soft, soft, question(p)));
    if (casing > 0.0) color = mix(color, vec3(1.0), smoothstep(-soft, soft, d - line));
    gl_FragColor = vec4(color, 1.0 - outside);
  }`;

export class Marks {
  constructor() {
    this.material = new ShaderMaterial({
      vertexShader: VERTEX, fragmentShader: FRAGMENT, transparent: true, clipping: true,
      uniforms: { lift: { value: 0 }, pixels: { value: 1 }, crowding: { value: 1 }, ink: { value: [0.086, 0.141, 0.18] } },
    });
    this.object = new Group();
    this.ring = new Group();
    this.cloud = this.#points(this.object);
    this.rings = this.#points(this.ring);
    this.rings.renderOrder = 3;
    this.cloud.renderOrder = 2;
  }

  #points(group) {
    const points = new Points(new BufferGeometry(), this.material);
    points.frustumCulled = false;
    points.visible = false;
    group.add(points);
    return points;
  }

  #put(points, at, off, tint, shape, size) {
    points.geometry.dispose();
    points.geometry = new BufferGeometry();
    points.visible = shape.length > 0;
    const parts = { position: [at, 3], off: [off, 3], tint: [tint, 3], shape: [shape, 1], half_size: [size, 1] };
    for (const [name, [values, width]] of Object.entries(parts)) {
      points.geometry.setAttribute(name, new BufferAttribute(new Float32Array(values), width));
    }
  }

  // Places (3 c) and utilizations (c); null for not solved yet. The worst are drawn last, in front.
  set(at, normal, use, spacing) {
    const count = at.length / 3;
    const order = Array.from({ length: count }, (_, i) => i);
    if (use) order.sort((a, b) => urgency(use[a]) - urgency(use[b]));
    this.size = new Float32Array(count);
    this.spacing = spacing;
    const place = [], off = [], tint = [], shape = [], size = [];
    for (const i of order) {
      const value = use ? use[i] : 0;
      const known = Number.isNaN(value) ? 1.5 : Math.min(value, 2);
      this.size[i] = known < 1 ? 4.2 + 1.6 * known : 6.6 + 2 * (known - 1);
      place.push(at[3 * i], at[3 * i + 1], at[3 * i + 2]);
      off.push(normal[3 * i], normal[3 * i + 1], normal[3 * i + 2]);
      tint.push(...useColor(value));
      shape.push(Number.isNaN(value) ? 2 : value > 1 ? 1 : 0);
      size.push(this.size[i]);
    }
    Object.assign(this, { at, normal, use });
    this.#put(this.cloud, place, off, tint, shape, size);
  }

  // Rings around picked clamps.
  choose(clamps) {
    const place = clamps.flatMap((i) => Array.from(this.at.subarray(3 * i, 3 * i + 3)));
    const size = clamps.map((i) => this.size[i] + 3);
    const off = clamps.flatMap((i) => Array.from(this.normal.subarray(3 * i, 3 * i + 3)));
    this.#put(this.rings, place, off, clamps.flatMap(() => [0.06, 0.36, 0.48]), clamps.map(() => 3), size);
  }

  // Marks stand a little off the roof, toward the viewer, so that their own plane does not cut them.
  lift(reach, pixels, zoom) {
    this.material.uniforms.crowding.value = Math.min(1, Math.max(0.4, (0.52 * (this.spacing ?? 1) * zoom) / 5.2));
    this.material.uniforms.lift.value = 0.012 * reach;
    this.material.uniforms.pixels.value = pixels;
  }
}
