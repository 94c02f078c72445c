// Draws the scene with WebGL 2: surfaces, hatched sections, lines of any width, and what is lit through all.

const SURFACE_VERTEX = `#version 300 es
in vec3 point; in vec3 normal; in vec3 colour;
uniform mat4 model, view; uniform float toward;
out vec3 place, side, own;
void main() {
  vec4 world = model * vec4(point, 1.0);
  place = world.xyz; side = mat3(model) * normal; own = colour;
  gl_Position = view * world;
  gl_Position.z -= toward;
}`;

const SURFACE_FRAGMENT = `#version 300 es
precision highp float;
in vec3 place, side, own;
uniform vec4 plane, ink; uniform vec3 light, eye; uniform float unlit, hatch;
out vec4 result;
void main() {
  if (dot(plane.xyz, place) > plane.w) discard;
  vec3 n = normalize(side);
  if (dot(n, eye) < 0.0) n = -n;
  float shade = unlit > 0.5 ? 1.0 : 0.42 + 0.60 * max(dot(n, light), 0.0);
  vec3 rgb = (unlit > 1.5 ? own : ink.rgb) * min(shade, 1.06);
  if (hatch != 0.0 && mod(gl_FragCoord.x + hatch * gl_FragCoord.y, 9.0) < 1.6) rgb *= 0.62;
  result = vec4(rgb, ink.a);
}`;

const LINE_VERTEX = `#version 300 es
in vec3 from, to;
uniform mat4 model, view; uniform vec2 screen; uniform float width, toward;
out vec3 place;
void main() {
  float end = float(gl_VertexID & 1), side = float(gl_VertexID >> 1) * 2.0 - 1.0;
  vec4 a = view * model * vec4(from, 1.0), b = view * model * vec4(to, 1.0);
  vec2 along = (b.xy - a.xy) * screen;
  along = length(along) < 1e-6 ? vec2(1.0, 0.0) : normalize(along);
  vec2 across = vec2(-along.y, along.x) * side + along * (2.0 * end - 1.0) * 0.5;
  vec4 at = mix(a, b, end);
  place = (model * vec4(mix(from, to, end), 1.0)).xyz;
  gl_Position = vec4(at.xy + across * width / screen, at.z - toward, 1.0);
}`;

const LINE_FRAGMENT = `#version 300 es
precision highp float;
in vec3 place;
uniform vec4 plane, ink; uniform float slack;
out vec4 result;
void main() {
  if (dot(plane.xyz, place) > plane.w + slack) discard;
  result = ink;
}`;

const NO_PLANE = [0, 0, 0, 1];
const INK = [28, 34, 42];

class Painter {
  /** Make the painter of a canvas; throws where the browser gives no WebGL 2. */
  constructor(canvas) {
    const options = { alpha: false, antialias: true, stencil: true, preserveDrawingBuffer: true };
    this.canvas = canvas;
    this.gl = canvas.getContext("webgl2", options);
    if (!this.gl) throw new Error("no WebGL 2");
    this.surface = this.program(SURFACE_VERTEX, SURFACE_FRAGMENT, ["point", "normal", "colour"]);
    this.line = this.program(LINE_VERTEX, LINE_FRAGMENT, ["from", "to"]);
    this.arrow = this.loaded(arrowForm());
    this.square = this.loaded(squareForm());
  }

  program(vertex, fragment, inputs) {
    const gl = this.gl, made = gl.createProgram();
    for (const [kind, text] of [[gl.VERTEX_SHADER, vertex], [gl.FRAGMENT_SHADER, fragment]]) {
      const shader = gl.createShader(kind);
      gl.shaderSource(shader, text);
      gl.compileShader(shader);
      gl.attachShader(made, shader);
    }
    inputs.forEach((name, i) => gl.bindAttribLocation(made, i, name));
    gl.linkProgram(made);
    if (!gl.getProgramParameter(made, gl.LINK_STATUS)) throw new Error(gl.getProgramInfoLog(made));
    const count = gl.getProgramParameter(made, gl.ACTIVE_UNIFORMS);
    const names = Array.from({ length: count }, (_, i) => gl.getActiveUniform(made, i).name);
    return { made, places: Object.fromEntries(names.map((name) => [name, gl.getUniformLocation(made, name)])) };
  }

