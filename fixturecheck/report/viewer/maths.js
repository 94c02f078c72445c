// Vectors are arrays of three numbers, quaternions [x, y, z, w], matrices 16 numbers by columns, as WebGL has them.

const add = (a, b) => [a[0] + b[0], a[1] + b[1], a[2] + b[2]];
const sub = (a, b) => [a[0] - b[0], a[1] - b[1], a[2] - b[2]];
const times = (a, s) => [a[0] * s, a[1] * s, a[2] * s];
const dot = (a, b) => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
const cross = (a, b) => [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]];
const size = (a) => Math.hypot(a[0], a[1], a[2]);
const unit = (a) => times(a, 1 / (size(a) || 1));
const between = (a, b, share) => a.map((v, i) => v + (b[i] - v) * share);
const clamp = (value, low, high) => Math.min(Math.max(value, low), high);

/** Quaternion of a turn by an angle in radians about a unit axis. */
function turnAbout(axis, angle) {
  const s = Math.sin(angle / 2);
  return [axis[0] * s, axis[1] * s, axis[2] * s, Math.cos(angle / 2)];
}

/** The turn b followed by the turn a. */
function joined(a, b) {
  const [x, y, z, w] = a, [p, q, r, s] = b;
  return [
    w * p + x * s + y * r - z * q,
    w * q - x * r + y * s + z * p,
    w * r + x * q - y * p + z * s,
    w * s - x * p - y * q - z * r,
  ];
}

/** A vector turned by a quaternion. */
function turned(q, v) {
  const t = times(cross(q, v), 2);
  return add(add(v, times(t, q[3])), cross(q, t));
}

/** Quaternion of the turn that carries X, Y, Z to three unit vectors square to each other. */
function turnTo(x, y, z) {
  const trace = x[0] + y[1] + z[2];
  let q;
  if (trace > 0) q = [y[2] - z[1], z[0] - x[2], x[1] - y[0], 1 + trace];
  else if (x[0] > y[1] && x[0] > z[2]) q = [1 + x[0] - y[1] - z[2], x[1] + y[0], z[0] + x[2], y[2] - z[1]];
  else if (y[1] > z[2]) q = [x[1] + y[0], 1 - x[0] + y[1] - z[2], y[2] + z[1], z[0] - x[2]];
  else q = [z[0] + x[2], y[2] + z[1], 1 - x[0] - y[1] + z[2], x[1] - y[0]];
  const length = Math.hypot(...q);
  return q.map((v) => v / length);
}

/** The turn a share of the way from one to another, along the shorter way. */
function turnBetween(a, b, share) {
  let cosine = a.reduce((sum, v, i) => sum + v * b[i], 0);
  const sign = cosine < 0 ? -1 : 1;
  cosine *= sign;
  const angle = Math.acos(Math.min(cosine, 1));
  const [from, to] = angle < 1e-4
    ? [1 - share, share]
    : [Math.sin((1 - share) * angle) / Math.sin(angle), Math.sin(share * angle) / Math.sin(angle)];
  const q = a.map((v, i) => from * v + sign * to * b[i]);
  const length = Math.hypot(...q);
  return q.map((v) => v / length);
}

/** Matrix that stands a thing at a place, then turns it by a rotation vector about a point and shifts it. */
function poseMatrix(at, about, shift, vector) {
  const angle = size(vector);
  const q = turnAbout(angle ? times(vector, 1 / angle) : [0, 0, 1], angle);
  const [x, y, z] = [turned(q, [1, 0, 0]), turned(q, [0, 1, 0]), turned(q, [0, 0, 1])];
  const origin = add(add(about, shift), turned(q, sub(at, about)));
  return new Float32Array([...x, 0, ...y, 0, ...z, 0, ...origin, 1]);
}

/** A point carried by a matrix. */
function carried(m, p) {
  return [0, 1, 2].map((i) => m[i] * p[0] + m[4 + i] * p[1] + m[8 + i] * p[2] + m[12 + i]);
}

/** A point carried back by a matrix without scale. */
function carriedBack(m, p) {
  const d = [p[0] - m[12], p[1] - m[13], p[2] - m[14]];
  return [0, 4, 8].map((c) => m[c] * d[0] + m[c + 1] * d[1] + m[c + 2] * d[2]);
}

/** A direction turned back by a matrix without scale. */
function turnedBack(m, d) {
  return [0, 4, 8].map((c) => m[c] * d[0] + m[c + 1] * d[1] + m[c + 2] * d[2]);
}

/**
 * The pose of a track at a share of its motion's time.
 * Keys are [share, shift, rotation vector]; between two keys both change evenly.
 */
function poseAt(track, share) {
  const keys = track.keys;
  const next = keys.findIndex((key) => key[0] >= share);
  if (next === 0 || keys.length === 1) return { shift: keys[0][1], turn: keys[0][2] };
  if (next < 0) return { shift: keys.at(-1)[1], turn: keys.at(-1)[2] };
  const [a, b] = [keys[next - 1], keys[next]];
  const part = b[0] > a[0] ? (share - a[0]) / (b[0] - a[0]) : 1;
  return { shift: between(a[1], b[1], part), turn: between(a[2], b[2], part) };
}
