// Rows of one value each: load, numbers as stepped lines, choices and flags as labelled bands.

function drawLoad(surface, time, load, moments) {
  const pen = surface.begin(time);
  if (!pen) return;
  drawMarks(surface, moments);
  const { values, bin } = load;
  const foot = surface.height - 2;
  const high = foot - 14;
  const y = (share) => foot - (share / load.top) * high;
  const first = Math.max(Math.floor(time.from / bin), 0);
  const last = Math.min(Math.ceil(time.to / bin), values.length);
  pen.fillStyle = "#9cc3e0";
  const merged = (last - first) / surface.width;
  const stride = Math.max(1, Math.floor(merged));
  for (let index = first; index < last; index += stride) {
    let most = values[index];
    for (let other = index + 1; other < Math.min(index + stride, last); other++) most = Math.max(most, values[other]);
    const [left, right] = [surface.x(index * bin), surface.x((index + stride) * bin)];
    pen.fillRect(left, y(most), Math.max(right - left + 0.3, 1), foot - y(most));
  }
  rule(surface, y(load.nominal), [5, 4]);
  rule(surface, y(load.worst), []);
  tag(pen, `${Number((load.top * 100).toPrecision(3))} %`, 2, 9, QUIET);
  const [from, to, share] = load.busiest;
  if (to < time.from || from > time.to) return;
  const [left, right] = [surface.x(from), surface.x(to)];
  pen.strokeStyle = INK;
  pen.strokeRect(left, y(share), Math.max(right - left, 2), foot - y(share));
  const label = `busiest 100 ms: ${percent(share)}`;
  const wide = pen.measureText(label).width;
  const at = Math.min(Math.max(right + 6, 2), surface.width - wide - 4);
  tag(pen, label, at, Math.max(y(share) - 9, 8), INK);
}

function rule(surface, y, dash) {
  const { pen, width } = surface;
  pen.save();
  pen.strokeStyle = INK;
  pen.setLineDash(dash);
  pen.beginPath();
  pen.moveTo(0, Math.round(y) + 0.5);
  pen.lineTo(width, Math.round(y) + 0.5);
  pen.stroke();
  pen.restore();
}

function tag(pen, label, x, y, colour) {
  const wide = pen.measureText(label).width;
  pen.fillStyle = "rgba(255, 255, 255, 0.8)";
  pen.fillRect(x - 2, y - 7, wide + 4, 14);
  pen.fillStyle = colour;
  pen.fillText(label, x, y);
}

function percent(share) {
  return `${(share * 100).toFixed(1)} %`;
}

// The places of the values that the window touches: the first one may have begun before it.
function placesIn(name, time) {
  return [Math.max(placeAfter(name.times, time.from) - 1, 0), placeAfter(name.times, time.to)];
}

function drawNumber(surface, time, name, moments) {
  const pen = surface.begin(time);
  if (!pen) return;
  drawMarks(surface, moments);
  const { times, values, least, most } = name;
  const [top, foot] = [4, surface.height - 4];
  const span = most - least || 1;
  const y = (value) => foot - ((value - least) / span) * (foot - top);
  pen.strokeStyle = GRID;
  pen.strokeRect(-1, top - 0.5, surface.width + 2, foot - top + 1);
  const [first, last] = placesIn(name, time);
  pen.strokeStyle = "#0072b2";
  pen.lineWidth = 1.5;
  pen.beginPath();
  let open = false;
  const merge = last - first > 2 * surface.width;
  for (let place = first; place < last; ) {
    const value = values[place];
    const x = surface.inside(surface.x(times[place]));
    let next = place + 1;
    if (Number.isNaN(value)) {
      open = false;
      place = next;
      continue;
    }
    if (open) pen.lineTo(x, y(value));
    else pen.moveTo(x, y(value));
    open = true;
    if (merge) {
      next = Math.max(next, placeAfter(times, surface.timeAt(Math.floor(x) + 1), place, last));
      for (let inner = place + 1; inner < next; inner++) {
        if (!Number.isNaN(values[inner])) pen.lineTo(x, y(values[inner]));
      }
    }
    const until = next < times.length ? times[next] : time.endNs;
    const held = Number.isNaN(values[next - 1]) ? value : values[next - 1];
    pen.lineTo(surface.inside(surface.x(until)), y(held));
    place = next;
  }
  pen.stroke();
  pen.lineWidth = 1;
}

