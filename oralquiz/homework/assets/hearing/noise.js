// The faint noise of a room that every clip is laid into: numpy.random.default_rng(0).normal(0, 1).
//
// PCG64 (O'Neill 2014: a 128-bit linear congruential generator, its state folded to 64 bits) and the
// ziggurat of 256 layers (Marsaglia & Tsang 2000) as numpy uses them, since the decoder's lists of
// hypotheses depend on the very samples.

const MULTIPLIER = 0x2360ed051fc65da44385df649fccf645n;
const STATE = 35399562948360463058890781895381311971n; // what numpy makes of the seed 0
const INCREMENT = 87136372517582989555478159403783844777n;
const WORD = (1n << 64n) - 1n, LONG = (1n << 128n) - 1n;

const TAIL = 3.6541528853610088; // where the layers end
const AREA = 0.004928673233974655; // of each layer
const STEPS = 2 ** 52;

let state = STATE;

/** @returns {bigint} 64 random bits */
function next() {
  state = (state * MULTIPLIER + INCREMENT) & LONG;
  const folded = (state >> 64n) ^ (state & WORD), turn = state >> 122n;
  return ((folded >> turn) | (folded << (64n - turn))) & WORD;
}

function uniform() {
  return Number(next() >> 11n) / 2 ** 53;
}

/** The layers: their widths, and the curve's height where they end. */
function layers() {
  const width = new Float64Array(256), inside = new Float64Array(256), height = new Float64Array(256);
  let x = TAIL;
  const curve = () => Math.exp(-0.5 * x * x);
  const base = AREA / curve();
  width[0] = base / STEPS;
  inside[0] = Math.floor((TAIL / base) * STEPS);
  height[0] = 1;
  width[255] = TAIL / STEPS;
  height[255] = curve();
  for (let i = 254; i >= 1; i--) {
    const above = x;
    x = Math.sqrt(-2 * Math.log(AREA / x + curve()));
    inside[i + 1] = Math.floor((x / above) * STEPS);
    width[i] = x / STEPS;
    height[i] = curve();
  }
  return { width, inside, height };
}

const { width, inside, height } = layers();

/** @returns {number} the next of the standard normal distribution */
function normal() {
  for (;;) {
    const bits = next();
    const layer = Number(bits & 255n), whole = Number((bits >> 9n) & 0xfffffffffffffn);
    const x = whole * width[layer] * ((bits >> 8n) & 1n ? -1 : 1);
    if (whole < inside[layer]) return x;
    if (layer === 0) return tail(whole);
    const place = (height[layer - 1] - height[layer]) * uniform() + height[layer];
    if (place < Math.exp(-0.5 * x * x)) return x;
  }
}

/** @param {number} whole */
function tail(whole) {
  for (;;) {
    const x = -Math.log1p(-uniform()) / TAIL, y = -Math.log1p(-uniform());
    if (y + y > x * x) return Math.floor(whole / 256) % 2 ? -(TAIL + x) : TAIL + x;
  }
}

let table = new Float64Array(0);

/**
 * The first `length` values.
 * @param {number} length
 */
export function noise(length) {
  if (table.length < length) {
    const more = new Float64Array(2 ** Math.ceil(Math.log2(Math.max(length, 4096))));
    more.set(table);
    for (let i = table.length; i < more.length; i++) more[i] = normal();
    table = more;
  }
  return table.subarray(0, length);
}
