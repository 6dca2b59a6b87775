// The worker that hears and judges, and what the page has it do.

/** @import { Clips } from "./clips.js" */
/** @import { ToPage, ToWorker } from "../hearing/messages.js" */

import { bytesOf, data, modelFiles, textOf } from "./data.js";

export class Ears {
  /** @param {(message: ToPage) => void} onMessage */
  constructor(onMessage) {
    this.onMessage = onMessage;
    /** @type {Worker | null} */
    this.worker = null;
    this.ready = false; // what comes before is the test
  }

  /**
   * Start the worker; resolves with whether it hears its test clip right.
   * @param {Clips} clips
   * @returns {Promise<boolean>}
   */
  async start({ test }) {
    const script = new Blob([await textOf("decoder"), "\n", await textOf("worker")], {
      type: "text/javascript",
    });
    const worker = new Worker(URL.createObjectURL(script));
    this.worker = worker;
    /** @type {Promise<boolean>} */
    const hears = new Promise((done) => {
      worker.addEventListener("message", ({ data: message }) => {
        if (message.t === "loaded") this.tell({ t: "hear", samples: test });
        else if (message.t === "heard") done(message.hearing.candidates[0]?.value === data.test);
        else if (message.t === "broken") done(false);
        if (this.ready) this.onMessage(message);
      });
      worker.addEventListener("error", () => done(false));
    });
    const { calibration, unknown, highest } = data;
    const load = { calibration, unknown, highest, wasm: bytesOf("wasm"), files: modelFiles() };
    this.tell({ t: "load", ...load });
    return hears.finally(() => {
      this.ready = true;
    });
  }

  /** @param {ToWorker} message */
  tell(message) {
    this.worker?.postMessage(message);
  }
}
