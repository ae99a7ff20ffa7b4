// Frames on the wire: one row for all of them, then one for each message; boxes merge where pixels run out.

const INTERMISSION_BITS = 3;

class Frames {
  constructor(data, columns) {
    this.rows = data.rows;
    this.kinds = data.kinds;
    this.columns = columns;
    this.count = columns.start.length;
    this.chosen = null;
    this.mostBehind = columns.behind.reduce((most, behind) => Math.max(most, behind), 0);
    this.ofRow = this.rows.map(() => []);
    for (let index = 0; index < this.count; index++) this.ofRow[this.rowOf(index)].push(index);
    this.ofRow = this.ofRow.map((indices) => Uint32Array.from(indices));
    this.startsOfRow = this.ofRow.map((indices) => Float64Array.from(indices, (index) => columns.start[index]));
  }

  rowOf(index) {
    return this.kinds[this.columns.kind[index]][0];
  }

  bits(index) {
    return this.kinds[this.columns.kind[index]][1];
  }

  start(index) {
    return this.columns.start[index];
  }

  end(index) {
    return this.columns.start[index] + this.kinds[this.columns.kind[index]][2];
  }

  ready(index) {
    return this.columns.start[index] - this.columns.waited[index];
  }

  // From its nominal release: the end of intermission less the response.
  release(index) {
    const duration = this.end(index) - this.start(index);
    const intermission = (duration / (this.bits(index) - INTERMISSION_BITS)) * INTERMISSION_BITS;
    return this.end(index) + intermission - this.columns.response[index];
  }

  // Frames that were waiting too when this one took the wire: those that were behind it, and behind no more than can be.
  losers(index) {
    const last = Math.min(index + this.mostBehind, this.count - 1);
    return range(index + 1, last + 1).filter((other) => other - this.columns.behind[other] <= index);
  }

  // What kept this one waiting: the frame that had the wire when it became ready, then those that won over it.
  ahead(index) {
    const first = index - this.columns.behind[index];
    const onWire = first > 0 && this.columns.waited[index] > 0 && this.end(first - 1) > this.ready(index);
    return { running: onWire ? first - 1 : null, winners: range(first, index) };
  }

  nearest(row, atNs, toleranceNs) {
    const starts = row === null ? this.columns.start : this.startsOfRow[row];
    const numberOf = (place) => (row === null ? place : this.ofRow[row][place]);
    const after = placeAfter(starts, atNs);
    let best = null;
    let bestGap = toleranceNs;
    for (const place of [after - 1, after]) {
      if (place < 0 || place >= starts.length) continue;
      const index = numberOf(place);
      const from = row === null ? this.start(index) : this.ready(index);
      const gap = Math.max(from - atNs, atNs - this.end(index), 0);
      if (gap < bestGap || (gap === 0 && best === null)) {
        best = index;
        bestGap = gap;
      }
    }
    return best;
  }

  inWindow(time) {
    const first = Math.max(placeAfter(this.columns.start, time.from) - 1, 0);
    const last = placeAfter(this.columns.start, time.to);
    return [first < last && this.end(first) < time.from ? first + 1 : first, last];
  }
}

function range(from, to) {
  return Array.from({ length: Math.max(to - from, 0) }, (_, place) => from + place);
}

function drawFrames(surface, time, frames, moments, layout) {
  const pen = surface.begin(time);
  if (!pen) return;
  const { rowHeight, laneTop } = layout;
  pen.fillStyle = "#f6f8fa";
  for (let row = 0; row <= frames.rows.length; row += 2) pen.fillRect(0, row * rowHeight, surface.width, rowHeight);
  drawMarks(surface, moments);
  const high = rowHeight - laneTop - 4;
  drawRow(surface, frames, frames.columns.start, (place) => place, laneTop + 2, high, false);
  for (let row = 0; row < frames.rows.length; row++) {
    const top = (row + 1) * rowHeight + laneTop + 2;
    drawRow(surface, frames, frames.startsOfRow[row], (place) => frames.ofRow[row][place], top, high, true);
  }
  if (frames.chosen !== null) drawChosen(surface, frames, layout, high);
}

