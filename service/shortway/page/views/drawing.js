// Shapes and numbers of drawings.

export function setAttributes(element, attributes) {
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
}

export const round = (value) => Math.round(value * 10) / 10;

const square = (x, y, r) => `M${round(x - r)} ${round(y - r)}h${round(2 * r)}v${round(2 * r)}h${round(-2 * r)}z`;
const disc = (x, y, r) => `M${round(x - r)} ${round(y)}a${r} ${r} 0 1 0 ${round(2 * r)} 0a${r} ${r} 0 1 0 ${round(-2 * r)} 0z`;
/** The shape that stands for a hand: square for the left, round for the right. */
export const handMark = (hand) => (hand === "left" ? square : disc);
