// How loud sound is, window by window, in six bands of frequency (listen/band_levels.py).
//
// Levels are decibels re full scale, row by row: BANDS values a window.

import { RATE, roundEven } from "./rounding.js";

export const HOP = 32, WIDTH = 128; // samples: 2 ms and 8 ms
export const WINDOWS = RATE / HOP; // a second
const EDGES = [120, 450, 1000, 2000, 3500, 5500, 7900]; // hertz
export const BANDS = EDGES.length - 1;
export const LEAST_DB = -80;

/** The bins of the transform that lie in a band; a cosine and a sine of the window for each. */
function transform() {
  const turn = (2 * Math.PI) / WIDTH;
  const shape = Float32Array.from({ length: WIDTH }, (_, i) => 0.5 - 0.5 * Math.cos(turn * i));
  const power = shape.reduce((sum, one) => sum + one * one, 0);
  const rows = [];
  for (let bin = 0; bin <= WIDTH / 2; bin++) {
    const hertz = (bin * RATE) / WIDTH;
    const band = EDGES.findIndex((low, n) => hertz >= low && hertz < EDGES[n + 1]);
    if (band < 0) continue;
    for (const wave of [Math.cos, Math.sin]) {
      rows.push({ band, row: shape.map((one, i) => one * wave(turn * i * bin)) });
    }
  }
  return { rows, scale: Math.fround(2 / (WIDTH * power)) };
}

const { rows, scale } = transform();

/**
 * The levels of every whole window in `sound`.
 * @param {Float32Array} sound
 */
export function levelsOf(sound) {
  const count = Math.max(0, Math.floor((sound.length - WIDTH) / HOP) + 1);
  const levels = new Float32Array(count * BANDS), power = new Float64Array(BANDS);
  for (let window = 0; window < count; window++) {
    power.fill(0);
    const first = window * HOP;
    for (const { band, row } of rows) {
      let sum = 0;
      for (let i = 0; i < WIDTH; i++) sum += sound[first + i] * row[i];
      power[band] += sum * sum * scale;
    }
    for (let band = 0; band < BANDS; band++) {
      levels[window * BANDS + band] = Math.max(LEAST_DB, 10 * Math.log10(power[band] + 1e-12));
    }
  }
  return levels;
}

/**
 * How far a recording's level goes up and down, from 20 ms to 20 ms, between its 10th and its 90th
 * centile, in decibels.
 * @param {Float32Array} levels
 */
export function spreadDb(levels) {
  const piece = roundEven(0.02 * WINDOWS) * BANDS;
  const heights = [];
  for (let at = 0; at + piece <= levels.length; at += piece) {
    heights.push(10 * Math.log10(meanPower(levels.subarray(at, at + piece))));
  }
  if (!heights.length) return 0;
  heights.sort((a, b) => a - b);
  return centile(heights, 0.9) - centile(heights, 0.1);
}

/** @param {Float32Array} levels */
export function meanPower(levels) {
  let sum = 0;
  for (const level of levels) sum += 10 ** (level / 10);
  return sum / levels.length;
}

/**
 * Between the values, by the line through them.
 * @param {number[]} sorted
 * @param {number} share
 */
function centile(sorted, share) {
  const place = (sorted.length - 1) * share, below = Math.floor(place);
  const above = Math.min(below + 1, sorted.length - 1);
  return sorted[below] + (sorted[above] - sorted[below]) * (place - below);
}
