// Figures as the page's language writes them; what is recorded keeps its point. The twin of shop/figures.py.

const sign = () => (1.1).toLocaleString(document.documentElement.lang || "en").charAt(1);

/** A figure as typed, as records write it: where the comma is the decimal sign it is no thousands mark, and from our own keys it never is. */
export function recorded(text, source = "") {
  if (source === "keypad" && /^[^.,]*,[^.,]*$/.test(text)) return text.replace(",", ".");
  return sign() === "," ? text.replace(/^(\s*[+\-−]?[0-9]*),([0-9]+)(?![0-9.,])/, "$1.$2") : text;
}

/** The decimal points of a text as decimal signs of the page's language; other points stay. */
export const spoken = (text) => (sign() === "." ? text : text.replace(/(?<![\w.,-])(-?[0-9]+)\.([0-9]+)(?![\w.]*\.[0-9])/g, `$1${sign()}$2`));
