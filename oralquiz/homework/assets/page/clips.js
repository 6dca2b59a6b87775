// The sums and phrases as sound, at the session's own rate.

/** @import { Dictation } from "../hearing/runner.js" */

import { bytesOf, data } from "./data.js";

const SESSION_RATE = 16000;

/**
 * @typedef {object} Clips
 * @property {Dictation[]} sums
 * @property {Float32Array} phrase by which an answer is asked for again
 * @property {Float32Array} test what the decoder must hear right
 */

/** @returns {Promise<Clips>} */
export async function readClips() {
  const sums = data.sums.map(async ({ pace_s, terms }, n) => ({
    pace_s, terms, samples: await decoded(`sum-${n}`),
  }));
  return {
    sums: await Promise.all(sums),
    phrase: await decoded("phrase"),
    test: await decoded("test"),
  };
}

/** @param {string} id */
async function decoded(id) {
  const context = new OfflineAudioContext(1, 1, SESSION_RATE); // so that nothing is resampled
  const buffer = await context.decodeAudioData(bytesOf(id).buffer);
  return buffer.getChannelData(0);
}

/**
 * @param {BaseAudioContext} context
 * @param {Float32Array} samples
 */
export function bufferOf(context, samples) {
  const buffer = context.createBuffer(1, samples.length, SESSION_RATE);
  buffer.getChannelData(0).set(samples);
  return buffer;
}
