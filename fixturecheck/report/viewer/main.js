// The view itself: which stop, section, motion and layers are on, and when it is drawn again.

class SetUpView {
  constructor(data, painter) {
    Object.assign(this, { data, painter, canvas: painter.canvas, camera: new Camera() });
    this.forms = data.things.map((thing) => formOf(data, thing));
    this.drawn = this.forms.map((form) => painter.loaded(form));
    this.stops = new Map(data.stops.map((stop) => [stop.id, stop]));
    this.wanted = new Map();
    this.motion = null;
    this.playing = false;
    this.time = 0;
    this.cutting = "";
    this.plane = null;
    const [low, high] = data.box;
    this.middle = between(low, high, 0.5);
    this.radius = size(sub(high, low)) / 2;
    this.reach = 4 * this.radius + 400;
  }

  still() { return matchMedia("(prefers-reduced-motion: reduce)").matches; }

  /** Whether the picture stands beside the text, so that the text scrolls without it. */
  beside() { return matchMedia("(min-width: 1180px)").matches; }

  /** Go to a stop, in flight unless motion is unwelcome. */
  go(id, at_once = false) {
    const stop = this.stops.get(id);
    if (!stop) return;
    Object.assign(this, { stop, motion: null, playing: false, time: 0, tapped: "" });
    this.cutting = stop.cut ? "stop" : "";
    this.plane = stop.cut ? this.planeOf(stop.camera.eye, stop.camera.target) : null;
    this.fly(Camera.of(stop), at_once);
    tell(this);
  }

  step(by) {
    const tour = this.data.stops.filter((stop) => stop.tour);
    const now = tour.findIndex((stop) => stop.id === this.stop.of);
    this.go(tour[(now + by + tour.length) % tour.length].id);
    if (this.beside()) rowOf(this.stop)?.scrollIntoView({ block: "nearest" });
  }

  fly(goal, at_once = false) {
    if (at_once || this.still()) {
      this.camera.set(goal, goal, 1);
      this.flight = null;
    } else {
      this.flight = { from: this.camera.copy(), goal, since: null };
    }
    this.draw();
  }

  lookFrom(side) {
    const eye = unit(side), up = Math.abs(eye[2]) > 0.95 ? [0, 1, 0] : [0, 0, 1];
    this.fly(Object.assign(this.camera.copy(), { eye, up: squareTo(up, eye) }));
  }

  // Section.

  /** A plane square to a side, a hair nearer to the eye than a point, so that what lies in it is kept. */
  planeOf(eye, point) {
    const normal = unit(eye);
    return { normal, at: dot(normal, point) + 0.001 };
  }

  cutAlong(what) {
    this.cutting = what;
    const eye = this.camera.eye;
    if (what === "") this.plane = null;
    else if (what === "stop") this.plane = this.planeOf(this.stop.camera.eye, this.stop.camera.target);
    else if (what === "eye") this.plane = this.planeOf(eye, this.camera.target);
    else {
      const axis = [0, 0, 0];
      axis[Number(what)] = eye[Number(what)] < 0 ? -1 : 1;
      this.plane = this.planeOf(axis, this.stop.spot || this.middle);
    }
    this.changed();
  }

  span() {
    const [low, high] = this.data.box, n = this.plane.normal;
    const middle = dot(n, this.middle), half = 0.51 * dot(n.map(Math.abs), sub(high, low));
    return [middle - half, middle + half];
  }

  planeShare() {
    if (!this.plane) return 0.5;
    const [low, high] = this.span();
    return clamp((this.plane.at - low) / (high - low), 0, 1);
  }

  cutAt(share) {
    if (!this.plane) return;
    const [low, high] = this.span();
    this.plane.at = low + share * (high - low);
    this.draw();
  }

  flip() {
    if (!this.plane) return;
    this.plane = { normal: times(this.plane.normal, -1), at: -this.plane.at };
    this.changed();
  }

  // Motions.

  start(motion) {
    this.go(this.stops.has(motion.stop) ? motion.stop : "whole");
    Object.assign(this, { motion, time: 0, playing: true, since: null });
    if (motion.camera) this.fly(Camera.of(motion));
    this.changed();
  }

  playOrHalt() {
    if (!this.motion) return;
    this.playing = !this.playing;
    if (this.playing && this.time >= 1) this.time = 0;
    this.since = null;
    this.changed();
  }

  halt(time) {
    Object.assign(this, { time, playing: false }).changed();
  }

  // Layers: `layer`, `=body`, or `:names` and `:gaps`.

  show(key, on) {
    this.wanted.set(key, on);
    this.changed();
  }

  isShown(key) {
    if (this.wanted.has(key)) return this.wanted.get(key);
    if (key === ":gaps") return false;
    if (key === ":names") return this.stop.tags.length > 0;
    return this.data.things.some((thing, i) =>
      (key === `=${thing.name}` || key === thing.layer) && i in this.stop.looks);
  }