function drawBands(surface, time, name, moments, isFlag) {
  const pen = surface.begin(time);
  if (!pen) return;
  drawMarks(surface, moments);
  const { times, values } = name;
  const [top, high] = [3, surface.height - 6];
  const [first, last] = placesIn(name, time);
  let drawnTo = -3;
  for (let place = first; place < last; place++) {
    const left = surface.inside(surface.x(times[place]));
    const right = surface.inside(surface.x(place + 1 < times.length ? times[place + 1] : time.endNs));
    if (Number.isNaN(values[place]) || right - drawnTo < 0.5) continue;
    const wide = Math.max(right - left, 1);
    drawnTo = left + wide;
    if (isFlag) flag(pen, values[place], left, wide, top, high);
    else band(pen, name, values[place], left, wide, top, high);
  }
}

function flag(pen, isTrue, left, wide, top, high) {
  pen.fillStyle = isTrue ? "#2b4a66" : "#c3cad1";
  if (isTrue) pen.fillRect(left, top, wide, high);
  else pen.fillRect(left, top + high - 2, wide, 2);
  word(pen, isTrue ? "true" : "false", left, wide, top + high / 2, isTrue ? "#ffffff" : QUIET);
}

// The word's colour under a pattern of its own, so that greys and unlike eyes tell it too, and the word where it fits.
function band(pen, name, index, left, wide, top, high) {
  const fill = name.colours[index];
  const text = isDark(fill) ? "#ffffff" : INK;
  pen.fillStyle = fill;
  pen.fillRect(left, top, wide, high);
  const pattern = patternOf(pen, index, isDark(fill));
  if (pattern) {
    pen.fillStyle = pattern;
    pen.fillRect(left, top, wide, high);
  }
  pen.fillStyle = "rgba(29, 39, 51, 0.45)";
  pen.fillRect(left, top, 1, high);
  word(pen, name.words[index], left, wide, top + high / 2, text, fill);
}

// Lines on a tile of 8 by 8 that repeats: the first word has none.
const TILES = [
  [],
  [[0, 8, 8, 0]],
  [[0, 4, 8, 4]],
  [[0, 0, 8, 8]],
  [[4, 0, 4, 8]],
  [[0, 8, 8, 0], [0, 0, 8, 8]],
  [[0, 4, 8, 4], [4, 0, 4, 8]],
];
const patterns = new Map();

function patternOf(pen, index, isLight) {
  const lines = TILES[index % TILES.length];
  if (!lines.length) return null;
  const key = `${index % TILES.length} ${isLight}`;
  if (!patterns.has(key)) {
    const tile = new OffscreenCanvas(8, 8);
    const tilePen = tile.getContext("2d");
    tilePen.strokeStyle = isLight ? "rgba(255, 255, 255, 0.3)" : "rgba(29, 39, 51, 0.16)";
    for (const [x1, y1, x2, y2] of lines) {
      tilePen.beginPath();
      tilePen.moveTo(x1, y1);
      tilePen.lineTo(x2, y2);
      tilePen.stroke();
    }
    patterns.set(key, pen.createPattern(tile, "repeat"));
  }
  return patterns.get(key);
}

function word(pen, text, left, wide, y, colour, behind) {
  const from = Math.max(left, 0);
  const room = left + wide - from - 8;
  const needs = pen.measureText(text).width;
  if (room < needs) return;
  if (behind) {
    pen.fillStyle = behind;
    pen.fillRect(from + 3, y - 7, needs + 4, 14);
  }
  pen.fillStyle = colour;
  pen.fillText(text, from + 5, y + 0.5);
}

function isDark(colour) {
  const [red, green, blue] = [1, 3, 5].map((place) => parseInt(colour.slice(place, place + 2), 16));
  return 0.299 * red + 0.587 * green + 0.114 * blue < 140;
}

function valueText(name, atNs) {
  const place = placeAfter(name.times, atNs) - 1;
  if (place < 0 || Number.isNaN(name.values[place])) return "unknown";
  const value = name.values[place];
  if (name.words.length) return name.words[value];
  return `${Number(value.toPrecision(6))} ${name.unit}`.trim();
}
