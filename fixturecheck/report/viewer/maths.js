// Vectors are arrays of three numbers, matrices 16 numbers by columns, as WebGL has them.

const add = (a, b) => [a[0] + b[0], a[1] + b[1], a[2] + b[2]];
const sub = (a, b) => [a[0] - b[0], a[1] - b[1], a[2] - b[2]];
const times = (a, s) => [a[0] * s, a[1] * s, a[2] * s];
const dot = (a, b) => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
const cross = (a, b) => [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]];
const size = (a) => Math.hypot(a[0], a[1], a[2]);
const unit = (a) => times(a, 1 / (size(a) || 1));
const between = (a, b, share) => a.map((v, i) => v + (b[i] - v) * share);
const clamp = (value, low, high) => Math.min(Math.max(value, low), high);

/** A vector turned by an angle in radians about a unit axis. */
function spun(v, axis, angle) {
  const [c, s] = [Math.cos(angle), Math.sin(angle)];
  return add(add(times(v, c), times(cross(axis, v), s)), times(axis, dot(axis, v) * (1 - c)));
}

/** The part of a vector square to a unit vector, one long. */
const squareTo = (v, axis) => unit(sub(v, times(axis, dot(axis, v))));

/** Matrix that stands a thing at a place, then turns it by a rotation vector about a point and shifts it. */
function poseMatrix(at, about, shift, vector) {
  const angle = size(vector), axis = unit(vector);
  const [x, y, z] = [[1, 0, 0], [0, 1, 0], [0, 0, 1]].map((v) => spun(v, axis, angle));
  const origin = add(add(about, shift), spun(sub(at, about), axis, angle));
  return new Float32Array([...x, 0, ...y, 0, ...z, 0, ...origin, 1]);
}

/** A point carried by a matrix. */
function carried(m, p) {
  return [0, 1, 2].map((i) => m[i] * p[0] + m[4 + i] * p[1] + m[8 + i] * p[2] + m[12 + i]);
}

/** A direction turned back by a matrix without scale. */
function turnedBack(m, d) {
  return [0, 4, 8].map((c) => m[c] * d[0] + m[c + 1] * d[1] + m[c + 2] * d[2]);
}

/** A point carried back by a matrix without scale. */
const carriedBack = (m, p) => turnedBack(m, sub(p, [m[12], m[13], m[14]]));

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