function drawRow(surface, frames, starts, numberOf, top, high, hasWaits) {
  const { time } = surface;
  let place = Math.max(placeAfter(starts, time.from) - 1, 0);
  const last = placeAfter(starts, time.to);
  while (place < last) {
    const index = numberOf(place);
    const left = surface.x(frames.start(index));
    const right = surface.x(frames.end(index));
    if (hasWaits) drawWait(surface, frames, index, top, high);
    if (right >= 0) drawBox(surface, frames, index, left, right, top, high, hasWaits);
    // All frames that begin on the pixel just drawn are one with it.
    const next = surface.timeAt(Math.floor(Math.max(left, right - 1, 0)) + 1) - 1;
    place = Math.max(place + 1, right - left > 1 ? place + 1 : placeAfter(starts, next, place, last));
  }
  // Beyond the window's end a frame may start that is waiting already.
  for (; hasWaits && place < starts.length && frames.ready(numberOf(place)) < time.to; place++) {
    drawWait(surface, frames, numberOf(place), top, high);
  }
}

function drawWait(surface, frames, index, top, high) {
  const left = surface.inside(surface.x(frames.ready(index)));
  const right = surface.inside(surface.x(frames.start(index)));
  if (right - left < 0.5) return;
  const { pen } = surface;
  pen.save();
  pen.globalAlpha = 0.3;
  pen.fillStyle = frames.rows[frames.rowOf(index)].colour;
  pen.fillRect(left, top + high / 2 - 3, right - left, 6);
  pen.restore();
}

function drawBox(surface, frames, index, left, right, top, high, isOwnRow) {
  const { pen } = surface;
  const row = frames.rows[frames.rowOf(index)];
  const from = surface.inside(left);
  const wide = Math.max(surface.inside(right) - from, 1);
  pen.fillStyle = row.colour;
  pen.fillRect(from, top, wide, high);
  if (wide < 34) return;
  const label = isOwnRow ? `${frames.bits(index)} bits` : row.name;
  if (pen.measureText(label).width > wide - 6) return;
  pen.fillStyle = "#ffffff";
  pen.fillText(label, Math.max(from, 0) + 4, top + high / 2 + 0.5);
}

// The chosen frame, those that lost against it, its release and its deadline.
function drawChosen(surface, frames, layout, high) {
  const { pen, time } = surface;
  const index = frames.chosen;
  const topOf = (frame) => (frames.rowOf(frame) + 1) * layout.rowHeight + layout.laneTop + 2;
  const outline = (frame, from, colour) => {
    const left = surface.inside(surface.x(from));
    const wide = Math.max(surface.inside(surface.x(frames.end(frame))) - left, 2);
    pen.strokeStyle = colour;
    pen.lineWidth = 2;
    pen.strokeRect(left - 1, topOf(frame) - 1, wide + 2, high + 2);
    pen.lineWidth = 1;
  };
  for (const loser of frames.losers(index)) outline(loser, frames.ready(loser), "#d18a00");
  outline(index, frames.start(index), INK);
  const row = frames.rows[frames.rowOf(index)];
  const release = frames.release(index);
  const top = topOf(index);
  for (const [at, label, isLeft] of [[release, "release", true], [release + row.deadline, "deadline", false]]) {
    if (at < time.from || at > time.to) continue;
    const x = Math.round(surface.x(at)) + 0.5;
    pen.strokeStyle = INK;
    pen.beginPath();
    pen.moveTo(x, top - 4);
    pen.lineTo(x, top + high + 4);
    pen.stroke();
    if (row.deadline * surface.scale < 60) continue;
    const wide = pen.measureText(label).width;
    const place = isLeft ? x - wide - 4 : x + 4;
    if (place > 0 && place + wide < surface.width) tag(pen, label, place, top + high / 2, INK);
  }
}
