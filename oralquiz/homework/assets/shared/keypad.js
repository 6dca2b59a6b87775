// Answering by hand: digits that are tapped or typed, and OK.
//
// A connection may be lost without notice, so the number stays in its field until the
// server's word, and can be given once more with the next connection.

import { all, byId, button, field } from "./dom.js";

const DIGITS = 9;

export class Keypad {
  /** @param {(value: number) => void} onGive */
  constructor(onGive) {
    this.onGive = onGive;
    this.pad = byId("pad");
    this.typed = field("typed");
    this.given = false; // OK was pressed: what stands in the field is the answer
    for (const key of all("[data-digit]")) {
      key.addEventListener("click", () => this.tap(key.dataset.digit ?? ""));
    }
    this.typed.addEventListener("beforeinput", () => this.rubGiven());
    button("rub").addEventListener("click", () => this.rubOne());
    byId("keypad").addEventListener("submit", (event) => {
      event.preventDefault();
      if (/^[0-9]+$/.test(this.typed.value)) this.give();
      else this.rub();
    });
    addEventListener("keydown", (event) => this.press(event));
  }

  /** @param {string} digit */
  tap(digit) {
    this.rubGiven();
    if (this.typed.value.length < DIGITS) this.typed.value += digit;
  }

  // What is entered after OK is another answer.
  rubGiven() {
    if (this.given) this.rub();
  }

  rub() {
    this.typed.value = "";
    this.given = false;
  }

  rubOne() {
    this.typed.value = this.typed.value.slice(0, -1);
    this.given = false;
  }

  give() {
    this.given = true;
    this.onGive(Number(this.typed.value));
  }

  giveAgain() {
    if (this.given) this.give();
  }

  /**
   * @param {boolean} shown
   * @param {boolean} enabled
   */
  show(shown, enabled) {
    this.pad.hidden = !shown;
    for (const part of all("#keypad input, #keypad button")) {
      part.toggleAttribute("disabled", !enabled);
    }
  }

  /**
   * Digits go to the answer wherever the focus is; nothing else is taken.
   * @param {KeyboardEvent} event
   */
  press(event) {
    if (this.pad.hidden || this.typed.disabled) return;
    if (event.ctrlKey || event.metaKey || event.altKey || !/^[0-9]$/.test(event.key)) return;
    if (event.target instanceof Element && event.target.closest("select, input")) return;
    this.typed.focus();
  }
}
