// The settings of a pupil's page, which stay on this tablet.

import { byId, field } from "./dom.js";

export const stretch = byId("stretch", HTMLSelectElement);
export const volume = field("volume");
export const microphone = field("microphone");

stretch.value = localStorage.getItem("stretch") ?? "1";
volume.value = localStorage.getItem("volume") ?? "0.8";
microphone.checked = localStorage.getItem("microphone") !== "no";

stretch.addEventListener("change", () => localStorage.setItem("stretch", stretch.value));
volume.addEventListener("input", () => localStorage.setItem("volume", volume.value));
microphone.addEventListener("change", () => {
  localStorage.setItem("microphone", microphone.checked ? "yes" : "no");
});
