// Elements of the document: found, made, filled. Knows no music.

export const el = (id) => document.getElementById(id);

/** An element with properties and children; a property named in kebab case is set as an attribute. */
export function make(name, more = {}, ...children) {
  return furnish(document.createElement(name), more, children);
}

export function makeSvg(name, more = {}, ...children) {
  return furnish(document.createElementNS("http://www.w3.org/2000/svg", name), more, children);
}

function furnish(made, more, children) {
  for (const [key, value] of Object.entries(more)) {
    if (made instanceof SVGElement || key.includes("-")) made.setAttribute(key, value);
    else made[key] = value;
  }
  made.append(...children);
  return made;
}

/** A picture of the sprite in index.html, such as "lock". */
export const icon = (name) => makeSvg("svg", { "aria-hidden": "true" }, makeSvg("use", { href: `#i-${name}` }));

/** What `does` at most once a frame. */
export function once(does) {
  let asked = 0;
  return () => {
    cancelAnimationFrame(asked);
    asked = requestAnimationFrame(does);
  };
}

export function setAttributes(element, attributes) {
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
}