  /** How a thing looks now: [opacity, lit, colour], or nothing where it is not shown. */
  look(i) {
    const thing = this.data.things[i];
    const byGap = thing.gap && this.wanted.get(":gaps");
    if (byGap) return [1, 2, thing.gap.rgb];
    const own = this.wanted.has(`=${thing.name}`) ? this.wanted.get(`=${thing.name}`) : this.wanted.get(thing.layer);
    if (own === false) return null;
    if (this.motion?.hidden.includes(i) || this.waits(i)) return null;
    const look = this.stop.looks[i];
    if (this.motion?.shown.includes(i)) return [Math.max(look?.[0] ?? 0, thing.opacity), 0, thing.rgb];
    return look || (own ? [thing.opacity, thing.solid ? 0 : 2] : null);
  }

  /** Whether a thing comes later in a motion that brings things in. */
  waits(i) {
    const track = this.motion?.waits && this.motion.tracks.find((t) => t.thing === i);
    return Boolean(track) && this.time < track.keys[0][0];
  }

  matrixOf(i) {
    const thing = this.data.things[i];
    const track = this.motion?.tracks.find((t) => t.thing === i);
    if (track) {
      const { shift, turn } = poseAt(track, this.time);
      return poseMatrix(thing.at, track.about, shift, turn);
    }
    return poseMatrix(thing.at, [0, 0, 0], this.stop.moves[i] || [0, 0, 0], [0, 0, 0]);
  }

  /** Whether a small map of the whole set-up stands in the corner: wherever less than the whole is seen. */
  mapped() {
    return !this.motion && this.stop.id !== "whole" && Boolean(this.stop.spot);
  }

  /** The camera of the map and its size in the page's pixels. */
  map() {
    const wide = clamp(this.canvas.clientWidth * 0.24, 96, 190), size = [wide, wide * 0.75];
    return { camera: Object.assign(Camera.of(this.stops.get("whole")), { aspect: 4 / 3 }), size };
  }

  /** Everything that is shown now, or as another stop has it, as the painter takes it. */
  items(looks = null) {
    const found = [];
    this.data.things.forEach((thing, i) => {
      const look = looks ? looks[i] : this.look(i);
      if (!look) return;
      const [opacity, lit, rgb] = look;
      const matrix = this.matrixOf(i);
      const region = thing.layer === "trouble";
      found.push({
        index: i, form: this.drawn[i], matrix, rgb: rgb || thing.rgb, opacity, lit, solid: thing.solid,
        over: region, hatch: region || this.stop.scale ? 0 : this.hatch(thing, i),
        crossed: !looks && this.plane && thing.solid && this.crosses(i, matrix),
      });
    });
    return found;
  }

  /** Whether the section plane passes through the box of a thing. */
  crosses(i, matrix) {
    const [low, high] = this.forms[i].box;
    const half = times(sub(high, low), 0.5);
    const middle = carried(matrix, between(low, high, 0.5));
    const n = turnedBack(matrix, this.plane.normal);
    return Math.abs(dot(this.plane.normal, middle) - this.plane.at) <= dot(n.map(Math.abs), half);
  }

  /** The slope of section lines: neighbouring parts either way, what holds them steeper. */
  hatch(thing, i) {
    return thing.layer !== "parts" && thing.layer !== "rest" ? 0.35 : i % 2 ? 1 : -1;
  }

  arrowLength() { return 0.15 * this.camera.shown; }

  tail(arrow) {
    return arrow.into ? sub(arrow.at, times(arrow.way, this.arrowLength())) : arrow.at;
  }

  arrows() {
    if (this.motion) return [];
    const { stop } = this;
    const drawn = stop.arrows.map((a) => ({ foot: this.tail(a), way: a.way, rgb: a.rgb }));
    if (stop.way && stop.spot) drawn.push({ foot: stop.spot, way: stop.way, rgb: INK });
    const length = this.arrowLength();
    return drawn.map(({ foot, way, rgb }) => {
      const z = unit(way), x = unit(cross(Math.abs(z[2]) < 0.9 ? [0, 0, 1] : [1, 0, 0], z)), y = cross(z, x);
      const axes = [x, y, z].map((axis) => times(axis, length));
      return { rgb, matrix: new Float32Array([...axes[0], 0, ...axes[1], 0, ...axes[2], 0, ...foot, 1]) };
    });
  }

  names() {
    const all = this.wanted.get(":names") === true;
    return this.data.things.flatMap((thing, i) => {
      const body = thing.role === "part" || thing.role === "fixture";
      if (!body || !this.look(i) || (!all && !this.stop.tags.includes(thing.name))) return [];
      const [low, high] = this.forms[i].box;
      const top = [(low[0] + high[0]) / 2, (low[1] + high[1]) / 2, high[2]];
      return [[thing.name, carried(this.matrixOf(i), top), thing.role === "part"]];
    }).sort((one, other) => other[2] - one[2]);  // names of parts are put first, and others give way
  }

