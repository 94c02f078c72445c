// From the text in the page to arrays that can be drawn.

/** Unpack the data: base64 of gzip of the length of the JSON, the JSON, and all arrays. */
async function unpacked(text) {
  const squeezed = Uint8Array.from(atob(text.trim()), (letter) => letter.charCodeAt(0));
  const stream = new Blob([squeezed]).stream().pipeThrough(new DecompressionStream("gzip"));
  const whole = await new Response(stream).arrayBuffer();
  const length = new DataView(whole).getUint32(0, true);
  const data = JSON.parse(new TextDecoder().decode(new Uint8Array(whole, 4, length)));
  const kinds = { i4: Int32Array, u4: Uint32Array, u2: Uint16Array, u1: Uint8Array };
  data.array = ([kind, first, count, across]) => {
    const kept = new kinds[kind](whole, 4 + length + first, count);
    return across ? lengthsOf(kept, across) : kept;
  };
  return data;
}

/** Points from whole steps of a tenth of a micrometre: first all x, each less the one before it, then all y, ... */
function lengthsOf(kept, across) {
  const points = new Float32Array(kept.length), count = kept.length / across;
  for (let axis = 0; axis < across; axis++) {
    for (let i = 0, steps = 0; i < count; i++) {
      steps += kept[axis * count + i];
      points[across * i + axis] = steps * 1e-4;
    }
  }
  return points;
}

/** The form of a thing: points, normals, triangles, pieces of lines, dots, and colours where it has its own. */
function formOf(data, thing) {
  const form = thing.turned
    ? wheelForm(data.array(thing.turned.profile), thing.turned.steps)
    : {
        points: data.array(thing.mesh.points),
        triangles: data.array(thing.mesh.triangles),
        lines: data.array(thing.mesh.lines),
        dots: data.array(thing.mesh.dots),
      };
  form.colours = thing.mesh && thing.mesh.colours ? data.array(thing.mesh.colours) : null;
  form.normals = normalsOf(form.points, form.triangles);
  form.box = boxOf([form.points, form.lines, form.dots]);
  return form;
}

/** Normals at points: the mean of the triangles that meet there. Faces share no points, so edges stay sharp. */
function normalsOf(points, triangles) {
  const normals = new Float32Array(points.length);
  const corner = (i) => [points[3 * i], points[3 * i + 1], points[3 * i + 2]];
  for (let t = 0; t < triangles.length; t += 3) {
    const [a, b, c] = [corner(triangles[t]), corner(triangles[t + 1]), corner(triangles[t + 2])];
    const normal = cross(sub(b, a), sub(c, a));
    for (let k = 0; k < 3; k++) for (let i = 0; i < 3; i++) normals[3 * triangles[t + k] + i] += normal[i];
  }
  for (let p = 0; p < normals.length; p += 3) {
    const length = Math.hypot(normals[p], normals[p + 1], normals[p + 2]) || 1;
    for (let i = 0; i < 3; i++) normals[p + i] /= length;
  }
  return normals;
}

/** Turn a profile of corners (y, r) round the Y axis, with a circle wherever it has a corner. */
function wheelForm(profile, steps) {
  const points = [], triangles = [], lines = [];
  const on = (y, r, step) => {
    const angle = (2 * Math.PI * step) / steps;
    return [r * Math.cos(angle), y, r * Math.sin(angle)];
  };
  const corners = profile.length / 2;
  for (let i = 0; i + 1 < corners; i++) {
    const [y0, r0, y1, r1] = profile.subarray(2 * i, 2 * i + 4);
    for (let s = 0; s <= steps; s++) {
      const at = points.length / 3;
      points.push(...on(y0, r0, s), ...on(y1, r1, s));
      if (s < steps) triangles.push(at, at + 1, at + 3, at, at + 3, at + 2);
    }
    const before = i ? i - 1 : corners - 2;
    const [px, pr] = [profile[2 * before], profile[2 * before + 1]];
    const turn = Math.atan2(r1 - r0, y1 - y0) - Math.atan2(r0 - pr, y0 - px);
    if (r0 > 0 && Math.abs(Math.sin(turn)) > 0.3) {
      for (let s = 0; s < steps; s++) lines.push(...on(y0, r0, s), ...on(y0, r0, s + 1));
    }
  }
  const [at, pieces, dots] = [points, lines, []].map((list) => new Float32Array(list));
  return { points: at, triangles: new Uint32Array(triangles), lines: pieces, dots };
}

/** Least and greatest coordinates of all points. */
function boxOf(lists) {
  const low = [Infinity, Infinity, Infinity], high = [-Infinity, -Infinity, -Infinity];
  for (const list of lists) {
    for (let p = 0; p < list.length; p++) {
      low[p % 3] = Math.min(low[p % 3], list[p]);
      high[p % 3] = Math.max(high[p % 3], list[p]);
    }
  }
  return low[0] <= high[0] ? [low, high] : [[0, 0, 0], [0, 0, 0]];
}

/** A square from -1 to 1 in X and Y. */
function squareForm() {
  const points = new Float32Array([-1, -1, 0, 1, -1, 0, 1, 1, 0, -1, 1, 0]), none = new Float32Array(0);
  const triangles = new Uint16Array([0, 1, 2, 0, 2, 3]);
  return { points, triangles, normals: normalsOf(points, triangles), lines: none, dots: none, colours: null };
}

/** An arrow one long from the origin along Z, made as a wheel is and laid on Z. */
function arrowForm() {
  const made = wheelForm(new Float32Array([0, 0, 0, 0.026, 0.68, 0.026, 0.68, 0.085, 1, 0, 0, 0]), 20);
  const laid = (list) => {
    for (let p = 0; p < list.length; p += 3) [list[p + 1], list[p + 2]] = [-list[p + 2], list[p + 1]];
  };
  laid(made.points);
  made.normals = normalsOf(made.points, made.triangles);
  return { ...made, lines: made.dots, colours: null };
}

/** How far along a ray each of a form's triangles is met, from a matrix that stands it in the room. */
function metBy(form, matrix, start, way) {
  const from = carriedBack(matrix, start), along = turnedBack(matrix, way);
  const { points, triangles } = form;
  const found = [];
  for (let t = 0; t < triangles.length; t += 3) {
    const [a, b, c] = [0, 1, 2].map((k) => {
      const p = 3 * triangles[t + k];
      return [points[p], points[p + 1], points[p + 2]];
    });
    const one = sub(b, a), two = sub(c, a);
    const across = cross(along, two);
    const det = dot(one, across);
    if (Math.abs(det) < 1e-12) continue;
    const arm = sub(from, a);
    const u = dot(arm, across) / det;
    const other = cross(arm, one);
    const v = dot(along, other) / det;
    if (u >= 0 && v >= 0 && u + v <= 1) found.push(dot(two, other) / det);
  }
  return found.sort((p, q) => p - q);
}
