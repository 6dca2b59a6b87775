// Sound brought to the level, and into the faint room, that the model was trained in (listen/level.py).

import { noise } from "./noise.js";
import { RATE, roundEven } from "./rounding.js";

export const AROUND_S = 0.2;
const FAINT = 10 ** (-60 / 20), LOUD_DB = -15;
const LEAST_GAIN_DB = -20, MOST_GAIN_DB = 30;
const FRAME = roundEven(0.02 * RATE);
const FULL_SCALE = 32767;

/**
 * `samples` at one level, with a faint room before and after them, as steps of 16 bits.
 * @param {Float32Array} samples
 */
export function normalised(samples) {
  const around = roundEven(AROUND_S * RATE);
  const levelDb = 10 * Math.log10(loudestPower(samples) + 1e-12);
  const gainDb = Math.min(Math.max(LOUD_DB - levelDb, LEAST_GAIN_DB), MOST_GAIN_DB);
  const gain = 10 ** (gainDb / 20), room = noise(samples.length + 2 * around);
  return Float32Array.from(room, (value, n) => {
    const inside = n >= around && n < around + samples.length;
    const sound = Math.fround(value * FAINT + (inside ? samples[n - around] * gain : 0));
    return Math.trunc(Math.fround(Math.min(1, Math.max(-1, sound)) * FULL_SCALE));
  });
}

/**
 * The mean square of the loudest 20 ms.
 * @param {Float32Array} samples
 */
function loudestPower(samples) {
  const summed = new Float64Array(samples.length + 2 * FRAME);
  let sum = 0;
  samples.forEach((sample, n) => {
    sum += sample * sample;
    summed[FRAME + n] = sum;
  });
  summed.fill(sum, FRAME + samples.length);
  let most = 0;
  for (let n = FRAME; n < summed.length; n++) most = Math.max(most, summed[n] - summed[n - FRAME]);
  return most / FRAME;
}
