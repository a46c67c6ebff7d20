// The surrogate of the study: radial basis functions r^3 with a linear part through the rigs, all of them or the
// nearest to a point, as the results have it.

const targets = data.targets;
const factorCount = data.factors.length;
const placeIn = ({ least, greatest }, value) => (value - least) / (greatest - least);
const valueIn = ({ least, greatest }, place) => least + place * (greatest - least);
// Where each rig lies in the range of every factor, from 0 to 1.
const places = data.rigs.rig.map((_, at) => data.factors.map((factor, which) => placeIn(factor, data.rigs.values[which][at])));

function apart(one, other) {
  let sum = 0;
  for (let at = 0; at < factorCount; at++) sum += (one[at] - other[at]) * (one[at] - other[at]);
  return sum;
}

const cubic = (square) => square * Math.sqrt(square);
const linear = (place) => [1, ...place.map((share) => 2 * share - 1)];

// Weights of a function that goes through values at some places.
function weightsThrough(centres, values) {
  const count = centres.length, size = count + factorCount + 1;
  const rows = Array.from({ length: size }, () => new Float64Array(size + 1));
  centres.forEach((centre, row) => {
    for (let column = 0; column < row; column++)
      rows[row][column] = rows[column][row] = cubic(apart(centre, centres[column]));
    linear(centre).forEach((term, at) => { rows[row][count + at] = rows[count + at][row] = term; });
    rows[row][size] = values[row];
  });
  return solved(rows);
}

// A linear system by elimination with row exchange; the last column is its right side.
function solved(rows) {
  const size = rows.length;
  for (let at = 0; at < size; at++) {
    let pivot = at;
    for (let row = at + 1; row < size; row++) if (Math.abs(rows[row][at]) > Math.abs(rows[pivot][at])) pivot = row;
    [rows[at], rows[pivot]] = [rows[pivot], rows[at]];
    const own = rows[at];
    for (let row = at + 1; row < size; row++) {
      const other = rows[row], factor = other[at] / own[at];
      if (factor) for (let column = at; column <= size; column++) other[column] -= factor * own[column];
    }
  }
  const found = new Float64Array(size);
  for (let row = size - 1; row >= 0; row--) {
    let sum = rows[row][size];
    for (let column = row + 1; column < size; column++) sum -= rows[row][column] * found[column];
    found[row] = sum / rows[row][row];
  }
  return found;
}

function valueAt(centres, weights, place) {
  let sum = 0;
  centres.forEach((centre, at) => { sum += weights[at] * cubic(apart(centre, place)); });
  linear(place).forEach((term, at) => { sum += weights[centres.length + at] * term; });
  return sum;
}

// The nearest of some places, of those that are as far away as each other the first.
function nearestOf(centres, place) {
  const away = new Float64Array(centres.length);
  for (let at = 0; at < away.length; at++) away[at] = apart(place, centres[at]);
  const sorted = away.slice().sort(), last = sorted[data.neighbours - 1], found = [];
  let room = data.neighbours - sorted.indexOf(last);
  for (let at = 0; at < away.length; at++) if (away[at] < last || (away[at] === last && room-- > 0)) found.push(at);
  return found;
}

function evaluated(target, place) {
  const centres = target.centres ??= target.holding.map((at) => places[at]);
  target.values ??= target.holding.map((at) => data.rigs.gain[targets.indexOf(target)][at]);
  if (centres.length <= data.most_at_once) {
    target.weights ??= weightsThrough(centres, target.values);
    return valueAt(centres, target.weights, place);
  }
  const near = nearestOf(centres, place), some = near.map((at) => centres[at]);
  return valueAt(some, weightsThrough(some, near.map((at) => target.values[at])), place);
}

// Whether the nearest rig, or one that is as near, has no result.
function isLost(target, place) {
  if (!target.lost.length) return false;
  let least = Infinity;
  for (const at of target.among) least = Math.min(least, apart(place, places[at]));
  const reach = Math.sqrt(least) * (1 + data.same);
  return target.lost.some((at) => Math.sqrt(apart(place, places[at])) <= reach);
}

// A gain in per cent at places in the ranges, null with the reason where nothing is said.
function predictAt(target, place) {
  if (target.reason) return { gain: null, reason: `no surrogate: ${target.reason}` };
  if (!place.every((share) => share >= 0 && share <= 1)) return { gain: null, reason: "outside the ranges" };
  if (isLost(target, place)) return { gain: null, reason: "the nearest rig has no result" };
  const gain = evaluated(target, place);
  return Number.isFinite(gain) ? { gain, reason: "" } : { gain: null, reason: "the rigs nearby do not span the ranges" };
}

const predict = (target, values) => predictAt(target, data.factors.map((factor, at) => placeIn(factor, values[at])));
