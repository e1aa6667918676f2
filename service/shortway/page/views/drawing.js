// Elements made by script: the content policy allows no markup with styles, and text is never parsed.

const SVG = "http://www.w3.org/2000/svg";

/** An element with attributes and children; attributes that are null or false are left out. */
export const html = (tag, attributes = {}, ...children) => fill(document.createElement(tag), attributes, children);

/** The same of SVG. */
export const svg = (tag, attributes = {}, ...children) => fill(document.createElementNS(SVG, tag), attributes, children);

function fill(made, attributes, children) {
  setAttributes(made, attributes);
  made.append(...children.flat().filter((child) => child !== null && child !== undefined && child !== ""));
  return made;
}

export function setAttributes(element, attributes) {
  for (const [name, value] of Object.entries(attributes)) {
    if (value === null || value === undefined || value === false) element.removeAttribute(name);
    else element.setAttribute(name, value === true ? "" : value);
  }
}

/** An icon of the page's sprite. */
export const icon = (name) => svg("svg", { "aria-hidden": "true" }, svg("use", { href: `#i-${name}` }));

/** A button with an icon before its words. */
export function button(words, { picture = null, ...attributes } = {}) {
  return html("button", { type: "button", ...attributes }, picture && icon(picture), words && html("span", {}, words));
}

/** At most one call of `does` a frame. */
export function oncePerFrame(does) {
  let asked = 0;
  return () => {
    cancelAnimationFrame(asked);
    asked = requestAnimationFrame(does);
  };
}

export const round = (value) => Math.round(value * 10) / 10;
export const square = (x, y, r) => `M${round(x - r)} ${round(y - r)}h${2 * r}v${2 * r}h${-2 * r}z`;
export const disc = (x, y, r) => `M${round(x - r)} ${round(y)}a${r} ${r} 0 1 0 ${2 * r} 0a${r} ${r} 0 1 0 ${-2 * r} 0z`;
/** The shape that stands for a hand: square for the left, round for the right. */
export const handMark = (hand) => (hand === "left" ? square : disc);
