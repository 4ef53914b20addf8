// The 3D view: camera, drawing when something changed, and what lies under a pixel.

import {
  BufferAttribute,
  BufferGeometry,
  Color,
  LineBasicMaterial,
  LineSegments,
  Mesh,
  PerspectiveCamera,
  Scene,
  ShaderMaterial,
  Sphere,
  Vector3,
  WebGLRenderTarget,
  WebGLRenderer,
} from "three";
import { OrbitControls } from "three/examples/jsm/controls/OrbitControls.js";
import { array, corners, edges } from "./data.js";
import { NUMBER, SURFACE, VERTEX } from "./shaders.js";

const FIELD = 28; // degrees
const FLIGHT = 450; // ms
const TRIAL = 96; // pixels of a trial picture

export const WAYS = {
  corner: [-0.55, -0.75, 0.62],
  top: [0, -0.001, 1],
  front: [0, -1, 0],
  side: [1, 0, 0],
  underneath: [0, -0.001, -1],
};

export class View {
  constructor(canvas, surface) {
    this.canvas = canvas;
    this.features = surface.features;
    this.renderer = new WebGLRenderer({ canvas, antialias: true, alpha: true });
    this.camera = new PerspectiveCamera(FIELD, 1, 0.1, 1000);
    this.camera.up.set(0, 0, 1);
    this.controls = new OrbitControls(this.camera, canvas);
    this.controls.addEventListener("change", () => this.moved());
    this.scene = new Scene();
    this.onRest = () => {};
    this.build(surface);
    this.look(WAYS.corner, { atOnce: true });
    this.wheelOnlyWithFocus();
  }

  build(surface) {
    const { position, displacement, feature } = corners(surface);
    const geometry = new BufferGeometry();
    geometry.setAttribute("position", new BufferAttribute(position, 3));
    geometry.setAttribute("displacement", new BufferAttribute(displacement, 1));
    geometry.setAttribute("feature", new BufferAttribute(feature, 1));
    geometry.setAttribute("wall", new BufferAttribute(new Float32Array(feature.length), 1));
    geometry.computeBoundingSphere();
    this.ball = geometry.boundingSphere;
    geometry.computeBoundingBox();
    this.box = geometry.boundingBox;
    const stops = surface.colours.map((hex) => {
      const colour = new Color();
      colour.set(Number.parseInt(hex.slice(1), 16));
      colour.convertLinearToSRGB();
      return new Vector3(colour.r, colour.g, colour.b);
    });
    this.uniforms = {
      stops: { value: stops },
      range: { value: surface.range },
      lit: { value: 0 },
      stripe: { value: 12 },
    };
    this.paint = new ShaderMaterial({
      uniforms: this.uniforms,
      vertexShader: VERTEX,
      fragmentShader: SURFACE,
      // Edges lie in the surface: draw the surface a little behind them.
      polygonOffset: true,
      polygonOffsetFactor: 1,
      polygonOffsetUnits: 1,
    });
    this.number = new ShaderMaterial({ vertexShader: VERTEX, fragmentShader: NUMBER });
    this.mesh = new Mesh(geometry, this.paint);
    this.scene.add(this.mesh);
    const outlines = new BufferGeometry();
    outlines.setAttribute("position", new BufferAttribute(edges(surface), 3));
    const ink = new LineBasicMaterial({ color: 0x1c2429, transparent: true, opacity: 0.6 });
    this.lines = new LineSegments(outlines, ink);
    this.scene.add(this.lines);
    this.walls = new Map();
    surface.features.forEach(({ walls }, i) => walls && this.walls.set(i + 1, array(walls)));
    this.balls = this.ballsOf(position, feature);
  }

  /** The ball about each feature, by number. */
  ballsOf(position, feature) {
    const boxes = new Map();
    const add = (owner, corner) => {
      let box = boxes.get(owner);
      if (box === undefined) {
        box = { low: [Infinity, Infinity, Infinity], high: [-Infinity, -Infinity, -Infinity] };
        boxes.set(owner, box);
      }
      for (let axis = 0; axis < 3; axis += 1) {
        const x = position[corner * 3 + axis];
        if (x < box.low[axis]) box.low[axis] = x;
        if (x > box.high[axis]) box.high[axis] = x;
      }
    };
    feature.forEach((owner, corner) => owner === 0 || add(owner, corner));
    for (const [owner, faces] of this.walls) {
      for (const face of faces) for (const k of [0, 1, 2]) add(owner, 3 * face + k);
    }
    const balls = new Map();
    for (const [owner, { low, high }] of boxes) {
      const a = new Vector3(...low);
      const b = new Vector3(...high);
      balls.set(owner, new Sphere(a.clone().add(b).divideScalar(2), a.distanceTo(b) / 2));
    }
    return balls;
  }

