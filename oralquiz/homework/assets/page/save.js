// Saving the session file: the pupil brings it back.

import { data } from "./data.js";

/**
 * Have `save` hand out `file`.
 * @param {Blob} file
 * @param {HTMLButtonElement} save
 */
export function saveFile(file, save) {
  save.addEventListener("click", () => {
    const link = document.createElement("a");
    link.href = URL.createObjectURL(file);
    link.download = data.file;
    link.click();
    save.dataset.saved = "yes";
  });
}
