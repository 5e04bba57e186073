// Making elements: draw("button", {class: "main", onclick: act}, "Cut").
export function draw(name, settings = {}, ...inside) {
  const element = document.createElement(name);
  for (const [key, value] of Object.entries(settings)) {
    if (value === null || value === undefined || value === false) continue;
    if (key.startsWith("on")) element.addEventListener(key.slice(2), value);
    else element.setAttribute(key, value === true ? "" : value);
  }
  element.append(...inside.flat().filter((one) => one !== null && one !== undefined && one !== false));
  return element;
}

const SVG = "http://www.w3.org/2000/svg";

export function shape(name, settings = {}, ...inside) {
  const element = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(settings)) element.setAttribute(key, value);
  element.append(...inside);
  return element;
}

// A picture that came as text from the yard.
export function picture(text) {
  if (!text) return null;
  const parsed = new DOMParser().parseFromString(text, "image/svg+xml").documentElement;
  parsed.setAttribute("aria-hidden", "true");
  parsed.setAttribute("class", "end-view");
  return document.importNode(parsed, true);
}

// The tray from above with the place of one sample: rows as bars, the sample filled.
export function trayMap(sheet, row) {
  if (!sheet.rows_in_tray || !row.spans.length) return null;
  const [wide, high, gap] = [200, 14, 4];
  const scale = wide / sheet.row_length_mm;
  const bars = [];
  for (let at = 1; at <= sheet.rows_in_tray; at += 1) {
    bars.push(shape("rect", { x: 0, y: (at - 1) * (high + gap), width: wide, height: high, class: "channel" }));
  }
  for (const [at, left, right] of row.spans) {
    bars.push(shape("rect", {
      x: left * scale, y: (at - 1) * (high + gap), width: Math.max(2, (right - left) * scale), height: high, class: "here",
    }));
  }
  const tall = sheet.rows_in_tray * (high + gap) - gap;
  return shape("svg", { viewBox: `-2 -2 ${wide + 4} ${tall + 4}`, class: "tray-map", role: "img", "aria-label": row.place }, ...bars);
}

// Shapes for status: a ring for done and sent, a triangle for waiting, an octagon for stop, a bar for could not.
export function mark(name) {
  const drawn = {
    ring: [shape("circle", { cx: 12, cy: 12, r: 9, fill: "none", "stroke-width": 4 })],
    triangle: [shape("path", { d: "M12 2 23 22H1z" })],
    octagon: [shape("path", { d: "M7.5 1h9L23 7.5v9L16.500 23h-9L1 16.500v-9z" })],
    bar: [shape("rect", { x: 1, y: 8, width: 22, height: 8 })],
    square: [shape("rect", { x: 3, y: 3, width: 18, height: 18, fill: "none", "stroke-width": 3 })],
    filled: [shape("rect", { x: 2, y: 2, width: 20, height: 20 })],
  }[name];
  return shape("svg", { viewBox: "0 0 24 24", class: `mark mark-${name}`, "aria-hidden": "true" }, ...drawn);
}
