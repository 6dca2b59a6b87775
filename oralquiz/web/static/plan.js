// Listening to one sum as the plan would have it.

import { button, byId, reason } from "./dom.js";

const form = byId("plan", HTMLFormElement);
const listen = button("listen");
const sound = byId("sound", HTMLAudioElement);
const say = byId("sample");

listen.addEventListener("click", async () => {
  listen.disabled = true;
  say.textContent = "One moment …";
  try {
    await play();
  } catch (error) {
    say.textContent = reason(error);
  } finally {
    listen.disabled = false;
  }
});

async function play() {
  const fields = new FormData(form);
  const plan = new URLSearchParams();
  for (const name of ["step", "count", "terms", "pace", "within", "voice"]) {
    plan.set(name, String(fields.get(name) ?? ""));
  }
  const found = await fetch(`/plan/sample?${plan}`);
  const sample = await found.json();
  if (!found.ok) throw new Error(sample.trouble);
  plan.set("sum", sample.sum);
  const read = await fetch(`/plan/sample.wav?${plan}`);
  if (!read.ok) throw new Error((await read.json()).trouble);
  if (sound.src) URL.revokeObjectURL(sound.src);
  sound.src = URL.createObjectURL(await read.blob());
  sound.hidden = false;
  const { total } = sample;
  const count = total ? total === "1" ? " There is 1 such sum." : ` There are ${total} such sums.` : "";
  say.textContent = `${sample.written} = ${sample.answer}.${count}`;
  await sound.play();
}

listen.disabled = false;