  wheelOnlyWithFocus() {
    // Otherwise the page could not be scrolled past the view.
    const update = () => {
      this.controls.enableZoom = document.activeElement === this.canvas;
    };
    this.canvas.addEventListener("focus", update);
    this.canvas.addEventListener("blur", update);
    update();
  }

  resize(width, height) {
    const ratio = Math.min(window.devicePixelRatio || 1, 2);
    this.renderer.setPixelRatio(ratio);
    this.renderer.setSize(width, height, false);
    this.uniforms.stripe.value = 12 * ratio;
    const old = this.camera.aspect;
    this.camera.aspect = width / height;
    this.camera.updateProjectionMatrix();
    if (old !== this.camera.aspect && this.isWhole) this.look(this.way(), { atOnce: true });
    this.moved();
  }

  moved() {
    if (!this.pending) this.pending = requestAnimationFrame(() => this.draw());
    clearTimeout(this.resting);
    this.resting = setTimeout(() => this.onRest(), 140);
    this.canvas.dispatchEvent(new Event("moved"));
  }

  draw() {
    this.pending = 0;
    this.reach();
    this.renderer.render(this.scene, this.camera);
  }

  reach() {
    const away = this.camera.position.distanceTo(this.ball.center);
    this.camera.near = Math.max((away - this.ball.radius) * 0.9, this.ball.radius * 0.002);
    this.camera.far = away + this.ball.radius * 1.1;
    this.camera.updateProjectionMatrix();
    this.camera.updateMatrixWorld();
  }

  /** Unit vector from what is looked at to the camera. */
  way() {
    return this.camera.position.clone().sub(this.controls.target).normalize().toArray();
  }

  away(radius) {
    const half = (FIELD * Math.PI) / 360;
    const narrow = Math.atan(Math.tan(half) * Math.min(this.camera.aspect, 1));
    return (radius * 1.08) / Math.sin(narrow);
  }

  /** From how far the whole part fills the picture. */
  awayOfBox(way) {
    const tangent = Math.tan((FIELD * Math.PI) / 360);
    const right = new Vector3(0, 0, 1).cross(way).normalize();
    const up = way.clone().cross(right);
    let most = 0;
    for (const x of [this.box.min.x, this.box.max.x]) {
      for (const y of [this.box.min.y, this.box.max.y]) {
        for (const z of [this.box.min.z, this.box.max.z]) {
          const arm = new Vector3(x, y, z).sub(this.ball.center);
          const wide = Math.abs(arm.dot(right)) / (tangent * this.camera.aspect);
          const high = Math.abs(arm.dot(up)) / tangent;
          most = Math.max(most, arm.dot(way) + 1.1 * Math.max(wide, high));
        }
      }
    }
    return most;
  }

  /** Look at the whole part, or at a ball, from a way. */
  look(way, { ball = this.ball, atOnce = false } = {}) {
    this.isWhole = ball === this.ball;
    const target = ball.center.clone();
    const unit = new Vector3(...way).normalize();
    const away = this.isWhole ? this.awayOfBox(unit) : this.away(ball.radius);
    const place = unit.multiplyScalar(away);
    this.fly(place.add(target), target, atOnce);
  }

  fly(place, target, atOnce) {
    const calm = window.matchMedia("(prefers-reduced-motion: reduce)").matches;
    const from = this.camera.position.clone();
    const start = this.controls.target.clone();
    const began = performance.now();
    cancelAnimationFrame(this.flight);
    const step = (now) => {
      const t = atOnce || calm ? 1 : Math.min((now - began) / FLIGHT, 1);
      const share = t * t * (3 - 2 * t);
      this.controls.target.lerpVectors(start, target, share);
      this.camera.position.lerpVectors(from, place, share);
      this.camera.lookAt(this.controls.target);
      this.controls.update();
      this.moved();
      if (t < 1) this.flight = requestAnimationFrame(step);
    };
    step(began);
  }

  turn(right, up) {
    const arm = this.camera.position.clone().sub(this.controls.target);
    const length = arm.length();
    const angle = Math.atan2(arm.y, arm.x) + right;
    const rise = Math.asin(arm.z / length) + up;
    const most = Math.PI / 2 - 0.001;
    const height = Math.max(-most, Math.min(most, rise));
    arm.set(Math.cos(height) * Math.cos(angle), Math.cos(height) * Math.sin(angle), Math.sin(height));
    this.camera.position.copy(this.controls.target).addScaledVector(arm, length);
    this.controls.update();
    this.moved();
  }