  /** Bring a form to the graphics memory. */
  loaded(form) {
    const gl = this.gl;
    const buffer = (target, data) => {
      const made = gl.createBuffer();
      gl.bindBuffer(target, made);
      gl.bufferData(target, data, gl.STATIC_DRAW);
    };
    const input = (place, data, count, kind, scaled, stride, first, step) => {
      if (data) buffer(gl.ARRAY_BUFFER, data);
      gl.enableVertexAttribArray(place);
      gl.vertexAttribPointer(place, count, kind, scaled, stride, first);
      gl.vertexAttribDivisor(place, step);
    };
    const faces = gl.createVertexArray();
    gl.bindVertexArray(faces);
    input(0, form.points, 3, gl.FLOAT, false, 0, 0, 0);
    input(1, form.normals, 3, gl.FLOAT, false, 0, 0, 0);
    if (form.colours) input(2, form.colours, 3, gl.UNSIGNED_BYTE, true, 0, 0, 0);
    buffer(gl.ELEMENT_ARRAY_BUFFER, form.triangles);
    const pieces = (list) => {
      const made = gl.createVertexArray();
      gl.bindVertexArray(made);
      input(0, list, 3, gl.FLOAT, false, 24, 0, 1);
      input(1, null, 3, gl.FLOAT, false, 24, 12, 1);
      return { made, count: list.length / 6 };
    };
    const { dots } = form;
    const doubled = Float32Array.from({ length: 2 * dots.length }, (_, i) => dots[3 * Math.floor(i / 6) + (i % 3)]);
    const loaded = {
      faces, count: form.triangles.length, coloured: Boolean(form.colours),
      kind: form.triangles instanceof Uint32Array ? gl.UNSIGNED_INT : gl.UNSIGNED_SHORT,
      lines: pieces(form.lines), dots: pieces(doubled),
    };
    gl.bindVertexArray(null);
    return loaded;
  }

  /**
   * Draw everything once, into the box [left, bottom, width, height] of the canvas.
   * Items say form, matrix, rgb, opacity, solid, lit (2: without a broad outline), hatch and whether the plane
   * crosses them.
   */
  paint(items, arrows, camera, plane, box) {
    const gl = this.gl, [, , wide, tall] = box;
    this.camera = camera;
    this.screen = [wide / 2, tall / 2];
    this.dense = this.canvas.width / (this.canvas.clientWidth || this.canvas.width);
    this.plane = plane ? [...plane.normal, plane.at] : NO_PLANE;
    gl.viewport(...box);
    gl.enable(gl.SCISSOR_TEST);
    gl.scissor(...box);
    gl.clearColor(0.957, 0.961, 0.965, 1);
    gl.depthMask(true);
    gl.clear(gl.COLOR_BUFFER_BIT | gl.DEPTH_BUFFER_BIT | gl.STENCIL_BUFFER_BIT);
    gl.enable(gl.DEPTH_TEST);
    gl.depthFunc(gl.LEQUAL);
    gl.disable(gl.BLEND);
    const whole = items.filter((i) => i.opacity >= 0.99);
    for (const item of whole.filter((i) => i.solid)) this.faces(item, { toward: 0 });
    if (plane) for (const item of whole.filter((i) => i.solid && i.crossed)) this.cap(item, plane);
    for (const item of whole.filter((i) => !i.solid)) this.faces(item, { toward: 1.5e-4, unlit: 1 });
    for (const item of whole) this.edges(item, item.solid ? 1.2 : 2.4, item.solid ? 6e-5 : 2e-4);
    gl.enable(gl.BLEND);
    gl.blendFunc(gl.SRC_ALPHA, gl.ONE_MINUS_SRC_ALPHA);
    gl.depthMask(false);
    for (const item of items.filter((i) => i.opacity < 0.99)) {
      this.faces(item, { toward: 0, opacity: item.opacity });
      this.edges(item, 1.2, 6e-5, Math.max(item.opacity, 0.35));
    }
    this.light(items.filter((i) => i.lit));
    gl.depthMask(true);
    gl.disable(gl.BLEND);
    gl.clear(gl.DEPTH_BUFFER_BIT);
    for (const arrow of arrows) this.faces({ form: this.arrow, ...arrow }, { toward: 0, plane: NO_PLANE });
  }

