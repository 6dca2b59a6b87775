// Finding and changing parts of a page.

/**
 * The element `id`, which the page's template always has.
 * @template {Element} [T=HTMLElement]
 * @param {string} id
 * @param {new () => T} [kind] the class it must be of
 * @returns {T}
 */
export function byId(id, kind) {
  const found = document.getElementById(id);
  if (!(found instanceof (kind ?? HTMLElement))) throw new Error(`the page has no such #${id}`);
  return /** @type {T} */ (/** @type {unknown} */ (found));
}

/** @param {string} id */
export const button = (id) => byId(id, HTMLButtonElement);

/** @param {string} id */
export const field = (id) => byId(id, HTMLInputElement);

/**
 * All elements for `selector`.
 * @template {HTMLElement} [T=HTMLElement]
 * @param {string} selector
 * @param {new () => T} [kind]
 * @returns {T[]}
 */
export function all(selector, kind) {
  const wanted = kind ?? HTMLElement;
  const found = [...document.querySelectorAll(selector)].filter((one) => one instanceof wanted);
  return /** @type {T[]} */ (/** @type {unknown} */ (found));
}

/**
 * Set a text only where it differs, so that a reader's place in it is not lost.
 * @param {Element} element
 * @param {string} value
 */
export function setText(element, value) {
  if (element.textContent !== value) element.textContent = value;
}

/**
 * A line of trouble, hidden while there is none.
 * @param {HTMLElement} line
 * @param {string} text
 */
export function showTrouble(line, text) {
  line.textContent = text;
  line.hidden = !text;
}

/**
 * Fill `parent` from `list`. Elements stay where they are while their content changes: focus and
 * reading are not lost.
 * @template T
 * @param {HTMLElement} parent
 * @param {readonly T[]} list
 * @param {(one: T) => string} keyOf
 * @param {(one: T) => HTMLElement} make
 * @param {(item: HTMLElement, one: T) => void} fill
 */
export function keep(parent, list, keyOf, make, fill) {
  const children = /** @type {HTMLElement[]} */ ([...parent.children]);
  const old = new Map(children.map((child) => [child.dataset.key, child]));
  if (!old.size) parent.textContent = "";
  list.forEach((one, k) => {
    const key = keyOf(one);
    const item = old.get(key) ?? make(one);
    item.dataset.key = key;
    old.delete(key);
    fill(item, one);
    if (parent.children[k] !== item) parent.insertBefore(item, parent.children[k] ?? null);
  });
  for (const item of old.values()) item.remove();
}

/**
 * What went wrong, from whatever was thrown.
 * @param {unknown} error
 */
export function reason(error) {
  return error instanceof Error ? error.message : String(error);
}

/**
 * The name of what was thrown, as browsers name it ("NotFoundError").
 * @param {unknown} error
 */
export function nameOf(error) {
  return error instanceof Error || error instanceof DOMException ? error.name : "";
}