  zoom(factor) {
    const arm = this.camera.position.clone().sub(this.controls.target);
    this.camera.position.copy(this.controls.target).addScaledVector(arm, factor);
    this.isWhole = false;
    this.controls.update();
    this.moved();
  }

  light(number) {
    this.uniforms.lit.value = number;
    const wall = this.mesh.geometry.getAttribute("wall");
    wall.array.fill(0);
    for (const face of this.walls.get(number) ?? []) wall.array.fill(1, 3 * face, 3 * face + 3);
    wall.needsUpdate = true;
    this.moved();
  }

  /** Fly to a feature, to where most of it is seen. */
  goTo(number) {
    const ball = this.balls.get(number);
    if (ball === undefined) return;
    const shown = new Sphere(ball.center, Math.max(ball.radius * 1.35, this.ball.radius * 0.12));
    const best = this.bestWay(number, shown);
    this.look(best, { ball: shown });
  }

  bestWay(number, ball) {
    const place = this.camera.position.clone();
    const aspect = this.camera.aspect;
    const now = new Vector3(...this.way());
    this.camera.aspect = 1;
    let best = { score: -1, way: now.toArray() };
    for (const way of this.waysTo(number)) {
      const unit = new Vector3(...way).normalize();
      this.camera.position.copy(ball.center).addScaledVector(unit, this.away(ball.radius));
      this.camera.lookAt(ball.center);
      const seen = this.seen(number);
      // Of ways that show as much, the one that turns least, and rather from above.
      const score = seen * (1 + 0.15 * unit.dot(now) + 0.1 * unit.z);
      if (score > best.score) best = { score, way: unit.toArray() };
    }
    this.camera.aspect = aspect;
    this.camera.position.copy(place);
    this.camera.lookAt(this.controls.target);
    return best.way;
  }

  /** Pixels of a trial picture that show a feature; of a distance, those of its owners. */
  seen(number) {
    const { between = [] } = this.features[number - 1];
    const ids = new Set(between);
    const owners = this.features.flatMap(({ id }, i) => (ids.has(id) ? [i + 1] : []));
    const wanted = new Set([number, ...owners]);
    return this.numbers(TRIAL, TRIAL).filter((n) => wanted.has(n)).length;
  }

  waysTo(number) {
    const { axis } = this.features[number - 1];
    return axis ? slantwise(new Vector3(...axis)) : [this.way(), ...around()];
  }

  /** Numbers of the features seen in a picture of that size, row by row from below. */
  numbers(width, height) {
    const target = new WebGLRenderTarget(width, height);
    const bytes = new Uint8Array(width * height * 4);
    this.reach();
    this.mesh.material = this.number;
    this.lines.visible = false;
    this.renderer.setRenderTarget(target);
    this.renderer.setClearColor(0, 0);
    this.renderer.clear();
    this.renderer.render(this.scene, this.camera);
    this.renderer.readRenderTargetPixels(target, 0, 0, width, height, bytes);
    this.renderer.setRenderTarget(null);
    this.mesh.material = this.paint;
    this.lines.visible = true;
    target.dispose();
    const found = new Uint16Array(width * height);
    for (let i = 0; i < found.length; i += 1) found[i] = bytes[4 * i] + 256 * bytes[4 * i + 1];
    return found;
  }

  /** Number of the feature at a place of the canvas, in CSS pixels; 0 for none. */
  under(x, y) {
    const { clientWidth: width, clientHeight: height } = this.canvas;
    const column = Math.max(0, Math.min(width - 1, Math.round(x)));
    const row = Math.max(0, Math.min(height - 1, height - 1 - Math.round(y)));
    return this.numbers(width, height)[row * width + column];
  }
}

/** Ways into a bore from either end. */
function slantwise(along) {
  const across = new Vector3(along.z, along.x, along.y).cross(along).normalize();
  return [1, -1].flatMap((end) =>
    [0, 1, 2, 3, 4, 5, 6, 7].map((turn) => {
      const lean = across.clone().applyAxisAngle(along, (turn * Math.PI) / 4);
      return along.clone().multiplyScalar(end).addScaledVector(lean, 0.62).toArray();
    }),
  );
}

function around() {
  const steps = [-1, 0, 1];
  return steps.flatMap((x) =>
    steps.flatMap((y) => (x || y ? [[x, y, -0.45], [x, y, 0.45]] : [])),
  );
}
