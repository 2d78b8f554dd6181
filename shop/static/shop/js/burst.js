// A burst: keys that come faster than anybody types, as a scanner or a typing gauge sends them. What is done with it, others decide.

export const SEPARATOR = "\x1d";

// The character a key stands for. Scanners send the group separator of a GS1 symbol as itself, as Ctrl and ], or as F8.
export function character(event) {
  if (event.key === SEPARATOR || event.key === "F8" || (event.ctrlKey && event.key === "]")) return SEPARATOR;
  if (event.ctrlKey || event.altKey || event.metaKey) return "";
  return event.key.length === 1 ? event.key : "";
}

export const visible = (text) => [...text].map((one) => (one === SEPARATOR ? "␝" : one < " " ? "·" : one)).join("");

export function stripped(text, { prefix = "", suffix = "" } = {}) {
  let code = text.replace(/^[ \t\r\n]+|[ \t\r\n]+$/g, ""); // trim() is left out: nothing of a symbol's own may go
  if (prefix && code.startsWith(prefix)) code = code.slice(prefix.length);
  if (suffix && code.endsWith(suffix)) code = code.slice(0, -suffix.length);
  return code;
}
