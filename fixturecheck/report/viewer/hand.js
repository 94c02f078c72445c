// The camera, and how mouse, pen, fingers and keys move it.

/** A camera without perspective: what it looks at, from which side, what is upward, the height in mm it shows. */
class Camera {
  constructor() {
    Object.assign(this, { target: [0, 0, 0], eye: [0, -1, 0], up: [0, 0, 1], height: 100 });
    this.aspect = 4 / 3;
  }

  get right() { return cross(this.up, this.eye); }

  /** The pose of a stop; on a narrow view the height grows until the width of the picture fits too. */
  static of(stop) {
    const { target, eye, up, height_mm: height } = stop.camera;
    return Object.assign(new Camera(), { target, eye: unit(eye), up: squareTo(up, unit(eye)), height });
  }

  get shown() { return this.height * Math.max(1, 4 / 3 / this.aspect); }

  /** What the shaders need; `reach` is how far from the target anything may lie. */
  view(reach) {
    const [right, up, eye] = [this.right, this.up, this.eye];
    const tall = this.shown / 2, wide = tall * this.aspect;
    const rows = [times(right, 1 / wide), times(up, 1 / tall), times(eye, -1 / reach)];
    const matrix = new Float32Array(16);
    for (let c = 0; c < 3; c++) for (let r = 0; r < 3; r++) matrix[4 * c + r] = rows[r][c];
    for (let r = 0; r < 3; r++) matrix[12 + r] = -dot(rows[r], this.target);
    matrix[15] = 1;
    const light = unit(add(add(times(eye, 0.86), times(up, 0.42)), times(right, -0.28)));
    return { matrix, eye, light };
  }

  /** Where a point stands in a view of that many pixels. */
  seen(point, wide, tall) {
    const d = sub(point, this.target), scale = tall / this.shown;
    return [wide / 2 + dot(d, this.right) * scale, tall / 2 - dot(d, this.up) * scale];
  }

  /** The sight line through a pixel: a point before everything, and the way it looks. */
  ray(x, y, wide, tall, reach) {
    const scale = this.shown / tall;
    const at = add(times(this.right, (x - wide / 2) * scale), times(this.up, (tall / 2 - y) * scale));
    return { start: add(add(this.target, at), times(this.eye, reach)), way: times(this.eye, -1) };
  }

  /** Turn about the upright and about the level of the screen; the upright never goes over. */
  orbit(dx, dy) {
    [this.eye, this.up] = [this.eye, this.up].map((v) => spun(v, [0, 0, 1], -dx));
    const [eye, up] = [this.eye, this.up].map((v) => spun(v, this.right, -dy));
    if (up[2] >= -1e-6) [this.eye, this.up] = [unit(eye), squareTo(up, unit(eye))];
  }

  /** Move what is looked at with the hand, by pixels. */
  pan(dx, dy, tall) {
    const scale = this.shown / tall;
    this.target = add(this.target, add(times(this.right, -dx * scale), times(this.up, dy * scale)));
  }

  /** Come closer by a factor; the point under a pixel stays where it is. */
  zoom(factor, x, y, wide, tall) {
    const before = this.shown;
    this.height = clamp(this.height / factor, 0.05, 5000);
    const moved = (before - this.shown) / tall;
    const shift = add(times(this.right, (x - wide / 2) * moved), times(this.up, (tall / 2 - y) * moved));
    this.target = add(this.target, shift);
  }

  /** Stand a share of the way between two poses. */
  set(from, to, share) {
    this.target = between(from.target, to.target, share);
    // From one side to the very opposite the way leads over the right.
    const over = dot(from.eye, to.eye) < -0.999 ? times(from.right, 0.1 * share * (1 - share)) : [0, 0, 0];
    this.eye = unit(add(between(from.eye, to.eye, share), over));
    this.up = squareTo(between(from.up, to.up, share), this.eye);
    this.height = from.height * (to.height / from.height) ** share;
  }

  copy() { return Object.assign(new Camera(), this); }
}

/**
 * Let pointers and keys move a camera. One finger or the left button turns; two fingers, or another button or
 * Shift, pan; pinching and the wheel zoom. `tapped` is called for a press that did not move.
 */
function handle(canvas, camera, { changed, tapped, keys, wheelZooms }) {
  const held = new Map();
  let travelled = 0;
  const spread = () => {
    const [a, b] = [...held.values()];
    return { middle: [(a[0] + b[0]) / 2, (a[1] + b[1]) / 2], apart: Math.hypot(a[0] - b[0], a[1] - b[1]) };
  };
  const at = (event) => {
    const box = canvas.getBoundingClientRect();
    return [event.clientX - box.left, event.clientY - box.top];
  };
  canvas.addEventListener("pointerdown", (event) => {
    canvas.setPointerCapture(event.pointerId);
    canvas.focus({ preventScroll: true });
    if (!held.size) travelled = 0;
    held.set(event.pointerId, at(event));
  });
  canvas.addEventListener("pointermove", (event) => {
    const last = held.get(event.pointerId);
    if (!last) return;
    const now = at(event), [dx, dy] = [now[0] - last[0], now[1] - last[1]];
    const [wide, tall] = [canvas.clientWidth, canvas.clientHeight];
    travelled += Math.abs(dx) + Math.abs(dy);
    if (held.size >= 2) {
      const before = spread();
      held.set(event.pointerId, now);
      const after = spread();
      camera.pan(after.middle[0] - before.middle[0], after.middle[1] - before.middle[1], tall);
      camera.zoom(after.apart / (before.apart || 1), ...after.middle, wide, tall);
    } else {
      held.set(event.pointerId, now);
      const slides = event.shiftKey || event.buttons & 6;
      if (slides) camera.pan(dx, dy, tall);
      else camera.orbit(dx * 0.008, dy * 0.008);
    }
    changed();
  });
  const released = (event) => {
    const place = held.get(event.pointerId);
    held.delete(event.pointerId);
    if (event.type === "pointerup" && place && !held.size && travelled < 6) tapped(...place);
  };
  canvas.addEventListener("pointerup", released);
  canvas.addEventListener("pointercancel", released);
  canvas.addEventListener("contextmenu", (event) => event.preventDefault());
  canvas.addEventListener("wheel", (event) => {
    if (!wheelZooms(event)) return;
    event.preventDefault();
    const lines = event.deltaMode === 1 ? 16 : 1;
    camera.zoom(Math.exp(-event.deltaY * lines * 0.0015), ...at(event), canvas.clientWidth, canvas.clientHeight);
    changed();
  }, { passive: false });
  canvas.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const arrows = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
    const [wide, tall] = [canvas.clientWidth, canvas.clientHeight];
    const way = arrows[event.key];
    if (way && event.shiftKey) camera.pan(-40 * way[0], -40 * way[1], tall);
    else if (way) camera.orbit(0.12 * way[0], 0.12 * way[1]);
    else if (event.key === "+" || event.key === "=") camera.zoom(1.2, wide / 2, tall / 2, wide, tall);
    else if (event.key === "-") camera.zoom(1 / 1.2, wide / 2, tall / 2, wide, tall);
    else if (!keys[event.key.toLowerCase()]) return;
    else keys[event.key.toLowerCase()]();
    event.preventDefault();
    changed();
  });
}
