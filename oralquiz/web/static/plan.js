// Listening to one sum as the plan would have it.

const form = document.getElementById("plan");
const button = document.getElementById("listen");
const sound = document.getElementById("sound");
const say = document.getElementById("sample");

button.addEventListener("click", async () => {
  button.disabled = true;
  say.textContent = "One moment.";
  try {
    const plan = new URLSearchParams();
    for (const name of ["step", "count", "terms", "pace", "within", "voice"]) {
      plan.set(name, form.elements[name].value);
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
    const count = sample.total ? ` There are ${sample.total} such sums.` : "";
    say.textContent = `${sample.written} = ${sample.answer}.${count}`;
    await sound.play();
  } catch (error) {
    say.textContent = error.message;
  } finally {
    button.disabled = false;
  }
});

button.disabled = false;
