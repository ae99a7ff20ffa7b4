// What all rows share: a sharp canvas, places of times, marks behind everything, times as text.

const INK = "#1d2733";
const QUIET = "#5b6672";
const GRID = "#e3e7eb";
const ALARM = "#b3261e";
const FONT = "12px system-ui, sans-serif";

class Surface {
  constructor(canvas) {
    this.canvas = canvas;
  }

  begin(time) {
    const { canvas } = this;
    const sharp = Math.max(window.devicePixelRatio || 1, document.body.classList.contains("printing") ? 2 : 1);
    this.width = canvas.clientWidth;
    this.height = canvas.clientHeight;
    if (!this.width || !this.height) return null;
    const [wide, high] = [Math.round(this.width * sharp), Math.round(this.height * sharp)];
    if (canvas.width !== wide || canvas.height !== high) {
      canvas.width = wide;
      canvas.height = high;
    }
    this.time = time;
    this.scale = this.width / time.width;
    const pen = canvas.getContext("2d");
    pen.setTransform(sharp, 0, 0, sharp, 0, 0);
    pen.clearRect(0, 0, this.width, this.height);
    pen.font = FONT;
    pen.textBaseline = "middle";
    this.pen = pen;
    return pen;
  }

  x(atNs) {
    return (atNs - this.time.from) * this.scale;
  }

  timeAt(x) {
    return this.time.from + x / this.scale;
  }

  inside(x) {
    return Math.min(Math.max(x, -2), this.width + 2);
  }
}

// Steps as dotted lines, faults as hatched spans, broken expectations as full lines: in every row alike.
function drawMarks(surface, moments) {
  const { pen, height } = surface;
  for (const [kind, at, until] of moments) {
    if (at > surface.time.to || (until ?? at) < surface.time.from) continue;
    const x = Math.round(surface.x(at)) + 0.5;
    if (kind === "fault") hatch(surface, surface.inside(x), surface.inside(surface.x(until)));
    pen.save();
    pen.strokeStyle = kind === "broken" ? ALARM : "#9aa4ae";
    pen.setLineDash(kind === "step" ? [2, 3] : []);
    pen.beginPath();
    pen.moveTo(x, 0);
    pen.lineTo(x, height);
    pen.stroke();
    pen.restore();
  }
}

function hatch(surface, left, right) {
  const { pen, height } = surface;
  pen.save();
  pen.beginPath();
  pen.rect(left, 0, right - left, height);
  pen.clip();
  pen.fillStyle = "rgba(179, 38, 30, 0.04)";
  pen.fillRect(left, 0, right - left, height);
  pen.strokeStyle = "rgba(179, 38, 30, 0.11)";
  pen.beginPath();
  for (let x = left - height - (left % 8); x < right; x += 8) {
    pen.moveTo(x, height);
    pen.lineTo(x + height, 0);
  }
  pen.stroke();
  pen.restore();
}

function niceStep(least) {
  const power = 10 ** Math.floor(Math.log10(least));
  return [1, 2, 5, 10].map((part) => part * power).find((step) => step >= least * 0.999999);
}

const UNITS = [
  ["s", 1e9],
  ["ms", 1e6],
  ["us", 1e3],
  ["ns", 1],
];

// A length of time with three or so digits that count.
function lengthText(ns) {
  const [unit, size] = UNITS.find(([, many]) => Math.abs(ns) >= many) ?? UNITS[3];
  return `${Number((ns / size).toPrecision(4))} ${unit}`;
}

// A moment of the run in seconds, as fine as the window needs it.
function momentText(ns, finestNs) {
  const digits = Math.min(Math.max(Math.ceil(9 - Math.log10(Math.max(finestNs, 1))), 0), 9);
  return `${(ns / 1e9).toFixed(digits)} s`;
}

function drawAxis(surface, time) {
  const pen = surface.begin(time);
  if (!pen) return;
  const step = niceStep((100 / surface.width) * time.width);
  pen.fillStyle = QUIET;
  let drawnTo = -10;
  for (let at = Math.ceil(time.from / step) * step; at <= time.to; at += step) {
    const x = surface.x(at);
    pen.fillRect(x, surface.height - 5, 1, 5);
    const label = momentText(at, step);
    const wide = pen.measureText(label).width;
    const left = Math.min(Math.max(x - wide / 2, 0), surface.width - wide);
    if (left < drawnTo + 10) continue;
    pen.fillText(label, left, surface.height / 2 - 3);
    drawnTo = left + wide;
  }
}

// Marks with their words, as many below each other as there is room for.
function drawMoments(surface, time, moments) {
  const pen = surface.begin(time);
  if (!pen) return;
  drawMarks(surface, moments);
  const lanes = Math.floor(surface.height / 16);
  const filled = new Array(lanes).fill(-1);
  for (const [kind, at, until, text] of moments) {
    if (at > time.to || (until ?? at) < time.from) continue;
    const x = surface.inside(Math.max(surface.x(at), 0));
    const sign = { step: "\u25b2", fault: "\u26a0", broken: "\u2717" }[kind];
    const label = `${sign} ${text}`;
    const wide = pen.measureText(label).width + 10;
    const left = Math.min(x + 3, Math.max(surface.width - wide, 0));
    const lane = filled.findIndex((end) => end < left);
    if (lane < 0) continue;
    filled[lane] = left + wide;
    pen.fillStyle = "rgba(255, 255, 255, 0.85)";
    pen.fillRect(left - 1, lane * 16, wide - 6, 16);
    pen.fillStyle = kind === "step" ? INK : ALARM;
    pen.fillText(label, left, lane * 16 + 8.5);
  }
}
