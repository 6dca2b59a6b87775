// Making elements: HTML, and SVG.

const SVG = "http://www.w3.org/2000/svg";

/**
 * @template {keyof HTMLElementTagNameMap} T
 * @param {T} tag
 * @param {string} [className]
 * @param {string} [text]
 */
export function element(tag, className, text) {
  const node = document.createElement(tag);
  if (className) node.className = className;
  if (text !== undefined) node.textContent = text;
  return node;
}

/**
 * A list item with a button of `parts` in it.
 * @param {(Node | string)[]} parts
 * @param {() => void} act
 */
export function itemWithButton(parts, act) {
  const button = element("button");
  button.type = "button";
  button.append(...parts);
  button.addEventListener("click", act);
  const item = element("li");
  item.append(button);
  return item;
}

/**
 * @param {string} tag
 * @param {Record<string, string | number>} attributes
 */
export function svg(tag, attributes) {
  const node = document.createElementNS(SVG, tag);
  for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, String(value));
  return node;
}

/**
 * Mark the one that is current, and no other.
 * @param {Iterable<Element>} all
 * @param {(n: number) => boolean} isCurrent
 * @param {string} value of aria-current
 */
export function markCurrent(all, isCurrent, value) {
  [...all].forEach((one, n) => {
    if (isCurrent(n)) one.setAttribute("aria-current", value);
    else one.removeAttribute("aria-current");
  });
}
