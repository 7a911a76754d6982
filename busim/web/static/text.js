// Small helpers: elements made of text (never of markup), and instants as people read them.

export function el(tag, attributes = {}, ...children) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (name.startsWith("on")) made.addEventListener(name.slice(2), value);
    else if (value !== undefined && value !== false) made.setAttribute(name, value === true ? "" : value);
  }
  made.append(...children.filter((child) => child !== null && child !== undefined));
  return made;
}

export function length(ns) {
  const size = Math.abs(ns);
  if (size >= 120e9) return `${trim(ns / 60e9)} min`;
  if (size >= 1e9) return `${trim(ns / 1e9)} s`;
  if (size >= 1e6) return `${trim(ns / 1e6)} ms`;
  if (size >= 1e3) return `${trim(ns / 1e3)} µs`;
  return `${Math.round(ns)} ns`;
}

function trim(value) {
  return String(Number(value.toPrecision(4)));
}

// An instant to the digits that a span of `step` ns makes sense of.
export function instant(ns, step = 1e6) {
  const digits = step >= 1e9 ? 0 : step >= 1e8 ? 1 : step >= 1e6 ? 3 : step >= 1e3 ? 6 : 9;
  const seconds = ns / 1e9;
  if (seconds < 120) return `${seconds.toFixed(digits)} s`;
  const minutes = Math.floor(seconds / 60);
  const rest = (seconds - 60 * minutes).toFixed(digits).padStart(digits ? digits + 3 : 2, "0");
  if (minutes < 60) return `${minutes}:${rest}`;
  return `${Math.floor(minutes / 60)}:${String(minutes % 60).padStart(2, "0")}:${rest}`;
}

// The least of 1, 2, 5, 10, ... that is not below `least`.
export function nice(least) {
  const power = 10 ** Math.floor(Math.log10(Math.max(1, least)));
  return [1, 2, 5, 10].map((base) => base * power).find((step) => step >= least);
}