  /** What is lit is seen through whatever stands before it, and has a broad outline. */
  light(items) {
    const gl = this.gl;
    for (const item of items) {
      gl.depthFunc(gl.GREATER);
      this.faces(item, { toward: 3e-5, unlit: 1, opacity: 0.5 });
      gl.depthFunc(gl.LEQUAL);
      if (!item.solid) this.faces(item, { toward: 2e-4, unlit: 1 });
      gl.disable(gl.DEPTH_TEST);
      const alone = item.form.count === 0;
      this.edges(item, alone ? 7 : item.solid || item.lit === 2 ? 1.6 : 3, 0, 1, alone ? null : INK);
      if (alone) this.edges(item, 2.2, 0, 1, [255, 255, 255]);
      gl.enable(gl.DEPTH_TEST);
    }
  }

  faces(item, { toward, unlit = 0, opacity = 1, hatch = 0, plane = this.plane }) {
    if (!item.form.count) return;
    const gl = this.gl, { made, places } = this.surface;
    gl.useProgram(made);
    this.common(places, item, plane, item.rgb, opacity);
    gl.uniform1f(places.toward, toward);
    gl.uniform1f(places.unlit, item.form.coloured ? 2 : unlit);
    gl.uniform1f(places.hatch, hatch);
    gl.uniform3fv(places.light, this.camera.light);
    gl.uniform3fv(places.eye, this.camera.eye);
    gl.bindVertexArray(item.form.faces);
    gl.drawElements(gl.TRIANGLES, item.form.count, item.form.kind, 0);
  }

  edges(item, width, toward, opacity = 1, rgb = item.solid ? INK : item.rgb) {
    const gl = this.gl, { made, places } = this.line;
    for (const [pieces, wide] of [[item.form.lines, width], [item.form.dots, 3 * width]]) {
      if (!pieces.count) continue;
      gl.useProgram(made);
      this.common(places, item, this.plane, rgb || item.rgb, opacity);
      gl.uniform1f(places.toward, toward);
      gl.uniform1f(places.width, wide * this.dense);
      gl.uniform1f(places.slack, item.solid ? 1e-4 : 1e-2);
      gl.uniform2fv(places.screen, this.screen);
      gl.bindVertexArray(pieces.made);
      gl.drawArraysInstanced(gl.TRIANGLE_STRIP, 0, 4, pieces.count);
    }
  }

  common(places, item, plane, rgb, opacity) {
    const gl = this.gl;
    gl.uniformMatrix4fv(places.model, false, item.matrix);
    gl.uniformMatrix4fv(places.view, false, this.camera.matrix);
    gl.uniform4fv(places.plane, plane);
    gl.uniform4f(places.ink, rgb[0] / 255, rgb[1] / 255, rgb[2] / 255, opacity);
  }

  /**
   * Close a solid where the plane cuts it. A sight line that crosses its walls an odd number of times behind the
   * plane is inside it at the plane; the stencil counts the crossings.
   */
  cap(item, plane) {
    const gl = this.gl;
    gl.enable(gl.STENCIL_TEST);
    gl.clear(gl.STENCIL_BUFFER_BIT);
    gl.colorMask(false, false, false, false);
    gl.depthMask(false);
    gl.disable(gl.DEPTH_TEST);
    gl.stencilFunc(gl.ALWAYS, 0, 255);
    gl.stencilOp(gl.KEEP, gl.KEEP, gl.INVERT);
    this.faces(item, { toward: 0 });
    gl.colorMask(true, true, true, true);
    gl.depthMask(true);
    gl.enable(gl.DEPTH_TEST);
    gl.stencilFunc(gl.NOTEQUAL, 0, 255);
    gl.stencilOp(gl.KEEP, gl.KEEP, gl.KEEP);
    const quad = { form: this.square, matrix: plane.quad, rgb: item.rgb };
    this.faces(quad, { toward: item.over ? 3e-5 : 0, unlit: 1, hatch: item.hatch, plane: NO_PLANE });
    gl.disable(gl.STENCIL_TEST);
  }
}
