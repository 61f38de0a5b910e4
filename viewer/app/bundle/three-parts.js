// What the app uses of three.js; esbuild leaves the rest out.
export {
  BufferAttribute,
  BufferGeometry,
  ColorManagement,
  DoubleSide,
  Group,
  Mesh,
  MeshBasicMaterial,
  OrthographicCamera,
  Plane,
  Points,
  Raycaster,
  Scene,
  ShaderMaterial,
  Vector2,
  Vector3,
  WebGLRenderer,
} from "three";
export { OrbitControls } from "three/examples/jsm/controls/OrbitControls.js";
export { LineMaterial } from "three/examples/jsm/lines/LineMaterial.js";
export { LineSegments2 } from "three/examples/jsm/lines/LineSegments2.js";
export { LineSegmentsGeometry } from "three/examples/jsm/lines/LineSegmentsGeometry.js";