  /** Say what is under a place of the picture. */
  tap(x, y) {
    const { start, way } = this.camera.ray(x, y, this.canvas.clientWidth, this.canvas.clientHeight, this.reach);
    let nearest = Infinity, found = -1;
    const { normal, at } = this.plane || { normal: [0, 0, 0], at: 0 };
    const cutAway = dot(normal, way) < 0, opening = (at - dot(normal, start)) / dot(normal, way);
    for (const item of this.items()) {
      if (item.opacity < 0.5 || item.form.coloured) continue;
      let met = metBy(this.forms[item.index], item.matrix, start, way);
      if (cutAway) {
        met = met.filter((d) => d >= opening);
        if (item.solid && met.length % 2) met.unshift(opening);
      }
      if (met.length && met[0] < nearest - (item.solid ? 0.001 : -0.001)) [nearest, found] = [met[0], item.index];
    }
    const thing = this.data.things[found];
    const gap = thing?.gap;
    this.tapped = !thing ? "" : gap ? `${gap.between}: ${thing.words}, ${gap.says}` : `${thing.name}: ${thing.words}`;
    this.changed();
  }

  // Drawing.

  changed() {
    tell(this);
    this.draw();
  }

  draw() {
    if (this.asked) return;
    this.asked = true;
    requestAnimationFrame((now) => {
      this.asked = false;
      this.frame(now);
    });
  }

  frame(now) {
    if (this.flight) {
      this.flight.since ??= now;
      const share = clamp((now - this.flight.since) / 600, 0, 1);
      const { from, goal } = this.flight;
      this.camera.set(from, goal, share * share * (3 - 2 * share));
      if (share >= 1) this.flight = null;
    }
    if (this.playing) {
      this.since ??= now - this.time * 1000 * this.motion.seconds;
      this.time = clamp((now - this.since) / (1000 * this.motion.seconds), 0, 1);
      el("time").value = this.time;
      if (this.time >= 1) {
        this.playing = false;
        tell(this);
      }
    }
    const dense = Math.min(devicePixelRatio || 1, 2);
    const pixels = (length) => Math.max(1, Math.round(length * dense)), { canvas } = this;
    const [wide, tall] = [pixels(canvas.clientWidth), pixels(canvas.clientHeight)];
    if (canvas.width !== wide || canvas.height !== tall) Object.assign(canvas, { width: wide, height: tall });
    this.camera.aspect = wide / tall;
    const plane = this.plane && this.quad();
    this.painter.paint(this.items(), this.arrows(), this.camera.view(this.reach), plane, [0, 0, wide, tall]);
    if (this.mapped()) {
      const map = this.map(), box = [1, 1, ...map.size].map(pixels);
      this.painter.paint(this.items(this.stops.get("whole").looks), [], map.camera.view(this.reach), null, box);
    }
    label(this);
    this.frames = (this.frames || 0) + 1;
    if (this.flight || this.playing) this.draw();
  }

  /** The section plane with the matrix of a square that covers everything. */
  quad() {
    const { normal, at } = this.plane;
    const u = unit(cross(Math.abs(normal[2]) < 0.9 ? [0, 0, 1] : [1, 0, 0], normal)), v = cross(normal, u);
    const centre = add(this.middle, times(normal, at - dot(normal, this.middle)));
    const wide = this.radius + 400;
    const quad = new Float32Array([...times(u, wide), 0, ...times(v, wide), 0, ...normal, 0, ...centre, 1]);
    return { normal, at, quad };
  }
}

async function start() {
  const missing = (why) => {
    el("missing").hidden = false;
    el("missing").textContent = `${why} The pictures below show the same.`;
  };
  if (typeof DecompressionStream === "undefined") {
    return missing("The 3-D view needs a newer browser.");
  }
  let painter;
  try {
    painter = new Painter(el("canvas"));
  } catch {
    return missing("The 3-D view needs WebGL 2, which this browser does not give.");
  }
  const view = new SetUpView(await unpacked(document.getElementById("view-data").textContent), painter);
  el("canvas").closest("section").hidden = false;
  document.documentElement.classList.add("view-on");
  joinPanel(view);
  handle(view.canvas, view.camera, {
    changed: () => { view.flight = null; view.draw(); },
    tapped: (x, y) => view.tap(x, y),
    wheelZooms: (event) => event.ctrlKey || view.beside() || document.activeElement === view.canvas,
    keys: {
      n: () => view.step(1), p: () => view.step(-1), w: () => view.go("whole"), " ": () => view.playOrHalt(),
      c: () => view.cutAlong(view.plane ? "" : view.stop.cut ? "stop" : "eye"),
    },
  });
  new ResizeObserver(() => view.draw()).observe(view.canvas);
  view.go(view.stops.has(view.data.first) ? view.data.first : "whole", true);
  globalThis.setUpView = view;
}

start();
