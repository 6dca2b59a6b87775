// How long sound takes from this page's clock to the loudspeaker, the air and back: by a chirp.

/** @import { Sound } from "./sound.js" */

import { reason } from "./dom.js";

const SECONDS = 1.2;

/**
 * Measures and keeps it; resolves with a sentence for people.
 * @param {Sound} sound
 * @returns {Promise<string>}
 */
export async function measured(sound) {
  try {
    const buffer = await sound.load("chirp", "/chirp");
    const heard = await sound.record(buffer, SECONDS);
    const response = await fetch("/chirp", {
      method: "POST", body: heard.buffer, headers: { "content-type": "application/octet-stream" },
    });
    const answer = await response.json();
    if (!response.ok) return answer.trouble;
    sound.measured = answer.delay_s;
    sound.watchDelay();
    const ms = Math.round(1000 * answer.delay_s);
    return `Measured: ${ms} ms. Answer times now count from the moment a sum is heard.`;
  } catch (error) {
    return `The delay could not be measured (${reason(error)}).`;
  }
}
