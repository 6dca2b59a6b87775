"use strict";
(() => {
  const data = JSON.parse(document.getElementById("data").textContent);
  const player = document.getElementById("player");
  const find = (selector) => player.querySelector(selector);
  const calm = window.matchMedia("(prefers-reduced-motion: reduce)");
  const SVG = "http://www.w3.org/2000/svg";
  const GESTURE_MS = 450; // one gesture, when a step is taken by hand

  // --- what is shown: which sum, which track, where on it ------------------------------------
  const audio = new Audio();
  audio.preservesPitch = true; // slow motion, same voice
  audio.webkitPreservesPitch = true;
  const state = {
    sum: 0, track: "round", time: 0, playing: false, speed: 1,
    form: data.form, order: data.order, card: -1,
  };
  let pictures = {};
  const sounds = new Map(); // track -> object URL, made when first asked for
  let animation = 0; // running number; a new one stops the old
  let clock = null; // where there is no sound: {from, at}

  const sum = () => data.sums[state.sum];
  const track = () => sum().tracks[state.track];
  const stepsOf = () => sum().steps;
  const order = (step) => step.orders[state.order] || step.orders[0];

  // --- time and cards --------------------------------------------------------------------------
  // card 0 is the start, card n the n-th move, the last card the answer
  function cardAt(time) {
    const beats = track().beats;
    if (time >= track().answer) return beats.length + 1;
    let card = 0;
    while (card < beats.length && beats[card][0] <= time) card += 1;
    return card;
  }

  function timeOf(card) { // the moment at which a card has come to rest
    const { beats, answer } = track();
    if (card <= 0) return 0;
    return card <= beats.length ? beats[card - 1][2] : answer;
  }

  function fractions(card, time) { // how far each gesture of a card has come, 0 to 1
    const [, start, end] = track().beats[card - 1];
    const gestures = order(stepsOf()[card - 1]).gestures;
    const each = (end - start) / gestures.length;
    return gestures.map((_, n) => {
      const passed = Math.min(1, Math.max(0, (time - start - n * each) / each));
      if (passed > 1 - 1e-6) return 1;
      return calm.matches ? Number(passed > 0) : passed * passed * (3 - 2 * passed);
    });
  }

  // --- drawing ---------------------------------------------------------------------------------
  function newPicture(holder) {
    const drawing = document.getElementById(`live-${state.form}`).content.cloneNode(true);
    holder.replaceChildren(drawing);
    const parts = [...holder.querySelectorAll(".part")].map((node) => {
      const [dx, dy] = node.dataset.away.split(" ").map(Number);
      return { node, dx, dy, ...place(node) };
    });
    const hints = [...holder.querySelectorAll(".ghost, .mark")].map((node) => ({
      node, way: node.dataset.way, badge: node.querySelector(".badge"), ...place(node),
    }));
    return { svg: holder.querySelector("svg"), parts, hints, digits: [...holder.querySelectorAll(".digit")].reverse() };
  }

  function place(node) {
    const { column, bead, n } = node.dataset;
    return { column: Number(column), bead, n: Number(n) };
  }

  // the part's place between away (0) and counting (1), when the frame shows value and its
  // gestures have come so far
  function standing(part, value, gestures, fractions) {
    const digit = Math.floor(value / 10 ** part.column) % 10;
    const ones = digit % 5;
    const counts = part.bead === "five" ? digit >= 5 : part.n < ones;
    for (let n = 0; n < gestures.length; n += 1) {
      if (moves(part, gestures[n], ones)) {
        return gestures[n][2] > 0 ? fractions[n] : 1 - fractions[n];
      }
    }
    return Number(counts);
  }

  function moves(part, [column, bead, count], ones) {
    if (part.column !== column || part.bead !== bead) return false;
    if (bead === "five") return true;
    return part.n >= Math.min(ones, ones + count) && part.n < Math.max(ones, ones + count);
  }

  function draw(picture, value, gestures = [], fractions = [], hints = false) {
    const digits = picture.digits.map(() => 0);
    for (const part of picture.parts) {
      const here = standing(part, value, gestures, fractions);
      const [x, y] = [part.dx * (1 - here), part.dy * (1 - here)];
      part.node.setAttribute("transform", `translate(${x.toFixed(2)} ${y.toFixed(2)})`);
      part.node.classList.toggle("counts", here > 0.5);
      const ones = (Math.floor(value / 10 ** part.column) % 10) % 5;
      part.node.classList.toggle("goes", hints && gestures.some((gesture) => moves(part, gesture, ones)));
      if (here > 0.5) digits[part.column] += part.bead === "five" ? 5 : 1;
    }
    picture.digits.forEach((node, column) => {
      node.textContent = state.form === "hands" ? digits[column] * 10 ** column : digits[column];
    });
    const opposite = gestures.length === 2 && gestures[0][2] > 0 !== gestures[1][2] > 0;
    for (const hint of picture.hints) {
      const ones = (Math.floor(value / 10 ** hint.column) % 10) % 5;
      const n = hints ? gestures.findIndex((gesture) => moves(hint, gesture, ones)) : -1;
      const way = n < 0 ? null : gestures[n][2] > 0 ? "in" : "out";
      hint.node.classList.toggle("shown", n >= 0 && (!hint.way || hint.way === way));
      if (!hint.badge) continue;
      const first = n >= 0 && (hint.bead === "five" || hint.n === Math.min(ones, ones + gestures[n][2]));
      hint.badge.classList.toggle("none", !(opposite && first));
      hint.badge.querySelector("text").textContent = n + 1;
    }
  }

  // --- showing one moment ----------------------------------------------------------------------
  function show(time) {
    state.time = time;
    const card = cardAt(time);
    const steps = stepsOf();
    if (card !== state.card) showCard(card);
    if (card > 0 && card <= steps.length) {
      const step = steps[card - 1];
      draw(pictures.moving, step.before, order(step).gestures, fractions(card, time), true);
    }
    const { duration } = track();
    for (const line of player.querySelectorAll(".head, .head-edge")) {
      line.setAttribute("transform", `translate(${((1000 * time) / duration).toFixed(2)} 0)`);
    }
    const slider = document.getElementById("place");
    slider.value = time;
    const cue = track().cues.find(([from, to]) => from <= time && time < to);
    find(".caption .who").textContent = cue && data.words.who[cue[2]] ? `${data.words.who[cue[2]]}:` : "";
    find(".caption .what").textContent = cue ? cue[3] : track().pieces.length ? "" : data.words.no_sound;
    player.dataset.time = time;
  }

  function showCard(card) {
    state.card = card;
    const steps = stepsOf();
    const inside = card > 0 && card <= steps.length;
    const step = inside ? steps[card - 1] : null;
    const value = card === 0 ? 0 : inside ? step.before : sum().answer;
    const words = step
      ? [step.where[state.form], ...order(step).words[state.form]]
      : card === 0
        ? [data.words.start_where, data.words.start[state.form], ""]
        : [data.words.end_where, sum().end[state.form], sum().result];
    for (const [n, name] of [".where", ".why", ".do"].entries()) find(`.words ${name}`).textContent = words[n];
    find(".words .count").textContent = inside
      ? data.words.step_of.replace("{n}", card).replace("{count}", steps.length) : "";
    const said = card > steps.length ? sum().said : null; // beside the answer, what was heard
    find(".stage").classList.toggle("alone", !inside && said === null);
    figureOf("before").hidden = !inside;
    figureOf("after").hidden = !inside && said === null;
    draw(pictures.moving, value);
    if (inside) {
      draw(pictures.before, step.before);
      find('[data-value="before"]').textContent = step.before;
    }
    const after = inside ? step.after : said ?? value;
    draw(pictures.after, after);
    find('[data-value="after"]').textContent = inside ? after : "";
    find('[data-title="after"]').textContent = inside ? data.words.after : sum().heard;
    find('[data-value="moving"]').textContent = inside ? "" : value;
    name(pictures.before, inside ? step.before : value);
    name(pictures.after, after);
    name(pictures.moving, value, inside ? words[2] : "");
    const term = inside ? step.term : card === 0 ? -1 : sum().terms.length;
    player.querySelectorAll(".chain button").forEach((button, n) => {
      if (n === term) button.setAttribute("aria-current", "step");
      else button.removeAttribute("aria-current");
    });
    showMaybe(card);
    document.getElementById("previous").disabled = card === 0;
    document.getElementById("next").disabled = card === steps.length + 1;
    document.getElementById("place").setAttribute("aria-valuetext", `${words[0]}: ${words[1]}`);
    if (!state.playing) document.getElementById("status").textContent = words.join(". ");
    Object.assign(player.dataset, { sum: state.sum, card, value: inside ? step.after : value });
  }

  function figureOf(which) { return find(`[data-shows="${which}"]`).parentElement; }

  function name(picture, value, more = "") {
    const shows = data.words.shows[state.form].replace("{value}", value);
    picture.svg.setAttribute("aria-label", `${shows} ${more}`.trim());
  }

  function showMaybe(card) {
    const box = find(".maybe");
    const { maybe } = sum();
    box.hidden = !maybe.length && !sum().unknown;
    player.classList.toggle("unquestioned", box.hidden);
    if (box.hidden) return;
    const items = [...box.querySelectorAll("li")];
    const here = maybe.findIndex((one) => one.steps.includes(card));
    items.forEach((item, n) => {
      if (maybe.length && maybe[n].steps.includes(card)) item.setAttribute("aria-current", "true");
      else item.removeAttribute("aria-current");
    });
    const shown = here < 0 ? -1 : maybe[here].shows;
    const holder = box.querySelector(".pictured");
    const figure = holder.parentElement;
    figure.hidden = here < 0 || shown === null;
    if (!figure.hidden) {
      draw(pictures.would, shown);
      name(pictures.would, shown);
      figure.querySelector("b").textContent = shown;
    }
  }

  // --- moving about ----------------------------------------------------------------------------
  function seek(time) { // the sound and the drawing go to the same moment
    const within = Math.min(Math.max(0, time), track().duration);
    animation += 1;
    if (audio.src) audio.currentTime = within;
    if (clock) clock = { from: within, at: performance.now() };
    return within;
  }

  function go(time) { show(seek(time)); }

  function step(by) {
    if (state.playing) pause();
    const card = Math.min(stepsOf().length + 1, Math.max(0, state.card + by));
    const to = seek(timeOf(card));
    if (by < 0 || calm.matches || card === 0 || card > stepsOf().length) { show(to); return; }
    const mine = animation;
    const from = track().beats[card - 1][1];
    const lasts = (GESTURE_MS * order(stepsOf()[card - 1]).gestures.length) / state.speed;
    const began = performance.now();
    const frame = (now) => {
      if (mine !== animation) return;
      const passed = Math.min(1, Math.max(0, (now - began) / lasts));
      show(passed < 1 ? from + (to - from) * passed : to);
      if (passed < 1) requestAnimationFrame(frame);
    };
    show(from);
    requestAnimationFrame(frame);
  }

  function toTerm(n) {
    const first = stepsOf().findIndex((one) => one.term === n);
    go(first < 0 ? track().answer : track().beats[first][0]);
  }

  function play() {
    if (state.time >= track().duration - 0.05) go(0);
    animation += 1;
    state.playing = true;
    player.dataset.playing = "true";
    const button = document.getElementById("play");
    button.setAttribute("aria-label", data.words.pause);
    button.classList.add("on");
    if (audio.src) {
      audio.playbackRate = state.speed;
      audio.currentTime = state.time;
      audio.play().catch(pause);
    } else clock = { from: state.time, at: performance.now() };
    requestAnimationFrame(follow);
  }

  function follow() {
    if (!state.playing) return;
    const time = clock ? clock.from + ((performance.now() - clock.at) / 1000) * state.speed : audio.currentTime;
    const { duration } = track();
    show(Math.min(time, duration));
    if (time >= duration || (audio.src && audio.ended)) pause();
    else requestAnimationFrame(follow);
  }

  function pause() {
    state.playing = false;
    clock = null;
    audio.pause();
    delete player.dataset.playing;
    const button = document.getElementById("play");
    button.setAttribute("aria-label", data.words.play);
    button.classList.remove("on");
    if (audio.src) show(audio.currentTime);
  }

  // --- one sum ---------------------------------------------------------------------------------
  function soundOf(which) {
    if (!which.pieces.length) return "";
    if (!sounds.has(which)) {
      // an explanation is put together from sentences that come up more than once
      const parts = which.pieces.map((id) =>
        Uint8Array.from(atob(document.getElementById(id).textContent), (c) => c.charCodeAt(0)));
      sounds.set(which, URL.createObjectURL(new Blob(parts, { type: "audio/mpeg" })));
    }
    return sounds.get(which);
  }

  function load(which) {
    if (state.playing) pause();
    state.sum = which;
    state.card = -1;
    const explained = document.getElementById("explained");
    state.track = explained && explained.checked && sum().tracks.explained ? "explained" : "round";
    const source = soundOf(track());
    if (source) { audio.src = source; audio.load(); } else audio.removeAttribute("src");
    document.getElementById("sum-title").textContent = sum().title;
    document.getElementById("place").max = track().duration;
    document.querySelectorAll(".sums button").forEach((button, n) => {
      button.setAttribute("aria-current", String(n === which));
    });
    writeChain();
    writeWaves();
    writeMaybe();
    redraw();
    go(0);
  }

  function redraw() {
    for (const holder of player.querySelectorAll(".pictured")) {
      if (holder.dataset.shows) pictures[holder.dataset.shows] = newPicture(holder);
    }
    document.body.classList.toggle("mirrored", document.getElementById("mirror").checked);
    document.getElementById("ones-first-name").textContent = data.words.ones_first[state.form];
    state.card = -1;
  }

  function element(tag, className, text) {
    const node = document.createElement(tag);
    if (className) node.className = className;
    if (text !== undefined) node.textContent = text;
    return node;
  }

  function writeChain() {
    const chain = find(".chain");
    chain.replaceChildren();
    const { terms, totals, answer } = sum();
    terms.forEach((term, n) => {
      const button = element("button");
      button.type = "button";
      button.append(element("span", "number", term), element("span", "total", `= ${totals[n]}`));
      button.addEventListener("click", () => { if (state.playing) pause(); toTerm(n); });
      const item = element("li");
      item.append(button);
      chain.append(item);
    });
    const button = element("button");
    button.type = "button";
    button.append(element("span", "number", `= ${answer}`), element("span", "total", data.words.answer));
    button.addEventListener("click", () => { if (state.playing) pause(); toTerm(terms.length); });
    const item = element("li");
    item.append(button);
    const verdict = element("li", "verdict");
    const said = element("span");
    said.append(element("span", "glyph", `${sum().glyph} `), sum().heard);
    verdict.append(said, element("span", "total", sum().detail));
    chain.append(item, verdict);
  }

  function svg(tag, attributes) {
    const node = document.createElementNS(SVG, tag);
    for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value);
    return node;
  }

  function writeWaves() {
    const waves = find(".waves");
    const labels = find(".labels");
    waves.replaceChildren();
    labels.replaceChildren();
    const { duration, terms, answers, outlines, beats } = track();
    const x = (time) => (1000 * time) / duration;
    const label = (text, time) => {
      const node = element("span", "", text);
      node.style.left = `${Math.min(97, Math.max(3, x(time) / 10))}%`;
      labels.append(node);
    };
    const span = ([onset, offset], top, className) => waves.append(svg("rect", {
      x: x(onset), y: top, width: x(offset - onset), height: 44, rx: 4, class: className,
    }));
    terms.forEach((term, n) => { span(term, 3, "span"); label(sum().terms[n], (term[0] + term[1]) / 2); });
    answers.forEach((one) => { span(one, 53, "span heard"); label(one[2], (one[0] + one[1]) / 2); });
    outlines.forEach((loud, lane) => {
      const middle = lane ? 75 : 25;
      const each = 1000 / loud.length;
      const up = loud.map((value, n) => `${(n * each).toFixed(1)},${(middle - value / 5).toFixed(1)}`);
      const down = loud.map((value, n) => `${(n * each).toFixed(1)},${(middle + value / 5).toFixed(1)}`);
      waves.append(svg("polygon", { points: [...up, ...down.reverse()].join(" "), class: lane ? "pupil" : "teacher" }));
    });
    for (const [, start, end] of beats) {
      waves.append(svg("rect", { x: x(start), y: 48.5, width: x(end - start), height: 3, class: "beat" }));
    }
    for (const className of ["head-edge", "head"]) {
      waves.append(svg("line", { x1: 0, y1: 0, x2: 0, y2: 100, class: className }));
    }
  }

  function writeMaybe() {
    const box = find(".maybe");
    box.replaceChildren();
    const { maybe, unknown } = sum();
    box.append(element("h3", "", `${data.words.maybe} (${sum().heard})`));
    const holder = element("div", "pictured");
    holder.dataset.shows = "would";
    const list = element("ul");
    if (unknown) list.append(element("li", "", unknown));
    for (const one of maybe) {
      const item = element("li");
      const button = element("button", "", one.text[state.form]);
      button.type = "button";
      button.addEventListener("click", () => {
        if (state.playing) pause();
        state.card = one.steps[0] - 1;
        step(1);
      });
      item.append(button, " ", element("span", "odds", one.odds));
      list.append(item);
    }
    const figure = element("figure");
    const caption = element("figcaption", "", `${data.words.would} `);
    caption.append(element("b"));
    figure.append(holder, caption);
    box.append(figure, list);
  }

  // --- on paper --------------------------------------------------------------------------------
  // The step sheet is what a browser without scripts shows; with one, it is only made to be printed.
  function fillSheet() {
    const sheet = document.getElementById("sheet");
    const kept = sheet.querySelector("noscript");
    if (kept) sheet.innerHTML = kept.textContent;
  }

  // --- hands on --------------------------------------------------------------------------------
  function press(id, act) { document.getElementById(id).addEventListener("click", act); }

  function switchTrack() {
    const { card } = state;
    load(state.sum);
    go(timeOf(card));
  }

  function again() { // the same moment, drawn anew
    writeMaybe();
    redraw();
    show(state.time);
  }

  press("previous", () => step(-1));
  press("next", () => step(1));
  press("play", () => (state.playing ? pause() : play()));
  press("print", () => { fillSheet(); window.print(); });
  window.addEventListener("beforeprint", fillSheet);
  document.getElementById("mirror").addEventListener("change", again);
  document.getElementById("ones-first").addEventListener("change", (event) => {
    state.order = Number(event.target.checked);
    again();
  });
  document.getElementById("beads")?.addEventListener("change", (event) => {
    state.form = event.target.checked ? "frame" : "hands";
    again();
  });
  document.getElementById("explained")?.addEventListener("change", switchTrack);
  document.getElementById("speed").addEventListener("change", (event) => {
    if (clock) clock = { from: state.time, at: performance.now() };
    state.speed = Number(event.target.value);
    audio.playbackRate = state.speed;
  });
  document.getElementById("place").addEventListener("input", (event) => {
    if (state.playing) pause();
    go(Number(event.target.value));
  });
  find(".waves").addEventListener("click", (event) => {
    const box = find(".waves").getBoundingClientRect();
    go((track().duration * (event.clientX - box.left)) / box.width);
  });
  audio.addEventListener("error", () => { // this browser cannot play it: the moves still can
    if (!audio.src) return;
    audio.removeAttribute("src");
    if (state.playing) { pause(); play(); }
  });

  let touch = null;
  find(".stage").addEventListener("pointerdown", (event) => { touch = [event.clientX, event.clientY]; });
  find(".stage").addEventListener("pointerup", (event) => {
    if (!touch) return;
    const [dx, dy] = [event.clientX - touch[0], event.clientY - touch[1]];
    touch = null;
    if (Math.abs(dx) > 40 && Math.abs(dx) > 2 * Math.abs(dy)) step(dx < 0 ? 1 : -1);
  });

  document.addEventListener("keydown", (event) => {
    if (event.altKey || event.ctrlKey || event.metaKey) return;
    const { type } = event.target;
    if (type === "radio" && event.key.startsWith("Arrow")) return;
    const here = stepsOf()[state.card - 1];
    const term = here ? here.term : state.card === 0 ? -1 : sum().terms.length;
    const act = {
      ArrowRight: () => step(1),
      ArrowLeft: () => step(-1),
      ArrowDown: () => toTerm(Math.min(sum().terms.length, term + 1)),
      ArrowUp: () => (term <= 0 ? go(0) : toTerm(term - 1)),
      Home: () => go(0),
      End: () => go(timeOf(stepsOf().length + 1)),
      " ": () => (state.playing ? pause() : play()),
    }[event.key];
    if (!act || (event.key === " " && /^(button|submit|radio|checkbox)$/.test(type))) return;
    event.preventDefault();
    if (state.playing && event.key !== " ") pause();
    act();
  });

  // --- begin -----------------------------------------------------------------------------------
  const list = document.querySelector(".sums ol");
  data.sums.forEach((one, n) => {
    const button = element("button");
    button.type = "button";
    button.append(element("span", "", String(n + 1)), element("span", "glyph", one.glyph), element("span", "", one.pupil));
    button.setAttribute("aria-label", `${one.title}, ${one.verdict}`);
    button.addEventListener("click", () => load(n));
    const item = element("li");
    item.append(button);
    list.append(item);
  });
  document.querySelector(".sums").hidden = data.sums.length < 2;
  player.hidden = false;
  load(Math.max(0, data.sums.findIndex((one) => !one.right))); // what went wrong comes first
})();
